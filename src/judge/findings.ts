/**
 * Findings: what is wrong or odd, where, and what to try, from judged readings set against each other.
 *
 * @module
 */
import type { Board, Loop } from '../board/model.js';
import type { Curve } from '../measure/curve.js';
import { inputFindings } from './input-findings.js';
import type { Finding, Reading } from './results.js';

const NOWHERE = { loop: null, output: null, supply: null };
const CUSTOM = 'common practice, no source';

/** How far a loop must raise hum over the state with every loop out before it is named, dB. */
const HUM_STEP_DB = 6;
/** Two whines are one where their fundamentals agree this closely, relative: oscillators of one supply, drifting together. */
const SAME_WHINE = 0.002;

const key = (r: Reading): string => `${r.id} in ${r.state}${r.source ? ` through ${r.source}` : ''}${r.output ? ` on ${r.output}` : ''}`;
const shown = (v: number): string => `${Math.abs(v).toFixed(Math.abs(v) < 1 ? 2 : 1)}`;

interface Context {
  readonly board: Board;
  readonly readings: readonly Reading[];
  readonly curves: readonly Curve[];
}

export function findingsOf(context: Context): Finding[] {
  const explained = new Set<Reading>();
  const findings = [...invertedLoops(context, explained), ...hummingLoops(context, explained), ...whines(context, explained), ...mismatches(context, explained), ...inputFindings(context, explained)];
  return [...findings, ...leftOver(context, explained)];
}

/** True where these lines make up at least half of the unweighted noise beside a reading: then they are its cause. */
function dominates(readings: readonly Reading[], of: Reading, lines: readonly string[]): boolean {
  const power = (id: string): number => {
    const r = readings.find((o) => o.id === id && o.state === of.state && o.source === of.source && o.output === of.output);
    return r?.value == null || r.bound !== null ? 0 : 10 ** (r.value / 10);
  };
  return lines.reduce((s, id) => s + power(id), 0) >= power('noise.unweighted') / 2;
}

const loopOf = (board: Board, id: string | null): Loop | null => board.loops.find((l) => l.id === id) ?? null;
const loopName = (loop: Loop): string => `loop ${loop.id} (${loop.name})`;

function invertedLoops({ board, readings }: Context, explained: Set<Reading>): Finding[] {
  return board.loops.flatMap((loop) => {
    const signs = readings.filter((r) => r.id === 'loop.polarity' && r.loop === loop.id && r.value === -1);
    if (signs.length === 0) return [];
    for (const r of signs) explained.add(r);
    return [
      {
        id: `loop-inverted/${loop.id}`,
        severity: 'fault' as const,
        where: { ...NOWHERE, loop: loop.id },
        title: `${capital(loopName(loop))} inverts polarity.`,
        evidence: signs.map(key),
        cause: loop.expect === 'unity' ? 'Tip and ring, or tip and sleeve, are swapped in one lead of the loop.' : 'The effect inverts, or tip and ring are swapped in one lead of the loop.',
        tryNext: `Swap the send lead of ${loop.id} for a known good one and capture loop-${loop.id}.take again; if it still inverts, look at the return.`,
        basis: 'Measured; the cause is common practice, no source.',
      },
    ];
  });
}

