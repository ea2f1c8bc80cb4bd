/**
 * The last stages of the simulated recorder: its harmonics, and samples to integers.
 *
 * @module
 */

import { dbToAmplitude } from '../units/decibels.js';
import type { BenchTruth } from './model.js';
import type { Random } from './random.js';

/** One side of a half-band low-pass of 31 taps (sinc, Hann window): the taps at odd distances; the centre is 1/2. */
const HALF_BAND: readonly number[] = [1, 3, 5, 7, 9, 11, 13, 15].map(
  (n) => (Math.sin((Math.PI * n) / 2) / (Math.PI * n)) * (0.5 + 0.5 * Math.cos((Math.PI * n) / 16)),
);

/**
 * Adds the harmonics of a recorder input, as x + a₂·x² + a₃·x³ with the coefficients that give a full-scale sine its stated
 * harmonics. The powers are taken of what lies below a quarter of the sample rate, as the harmonics of anything higher
 * would be above half of it, where a converter's own filter removes them.
 */
export function addHarmonics(samples: Float64Array, bench: BenchTruth): void {
  const { secondHarmonicDb, thirdHarmonicDb } = bench;
  if (secondHarmonicDb === null && thirdHarmonicDb === null) return;
  const a2 = secondHarmonicDb === null ? 0 : 2 * dbToAmplitude(secondHarmonicDb);
  const a3 = thirdHarmonicDb === null ? 0 : 4 * dbToAmplitude(thirdHarmonicDb);
  const x = samples.slice();
  const [h1, h3, h5, h7, h9, h11, h13, h15] = HALF_BAND;
  for (let n = 15; n < x.length - 15; n++) {
    const low =
      0.5 * x[n] +
      h1 * (x[n - 1] + x[n + 1]) +
      h3 * (x[n - 3] + x[n + 3]) +
      h5 * (x[n - 5] + x[n + 5]) +
      h7 * (x[n - 7] + x[n + 7]) +
      h9 * (x[n - 9] + x[n + 9]) +
      h11 * (x[n - 11] + x[n + 11]) +
      h13 * (x[n - 13] + x[n + 13]) +
      h15 * (x[n - 15] + x[n + 15]);
    samples[n] += low * low * (a2 + a3 * low);
  }
}

/**
 * Rounds in place to steps of 2^(1 − bits) with triangular dither of ±1 step (TPDF), clamped to what the integers hold
 * (−1 … 1 − one step).
 *
 * @returns how many samples were clamped.
 */
export function quantise(samples: Float64Array, bits: number, random: Random): number {
  const scale = 2 ** (bits - 1);
  let clamped = 0;
  for (let n = 0; n < samples.length; n++) {
    const value = Math.floor(samples[n] * scale + random.triangular() + 0.5);
    if (value > scale - 1 || value < -scale) clamped++;
    samples[n] = Math.max(-scale, Math.min(scale - 1, value)) / scale;
  }
  return clamped;
}
