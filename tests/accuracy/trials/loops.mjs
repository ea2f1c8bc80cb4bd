/**
 * Loops, switches and the paths between outputs, from responses (sweep-noise.mjs): a gain, a small capacitance where a conductor has parted,
 * latency, bleed and crosstalk, a polarity switch, a ground lift, a load that reaches the other output.
 */
import { dryPathFigures } from '../../../dist/src/measure/dry-path.js';
import { isolationFigures } from '../../../dist/src/measure/isolation.js';
import { loopFigures } from '../../../dist/src/measure/loops.js';
import { switchFigures } from '../../../dist/src/measure/switches.js';
import { bandDb, benchOf, boardOf, delayed, lowPass, magnitudeDb, plus } from './draws.mjs';
import { takesOf } from './sweep-noise.mjs';

const LATENCY_S = 2e-3;
const BLEED_DB = -48;
const FROM_DRY_DB = -54;
const TO_DRY_DB = -50;
const db = (level) => 10 ** (level / 20);
const wire = () => [1, 0];
/** Rising with frequency through a small capacitance: 6 dB per octave, −40 dB at 1 kHz. */
const parted = (hz) => [0, db(-40) * (hz / 1000)];

function loopTrials(trials, count, { rms, from }) {
  const board = { ...boardOf(['A', 'B'], ['eq', 'echo', 'open']), outputs: ['A', 'B'].map((id) => ({ id, name: id, loadOhm: null, lift: true, polaritySwitch: true, isolated: false })) };
  const bench = benchOf(['A', 'B']);
  const eq = lowPass(40000, db(-0.12));
  const lifted = () => [db(-0.05), 0];
  // The load takes 1.9 dB from its own output, and 0.17 dB from the other.
  const [loaded, alongside] = [() => [0.8, 0], () => [0.98, 0]];
  for (let trial = 0; trial < trials; trial++) {
    const take = takesOf(from + trial, 15);
    const dry = [take(wire, rms), take(wire, rms)];
    const takes = {
      'rest.take': [take(wire, rms), dry[0]],
      'loop-eq.take': [take(eq, rms), dry[1]],
      'loop-open.take': [take(parted, rms), dry[1]],
      'loop-echo.take': [take(delayed(LATENCY_S), rms, LATENCY_S), dry[1]],
      'invert-A.take': [take(() => [-db(0.07), 0], rms), dry[1]],
      'lift-A.take': [take(lifted, rms), dry[1]],
      'rest+load.take': [take(loaded, rms), take(alongside, rms)],
    };
    const estimates = { takeOf: (id) => takes[id] ?? null, idleOf: () => null };
    // The same loop with latency on a board that leaks.
    const leaking = {
      'rest.take': [take((hz) => plus(wire(hz), delayed(LATENCY_S, db(BLEED_DB))(hz)), rms), dry[0]],
      'loop-echo.take': [take((hz) => plus(delayed(LATENCY_S)(hz), [db(FROM_DRY_DB), 0]), rms, LATENCY_S), take((hz) => plus(wire(hz), delayed(LATENCY_S, db(TO_DRY_DB))(hz)), rms)],
    };
    const takeOf = (id) => leaking[id] ?? null;
    const find = (figures) => (id, state, output = 'A') => figures.find((f) => f.id === id && f.state === state && f.output === output);
    const of = find([...loopFigures(board, bench, estimates), ...switchFigures(board, bench, estimates), ...dryPathFigures(board, bench, estimates.takeOf)]);
    const leak = find(dryPathFigures(board, bench, takeOf));
    count('loop.gain', of('loop.gain', 'loop-eq'), bandDb(eq, 200, 5000));
    const reference = bandDb(eq, 200, 500);
    for (const [id, hz] of [['loop.droop.5k', 5000], ['loop.droop.10k', 10000], ['loop.droop.20k', 20000]]) count(id, of(id, 'loop-eq'), magnitudeDb(eq, hz) - reference);
    count('loop.slope', of('loop.slope', 'loop-open'), 20 * Math.log10(2));
    count('loop.delay', of('loop.delay', 'loop-echo'), LATENCY_S * 1e6);
    count('bleed', leak('bleed', 'rest'), BLEED_DB);
    count('crosstalk.from-dry', leak('crosstalk.from-dry', 'loop-echo'), FROM_DRY_DB);
    count('crosstalk.to-dry', leak('crosstalk.to-dry', 'loop-echo', 'B'), TO_DRY_DB);
    count('switch.level', of('switch.level', 'invert-A'), 0.07);
    count('lift.level', of('lift.level', 'lift-A'), -0.05);
    count('isolation', isolationFigures(bench, estimates.takeOf)[0], 20);
  }
}

export const tables = [
  ['loops and switches, good signal-to-noise', { rms: 1e-4, from: 0 }],
  ['loops and switches, poor signal-to-noise', { rms: 1e-3, from: 1000 }],
].map(([name, quality]) => ({ name, trials: 400, kept: 1, run: (trials, count) => { loopTrials(trials, count, quality); } }));
