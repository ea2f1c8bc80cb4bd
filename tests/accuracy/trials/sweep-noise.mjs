/**
 * Takes from closed-form responses, with the error that noise leaves in them after the real division: white noise recordings
 * of rms 1 are divided by the sweep once, and each take adds one of them, as strong as its noise, turned by any phase (the error of
 * a response is linear in the noise and favours no phase). That division leaves a clean response whole, to 1e-8 dB, is proved elsewhere.
 *
 * The square of an error at one frequency scatters by 100 %, so that the mean of n of them is off by 1/√n: of 241 recordings alone a stated
 * uncertainty would seem 3 % too small or too large whatever it is. Errors a few hertz apart are independent (the lag window is a second
 * long), so each recording is read at {@link SHIFTS} grids side by side, and the pool is off by 1 %.
 */
import { GRID_HZ } from '../../../dist/src/measure/frequency-grid.js';
import { memoryRecording } from '../../../dist/src/measure/recording.js';
import { densityAt, readSweep, silencePsd } from '../../../dist/src/measure/take.js';
import { impulseResponse, linearResponse } from '../../../dist/src/numerics/deconvolution.js';
import { takeTimetable } from '../../../dist/src/signals/take.js';
import { RATE, generator } from './draws.mjs';

export const LEVEL_DBFS = -12;
const located = { identity: { stepCode: 1, levelDbfs: LEVEL_DBFS, sweepTopHz: 22080 }, startFrame: RATE / 10, clockRatio: 1, toneClockRatio: 1, extraFrames: 0, channel: 0, likeness: 1 };

/** A prime number, so that every take of a trial is given each of them in turn. */
const RECORDINGS = 241;
const SHIFTS = 8;
/** Of the frequency, from one grid to the next: more than the width of an error from 500 Hz on, and all eight less than a 20th of an octave. */
const SHIFT = 0.003;
const SHIFTED_HZ = Float64Array.from({ length: SHIFTS * GRID_HZ.length }, (_, k) => GRID_HZ[k % GRID_HZ.length] * (1 - SHIFT * Math.floor(k / GRID_HZ.length)));
const known = new Map();

/** Errors of a response at each of the shifted grids, and what is stated of them, for noise of rms 1. */
function divided(index) {
  let entry = known.get(index);
  if (!entry) {
    const { gauss } = generator(500000 + index);
    const x = new Float64Array(Math.ceil((takeTimetable.lengthS + 0.3) * RATE));
    for (let n = 0; n < x.length; n++) x[n] = gauss();
    const { reference, sweeps, silences } = readSweep(memoryRecording([x], RATE), located);
    const { response, noiseGain } = linearResponse(impulseResponse(sweeps[0], reference), reference, SHIFTED_HZ);
    const psd = silencePsd(silences.map(([quiet]) => quiet), RATE);
    entry = { re: response.re, im: response.im, variance: noiseGain.map((g, i) => g * densityAt(psd, SHIFTED_HZ[i])) };
    known.set(index, entry);
  }
  return entry;
}

/** One of the pool: every recording once before the next grid is used. */
function drawn(n) {
  const { re, im, variance } = divided(n % RECORDINGS);
  const from = (Math.floor(n / RECORDINGS) % SHIFTS) * GRID_HZ.length;
  const own = (values) => values.subarray(from, from + GRID_HZ.length);
  return { re: own(re), im: own(im), variance: own(variance) };
}

/** Draws takes of one trial: `take(h, rms)` is that of a response in noise of this rms (full scale 1). */
export function takesOf(trial, perTrial) {
  const { uniform } = generator(300000 + trial);
  let taken = 0;
  return (h, rms, peakLagS = 0) => {
    const { re, im, variance } = drawn(trial * perTrial + taken++);
    const angle = 2 * Math.PI * uniform();
    const [c, s] = [rms * Math.cos(angle), rms * Math.sin(angle)];
    const curve = { re: new Float64Array(GRID_HZ.length), im: new Float64Array(GRID_HZ.length) };
    GRID_HZ.forEach((hz, i) => {
      const [a, b] = h(hz);
      curve.re[i] = a + c * re[i] - s * im[i];
      curve.im[i] = b + s * re[i] + c * im[i];
    });
    return { located, tone: null, response: { curve, variance: variance.map((v) => v * rms * rms), peakLagS }, silencePower: rms * rms };
  };
}