function hummingLoops({ board, readings }: Context, explained: Set<Reading>): Finding[] {
  return board.loops.flatMap((loop) => {
    const raised = readings.flatMap((r) => {
      if (r.id !== 'noise.hum' || r.loop !== loop.id || r.value === null || r.bound !== null) return [];
      const rest = readings.find((o) => o.id === 'noise.hum' && o.state === 'rest' && o.output === r.output);
      const stepDb = rest?.value == null ? 0 : r.value - rest.value;
      const slack = Math.hypot(r.uncertainty ?? 0, rest?.uncertainty ?? 0);
      return stepDb - slack > HUM_STEP_DB ? [{ r, stepDb, isBound: rest?.bound === 'upper' }] : [];
    });
    if (raised.length === 0) return [];
    const worst = raised.reduce((a, b) => (b.stepDb > a.stepDb ? b : a));
    for (const { r } of raised) explained.add(r);
    // With every loop in, the hum of the one is heard as well: where it makes up what is heard there.
    const loudest = Math.max(...raised.map(({ r }) => r.value!));
    for (const r of readings) if (r.id === 'noise.hum' && r.state === 'all' && r.verdict === 'fail' && r.value !== null && r.value < loudest + 3) explained.add(r);
    for (const r of readings) if (r.id === 'noise.a' && r.state === 'all' && r.verdict === 'fail' && dominates(readings, r, ['noise.hum', 'noise.whine'])) explained.add(r);
    // The hum of a loop that is also too loud for the floor limit explains that as well.
    for (const r of readings) if (r.loop === loop.id && r.id === 'noise.a' && r.verdict === 'fail' && dominates(readings, r, ['noise.hum'])) explained.add(r);
    const harmonics = readings.filter((r) => r.loop === loop.id && r.output === worst.r.output && /^noise\.hum\.h\d+$/.test(r.id) && r.value !== null);
    const level = (odd: boolean): number => harmonics.filter((h) => Number(h.id.slice(11)) % 2 === (odd ? 1 : 0)).reduce((s, h) => s + 10 ** (h.value! / 10), 0);
    const ripple = level(false) > level(true);
    const failed = raised.some(({ r }) => r.verdict === 'fail');
    return [
      {
        id: `hum/${loop.id}`,
        severity: failed ? ('fault' as const) : ('caution' as const),
        where: { ...NOWHERE, loop: loop.id, supply: ripple ? loop.supply : null },
        title: `${capital(loopName(loop))} adds hum: ${worst.isBound ? 'at least ' : ''}${shown(worst.stepDb)} dB more than with every loop out.`,
        evidence: raised.map(({ r }) => key(r)),
        cause: ripple
          ? `Mostly even harmonics of the mains: rectifier ripple from the supply${loop.supply ? ` at ${loop.supply}` : ''}.`
          : 'Mostly odd harmonics of the mains: a ground loop, or a lead or effect beside a mains transformer.',
        tryNext: ripple
          ? `Feed ${loop.id} from another outlet or a battery and capture loop-${loop.id}.idle again.`
          : `Move the effect and its leads away from mains parts, then try the loop with its shield lifted at one end of one signal lead (never the protective earth); capture loop-${loop.id}.idle again.`,
        basis: `Harmonic pattern: ${CUSTOM}.`,
      },
    ];
  });
}

interface Whine {
  readonly hz: number;
  readonly loops: Set<string>;
  readonly levels: Reading[];
}

/** Whines of the loop states that are not there with every loop out, the same frequency in several loops as one. */
function whines({ board, readings }: Context, explained: Set<Reading>): Finding[] {
  const frequency = (r: Reading): number => Number(/([\d.]+) Hz/.exec(r.label)?.[1] ?? NaN);
  const families = readings.filter((r) => /^noise\.whine\.\d+$/.test(r.id));
  const near = (a: number, b: number): boolean => Math.abs(a - b) <= SAME_WHINE * Math.max(a, b);
  const atRest = families.filter((r) => r.state === 'rest').map(frequency);
  const groups: Whine[] = [];
  for (const r of families) {
    if (r.loop === null) continue;
    const hz = frequency(r);
    if (atRest.some((f) => near(f, hz))) continue;
    const group = groups.find((g) => near(g.hz, hz));
    if (group) {
      group.loops.add(r.loop);
      group.levels.push(r);
    } else {
      groups.push({ hz, loops: new Set([r.loop]), levels: [r] });
    }
  }
  const findings = groups.map((group): Finding => {
    const loops = [...group.loops].map((id) => loopOf(board, id)!);
    const outlets = new Set(loops.map((l) => l.supply));
    const [outlet] = outlets;
    const shared = loops.length > 1 && outlets.size === 1 && outlet != null;
    for (const r of readings) {
      if (r.id === 'noise.whine' && ((r.loop !== null && group.loops.has(r.loop)) || r.state === 'all')) explained.add(r);
      if (r.id === 'noise.a' && r.verdict === 'fail' && r.loop !== null && group.loops.has(r.loop) && dominates(readings, r, ['noise.whine'])) explained.add(r);
    }
    const failed = readings.some((r) => r.id === 'noise.whine' && r.loop !== null && group.loops.has(r.loop) && r.verdict === 'fail');
    const names = loops.map((l) => l.id).join(', ').replace(/, ([^,]*)$/, ' and $1');
    return {
      id: `whine/${group.hz.toFixed(0)}`,
      severity: failed ? 'fault' : 'caution',
      where: { loop: loops.length === 1 ? loops[0]!.id : null, output: null, supply: shared ? outlet : (loops.length === 1 ? loops[0]!.supply : null) },
      title: `A whine at ${group.hz.toFixed(0)} Hz comes in with ${loops.length === 1 ? `loop ${names}` : `loops ${names}`}${shared ? `: ${loops.length === 2 ? 'both' : 'all'} are fed from ${outlet}` : ''}.`,
      evidence: group.levels.map(key),
      cause: shared
        ? `The loops on ${outlet} share one outlet: the clock of one gets into the supply of the other.`
        : 'A clock or a switching supply gets into the signal of the loop.',
      tryNext: shared ? `Give one of ${names} an outlet of its own and capture its idle again.` : `Feed ${names} from another outlet or a battery and capture its idle again.`,
      basis: `Measured; the cause is ${CUSTOM}.`,
    };
  });
  return findings;
}

