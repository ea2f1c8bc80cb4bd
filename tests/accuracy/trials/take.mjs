/**
 * Takes: tone, distortion, the match between two outputs, a loop, a source plug and a load, all of one board. At good signal-to-noise as samples
 * through division and fits; at poor the tone alone is samples, and responses are those of sweep-noise.mjs, which is ten times as fast.
 */
import { notchGain } from '../../../dist/src/measure/distortion.js';
import { measureIdle } from '../../../dist/src/measure/idle.js';
import { measureJob } from '../../../dist/src/measure/job.js';
import { memoryRecording } from '../../../dist/src/measure/recording.js';
import { measureTake, measureTone } from '../../../dist/src/measure/take.js';
import { findTakes } from '../../../dist/src/measure/take-search.js';
import { irfft, nextPowerOfTwo, rfft } from '../../../dist/src/numerics/fft.js';
import { thirdOctavesWithin } from '../../../dist/src/numerics/third-octave.js';
import { aWeighting } from '../../../dist/src/numerics/weighting.js';
import { renderTake } from '../../../dist/src/signals/take.js';
import { FULL_SCALE_DBU, GENERATOR_OHM, INPUT_OHM, LOAD_OHM, PLUG_OHM, RATE, bandDb, benchOf, boardOf, calibrationError, dbu, delayed, divider, generator, lowPass, magnitudeDb, over, stepOf, times, whitePower } from './draws.mjs';
import { takesOf } from './sweep-noise.mjs';

function through(x, response) {
  const size = nextPowerOfTwo(x.length + RATE);
  const s = rfft(x, size);
  for (let k = 0; k <= size / 2; k++) {
    const [re, im] = times([s.re[k], s.im[k]], k === 0 ? [0, 0] : response((k * RATE) / size));
    s.re[k] = re;
    s.im[k] = im;
  }
  return irfft(s).slice(0, x.length);
}

const SHUNT_OHM = 1e6;
const FARAD = { rest: 300e-12, lead: 50e-12, loop: 1200e-12 };
const OUTPUT_OHM = 220;
/** The bench's own second harmonic against the board's. */
const BENCH_SHARE = 0.05;
const OUT_B = { db: -0.15, delayS: 40e-6 };
const LEVEL_DBFS = -12;
const TOP_HZ = 22080;

/** What does not depend on the noise: one take, and the waves that the board makes of it. */
let prepared = null;
function prepare() {
  if (prepared) return prepared;
  const dry = renderTake({ stepCode: 1, levelDbfs: LEVEL_DBFS, sweepTopHz: TOP_HZ }, RATE, 1, 16 * RATE);
  const [located] = findTakes(memoryRecording([dry], RATE)).takes;
  // Distortion is a square: of the board, and of the bench around the tone's second harmonic, cosine and sine, which meets the board's at any phase.
  const squared = dry.map((v) => v * v);
  const direct = divider(GENERATOR_OHM, FARAD.rest);
  const outB = delayed(OUT_B.delayS, 10 ** (OUT_B.db / 20));
  const inLoop = lowPass(40000, 10 ** (-0.12 / 20));
  const aroundHarmonic = (turn) => through(squared, (hz) => (Math.abs(hz - 1994) < 150 ? turn : [0, 0]));
  const [linear, bent] = [through(dry, direct), through(squared, direct)];
  // A plug may be any within its tolerance: the wave through it is a parabola through three, 3e-7 from exact at 1.5 %.
  const ofPlug = (farad) => {
    const [low, middle, high] = [-0.015, 0, 0.015].map((d) => through(dry, divider(GENERATOR_OHM + PLUG_OHM * (1 + d), farad)));
    return [middle, middle.map((_, n) => (high[n] - low[n]) / 0.03), middle.map((m, n) => (high[n] + low[n] - 2 * m) / (2 * 0.015 ** 2))];
  };
  prepared = {
    located,
    dry,
    direct,
    inLoop,
    restA: [linear, bent],
    restB: [through(linear, outB), through(bent, outB)],
    loop: [through(linear, inLoop), through(bent, inLoop)],
    benchHarmonic: [aroundHarmonic([1, 0]), aroundHarmonic([0, -1])],
    plugged: { rest: ofPlug(FARAD.rest), lead: ofPlug(FARAD.lead), loop: ofPlug(FARAD.loop) },
  };
  return prepared;
}

