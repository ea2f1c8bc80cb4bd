/**
 * Do the stated 95 % intervals hold the truth in 93 to 97 % of captures?
 *
 * Each trial draws what a bench cannot know (the error of its calibrations, the tolerance of its plug and load, the noise of
 * every capture) and measures a small job whose truth is known in closed form, through the same code as `boardproof
 * measure`. Trials are seeded; the table of 400 or more goes to reports/coverage.json, with the first trials one by one, so
 * that a few seconds tell whether the code still gives the table.
 *
 *     node tests/accuracy/coverage.mjs idle|take [trials] good|poor
 *     node tests/accuracy/coverage.mjs --check     runs the first trials of every table there is again; exit code 1 where they differ
 *
 * The board makes noise and distortion of its own beside the bench's; at poor signal-to-noise the bench hides all but a few decibels.
 */
import { readFileSync, writeFileSync, existsSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { expanded } from '../../dist/src/judge/uncertainty.js';
import { notchGain } from '../../dist/src/measure/distortion.js';
import { GRID_HZ, GRID_LOG_WEIGHT } from '../../dist/src/measure/frequency-grid.js';
import { measureIdle } from '../../dist/src/measure/idle.js';
import { measureJob } from '../../dist/src/measure/job.js';
import { memoryRecording } from '../../dist/src/measure/recording.js';
import { measureTake } from '../../dist/src/measure/take.js';
import { findTakes } from '../../dist/src/measure/take-search.js';
import { irfft, nextPowerOfTwo, rfft } from '../../dist/src/numerics/fft.js';
import { createQuasiPeakMeter } from '../../dist/src/numerics/quasi-peak.js';
import { normalQuantile } from '../../dist/src/numerics/statistics.js';
import { thirdOctavesWithin } from '../../dist/src/numerics/third-octave.js';
import { aWeighting, ccirRmsWeighting } from '../../dist/src/numerics/weighting.js';
import { renderTake } from '../../dist/src/signals/take.js';

const TABLES = [['idle', 'good'], ['idle', 'poor'], ['take', 'good'], ['take', 'poor']];
/** Trials that are kept one by one. */
const KEPT = 2;
const rate = 48000;
const reports = fileURLToPath(new URL('../../reports/coverage.json', import.meta.url));

/** The normal distribution at 65 536 evenly spaced probabilities: drawing one of them is 10 times as fast as Box-Muller, and its variance is 1 to 2e-5. */
const NORMAL = Float64Array.from({ length: 65536 }, (_, i) => normalQuantile((i + 0.5) / 65536));

/** mulberry32 (public domain recipe, from memory). */
function generator(seed) {
  let s = seed >>> 0;
  const bits = () => {
    s = (s + 0x6d2b79f5) >>> 0;
    let t = Math.imul(s ^ (s >>> 15), 1 | s);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return (t ^ (t >>> 14)) >>> 0;
  };
  return { uniform: () => bits() / 4294967296, gauss: () => NORMAL[bits() >>> 16] };
}

const outputsOf = (ids) => ids.map((id) => ({ id, name: id, loadOhm: null, lift: false, polaritySwitch: false, isolated: false }));
const boardOf = (ids) => ({
  name: 'coverage', serial: null, mainsHz: 50, limits: { kind: 'named', name: 'stage' }, instrument: null,
  input: { wiring: null, buffer: null }, loops: [{ id: 'x', name: 'x', expect: 'unity', supply: null, wiring: null }], supplies: [], invented: true,
  match: ids.length > 1 ? [ids] : [], outputs: outputsOf(ids),
});
const FULL_SCALE_DBU = 18;
const TOLERANCE_DB = 0.1;
const PLUG_OHM = 10000;
const LOAD_OHM = 10000;
const INPUT_OHM = 1e6;
const benchOf = (ids) => ({
  name: 'coverage', sampleRateHz: rate, lead: null,
  output: { channel: 1, fullScaleDbu: { value: 12, tolerance: TOLERANCE_DB }, resistanceOhm: 100 },
  inputs: ids.map((output, i) => ({ channel: i + 1, output, fullScaleDbu: { value: FULL_SCALE_DBU, tolerance: TOLERANCE_DB }, resistanceOhm: INPUT_OHM })),
  plugs: [{ id: 'plug', resistanceOhm: { value: PLUG_OHM, tolerance: 0.01 * PLUG_OHM } }],
  loads: [{ id: 'load', output: 'A', resistanceOhm: { value: LOAD_OHM, tolerance: 0.01 * LOAD_OHM } }],
});
const stepOf = (id) => {
  const [, state, plug, what] = /^([^+.]+)(?:\+([^.]+))?\.(\w+)$/.exec(id);
  return { id, state, plug: plug ?? null, kind: what };
};

const tally = new Map();
function count(id, figure, truth) {
  if (!figure || figure.value === null || figure.parts === null || figure.bound !== null || truth === undefined) return;
  const row = tally.get(id) ?? { inside: 0, trials: 0, errorSum: 0, errorSquares: 0, uncertaintySum: 0, first: [] };
  const error = figure.value - truth;
  const u = expanded(figure.parts);
  if (row.first.length < KEPT) row.first.push([error, u].map((v) => Number(v.toPrecision(6))));
  row.trials++;
  if (Math.abs(error) <= u) row.inside++;
  row.errorSum += error;
  row.errorSquares += error * error;
  row.uncertaintySum += u;
  tally.set(id, row);
}

/** Power of white noise of total variance 1 between two frequencies through a weighting. */
function whitePower(weighting, low = 20, high = 20000) {
  let sum = 0;
  const step = 0.5;
  for (let f = low + step / 2; f < high; f += step) sum += weighting(f) ** 2 * step;
  return sum / (rate / 2);
}

const dbu = (p) => FULL_SCALE_DBU + 10 * Math.log10(2 * p);

function idleTrials(trials, quality, quasiPeakOfWhite) {
  const board = boardOf(['A']);
  const bench = benchOf(['A']);
  const boardRms = 1e-5;
  const benchRms = quality === 'good' ? 1e-6 : 0.8e-5;
  const humAmplitudes = [3e-5, 1.5e-5, 8e-6];
  const whineAmplitude = 2e-5;
  const frames = 10 * rate;
  const powers = { unweighted: whitePower(() => 1), a: whitePower(aWeighting), ccir: whitePower(ccirRmsWeighting) };
  for (let trial = 0; trial < trials; trial++) {
    const { gauss, uniform } = generator(1000 + trial);
    const scale = 10 ** (((TOLERANCE_DB / 2) * gauss()) / 20);
    const mains = 50 * (1 + 0.004 * (uniform() - 0.5));
    // Above the 40th harmonic of the mains, where no line can be taken for hum by chance.
    const whineHz = 2200 + 3000 * uniform();
    const phases = [uniform(), uniform(), uniform(), uniform()].map((v) => 2 * Math.PI * v);
    const [benchNoise, rest, hissOnly] = [0, 0, 0].map(() => new Float64Array(frames));
    for (let n = 0; n < frames; n++) {
      benchNoise[n] = benchRms * gauss();
      let s = boardRms * gauss();
      for (let i = 0; i < 3; i++) s += humAmplitudes[i] * Math.sin((2 * Math.PI * (i + 1) * mains * n) / rate + phases[i]);
      s += whineAmplitude * Math.sin((2 * Math.PI * whineHz * n) / rate + phases[3]);
      rest[n] = s * scale + benchRms * gauss();
      hissOnly[n] = boardRms * gauss() * scale + benchRms * gauss();
    }
    const estimate = (id, samples, withQuasiPeak = true) => ({ step: stepOf(id), kind: 'idle', inputs: measureIdle(memoryRecording([samples], rate), 50, withQuasiPeak), excerpts: null });
    const { figures } = measureJob(board, bench, [estimate('bench.idle', benchNoise), estimate('rest.idle', rest, false), estimate('all.idle', hissOnly)]);
    const of = (id, state = 'rest') => figures.find((f) => f.id === id && f.state === state);
    const lines = (weighting = () => 1) =>
      humAmplitudes.reduce((s, h, i) => s + (h * weighting((i + 1) * mains)) ** 2 / 2, 0) + (whineAmplitude * weighting(whineHz)) ** 2 / 2;
    count('noise.unweighted', of('noise.unweighted'), dbu(boardRms ** 2 * powers.unweighted + lines()));
    count('noise.a', of('noise.a'), dbu(boardRms ** 2 * powers.a + lines(aWeighting)));
    count('noise.ccir-rms', of('noise.ccir-rms'), dbu(boardRms ** 2 * powers.ccir + lines(ccirRmsWeighting)));
    count('noise.468-qpk', of('noise.468-qpk', 'all'), dbu((boardRms * quasiPeakOfWhite) ** 2));
    count('noise.hiss', of('noise.hiss'), dbu(boardRms ** 2 * powers.unweighted));
    count('noise.density-1k', of('noise.density-1k'), dbu(boardRms ** 2 / (rate / 2)));
    count('noise.hum', of('noise.hum'), dbu(humAmplitudes.reduce((s, h) => s + h * h / 2, 0)));
    count('noise.hum.h3', of('noise.hum.h3'), dbu(humAmplitudes[2] ** 2 / 2));
    count('noise.whine', of('noise.whine'), dbu(whineAmplitude ** 2 / 2));
    count('noise.whine.1', of('noise.whine.1'), dbu(whineAmplitude ** 2 / 2));
    count('hum.mains-frequency', of('hum.mains-frequency'), mains);
  }
}

const complexTimes = ([a, b], [c, d]) => [a * c - b * d, a * d + b * c];
function through(x, response) {
  const size = nextPowerOfTwo(x.length + rate);
  const s = rfft(x, size);
  for (let k = 0; k <= size / 2; k++) {
    const [re, im] = complexTimes([s.re[k], s.im[k]], k === 0 ? [0, 0] : response((k * rate) / size));
    s.re[k] = re;
    s.im[k] = im;
  }
  return irfft(s).slice(0, x.length);
}

/** Mean power of |h|² between two frequencies, every octave weighing the same, dB: by definition of the level of a band. */
function bandDb(h, lowHz, highHz) {
  let sum = 0;
  let total = 0;
  GRID_HZ.forEach((hz, i) => {
    if (hz < lowHz || hz > highHz) return;
    const [re, im] = h(hz);
    sum += GRID_LOG_WEIGHT[i] * (re * re + im * im);
    total += GRID_LOG_WEIGHT[i];
  });
  return 10 * Math.log10(sum / total);
}

function takeTrials(trials, quality) {
  const board = boardOf(['A', 'B']);
  const bench = benchOf(['A', 'B']);
  const recorderRms = quality === 'good' ? 3e-5 : 1e-3;
  const boardRms = quality === 'good' ? 1e-4 : 2e-3;
  const bend = quality === 'good' ? 0.002 : 0.02;
  const SHUNT_OHM = 1e6;
  const C = { rest: 300e-12, lead: 50e-12, loop: 1200e-12 };
  const OUTPUT_OHM = 220;
  const b = { db: -0.15, delayS: 40e-6 };
  const dry = renderTake({ stepCode: 1, levelDbfs: -12, sweepTopHz: 22080 }, rate, 1, 16 * rate);
  const [located] = findTakes(memoryRecording([dry], rate)).takes;
  const distorted = dry.map((v) => v + bend * v * v);
  const divider = (source, farad) => (hz) => {
    const re = 1 + source / SHUNT_OHM;
    const im = 2 * Math.PI * hz * farad * source;
    const q = re * re + im * im;
    return [re / q, -im / q];
  };
  const outB = (hz) => [10 ** (b.db / 20) * Math.cos(2 * Math.PI * hz * b.delayS), -(10 ** (b.db / 20)) * Math.sin(2 * Math.PI * hz * b.delayS)];
  const inLoop = (hz) => complexTimes([10 ** (-0.12 / 20), 0], [1 / (1 + (hz / 40000) ** 2), -(hz / 40000) / (1 + (hz / 40000) ** 2)]);
  const direct = divider(100, C.rest);
  const restA = through(distorted, direct);
  // The bench's own second harmonic, which meets the board's at any phase: cosine and sine of it, for the tone alone.
  const squared = dry.map((v) => v * v);
  const aroundHarmonic = (turn) => through(squared, (hz) => (Math.abs(hz - 1994) < 150 ? turn : [0, 0]));
  const [benchCosine, benchSine] = [aroundHarmonic([1, 0]), aroundHarmonic([0, -1])];
  const clean = { dry: [dry], restA: [restA], restB: [through(restA, outB)], loop: [through(restA, inLoop)] };
  // A plug may be any within its tolerance: the wave through it is a parabola through three, 3e-7 from exact at 1.5 %.
  const ofPlug = (farad) => {
    const [low, middle, high] = [-0.015, 0, 0.015].map((d) => through(dry, divider(100 + PLUG_OHM * (1 + d), farad)));
    return [middle, middle.map((_, n) => (high[n] - low[n]) / 0.03), middle.map((m, n) => (high[n] + low[n] - 2 * m) / (2 * 0.015 ** 2))];
  };
  const plugged = { rest: ofPlug(C.rest), lead: ofPlug(C.lead), loop: ofPlug(C.loop) };
  const A = 10 ** (-12 / 20);
  const noisePower = (low, high) => (boardRms ** 2 * (high - low)) / (rate / 2);
  const toneDb = 20 * Math.log10(Math.hypot(...direct(997)));
  const magnitude = (h, hz) => 20 * Math.log10(Math.hypot(...h(hz)));
  const tonePower = (A * 10 ** (toneDb / 20)) ** 2 / 2;
  const harmonicPower = (((bend * A * A) / 2) * 10 ** (magnitude(direct, 1994) / 20)) ** 2 / 2;
  const residual = {
    whole: harmonicPower + noisePower(4, 20000),
    apart: harmonicPower + noisePower(4, 997 / 1.5) + noisePower(997 * 1.5, 20000),
    notched: harmonicPower * notchGain(1994, 997) ** 2 + boardRms ** 2 * whitePower((hz) => notchGain(hz, 997)),
  };
  for (let trial = 0; trial < trials; trial++) {
    const { gauss } = generator(7000 + trial);
    const scale = [0, 1].map(() => 10 ** (((TOLERANCE_DB / 2) * gauss()) / 20));
    const off = 0.005 * gauss();
    const loadOhm = LOAD_OHM * (1 + 0.005 * gauss());
    const { uniform } = generator(90000 + trial);
    const phase = 2 * Math.PI * uniform();
    const [cosine, sine] = [0.05 * bend * Math.cos(phase), 0.05 * bend * Math.sin(phase)];
    const record = ([c0, c1, c2], channel, own, gain = 1) => {
      const x = new Float64Array(c0.length);
      const k = scale[channel];
      for (let n = 0; n < x.length; n++) {
        const s = c1 ? c0[n] + off * (c1[n] + off * c2[n]) : c0[n];
        x[n] = k * (gain * (s + cosine * benchCosine[n] + sine * benchSine[n]) + own * gauss()) + recorderRms * gauss();
      }
      return x;
    };
    const estimate = (id, channels) => {
      const inputs = measureTake(memoryRecording(channels, rate), located, channels.map((_, c) => c));
      // Nothing is counted on output B but its match: elsewhere A stands for it.
      return { step: stepOf(id), kind: 'take', inputs: inputs.length > 1 ? inputs : [inputs[0], inputs[0]] };
    };
    const loaded = (ohm) => 1 / (1 + OUTPUT_OHM / ohm);
    const q = loaded((INPUT_OHM * loadOhm) / (INPUT_OHM + loadOhm)) / loaded(INPUT_OHM);
    const idleOf = (own) => {
      const x = new Float64Array(8 * rate);
      for (let n = 0; n < x.length; n++) x[n] = scale[0] * own * gauss() + recorderRms * gauss();
      const [only] = measureIdle(memoryRecording([x], rate), 50, false);
      return [only, only];
    };
    const estimates = [
      estimate('bench.take', [record(clean.dry, 0, 0), record(clean.dry, 1, 0)]),
      estimate('rest.take', [record(clean.restA, 0, boardRms), record(clean.restB, 1, boardRms)]),
      estimate('rest+plug.take', [record(plugged.rest, 0, boardRms)]),
      estimate('lead+plug.take', [record(plugged.lead, 0, 0)]),
      estimate('loop-x.take', [record(clean.loop, 0, boardRms)]),
      estimate('loop-x+plug.take', [record(plugged.loop, 0, boardRms)]),
      estimate('rest+load.take', [record(clean.restA, 0, boardRms, q)]),
      { step: stepOf('bench.idle'), kind: 'idle', inputs: idleOf(0), excerpts: null },
      { step: stepOf('rest.idle'), kind: 'idle', inputs: idleOf(boardRms), excerpts: null },
    ];
    const { figures } = measureJob(board, bench, estimates);
    const of = (id, state = 'rest', output = 'A') => figures.find((f) => f.id === id && f.state === state && f.output === output);
    const level = FULL_SCALE_DBU - 12 + toneDb;
    count('level.tone', of('level.tone'), level);
    count('gain.1k', of('gain.1k'), toneDb);
    count('snr.a', of('snr.a'), level - dbu(boardRms ** 2 * whitePower(aWeighting)));
    count('thd', of('thd'), 10 * Math.log10(harmonicPower / tonePower));
    count('thd-n', of('thd-n'), 10 * Math.log10(residual.apart / (tonePower + residual.whole)));
    count('thd-n.notch', of('thd-n.notch'), 10 * Math.log10(residual.notched / (tonePower + residual.whole)));
    count('sinad', of('sinad'), 10 * Math.log10(tonePower / residual.whole));
    count('match.level', of('match.level', 'rest', 'A:B'), b.db);
    count('match.level-worst-band', of('match.level-worst-band', 'rest', 'A:B'), b.db);
    count('match.delay', of('match.delay', 'rest', 'A:B'), b.delayS * 1e6);
    count('match.first-notch', of('match.first-notch', 'rest', 'A:B'), 0.5 / b.delayS);
    const over = (a, c) => (hz) => {
      const [ar, ai] = a(hz);
      const [br, bi] = c(hz);
      const square = br * br + bi * bi;
      return [(ar * br + ai * bi) / square, (ai * br - ar * bi) / square];
    };
    const straight = divider(100 + PLUG_OHM * (1 + off), C.lead);
    const relative = over(divider(100 + PLUG_OHM * (1 + off), C.rest), straight);
    const reference = bandDb(relative, 200, 500);
    for (const [id, hz] of [['droop.5k', 5000], ['droop.10k', 10000], ['droop.20k', 20000]]) count(id, of(id), magnitude(relative, hz) - reference);
    const dull = over(divider(100 + PLUG_OHM * (1 + off), C.loop), straight);
    const wanted = bandDb(dull, 200, 500) + 10 * Math.log10(0.5);
    let [low, high] = [1000, 20000];
    while (high - low > 1e-6) {
      const middle = (low + high) / 2;
      if (magnitude(dull, middle) > wanted) low = middle;
      else high = middle;
    }
    count('corner.-3db', of('corner.-3db', 'loop-x'), low);
    count('capacitance', of('capacitance'), C.rest * 1e12);
    count('input-resistance', of('input-resistance'), SHUNT_OHM / 1000);
    count('output-resistance', of('output-resistance'), OUTPUT_OHM);
    const loopDb = bandDb(inLoop, 200, 5000);
    count('loop.gain', of('loop.gain', 'loop-x'), loopDb);
    const worst = of('loop.worst-band', 'loop-x');
    const band = thirdOctavesWithin(20, 20000).find((t) => worst?.label.includes(`(${t.nominalHz} Hz)`));
    if (band) count('loop.worst-band', worst, bandDb(inLoop, band.lowHz, band.highHz) - loopDb);
  }
}

/** What the quasi-peak meter reads of white noise in the long run has no closed form: the mean of 10 minutes, good to 0.01 dB. */
function quasiPeakOfWhite() {
  const meter = createQuasiPeakMeter(rate, 3);
  const { gauss } = generator(99);
  const block = new Float64Array(rate);
  for (let second = 0; second < 600; second++) {
    for (let n = 0; n < rate; n++) block[n] = gauss();
    meter.push(block, rate);
  }
  return meter.finish().mean;
}

function run(kind, trials, quality, whiteReads) {
  tally.clear();
  if (kind === 'idle') idleTrials(trials, quality, whiteReads);
  else takeTrials(trials, quality);
  return new Map(tally);
}

const nameOf = (kind, quality) => `${kind}, ${quality} signal-to-noise`;
const load = () => (existsSync(reports) ? JSON.parse(readFileSync(reports, 'utf8')) : { format: 'boardproof-coverage/1', made: 'node tests/accuracy/coverage.mjs', tables: {} });

function check() {
  const all = load();
  let differ = 0;
  for (const [kind, quality] of TABLES) {
    const stored = all.tables[nameOf(kind, quality)];
    if (!stored) {
      console.log(`reports/coverage.json has no table yet of ${nameOf(kind, quality)}: node tests/accuracy/coverage.mjs ${kind} 400 ${quality}`);
      continue;
    }
    const now = run(kind, KEPT, quality, all.quasiPeakOfWhite);
    for (const [id, { first }] of Object.entries(stored)) {
      // Another machine's Math.sin differs in the last bit; a changed measure differs by far more.
      const same = JSON.stringify(now.get(id)?.first.map((pair) => pair.map((v) => v.toPrecision(3)))) === JSON.stringify(first.slice(0, now.get(id)?.first.length).map((pair) => pair.map((v) => v.toPrecision(3))));
      if (same) continue;
      differ++;
      console.log(`${nameOf(kind, quality)}: ${id} is no longer what the table was made with: ${JSON.stringify(first)} then, ${JSON.stringify(now.get(id)?.first)} now`);
    }
  }
  console.log(differ === 0 ? 'reports/coverage.json is current' : `reports/coverage.json is not current: make it again, node tests/accuracy/coverage.mjs (idle|take) 400 (good|poor)`);
  process.exitCode = differ === 0 ? 0 : 1;
}

function makeTable(kind, trials, quality) {
  const began = performance.now();
  const all = load();
  all.quasiPeakOfWhite ??= kind === 'idle' ? quasiPeakOfWhite() : undefined;
  const table = Object.fromEntries(
    [...run(kind, trials, quality, all.quasiPeakOfWhite)].map(([id, r]) => [
      id,
      {
        trials: r.trials,
        coveragePercent: Number(((100 * r.inside) / r.trials).toFixed(1)),
        meanError: Number((r.errorSum / r.trials).toPrecision(3)),
        rmsError: Number(Math.sqrt(r.errorSquares / r.trials).toPrecision(3)),
        meanUncertainty95: Number((r.uncertaintySum / r.trials).toPrecision(3)),
        first: r.first,
      },
    ]),
  );
  console.table(Object.fromEntries(Object.entries(table).map(([id, row]) => [id, { ...row, first: undefined }])));
  console.log(`${((performance.now() - began) / 1000).toFixed(0)} s`);
  if (trials < 400) return;
  const now = load();
  now.quasiPeakOfWhite ??= all.quasiPeakOfWhite;
  now.tables[nameOf(kind, quality)] = table;
  writeFileSync(reports, `${JSON.stringify(now, null, 1)}\n`);
}

if (process.argv[2] === '--check') check();
else {
  const [kind = 'idle', trialsText = '400', quality = 'good'] = process.argv.slice(2);
  makeTable(kind, Number(trialsText), quality);
}
