/** What the method notes of a report say that they were held to: made from the accuracy page. */
import type { Accuracy, CoverageRow } from './gather.js';

/** Method of a reading, by how its id begins. */
const METHOD_OF: readonly (readonly [id: RegExp, method: string])[] = [
  [/^noise\.(unweighted|a|ccir-rms)$/, 'noise.level'],
  [/^noise\.468-qpk$/, 'noise.quasi-peak'],
  [/^noise\.density-1k$/, 'noise.density'],
  [/^(noise\.(hiss|hum|whine)|hum\.)/, 'noise.lines'],
  [/^level\.tone$/, 'take.level'],
  [/^gain\.1k$/, 'take.gain'],
  [/^snr\.a$/, 'take.snr'],
  [/^thd$/, 'take.thd'],
  [/^thd-n$/, 'take.thd-n'],
  [/^thd-n\.notch$/, 'take.thd-n.notch'],
  [/^sinad$/, 'take.sinad'],
  [/^(droop\.|corner)/, 'tone-loss.droop'],
  [/^(capacitance|input-resistance)$/, 'tone-loss.capacitance'],
  [/^output-resistance$/, 'output.resistance'],
  [/^player\./, 'player.translation'],
  [/^match\.level/, 'match.level'],
  [/^match\.(delay|first-notch)$/, 'match.delay'],
  [/^(capacitance\.over-design|buffer\.)/, 'design.capacitance'],
  [/^headroom\.even-odd$/, 'stairs.clipping'],
  [/^headroom/, 'stairs.headroom'],
  [/^dynamic-range$/, 'stairs.dynamic-range'],
  [/^click\.(peak|over-tone)$/, 'switching.clicks'],
  [/^click\./, 'switching.energy'],
  [/^noise\.(from|over-sum)/, 'noise.sources'],
  [/^noise\.drift$/, 'noise.steadiness'],
  [/^crosstalk\.(1k|worst-band|slope)$/, 'output.crosstalk'],
  [/^(bleed|crosstalk\.)/, 'loop.echo'],
  [/^isolation$/, 'output.isolation'],
  [/^(switch|lift)\.level$/, 'switch.level'],
  [/^lift\.hum$/, 'lift.hum'],
  [/^loop\.delay$/, 'loop.delay'],
  [/^loop\.slope$/, 'loop.slope'],
  [/^loop\.noise-change$/, 'loop.noise-change'],
  [/^loop\./, 'loop.gain'],
];

const fixed = (v: number): string => (v === 0 ? 'under 1e-9' : (Math.abs(v) >= 1e-3 ? String(Number(v.toPrecision(2))) : v.toExponential(1)).replace(/^-/, ''));

function coverageLine(rows: readonly CoverageRow[]): string {
  const held = rows.map((r) => r.coveragePercent);
  const [least, most] = [Math.min(...held), Math.max(...held)];
  const trials = Math.min(...rows.map((r) => r.trials));
  return `Simulated with good and poor signal-to-noise: ${least === most ? String(least) : `${least} to ${most}`} % of the 95 % intervals hold the truth, ${trials} trials and more each.`;
}

export function methodChecksSource({ checks, coverage }: Accuracy): string {
  const lines = new Map<string, string[]>();
  const say = (method: string, line: string): void => void lines.set(method, [...(lines.get(method) ?? []), line]);
  for (const { figure, domain, oracle, version, unit, largest, tolerance, methods } of checks) {
    for (const method of methods) say(method, `${figure} (${domain}) against ${oracle} (${version}): at most ${fixed(largest)} ${unit} off, ${fixed(tolerance)} allowed.`);
  }
  for (const method of new Set(METHOD_OF.map(([, m]) => m))) {
    const rows = Object.values(coverage)
      .flat()
      .filter(({ reading }) => METHOD_OF.find(([id]) => id.test(reading))?.[1] === method);
    if (rows.length > 0) say(method, coverageLine(rows));
  }
  const entries = [...lines].sort(([a], [b]) => (a < b ? -1 : 1)).map(([method, said]) => `  ${JSON.stringify(method).replaceAll('"', "'")}: [\n${said.map((l) => `    ${quoted(l)},\n`).join('')}  ],\n`);
  return `/**
 * What each method was held to, and by how much it differed: for the method notes of a report. Made by \`npm run accuracy\` with
 * reports/accuracy.json; do not edit.
 *
 * @module
 */
export const methodChecks: Readonly<Record<string, readonly string[]>> = {
${entries.join('')}};
`;
}

const quoted = (text: string): string => `'${text.replaceAll('\\', '\\\\').replaceAll("'", "\\'")}'`;
