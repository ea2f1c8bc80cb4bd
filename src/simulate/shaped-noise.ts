/**
 * Gaussian noise of several channels with a given cross-spectral density, made bin by bin in the frequency domain.
 *
 * With S = L·Lᴴ (Cholesky) at each frequency and W independent complex normal deviates, X = L·W·√(fs·N)/2 has the one-sided
 * density S once it is transformed back by an inverse of length N that divides by N.
 *
 * @module
 */

import type { NoiseMatrix } from '../circuit/noise.js';
import type { Spectrum } from '../numerics/fft.js';
import { toBins, type BinMap } from './log-grid.js';
import type { Random } from './random.js';

/** Lower triangle of L on the grid of S: entry i·(i + 1)/2 + j for j ≤ i. */
export interface NoiseShape {
  readonly count: number;
  readonly re: readonly Float64Array[];
  readonly im: readonly Float64Array[];
}

const at = (i: number, j: number): number => (i * (i + 1)) / 2 + j;

/** Cholesky factor of a cross-spectral density, frequency by frequency. A channel that adds nothing new gets 0. */
export function noiseShape(matrix: NoiseMatrix): NoiseShape {
  const { count } = matrix;
  const length = matrix.re[0].length;
  const re = Array.from({ length: (count * (count + 1)) / 2 }, () => new Float64Array(length));
  const im = re.map(() => new Float64Array(length));
  for (let k = 0; k < length; k++) {
    for (let i = 0; i < count; i++) {
      for (let j = 0; j <= i; j++) {
        let sumRe = matrix.re[i * count + j][k];
        let sumIm = matrix.im[i * count + j][k];
        for (let m = 0; m < j; m++) {
          const [aRe, aIm, bRe, bIm] = [re[at(i, m)][k], im[at(i, m)][k], re[at(j, m)][k], im[at(j, m)][k]];
          sumRe -= aRe * bRe + aIm * bIm;
          sumIm -= aIm * bRe - aRe * bIm;
        }
        if (i === j) {
          re[at(i, i)][k] = Math.sqrt(Math.max(0, sumRe));
        } else {
          const pivot = re[at(j, j)][k];
          re[at(i, j)][k] = pivot > 0 ? sumRe / pivot : 0;
          im[at(i, j)][k] = pivot > 0 ? sumIm / pivot : 0;
        }
      }
    }
  }
  return { count, re, im };
}

/** Arrays as long as a transform, kept for the next capture of the same length. */
export interface NoiseScratch {
  readonly normal: Float64Array;
  readonly lRe: Float64Array;
  readonly lIm: Float64Array;
}

export const noiseScratch = (bins: number): NoiseScratch => ({
  normal: new Float64Array(2 * bins),
  lRe: new Float64Array(bins),
  lIm: new Float64Array(bins),
});

/**
 * Fills the spectra of a real transform of `size` points, one per channel, with noise; the bins at 0 and size/2 get 0.
 *
 * @param sampleRateHz of the samples that the spectra become.
 */
export function fillShapedNoise(
  spectra: readonly Spectrum[],
  shape: NoiseShape,
  map: BinMap,
  size: number,
  sampleRateHz: number,
  random: Random,
  { normal, lRe, lIm }: NoiseScratch,
): void {
  const half = size >> 1;
  const scale = Math.sqrt(sampleRateHz * size) / 2;
  // From the last source down: a channel's own source (j = i) comes before those that it shares (j < i), so it sets and they add.
  for (let j = shape.count - 1; j >= 0; j--) {
    random.fillNormal(normal);
    for (let k = 0; k < normal.length; k++) normal[k] *= scale;
    for (let i = j; i < shape.count; i++) {
      const { re, im } = spectra[i];
      toBins(map, shape.re[at(i, j)], lRe);
      if (i === j) {
        for (let k = 1; k < half; k++) {
          re[k] = lRe[k] * normal[2 * k];
          im[k] = lRe[k] * normal[2 * k + 1];
        }
        re[0] = im[0] = re[half] = im[half] = 0;
      } else {
        toBins(map, shape.im[at(i, j)], lIm);
        for (let k = 1; k < half; k++) {
          const wRe = normal[2 * k];
          const wIm = normal[2 * k + 1];
          re[k] += lRe[k] * wRe - lIm[k] * wIm;
          im[k] += lRe[k] * wIm + lIm[k] * wRe;
        }
      }
    }
  }
}
