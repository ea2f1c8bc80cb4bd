/**
 * Algebra on measured responses: ratios, levels, reference level, all with their error.
 *
 * @module
 */
import { DB_PER_RELATIVE, DB_PER_RELATIVE_AMPLITUDE, amplitudeToDb } from '../units/decibels.js';
import { part } from './figure.js';
import { GRID_HZ, GRID_LOG_WEIGHT, gridIndex, gridRange } from './frequency-grid.js';
import type { ResponseEstimate } from './take.js';

/**
 * What the method itself leaves even without noise at one frequency, dB: the largest error on closed forms from 20 Hz to 20 kHz
 * (tests/numerics/deconvolution.test.ts) is 0.002 dB at 20 Hz and under 0.0002 dB from 50 Hz on.
 */
export const METHOD_DB = 0.0002;
export const METHOD_PART = part('method', 'what the deconvolution leaves', METHOD_DB);
/**
 * The same in a mean over 200 Hz to 5 kHz of a response over another: 1e-8 dB on closed forms. What counts beside that is whose clock the
 * frequencies are told by: where it is 100 ppm off, a second-order slope at 9 kHz moves the mean by 3.3e-5 dB.
 */
export const BAND_METHOD_PART = part('method', 'what the deconvolution leaves', 3.3e-5 / Math.sqrt(3), { distribution: 'rectangular' });

/** Power over what noise alone would show, below which a response is noise. */
export const LEAST_OVER_NOISE = 4;

/** a/b: relative errors add as squares. */
export function ratio(a: ResponseEstimate, b: ResponseEstimate): ResponseEstimate {
  const n = GRID_HZ.length;
  const re = new Float64Array(n);
  const im = new Float64Array(n);
  const variance = new Float64Array(n);
  for (let i = 0; i < n; i++) {
    const [ar, ai, br, bi] = [a.curve.re[i]!, a.curve.im[i]!, b.curve.re[i]!, b.curve.im[i]!];
    const square = br * br + bi * bi;
    re[i] = (ar * br + ai * bi) / square;
    im[i] = (ai * br - ar * bi) / square;
    variance[i] = a.variance[i]! / square + ((re[i]! ** 2 + im[i]! ** 2) * b.variance[i]!) / square;
  }
  return { curve: { re, im }, variance, peakLagS: a.peakLagS - b.peakLagS };
}

/** Multiplied by a real factor. */
export function scaled(a: ResponseEstimate, factor: number): ResponseEstimate {
  return {
    curve: { re: a.curve.re.map((v) => v * factor), im: a.curve.im.map((v) => v * factor) },
    variance: a.variance.map((v) => v * factor * factor),
    peakLagS: a.peakLagS,
  };
}

export const magnitudeDb = ({ curve }: ResponseEstimate, i: number): number => amplitudeToDb(Math.hypot(curve.re[i]!, curve.im[i]!));

/** Standard uncertainty of the magnitude, dB: half of the complex error lies along it. */
export function magnitudeDbUncertainty({ curve, variance }: ResponseEstimate, i: number): number {
  const square = curve.re[i]! ** 2 + curve.im[i]! ** 2;
  return Math.hypot(METHOD_DB, DB_PER_RELATIVE_AMPLITUDE * Math.sqrt(variance[i]! / 2 / square));
}

export const isMeasured = ({ curve }: ResponseEstimate, i: number): boolean => Number.isFinite(curve.re[i]!);

/** Mean power between two frequencies, every octave weighing the same: Σ w·|H|² / Σ w; and its relative standard uncertainty. */
export function meanPower(response: ResponseEstimate, lowHz: number, highHz: number): { power: number; relativeUncertainty: number } {
  const [first, last] = gridRange(lowHz, highHz);
  let sum = 0;
  let total = 0;
  let variance = 0;
  for (let i = first; i <= last; i++) {
    if (!isMeasured(response, i)) continue;
    const w = GRID_LOG_WEIGHT[i]!;
    const square = response.curve.re[i]! ** 2 + response.curve.im[i]! ** 2;
    sum += w * square;
    total += w;
    // var |H|² = 2·|H|²·σ²; neighbours within the window's resolution (about 1.5 Hz) share their error.
    variance += w * w * 2 * square * response.variance[i]! * sharing(i);
  }
  return { power: sum / total, relativeUncertainty: sum > 0 ? Math.sqrt(variance) / sum : 0 };
}

/** What {@link meanPower} would show of noise alone. */
export function meanNoise(response: ResponseEstimate, lowHz: number, highHz: number): number {
  const [first, last] = gridRange(lowHz, highHz);
  let sum = 0;
  let total = 0;
  for (let i = first; i <= last; i++) {
    if (!isMeasured(response, i)) continue;
    sum += GRID_LOG_WEIGHT[i]! * response.variance[i]!;
    total += GRID_LOG_WEIGHT[i]!;
  }
  return sum / total;
}

/** Grid points that share one resolution cell of the lag window. */
function sharing(i: number): number {
  const spacing = GRID_LOG_WEIGHT[i]! * GRID_HZ[i]!;
  return Math.max(1, 1.5 / spacing);
}

/** Level of the flat low band a droop is measured from, 200 to 500 Hz. */
export function referenceDb(response: ResponseEstimate): { db: number; uncertainty: number } {
  const { power, relativeUncertainty } = meanPower(response, 200, 500);
  return { db: 10 * Math.log10(power), uncertainty: DB_PER_RELATIVE * relativeUncertainty };
}

/** Where a response is furthest from its level at 1 kHz; `uncertaintyDb` is expanded (k = 2), that of both levels. */
export interface Extreme {
  readonly db: number;
  readonly hz: number;
  readonly uncertaintyDb: number;
}

export interface ResponseExtremes {
  readonly lowest: Extreme;
  readonly highest: Extreme;
}

/** The lowest and the highest point of a response from 20 Hz to 20 kHz, its level at 1 kHz being 0 dB; what is noise does not count. Null where it is noise at 1 kHz. */
export function extremes(response: ResponseEstimate): ResponseExtremes | null {
  const heard = (i: number): boolean => isMeasured(response, i) && response.curve.re[i]! ** 2 + response.curve.im[i]! ** 2 > LEAST_OVER_NOISE * response.variance[i]!;
  const middle = gridIndex(1000);
  if (!heard(middle)) return null;
  const points = [...GRID_HZ.keys()].filter(heard).map((i): Extreme => ({
    db: magnitudeDb(response, i) - magnitudeDb(response, middle),
    hz: GRID_HZ[i]!,
    uncertaintyDb: 2 * Math.hypot(magnitudeDbUncertainty(response, i), i === middle ? 0 : magnitudeDbUncertainty(response, middle)),
  }));
  return { lowest: points.reduce((a, b) => (b.db < a.db ? b : a)), highest: points.reduce((a, b) => (b.db > a.db ? b : a)) };
}
