/**
 * Powers read from a spectrum that holds noise and lines, with what the estimate itself leaves uncertain.
 *
 * @module
 */
import { BINS_ALIKE, bandWeights, weightedPower } from '../numerics/psd.js';
import type { Psd } from '../numerics/psd.js';
import type { LineSearch } from './spectral-lines.js';

/** A mean square and its relative standard uncertainty from the spectral estimate alone. */
export interface PowerEstimate {
  readonly power: number;
  readonly relativeUncertainty: number;
  /** Of that uncertainty; absent where they are so many that they make no difference. */
  readonly degreesOfFreedom?: number;
  /** Relative standard uncertainty of what strong lines leave in it beside their bins. Absent: nothing. */
  readonly skirts?: number;
  /** True where they hide it: the power is then the most that it can be. */
  readonly isHidden?: boolean;
}

/** Anything that occupies a stretch of bins, with its power above the floor there. */
interface LineBins {
  readonly power: number;
  readonly firstBin: number;
  readonly lastBin: number;
}

/**
 * Variance of a line's power read over its floor in the mean of half-overlapped Hann segments.
 *
 * With p the line, n the floor in its N bins and ν the degrees of freedom of a bin: (2/ν)·(2pn·2.16 + n²·1.94)/N. Noise in
 * neighbouring Hann bins is correlated (−2/3 and 1/6 in amplitude), which makes both terms 1.94 bins' worth. Summed over its
 * bins, line times noise is the product of the two under the window's square, and half-overlapped squares of Hann windows
 * share 3/35, where the powers of noise share 1/36: (1 + 2·3/35)/(1 + 2/36) makes the first 1.11 times larger.
 */
export function linePowerVariance(line: LineBins, search: LineSearch, psd: Psd): number {
  const bins = line.lastBin - line.firstBin + 1;
  const noise = floorBetween(search, psd.binHz, line.firstBin, line.lastBin);
  return ((2 / psd.degreesOfFreedom) * (2 * line.power * noise * 2.16 + noise * noise * BINS_ALIKE)) / bins;
}

/** Power of the floor beneath a stretch of bins. */
export function floorBetween(search: LineSearch, binHz: number, first: number, last: number): number {
  let sum = 0;
  for (let k = first; k <= last; k++) sum += search.floor[k]! * binHz;
  return sum;
}

/** Reads weighted powers between two frequencies: {@link weightedPower}, with lines told from noise in its uncertainty. */
export function powerReader(psd: Psd, search: LineSearch): (lowHz: number, highHz: number, weighting?: (hz: number) => number) => PowerEstimate {
  // A steady line does not scatter as noise does: for the error of a sum its bins count as floor, and the line for itself.
  const withoutLines = { ...psd, density: psd.density.slice() };
  for (const { firstBin, lastBin } of search.lines) withoutLines.density.set(search.floor.subarray(firstBin, lastBin + 1), firstBin);
  return (lowHz, highHz, weighting = () => 1) => {
    const weights = bandWeights(psd, lowHz, highHz, weighting);
    const { power } = weightedPower(psd, weights);
    const noise = weightedPower(withoutLines, weights);
    const ofLines = search.lines
      .filter((l) => l.hz >= lowHz && l.hz <= highHz)
      .reduce((s, l) => s + weighting(l.hz) ** 4 * linePowerVariance(l, search, psd), 0);
    return { power, relativeUncertainty: power > 0 ? Math.sqrt((2 / noise.degreesOfFreedom) * noise.power ** 2 + ofLines) / power : 0 };
  };
}