/**
 * Records the takes of one trial as samples, and measures them.
 *
 * @param chance - what the bench cannot know, and `gauss`.
 */
function throughSamples({ recorderRms, boardRms, bend }, { gauss, scale, off, phase, loadFactor }) {
  const { located, dry, restA, restB, loop, benchHarmonic, plugged } = prepare();
  const [benchCosine, benchSine] = benchHarmonic;
  const [cosine, sine] = [BENCH_SHARE * bend * Math.cos(phase), BENCH_SHARE * bend * Math.sin(phase)];
  const bentBy = ([linear, bent]) => [linear.map((v, n) => v + bend * bent[n])];
  const record = ([c0, c1, c2], channel, own, gain = 1) => {
    const x = new Float64Array(c0.length);
    const k = scale[channel];
    for (let n = 0; n < x.length; n++) {
      const s = c1 ? c0[n] + off * (c1[n] + off * c2[n]) : c0[n];
      x[n] = k * (gain * (s + cosine * benchCosine[n] + sine * benchSine[n]) + own * gauss()) + recorderRms * gauss();
    }
    return x;
  };
  // Step and channels heard; nothing is counted on output B but its match: elsewhere A stands for it.
  const captured = [
    ['bench.take', [record([dry], 0, 0), record([dry], 1, 0)]],
    ['rest.take', [record(bentBy(restA), 0, boardRms), record(bentBy(restB), 1, boardRms)]],
    ['rest+plug.take', [record(plugged.rest, 0, boardRms)]],
    ['lead+plug.take', [record(plugged.lead, 0, 0)]],
    ['loop-x.take', [record(bentBy(loop), 0, boardRms)]],
    ['loop-x+plug.take', [record(plugged.loop, 0, boardRms)]],
    ['rest+load.take', [record(bentBy(restA), 0, boardRms, loadFactor)]],
  ];
  // All takes lie alike in their recordings: measured as the channels of one, the sweep as played is prepared once.
  const heard = captured.flatMap(([, channels]) => channels);
  const inputs = measureTake(memoryRecording(heard, RATE), located, heard.map((_, c) => c));
  let at = 0;
  return captured.map(([id, channels]) => {
    const own = inputs.slice(at, (at += channels.length));
    return { step: stepOf(id), kind: 'take', inputs: own.length > 1 ? own : [own[0], own[0]] };
  });
}

const TONE_S = 1.75;

