/**
 * Do the stated 95 % intervals hold the truth in 93 to 97 % of captures?
 *
 * Each trial draws what a bench cannot know (the error of its calibrations, the tolerance of its plug, the noise of every
 * capture) and measures a small job whose truth is known in closed form, through the same code as `boardproof measure`.
 * Trials are seeded; the table goes to reports/coverage.json.
 *
 *     node tests/accuracy/coverage.mjs [idle|take] [trials] [good|poor]
 */
import { readFileSync, writeFileSync, existsSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { expanded } from '../../dist/src/judge/uncertainty.js';
import { GRID_HZ } from '../../dist/src/measure/frequency-grid.js';
import { estimateCapture, measureJob } from '../../dist/src/measure/job.js';
import { memoryRecording } from '../../dist/src/measure/recording.js';
import { measureTake } from '../../dist/src/measure/take.js';
import { findTakes } from '../../dist/src/measure/take-search.js';
import { irfft, nextPowerOfTwo, rfft } from '../../dist/src/numerics/fft.js';
import { aWeighting, ccirRmsWeighting } from '../../dist/src/numerics/weighting.js';
import { renderTake } from '../../dist/src/signals/take.js';

const [kind = 'idle', trialsText = '400', quality = 'good'] = process.argv.slice(2);
const trials = Number(trialsText);
const rate = 48000;
const reports = fileURLToPath(new URL('../../reports/coverage.json', import.meta.url));

/** mulberry32 (public domain recipe, from memory) and Box-Muller, both values used. */
function generator(seed) {
  let s = seed >>> 0;
  const uniform = () => {
    s = (s + 0x6d2b79f5) >>> 0;
    let t = Math.imul(s ^ (s >>> 15), 1 | s);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
  let spare = null;
  const gauss = () => {
    if (spare !== null) {
      const v = spare;
      spare = null;
      return v;
    }
    const r = Math.sqrt(-2 * Math.log(1 - uniform()));
    const a = 2 * Math.PI * uniform();
    spare = r * Math.sin(a);
    return r * Math.cos(a);
  };
  return { uniform, gauss };
}

const board = {
  name: 'coverage', serial: null, mainsHz: 50, limits: { kind: 'named', name: 'stage' }, instrument: null,
  input: { wiring: null, buffer: null }, loops: [], supplies: [], invented: true, match: [['A', 'B']],
  outputs: ['A', 'B'].map((id) => ({ id, name: id, loadOhm: null, lift: false, polaritySwitch: false, isolated: false })),
};
const FULL_SCALE_DBU = 18;
const TOLERANCE_DB = 0.1;
const PLUG_OHM = 10000;
const bench = {
  name: 'coverage', sampleRateHz: rate, lead: null,
  output: { channel: 1, fullScaleDbu: { value: 12, tolerance: TOLERANCE_DB }, resistanceOhm: 100 },
  inputs: [1, 2].map((channel, i) => ({ channel, output: 'AB'[i], fullScaleDbu: { value: FULL_SCALE_DBU, tolerance: TOLERANCE_DB }, resistanceOhm: null })),
  plugs: [{ id: 'plug', resistanceOhm: { value: PLUG_OHM, tolerance: 0.01 * PLUG_OHM } }],
};
const stepOf = (id) => {
  const [, state, plug, what] = /^([^+.]+)(?:\+([^.]+))?\.(\w+)$/.exec(id);
  return { id, state, plug: plug ?? null, kind: what };
};

const tally = new Map();
function count(id, figure, truth) {
  if (!figure || figure.value === null || figure.parts === null || figure.bound !== null || truth === undefined) return;
  const row = tally.get(id) ?? { inside: 0, trials: 0, errorSum: 0, errorSquares: 0, uncertaintySum: 0 };
  const error = figure.value - truth;
  const u = expanded(figure.parts);
  row.trials++;
  if (Math.abs(error) <= u) row.inside++;
  row.errorSum += error;
  row.errorSquares += error * error;
  row.uncertaintySum += u;
  tally.set(id, row);
}

/** Power of white noise of total variance 1 between 20 Hz and 20 kHz through a weighting. */
function whitePower(weighting) {
  let sum = 0;
  const step = 0.5;
  for (let f = 20 + step / 2; f < 20000; f += step) sum += weighting(f) ** 2 * step;
  return sum / (rate / 2);
}

function idleTrials() {
  const boardRms = 1e-5;
  const benchRms = quality === 'good' ? 1e-6 : 0.8e-5;
  const humAmplitudes = [3e-5, 1.5e-5, 8e-6];
  const whineAmplitude = 2e-5;
  const frames = 10 * rate;
  const powers = { unweighted: whitePower(() => 1), a: whitePower(aWeighting), ccir: whitePower(ccirRmsWeighting) };
  for (let trial = 0; trial < trials; trial++) {
    const { gauss, uniform } = generator(1000 + trial);
    const scale = [0, 1].map(() => 10 ** ((TOLERANCE_DB / 2) * gauss() / 20));
    const noise = (rms) => {
      const x = new Float64Array(frames);
      for (let n = 0; n < frames; n++) x[n] = rms * gauss();
      return x;
    };
    const mains = 50 * (1 + 0.004 * (uniform() - 0.5));
    // Above the 40th harmonic of the mains, where no line can be taken for hum by chance.
    const whineHz = 2200 + 3000 * uniform();
    const benchNoise = [noise(benchRms), noise(benchRms)];
    const rest = [0, 1].map((c) => {
      const a = noise(boardRms);
      const b = noise(benchRms);
      const phases = [uniform(), uniform(), uniform(), uniform()].map((v) => 2 * Math.PI * v);
      return a.map((v, n) => {
        let s = v;
        humAmplitudes.forEach((h, i) => (s += h * Math.sin((2 * Math.PI * (i + 1) * mains * n) / rate + phases[i])));
        s += whineAmplitude * Math.sin((2 * Math.PI * whineHz * n) / rate + phases[3]);
        return (s + b[n] / scale[c]) * scale[c];
      });
    });
    const estimates = [
      estimateCapture(memoryRecording(benchNoise, rate), stepOf('bench.idle'), bench, 50),
      estimateCapture(memoryRecording(rest, rate), stepOf('rest.idle'), bench, 50),
    ];
    const { figures } = measureJob(board, bench, estimates);
    const of = (id) => figures.find((f) => f.id === id && f.state === 'rest' && f.output === 'A');
    const lines = (weighting = () => 1) =>
      humAmplitudes.reduce((s, h, i) => s + (h * weighting((i + 1) * mains)) ** 2 / 2, 0) + (whineAmplitude * weighting(whineHz)) ** 2 / 2;
    const dbu = (p) => FULL_SCALE_DBU + 10 * Math.log10(2 * p);
    count('noise.unweighted', of('noise.unweighted'), dbu(boardRms ** 2 * powers.unweighted + lines()));
    count('noise.a', of('noise.a'), dbu(boardRms ** 2 * powers.a + lines(aWeighting)));
    count('noise.ccir-rms', of('noise.ccir-rms'), dbu(boardRms ** 2 * powers.ccir + lines(ccirRmsWeighting)));
    count('noise.hiss', of('noise.hiss'), dbu(boardRms ** 2 * powers.unweighted));
    count('noise.density-1k', of('noise.density-1k'), dbu(boardRms ** 2 / (rate / 2)));
    count('noise.hum', of('noise.hum'), dbu(humAmplitudes.reduce((s, h) => s + h * h / 2, 0)));
    count('noise.hum.h3', of('noise.hum.h3'), dbu(humAmplitudes[2] ** 2 / 2));
    count('noise.whine', of('noise.whine'), dbu(whineAmplitude ** 2 / 2));
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

function takeTrials() {
  const noiseRms = quality === 'good' ? 3e-5 : 1e-3;
  const SHUNT_OHM = 1e6;
  const C = { rest: 300e-12, lead: 50e-12 };
  const b = { gain: 10 ** (-0.15 / 20), delayS: 3.3e-6 };
  const dry = renderTake({ stepCode: 1, levelDbfs: -12, sweepTopHz: 22080 }, rate, 1, 16 * rate);
  const [located] = findTakes(memoryRecording([dry], rate)).takes;
  const distorted = dry.map((v) => v + 0.002 * v * v);
  const divider = (source, farad) => (hz) => {
    const re = 1 + source / SHUNT_OHM;
    const im = 2 * Math.PI * hz * farad * source;
    const q = re * re + im * im;
    return [re / q, -im / q];
  };
  const outB = (hz) => [b.gain * Math.cos(2 * Math.PI * hz * b.delayS), -b.gain * Math.sin(2 * Math.PI * hz * b.delayS)];
  // Forty plugs within tolerance stand for the continuum: the clean waves are dear to make.
  const { gauss: drawPlug } = generator(5);
  const plugs = Array.from({ length: 40 }, () => PLUG_OHM * (1 + 0.005 * drawPlug()));
  const cleanOf = (response, source = dry) => [through(source, response), through(source, (hz) => complexTimes(response(hz), outB(hz)))];
  const rest = cleanOf(divider(100, C.rest), distorted);
  for (let trial = 0; trial < trials; trial++) {
    const { gauss } = generator(7000 + trial);
    const scale = [0, 1].map(() => 10 ** (((TOLERANCE_DB / 2) * gauss()) / 20));
    const plugOhm = plugs[trial % plugs.length];
    const noisy = (channels) => channels.map((x, c) => x.map((v) => v * scale[c] + noiseRms * gauss()));
    const plugged = cleanOf(divider(100 + plugOhm, C.rest));
    const lead = cleanOf(divider(100 + plugOhm, C.lead));
    const estimate = (id, channels) => ({ step: stepOf(id), kind: 'take', inputs: measureTake(memoryRecording(noisy(channels), rate), located, [0, 1]) });
    const estimates = [
      estimate('bench.take', [dry, dry]),
      estimate('rest.take', rest),
      estimate('rest+plug.take', plugged),
      estimate('lead+plug.take', lead),
    ];
    const { figures } = measureJob(board, bench, estimates);
    const of = (id, state = 'rest', output = 'A') => figures.find((f) => f.id === id && f.state === state && f.output === output);
    const magnitude = (h, hz) => 20 * Math.log10(Math.hypot(...h(hz)));
    const direct = divider(100, C.rest);
    count('level.tone', of('level.tone'), FULL_SCALE_DBU - 12 + magnitude(direct, 997));
    count('gain.1k', of('gain.1k'), magnitude(direct, 997));
    count('thd', of('thd'), 20 * Math.log10(0.002 * 10 ** (-12 / 20) / 2) + magnitude(direct, 1994) - magnitude(direct, 997));
    count('match.level', of('match.level', 'rest', 'A:B'), -0.15);
    count('match.delay', of('match.delay', 'rest', 'A:B'), b.delayS * 1e6);
    const relative = (hz) => {
      const p = divider(100 + plugOhm, C.rest)(hz);
      const l = divider(100 + plugOhm, C.lead)(hz);
      return 20 * Math.log10(Math.hypot(...p) / Math.hypot(...l));
    };
    const first = GRID_HZ.findIndex((f) => f >= 200);
    const last = GRID_HZ.findLastIndex((f) => f <= 500);
    let power = 0;
    let weight = 0;
    for (let i = first; i <= last; i++) {
      const w = Math.log(GRID_HZ[i + 1] / GRID_HZ[i - 1]) / 2;
      power += w * 10 ** (relative(GRID_HZ[i]) / 10);
      weight += w;
    }
    const reference = 10 * Math.log10(power / weight);
    for (const [id, hz] of [['droop.5k', 5000], ['droop.10k', 10000], ['droop.20k', 20000]]) count(id, of(id), relative(hz) - reference);
    count('capacitance', of('capacitance'), C.rest * 1e12);
    count('input-resistance', of('input-resistance'), SHUNT_OHM / 1000);
  }
}

const began = performance.now();
if (kind === 'idle') idleTrials();
else takeTrials();
const table = Object.fromEntries(
  [...tally].map(([id, r]) => [
    id,
    {
      trials: r.trials,
      coveragePercent: Number(((100 * r.inside) / r.trials).toFixed(1)),
      meanError: Number((r.errorSum / r.trials).toPrecision(3)),
      rmsError: Number(Math.sqrt(r.errorSquares / r.trials).toPrecision(3)),
      meanUncertainty95: Number((r.uncertaintySum / r.trials).toPrecision(3)),
    },
  ]),
);
console.table(table);
console.log(`${((performance.now() - began) / 1000).toFixed(0)} s`);
if (trials >= 400) {
  const all = existsSync(reports) ? JSON.parse(readFileSync(reports, 'utf8')) : { format: 'boardproof-coverage/1', made: 'node tests/accuracy/coverage.mjs', tables: {} };
  all.tables[`${kind}, ${quality} signal-to-noise`] = table;
  writeFileSync(reports, `${JSON.stringify(all, null, 1)}\n`);
}
