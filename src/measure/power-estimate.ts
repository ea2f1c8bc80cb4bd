/**
 * Powers read from a spectrum that holds noise and lines, with what the estimate itself leaves uncertain.
 *
 * @module
 */
import { bandPower } from '../numerics/psd.js';
import type { Psd } from '../numerics/psd.js';
import type { LineSearch } from './spectral-lines.js';

/** A mean square and its relative standard uncertainty from the spectral estimate alone. */
export interface PowerEstimate {
  readonly power: number;
  readonly relativeUncertainty: number;
}

/** Uncertainty of a line's power over its floor: a steady line in noise of power n has variance (2/ν)·(2pn + n²). */
export const linePowerVariance = (power: number, noise: number, nu: number): number => (2 / nu) * (2 * power * noise + noise * noise);

/** Power of the floor beneath a stretch of bins. */
export function floorBetween(search: LineSearch, binHz: number, first: number, last: number): number {
  let sum = 0;
  for (let k = first; k <= last; k++) sum += search.floor[k]! * binHz;
  return sum;
}

/** Reads weighted powers between two frequencies: {@link bandPower}, with lines told from noise in its uncertainty. */
export function powerReader(psd: Psd, search: LineSearch): (lowHz: number, highHz: number, weighting?: (hz: number) => number) => PowerEstimate {
  // A steady line does not scatter as noise does: for the error of a sum its bins count as floor, and the line for itself.
  const withoutLines = { ...psd, density: psd.density.slice() };
  for (const { firstBin, lastBin } of search.lines) withoutLines.density.set(search.floor.subarray(firstBin, lastBin + 1), firstBin);
  return (lowHz, highHz, weighting = () => 1) => {
    const { power } = bandPower(psd, lowHz, highHz, weighting);
    const noise = bandPower(withoutLines, lowHz, highHz, weighting);
    const ofLines = search.lines
      .filter((l) => l.hz >= lowHz && l.hz <= highHz)
      .reduce((s, l) => s + weighting(l.hz) ** 4 * linePowerVariance(l.power, floorBetween(search, psd.binHz, l.firstBin, l.lastBin), psd.degreesOfFreedom), 0);
    return { power, relativeUncertainty: power > 0 ? Math.sqrt((2 / noise.degreesOfFreedom) * noise.power ** 2 + ofLines) / power : 0 };
  };
}