/** The same, the tone as samples and the responses as they are with their noise. */
function throughResponses({ recorderRms, boardRms, bend }, { gauss, scale, off, phase, loadFactor, trial }) {
  const take = takesOf(trial, 9);
  const A = 10 ** (LEVEL_DBFS / 20);
  const plugged = (farad) => divider(GENERATOR_OHM + PLUG_OHM * (1 + off), farad);
  const heard = (h, channel, own) => take((hz) => times([scale[channel], 0], h(hz)), Math.hypot(scale[channel] * own, recorderRms));
  const wire = () => [1, 0];
  const direct = divider(GENERATOR_OHM, FARAD.rest);
  const outB = delayed(OUT_B.delayS, 10 ** (OUT_B.db / 20));
  const inLoop = lowPass(40000, 10 ** (-0.12 / 20));
  const toneOf = (h, own, isBoard) => {
    // A square makes half of itself of the second harmonic, and of the bench's its share at its own phase.
    const second = (bend * A * A) / 2;
    const [[re, im], [re2, im2]] = [h(997), h(1994)];
    const [ofBoard, ofBench] = [isBoard ? second : 0, BENCH_SHARE * second];
    const [p, q] = [ofBoard * re2 + ofBench * Math.cos(phase), ofBoard * im2 - ofBench * Math.sin(phase)];
    const x = new Float64Array(Math.round(TONE_S * RATE));
    for (let n = 0; n < x.length; n++) {
      const angle = (2 * Math.PI * 997 * n) / RATE;
      const [c, s] = [Math.cos(angle), Math.sin(angle)];
      const [c2, s2] = [c * c - s * s, 2 * c * s];
      x[n] = scale[0] * (A * (re * c - im * s) + p * c2 - q * s2 + own * gauss()) + recorderRms * gauss();
    }
    return measureTone(x, RATE, 997, 0);
  };
  const withTone = (estimate, tone) => ({ ...estimate, tone });
  const once = (estimate) => [estimate, estimate];
  return [
    ['bench.take', [withTone(heard(wire, 0, 0), toneOf(wire, 0, false)), heard(wire, 1, 0)]],
    ['rest.take', [withTone(heard(direct, 0, boardRms), toneOf(direct, boardRms, true)), heard((hz) => times(direct(hz), outB(hz)), 1, boardRms)]],
    ['rest+plug.take', once(heard(plugged(FARAD.rest), 0, boardRms))],
    ['lead+plug.take', once(heard(plugged(FARAD.lead), 0, 0))],
    ['loop-x.take', once(heard((hz) => times(direct(hz), inLoop(hz)), 0, boardRms))],
    ['loop-x+plug.take', once(heard(plugged(FARAD.loop), 0, boardRms))],
    ['rest+load.take', once(heard((hz) => times(direct(hz), [loadFactor, 0]), 0, boardRms))],
  ].map(([id, inputs]) => ({ step: stepOf(id), kind: 'take', inputs }));
}

