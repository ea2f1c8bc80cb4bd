/**
 * Frequencies and scales that the charts and their tables share.
 *
 * @module
 */

import { type ThirdOctave, thirdOctave } from '../../numerics/third-octave.js';

/** What a chart shows: the audio band. */
export const LOWEST_HZ = 20;
export const HIGHEST_HZ = 20_000;

/** The third-octave bands from 20 Hz to 20 kHz. */
export const BANDS: readonly ThirdOctave[] = Array.from({ length: 31 }, (_, i) => thirdOctave(i - 17));

/** Ruled lines of the logarithmic axis: 1 to 9 of every decade within the band. */
export const RULED_HZ: readonly number[] = [10, 100, 1000, 10_000]
  .flatMap((decade) => [1, 2, 3, 4, 5, 6, 7, 8, 9].map((n) => n * decade))
  .filter((hz) => hz >= LOWEST_HZ && hz <= HIGHEST_HZ);

export interface Span {
  readonly low: number;
  readonly high: number;
  readonly step: number;
}

/**
 * A linear scale that holds all values, starts and ends on a whole step, and has four to eight steps.
 *
 * @param least - the smallest height of the scale, so that noise is not blown up to fill it
 * @param most - the largest height, counted down from the top
 */
export function spanOf(values: Iterable<number>, least: number, most: number): Span {
  let low = Infinity;
  let high = -Infinity;
  for (const v of values) {
    if (v < low) low = v;
    if (v > high) high = v;
  }
  if (!Number.isFinite(low)) return { low: 0, high: least, step: stepOf(least) };
  if (high - low < least) {
    const middle = (high + low) / 2;
    low = middle - least / 2;
    high = middle + least / 2;
  }
  if (high - low > most) low = high - most;
  const step = stepOf(high - low);
  // Adding zero turns −0 into 0.
  return { low: Math.floor(low / step + 1e-9) * step + 0, high: Math.ceil(high / step - 1e-9) * step + 0, step };
}

/** 1, 2 or 5 times a power of ten, for at most about seven steps. */
function stepOf(height: number): number {
  const rough = height / 7;
  const power = 10 ** Math.floor(Math.log10(rough));
  const factor = [1, 2, 5, 10].find((f) => f * power >= rough - 1e-12) ?? 10;
  return factor * power;
}

/** The steps of a scale, free of rounding dust. */
export function stepsOf({ low, high, step }: Span): number[] {
  const count = Math.round((high - low) / step);
  return Array.from({ length: count + 1 }, (_, i) => Number((low + i * step).toPrecision(12)));
}

/** Half a third-octave as a ratio: 10^(1/20). */
const HALF_BAND = 10 ** 0.05;

/** Index of the point nearest to a frequency on a logarithmic axis; −1 where none lies within half a third-octave. */
export function nearestIndex(x: readonly (number | null)[], hz: number): number {
  let best = -1;
  let least = Math.log(HALF_BAND) + 1e-9;
  x.forEach((v, i) => {
    if (v === null || v <= 0) return;
    const off = Math.abs(Math.log(v / hz));
    if (off < least) {
      least = off;
      best = i;
    }
  });
  return best;
}

/** The value of a curve at its point nearest to a frequency, or null. */
export function valueNear(x: readonly (number | null)[], y: readonly (number | null)[], hz: number): number | null {
  const i = nearestIndex(x, hz);
  return i < 0 ? null : (y[i] ?? null);
}

/** The largest value between two frequencies, or null. */
export function highestBetween(x: readonly (number | null)[], y: readonly (number | null)[], lowHz: number, highHz: number): number | null {
  let highest: number | null = null;
  x.forEach((v, i) => {
    const value = y[i] ?? null;
    if (v === null || value === null || v < lowHz || v >= highHz) return;
    if (highest === null || value > highest) highest = value;
  });
  return highest;
}
