/**
 * Window functions in the periodic (DFT-even) form: w[n] = Σ (−1)^k·c_k·cos(2πkn/N).
 *
 * @module
 */

/** Hann: 0.5 − 0.5·cos(2πn/N). Equivalent noise bandwidth 1.5 bins, side lobes fall 18 dB an octave. */
export function hann(size: number): Float64Array {
  return Float64Array.from({ length: size }, (_, n) => 0.5 - 0.5 * Math.cos((2 * Math.PI * n) / size));
}

/** Sum of squares, the scale of a power spectral density. */
export const sumOfSquares = (w: Float64Array): number => w.reduce((s, v) => s + v * v, 0);