function takeTrials(trials, count, quality) {
  const { recorderRms, boardRms, bend, capture } = quality;
  const board = boardOf(['A', 'B'], ['x']);
  const bench = benchOf(['A', 'B']);
  const direct = divider(GENERATOR_OHM, FARAD.rest);
  const inLoop = lowPass(40000, 10 ** (-0.12 / 20));
  const A = 10 ** (LEVEL_DBFS / 20);
  const noisePower = (low, high) => (boardRms ** 2 * (high - low)) / (RATE / 2);
  const toneDb = magnitudeDb(direct, 997);
  const tonePower = (A * 10 ** (toneDb / 20)) ** 2 / 2;
  const harmonicPower = (((bend * A * A) / 2) * 10 ** (magnitudeDb(direct, 1994) / 20)) ** 2 / 2;
  const residual = {
    whole: harmonicPower + noisePower(4, 20000),
    apart: harmonicPower + noisePower(4, 997 / 1.5) + noisePower(997 * 1.5, 20000),
    notched: harmonicPower * notchGain(1994, 997) ** 2 + boardRms ** 2 * whitePower((hz) => notchGain(hz, 997)),
  };
  for (let trial = 0; trial < trials; trial++) {
    const { gauss } = generator(7000 + trial);
    const scale = [0, 1].map(() => calibrationError(gauss));
    const off = 0.005 * gauss();
    const loadOhm = LOAD_OHM * (1 + 0.005 * gauss());
    const phase = 2 * Math.PI * generator(90000 + trial).uniform();
    const loaded = (ohm) => 1 / (1 + OUTPUT_OHM / ohm);
    const loadFactor = loaded((INPUT_OHM * loadOhm) / (INPUT_OHM + loadOhm)) / loaded(INPUT_OHM);
    const takes = capture(quality, { gauss, scale, off, phase, loadFactor, trial });
    const idleOf = (id, own) => {
      const x = new Float64Array(8 * RATE);
      for (let n = 0; n < x.length; n++) x[n] = scale[0] * own * gauss() + recorderRms * gauss();
      const [only] = measureIdle(memoryRecording([x], RATE), 50, false);
      return { step: stepOf(id), kind: 'idle', inputs: [only, only], excerpts: null };
    };
    const { figures } = measureJob(board, bench, [...takes, idleOf('bench.idle', 0), idleOf('rest.idle', boardRms)]);
    const of = (id, state = 'rest', output = 'A', source = undefined) => figures.find((f) => f.id === id && f.state === state && f.output === output && (source === undefined || f.source === source));
    const level = FULL_SCALE_DBU + LEVEL_DBFS + toneDb;
    count('level.tone', of('level.tone'), level);
    count('gain.1k', of('gain.1k'), toneDb);
    count('snr.a', of('snr.a'), level - dbu(boardRms ** 2 * whitePower(aWeighting)));
    count('thd', of('thd'), 10 * Math.log10(harmonicPower / tonePower));
    count('thd-n', of('thd-n'), 10 * Math.log10(residual.apart / (tonePower + residual.whole)));
    count('thd-n.notch', of('thd-n.notch'), 10 * Math.log10(residual.notched / (tonePower + residual.whole)));
    count('sinad', of('sinad'), 10 * Math.log10(tonePower / residual.whole));
    count('match.level', of('match.level', 'rest', 'A:B'), OUT_B.db);
    count('match.level-worst-band', of('match.level-worst-band', 'rest', 'A:B'), OUT_B.db);
    count('match.delay', of('match.delay', 'rest', 'A:B'), OUT_B.delayS * 1e6);
    count('match.first-notch', of('match.first-notch', 'rest', 'A:B'), 0.5 / OUT_B.delayS);
    const sourceOhm = GENERATOR_OHM + PLUG_OHM * (1 + off);
    const against = (farad) => (hz) => over(divider(sourceOhm, farad)(hz), divider(sourceOhm, FARAD.lead)(hz));
    const relative = against(FARAD.rest);
    const reference = bandDb(relative, 200, 500);
    for (const [id, hz] of [['droop.5k', 5000], ['droop.10k', 10000], ['droop.20k', 20000]]) count(id, of(id), magnitudeDb(relative, hz) - reference);
    count('corner.-3db', of('corner.-3db', 'loop-x'), cornerOf(against(FARAD.loop)));
    count('capacitance', of('capacitance'), FARAD.rest * 1e12);
    count('input-resistance', of('input-resistance'), SHUNT_OHM / 1000);
    count('output-resistance', of('output-resistance'), OUTPUT_OHM);
    const loopDb = bandDb(inLoop, 200, 5000);
    count('loop.gain', of('loop.gain', 'loop-x'), loopDb);
    for (const [id, fromDb] of [['loop.worst-band', loopDb], ['loop.unity-error', 0]]) {
      const worst = of(id, 'loop-x');
      const band = thirdOctavesWithin(20, 20000).find((t) => worst?.label.includes(`(${t.nominalHz} Hz)`));
      if (band) count(id, worst, bandDb(inLoop, band.lowHz, band.highHz) - fromDb);
    }
    const loopReference = bandDb(inLoop, 200, 500);
    for (const [id, hz] of [['loop.droop.5k', 5000], ['loop.droop.10k', 10000], ['loop.droop.20k', 20000]]) count(id, of(id, 'loop-x', 'A', null), magnitudeDb(inLoop, hz) - loopReference);
  }
}

/** Where a falling response has lost half its power, against 200 to 500 Hz. */
export function cornerOf(h) {
  const wanted = bandDb(h, 200, 500) + 10 * Math.log10(0.5);
  let [low, high] = [1000, 20000];
  while (high - low > 1e-6) {
    const middle = (low + high) / 2;
    if (magnitudeDb(h, middle) > wanted) low = middle;
    else high = middle;
  }
  return low;
}

export const tables = [
  ['take, good signal-to-noise', { recorderRms: 3e-5, boardRms: 1e-4, bend: 0.002, capture: throughSamples }],
  ['take, poor signal-to-noise', { recorderRms: 1e-3, boardRms: 2e-3, bend: 0.02, capture: throughResponses }],
].map(([name, quality]) => ({ name, trials: 400, kept: 1, run: (trials, count) => { takeTrials(trials, count, quality); } }));
