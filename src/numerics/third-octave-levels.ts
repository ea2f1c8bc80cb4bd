/**
 * Levels of a noise spectrum per third-octave band, as mean squares.
 *
 * Each band is the sum of the density's bins between its edges, the outermost counted in part: an ideal filter, blurred by the
 * Hann window of the estimate. That filter lies inside the class 1 mask of IEC 61260-1:2014 (5.10, Table 1) for every band at least
 * {@link CLASS_1_BINS} bins wide; narrower ones are left out. At the 0.7 Hz bins of a long idle capture those are all bands from 25 Hz, at
 * 1.5 Hz (a capture under 9 s) all from 40 Hz.
 *
 * @module
 */
import { bandPower } from './psd.js';
import type { Psd } from './psd.js';
import { thirdOctavesWithin } from './third-octave.js';
import type { ThirdOctave } from './third-octave.js';

/** Least width of a band in bins, so that a tone anywhere on the grid is weighed within class 1; found by trying (3 bins fail). */
export const CLASS_1_BINS = 5;

export interface ThirdOctaveLevel {
  readonly band: ThirdOctave;
  /** Mean square in the band, full scale 1. */
  readonly power: number;
  /** Equivalent degrees of freedom of it, for noise: its relative variance is 2/ν. */
  readonly degreesOfFreedom: number;
}

/**
 * Levels of all bands between two frequencies that the resolution allows.
 *
 * @param psd - From `createPsdAccumulator`: Hann segments.
 */
export function thirdOctaveLevels(psd: Psd, lowHz = 20, highHz = 20000): ThirdOctaveLevel[] {
  const topHz = psd.binHz * (psd.density.length - 1);
  return thirdOctavesWithin(lowHz, Math.min(highHz, topHz))
    .filter((band) => band.highHz - band.lowHz >= CLASS_1_BINS * psd.binHz)
    .map((band) => ({ band, ...bandPower(psd, band.lowHz, band.highHz) }));
}
