/** Seeded chance, complex numbers and the simplest of boards and benches, as the trials share them. */
import { GRID_HZ, GRID_LOG_WEIGHT } from '../../../dist/src/measure/frequency-grid.js';
import { normalQuantile } from '../../../dist/src/numerics/statistics.js';

export const RATE = 48000;

/** The normal distribution at 65 536 evenly spaced probabilities: drawing one of them is 10 times as fast as Box-Muller, and its variance is 1 to 2e-5. */
const NORMAL = Float64Array.from({ length: 65536 }, (_, i) => normalQuantile((i + 0.5) / 65536));

/** mulberry32 (public domain recipe, from memory). */
export function generator(seed) {
  let s = seed >>> 0;
  const bits = () => {
    s = (s + 0x6d2b79f5) >>> 0;
    let t = Math.imul(s ^ (s >>> 15), 1 | s);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return (t ^ (t >>> 14)) >>> 0;
  };
  return { uniform: () => bits() / 4294967296, gauss: () => NORMAL[bits() >>> 16] };
}

export const times = ([a, b], [c, d]) => [a * c - b * d, a * d + b * c];
export const over = ([a, b], [c, d]) => [(a * c + b * d) / (c * c + d * d), (b * c - a * d) / (c * c + d * d)];
export const plus = ([a, b], [c, d]) => [a + c, b + d];
export const magnitudeDb = (h, hz) => 20 * Math.log10(Math.hypot(...h(hz)));
/** A pure delay. */
export const delayed = (seconds, factor = 1) => (hz) => [factor * Math.cos(2 * Math.PI * hz * seconds), -factor * Math.sin(2 * Math.PI * hz * seconds)];
/** A source's resistance into a capacitance beside a conductance. */
export const divider = (sourceOhm, farad, siemens = 1e-6) => (hz) => over([1, 0], [1 + sourceOhm * siemens, 2 * Math.PI * hz * farad * sourceOhm]);
/** First-order low-pass with a gain. */
export const lowPass = (cornerHz, gain = 1) => (hz) => over([gain, 0], [1, hz / cornerHz]);

/** Mean power of |h|² between two frequencies, every octave weighing the same, dB: by definition of the level of a band. */
export function bandDb(h, lowHz, highHz) {
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

/** Power of white noise of total variance 1 between two frequencies through a weighting. */
export function whitePower(weighting, low = 20, high = 20000) {
  let sum = 0;
  const step = 0.5;
  for (let f = low + step / 2; f < high; f += step) sum += weighting(f) ** 2 * step;
  return sum / (RATE / 2);
}

export const FULL_SCALE_DBU = 18;
/** Of a calibration, dB, 95 %. */
export const TOLERANCE_DB = 0.1;
export const PLUG_OHM = 10000;
export const LOAD_OHM = 10000;
export const INPUT_OHM = 1e6;
export const GENERATOR_OHM = 100;

/** dBu of a mean square at the recorder. */
export const dbu = (meanSquare) => FULL_SCALE_DBU + 10 * Math.log10(2 * meanSquare);
/** The factor that a calibration is off by. */
export const calibrationError = (gauss) => 10 ** (((TOLERANCE_DB / 2) * gauss()) / 20);

export const boardOf = (outputIds, loopIds, more = {}) => ({
  name: 'coverage',
  serial: null,
  mainsHz: 50,
  limits: { kind: 'named', name: 'stage' },
  instrument: null,
  input: { wiring: null, buffer: null },
  loops: loopIds.map((id) => ({ id, name: id, expect: 'unity', supply: null, currentA: null, wiring: null })),
  supplies: [],
  invented: true,
  match: outputIds.length > 1 ? [outputIds] : [],
  outputs: outputIds.map((id) => ({ id, name: id, loadOhm: null, lift: false, polaritySwitch: false, isolated: false })),
  ...more,
});

export const benchOf = (outputIds, more = {}) => ({
  name: 'coverage',
  sampleRateHz: RATE,
  lead: null,
  output: { channel: 1, fullScaleDbu: { value: 12, tolerance: TOLERANCE_DB }, resistanceOhm: GENERATOR_OHM },
  inputs: outputIds.map((output, i) => ({ channel: i + 1, output, fullScaleDbu: { value: FULL_SCALE_DBU, tolerance: TOLERANCE_DB }, resistanceOhm: INPUT_OHM })),
  plugs: [{ id: 'plug', resistanceOhm: { value: PLUG_OHM, tolerance: 0.01 * PLUG_OHM } }],
  loads: [{ id: 'load', output: 'A', resistanceOhm: { value: LOAD_OHM, tolerance: 0.01 * LOAD_OHM } }],
  ...more,
});

export const stepOf = (id) => {
  const [, state, plug, what] = /^([^+.]+)(?:\+([^.]+))?\.(\w+)$/.exec(id);
  return { id, state, plug: plug ?? null, kind: what };
};
