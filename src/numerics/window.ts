/**
 * Window functions in the periodic (DFT-even) form: w[n] = Σ (−1)^k·c_k·cos(2πkn/N).
 *
 * @module
 */

const kept = new Map<number, Float64Array>();
/** Sizes of segments are few; those of stretches of tone differ with the clock by a sample or two. */
const MOST_KEPT = 8;

/**
 * Hann: 0.5 − 0.5·cos(2πn/N). Equivalent noise bandwidth 1.5 bins, side lobes fall 18 dB an octave.
 *
 * The latest sizes are kept, so the array is shared: read it only.
 */
export function hann(size: number): Float64Array {
  let window = kept.get(size);
  if (!window) {
    window = new Float64Array(size);
    for (let n = 0; n < size; n++) window[n] = 0.5 - 0.5 * Math.cos((2 * Math.PI * n) / size);
    if (kept.size === MOST_KEPT) kept.delete(kept.keys().next().value!);
    kept.set(size, window);
  }
  return window;
}

/** Sum of squares, the scale of a power spectral density. */
export function sumOfSquares(w: Float64Array): number {
  let sum = 0;
  for (let i = 0; i < w.length; i++) sum += w[i]! * w[i]!;
  return sum;
}
