/**
 * Verdict on one reading: guard band of one expanded uncertainty on either side of a limit.
 *
 * JCGM 106:2012 clause 8 (guarded acceptance and guarded rejection with w = U): pass only where the value with its
 * uncertainty is inside, fail only where it is outside with its uncertainty, else undecided. A bound passes where even
 * the bound is inside; where it is not, it decides nothing, and says so: limited by the bench, or undecided.
 *
 * @module
 */
import type { LimitRow } from '../board/model.js';
import type { Verdict } from './results.js';

export interface Judged {
  readonly value: number | null;
  readonly uncertainty: number | null;
  readonly bound: 'upper' | 'lower' | null;
  readonly benchLimited: boolean;
}

export type Limit = Pick<LimitRow, 'max' | 'min' | 'within'>;

/** Sums of decimals such as 0.3 + 0.2 must not miss a limit of 0.5 by rounding. */
const ROUNDING = 1e-9;

export function judge(reading: Judged, limit: Limit | null): Verdict {
  if (limit === null) return 'info';
  const { value, bound, benchLimited } = reading;
  const low = limit.within ? limit.within[0] : limit.min;
  const high = limit.within ? limit.within[1] : limit.max;
  if (value === null) return 'undecided';
  const u = reading.uncertainty ?? 0;
  const insideHigh = high === null || value + u <= high + ROUNDING;
  const insideLow = low === null || value - u >= low - ROUNDING;
  const outsideHigh = high !== null && value - u > high + ROUNDING;
  const outsideLow = low !== null && value + u < low - ROUNDING;
  const open = benchLimited ? 'bench-limited' : 'undecided';
  if (bound === 'upper') {
    // The truth lies anywhere below: it may pass a maximum for sure, and miss a minimum for sure.
    if (outsideLow) return 'fail';
    return insideHigh && low === null ? 'pass' : open;
  }
  if (bound === 'lower') {
    if (outsideHigh) return 'fail';
    return insideLow && high === null ? 'pass' : open;
  }
  if (insideHigh && insideLow) return 'pass';
  return outsideHigh || outsideLow ? 'fail' : 'undecided';
}
