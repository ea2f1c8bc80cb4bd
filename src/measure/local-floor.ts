/**
 * The floor of a noise spectrum, told from the bins around each.
 *
 * @module
 */
import type { Psd } from '../numerics/psd.js';

/** Half-width of the floor's neighbourhood, bins. */
export const FLOOR_HALF_WIDTH = 50;
/** Of fewer bins no median is taken. */
export const LEAST_BINS = 12;

/**
 * Running median of the density, as a mean: corrected by the median-to-mean ratio of chi-square (Wilson-Hilferty).
 *
 * @param isOut - Bins that are no floor. NaN where fewer than twelve are left of a neighbourhood.
 */
export function localFloor(psd: Psd, isOut: (bin: number) => boolean = () => false): Float64Array {
  const { density, degreesOfFreedom: nu } = psd;
  const toMean = 1 / (1 - 2 / (9 * nu)) ** 3;
  const n = density.length;
  const floor = new Float64Array(n);
  const sorted = new Float64Array(2 * FLOOR_HALF_WIDTH + 2);
  let count = 0;
  const place = (v: number): number => {
    let low = 0;
    let high = count;
    while (low < high) {
      const mid = (low + high) >> 1;
      if (sorted[mid]! < v) low = mid + 1;
      else high = mid;
    }
    return low;
  };
  const insert = (v: number): void => {
    const at = place(v);
    sorted.copyWithin(at + 1, at, count);
    sorted[at] = v;
    count++;
  };
  const remove = (v: number): void => {
    const at = place(v);
    sorted.copyWithin(at, at + 1, count);
    count--;
  };
  /** Takes the place of a value, and moves those between its rank and the new one's. */
  const replace = (old: number, v: number): void => {
    let at = place(old);
    for (; at + 1 < count && sorted[at + 1]! < v; at++) sorted[at] = sorted[at + 1]!;
    for (; at > 0 && sorted[at - 1]! > v; at--) sorted[at] = sorted[at - 1]!;
    sorted[at] = v;
  };
  // Bin 0 and 1 hold what is left of DC.
  const first = 2;
  const counts = (k: number): boolean => k >= first && k < n && !isOut(k);
  for (let k = first; k < Math.min(n, first + FLOOR_HALF_WIDTH); k++) if (counts(k)) insert(density[k]!);
  for (let k = first; k < n; k++) {
    const [entering, leaving] = [k + FLOOR_HALF_WIDTH, k - FLOOR_HALF_WIDTH - 1];
    const [enters, leaves] = [counts(entering), counts(leaving)];
    if (enters && leaves) replace(density[leaving]!, density[entering]!);
    else if (enters) insert(density[entering]!);
    else if (leaves) remove(density[leaving]!);
    const half = count >> 1;
    floor[k] = count < Math.min(LEAST_BINS, n - first) ? NaN : toMean * (count % 2 ? sorted[half]! : (sorted[half - 1]! + sorted[half]!) / 2);
  }
  floor.fill(floor[first]!, 0, first);
  return floor;
}

/**
 * A floor with its gaps closed by straight lines between their ends, and how far it may be off there: it is somewhere between nothing and
 * the lowest density of its neighbourhood, skirts and all, a rectangle.
 */
export function closed(floor: Float64Array, density: Float64Array): { readonly floor: Float64Array; readonly unseen: Float64Array } {
  const unseen = new Float64Array(floor.length);
  const whole = floor.slice();
  for (let k = 0; k < whole.length; k++) {
    if (!Number.isNaN(floor[k]!)) continue;
    let end = k;
    while (end < floor.length && Number.isNaN(floor[end]!)) end++;
    const [below, above] = [whole[k - 1] ?? floor[end] ?? Infinity, floor[end] ?? whole[k - 1] ?? Infinity];
    for (let j = k; j < end; j++) {
      const most = density.subarray(Math.max(2, j - FLOOR_HALF_WIDTH), j + FLOOR_HALF_WIDTH + 1).reduce((least, v) => Math.min(least, v), Infinity);
      // Where nothing of the floor is seen at all, it is at most that.
      whole[j] = Number.isFinite(below) ? (below * (end - j) + above * (j - k + 1)) / (end - k + 1) : most;
      unseen[j] = Math.max(whole[j]!, most - whole[j]!) / Math.sqrt(3);
    }
    k = end;
  }
  return { floor: whole, unseen };
}
