/**
 * Moments at which a tone or a sweep falls away and comes back: a contact that makes and breaks.
 *
 * @module
 */
import { median } from '../numerics/statistics.js';
import { sumOfSquares } from '../numerics/window.js';

/** Five periods of 500 Hz, below which the sweep is not looked at: its rms over a window then wavers by 3 %. */
const WINDOW_S = 0.01;
export const DROPOUT_LOW_HZ = 500;
/** Windows begin this often, in windows. */
const HOP = 1 / 4;
/** Against the median of the 0.2 s around: 5 ms of nothing leave 0.71 of a window. */
const FALL = 0.75;
const AROUND_S = 0.1;
/** Noise moves a window too: the signal must stand over it by this, an amplitude ratio. */
const OVER_NOISE = 10;

/** How many times the level of `x` falls by more than 2.5 dB for less than 0.2 s: every opening of 6 ms and more. */
export function countDropouts(x: Float64Array, rate: number, noiseRms: number): number {
  const size = Math.round(WINDOW_S * rate);
  const hop = Math.round(HOP * size);
  const levels = Array.from({ length: Math.max(0, Math.floor((x.length - size) / hop)) }, (_, k) => Math.sqrt(sumOfSquares(x.subarray(k * hop, k * hop + size)) / size));
  const reach = Math.round((AROUND_S * rate) / hop);
  let count = 0;
  let isDown = false;
  levels.forEach((level, k) => {
    const around = median(levels.slice(Math.max(0, k - reach), k + reach + 1));
    const down = around > OVER_NOISE * noiseRms && level < FALL * around;
    if (down && !isDown) count++;
    isDown = down;
  });
  return count;
}