function mismatches({ readings }: Context, explained: Set<Reading>): Finding[] {
  const findings: Finding[] = [];
  const pairs = [...new Set(readings.filter((r) => r.id.startsWith('match.')).map((r) => r.output!))];
  for (const pair of pairs) {
    const [a, b] = pair.split(':');
    const of = (id: string): Reading[] => readings.filter((r) => r.id === id && r.output === pair && r.verdict === 'fail');
    const level = of('match.level');
    if (level.length > 0) {
      const value = level[0]!.value!;
      for (const r of [...level, ...of('match.level-worst-band')]) explained.add(r);
      findings.push({
        id: `level/${pair}`,
        severity: 'fault',
        where: { ...NOWHERE, output: b! },
        title: `Output ${b} is ${shown(value)} dB ${value < 0 ? 'lower' : 'higher'} than output ${a}.`,
        evidence: level.map(key),
        cause: `A trim, a divider resistor or a load on output ${b} (or on ${a}) differs from the other.`,
        tryNext: `Swap the leads of ${a} and ${b} at the recorder and capture rest.take again: if the difference stays with the output, trim the output; if it moves, calibrate the bench.`,
        basis: `Measured; the cause is ${CUSTOM}.`,
      });
    }
    const polarity = of('match.polarity');
    if (polarity.length > 0) {
      for (const r of polarity) explained.add(r);
      findings.push({
        id: `polarity/${pair}`,
        severity: 'fault',
        where: { ...NOWHERE, output: b! },
        title: `Outputs ${a} and ${b} are of opposite polarity.`,
        evidence: polarity.map(key),
        cause: 'The windings of an output transformer or the two contacts of a jack are swapped, or a polarity switch is over.',
        tryNext: `Check the polarity switches, then the wiring of ${b}; capture rest.take again.`,
        basis: `Measured; the cause is ${CUSTOM}.`,
      });
    }
  }
  return findings;
}

/** Whatever failed and is not explained yet: one finding per kind of reading, so that nothing that fails goes unsaid. */
function leftOver({ readings }: Context, explained: Set<Reading>): Finding[] {
  const failed = readings.filter((r) => r.verdict === 'fail' && !explained.has(r));
  const kinds = [...new Set(failed.map((r) => r.id))];
  return kinds.map((id): Finding => {
    const of = failed.filter((r) => r.id === id);
    const [first] = of;
    const places = [...new Set(of.map((r) => `${r.state}${r.output ? `, output ${r.output}` : ''}`))];
    const loops = [...new Set(of.map((r) => r.loop))];
    const outputs = [...new Set(of.map((r) => r.output))];
    return {
      id: `limit/${id}`,
      severity: 'fault',
      where: { loop: loops.length === 1 ? loops[0]! : null, output: outputs.length === 1 ? outputs[0]! : null, supply: null },
      title: `${first!.label} is outside its limit in ${places.slice(0, 4).join('; ')}${places.length > 4 ? `; and ${places.length - 4} more` : ''}.`,
      evidence: of.map(key),
      cause: 'Not known from these captures alone.',
      tryNext: 'Compare with the neighbouring states: where the figure changes is where to look.',
      basis: 'Measured against the limit.',
    };
  });
}

const capital = (s: string): string => s.charAt(0).toUpperCase() + s.slice(1);
