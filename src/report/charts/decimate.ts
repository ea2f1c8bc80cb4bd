/**
 * Fewer points for the picture, with every extreme kept.
 *
 * @module
 */
import { HIGHEST_HZ, LOWEST_HZ } from './axis.js';

/**
 * Indices of the points to draw: of each of so many equal slices of the logarithmic axis the lowest and the highest point, in
 * order, so that no peak or notch is lost; and the first and last of all, so that the line reaches as far as the curve. A gap
 * (null) in a slice keeps one null. Points outside the audio band are left out.
 */
export function decimate(x: readonly (number | null)[], y: readonly (number | null)[], slices: number): number[] {
  const kept: number[] = [];
  const perLog = slices / Math.log(HIGHEST_HZ / LOWEST_HZ);
  let slice = -1;
  let members: number[] = [];
  const close = (): void => {
    const drawn = members.filter((i) => y[i] !== null && y[i] !== undefined);
    const gap = members.find((i) => y[i] === null || y[i] === undefined);
    const keep = new Set<number>(gap === undefined ? [] : [gap]);
    if (drawn.length > 0) {
      let low = drawn[0]!;
      let high = drawn[0]!;
      for (const i of drawn) {
        if (y[i]! < y[low]!) low = i;
        if (y[i]! > y[high]!) high = i;
      }
      keep.add(low).add(high);
    }
    kept.push(...[...keep].sort((a, b) => a - b));
    members = [];
  };
  const within: number[] = [];
  x.forEach((hz, i) => {
    // A hair of tolerance: a curve that ends at 20 kHz may end at 20 000.000001 Hz.
    if (hz === null || hz < LOWEST_HZ * (1 - 1e-6) || hz > HIGHEST_HZ * (1 + 1e-6)) return;
    const own = Math.min(slices - 1, Math.max(0, Math.floor(Math.log(hz / LOWEST_HZ) * perLog)));
    if (own !== slice) {
      close();
      slice = own;
    }
    members.push(i);
    within.push(i);
  });
  close();
  const ends = [within[0], within[within.length - 1]].filter((i) => i !== undefined);
  return [...new Set([...kept, ...ends])].sort((a, b) => a - b);
}
