/**
 * Times `boardproof measure` on a whole job as a process, from reading the files to results.json, against
 * `same_in_scipy.py` doing the same on the same files, in turn (A B A B …) so that a machine that drifts does not matter; then the
 * parts by themselves; and the start of the program against bare Node. Prints ratios, writes reports/bench.json.
 *
 *   npm run bench [-- <rounds> [<job>]]      (Debian's python3 with python3-scipy, python3-numpy, python3-soundfile)
 *
 * The quasi-peak meter is a recursion from sample to sample that SciPy has no fast way for, so SciPy is also timed without it, while
 * ours computes it in either case.
 */
import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { median } from './median.mjs';

const here = path.dirname(fileURLToPath(import.meta.url));
const dist = path.resolve(here, '../../dist');
const program = path.join(dist, 'cli/main.js');
const scipy = path.join(here, 'same_in_scipy.py');
const [rounds = '3', given] = process.argv.slice(2);
const folder = mkdtempSync(path.join(os.tmpdir(), 'boardproof-bench-'));
const job = given ?? path.join(folder, 'job');

/** Runs to the end and gives seconds and stdout; a verdict's exit code is no failure. */
function timed(command, args) {
  const began = performance.now();
  let out;
  try {
    out = execFileSync(command, args, { encoding: 'utf8', maxBuffer: 1 << 28, stdio: ['ignore', 'pipe', 'pipe'] });
  } catch (error) {
    if (![1, 4].includes(error.status) || !error.stdout) throw error;
    out = error.stdout;
  }
  return { seconds: (performance.now() - began) / 1000, out };
}

/** Two commands in turn after a warm-up of each; medians and the median of the ratios pair by pair. */
function inTurn(ours, theirs, count) {
  const pairs = [];
  let last = null;
  for (let round = -1; round < count; round++) {
    const a = timed(...ours);
    const b = timed(...theirs);
    last = { ours: a.out, theirs: b.out };
    if (round >= 0) pairs.push([a.seconds, b.seconds]);
  }
  return { ours: median(pairs.map((p) => p[0])), theirs: median(pairs.map((p) => p[1])), ratio: median(pairs.map(([a, b]) => a / b)), last };
}

/** Largest difference of the figures that both give, in dB or in the unit of the figure. */
function largestDifference(results, other) {
  const key = (r) => [r.id, r.state, r.source, r.output].join(' ');
  const theirs = new Map(other.readings.map((r) => [key(r), r.value]));
  let worst = { figure: '', difference: 0 };
  let common = 0;
  for (const r of results.readings) {
    const value = theirs.get(key(r));
    if (r.unit === 'Hz' || r.bound !== null || typeof value !== 'number' || r.value === null || !/dB/.test(r.unit)) continue;
    common++;
    if (Math.abs(r.value - value) > worst.difference) worst = { figure: key(r), difference: Math.abs(r.value - value) };
  }
  return { common, ...worst };
}

try {
  if (!given) timed(process.execPath, [program, '--quiet', 'demo', '--clean', '--json', '--out', job]);
  writeFileSync(
    path.join(job, 'conditions.json'),
    JSON.stringify({
      mainsHz: 50,
      inputs: [{ output: 'A', fullScaleDbu: 18 }, { output: 'B', fullScaleDbu: 18 }],
      plugs: { plug10k: 10000 },
      generatorOhm: 100,
      match: [['A', 'B']],
    }),
  );
  const captures = readdirSync(path.join(job, 'captures')).filter((f) => f.endsWith('.wav')).length;
  const measure = [process.execPath, [program, '--quiet', 'measure', job, '--json']];
  const whole = inTurn(measure, ['/usr/bin/python3', [scipy, job]], Number(rounds));
  const without = inTurn(measure, ['/usr/bin/python3', [scipy, job, '--no-quasi-peak']], Number(rounds));
  const same = largestDifference(JSON.parse(whole.last.ours), JSON.parse(whole.last.theirs));
  const ourParts = JSON.parse(timed(process.execPath, [path.join(here, 'parts.mjs'), dist, job, '5']).out);
  const theirParts = JSON.parse(timed('/usr/bin/python3', [scipy, job, '--parts', '5']).out);
  const start = inTurn([process.execPath, [program, '--help']], [process.execPath, ['-e', '0']], 11);

  const rows = [
    [`whole job, ${captures} captures`, whole.ours, whole.theirs],
    ['the same, SciPy without quasi-peak', without.ours, without.theirs],
    ...Object.keys(ourParts).map((name) => [`part: ${name}`, ourParts[name], theirParts[name]]),
    ['--help against bare Node', start.ours, start.theirs],
  ];
  console.log(`${'seconds'.padEnd(38)}${'ours'.padStart(9)}${'other'.padStart(9)}${'ratio'.padStart(8)}`);
  for (const [name, a, b] of rows) console.log(`${name.padEnd(38)}${a.toFixed(3).padStart(9)}${b.toFixed(3).padStart(9)}${(a / b).toFixed(2).padStart(8)}`);
  console.log(`ratios pair by pair: ${whole.ratio.toFixed(2)} with quasi-peak, ${without.ratio.toFixed(2)} without in SciPy`);
  console.log(`${same.common} levels in common; largest difference ${same.difference.toFixed(4)} dB (${same.figure})`);
  writeFileSync(
    path.resolve(here, '../../reports/bench.json'),
    `${JSON.stringify(
      {
        format: 'boardproof-bench/1',
        made: 'npm run bench',
        machine: `${os.cpus().length} × ${os.cpus()[0].model}`,
        node: process.version,
        scipy: JSON.parse(readFileSync(path.resolve(here, '../outside/scipy/versions.json'), 'utf8')),
        rows: rows.map(([name, ours, other]) => ({ name, oursS: Number(ours.toPrecision(3)), otherS: Number(other.toPrecision(3)), ratio: Number((ours / other).toPrecision(3)) })),
        sameFigures: same,
      },
      null,
      1,
    )}\n`,
  );
} finally {
  rmSync(folder, { recursive: true, force: true });
}
