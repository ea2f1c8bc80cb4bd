/**
 * How a weak response rises with frequency, through noise: a straight line through the levels of octave bands.
 *
 * Through the powers of the bands with the noise taken off: the points between are too noisy to be taken as levels.
 *
 * @module
 */
import { leastSquares } from '../numerics/linear-solve.js';
import { chiSquareUpper } from '../numerics/statistics.js';
import { DB_PER_RELATIVE } from '../units/decibels.js';
import { part } from './figure.js';
import type { UncertaintyPart } from './figure.js';
import { GRID_HZ, GRID_LOG_WEIGHT, gridRange } from './frequency-grid.js';
import { LEAST_OVER_NOISE, METHOD_PART, meanNoise, meanPower } from './response.js';
import type { ResponseEstimate } from './take.js';

const OCTAVES_HZ = [125, 250, 500, 1000, 2000, 4000, 8000];
/** A straight line is called bent so often by chance. */
const STRAIGHT_FALSE_ALARM = 0.01;

export interface OctaveSlope {
  readonly dbPerOctave: number;
  readonly part: UncertaintyPart;
}

/**
 * Rise of the level per octave, 88 Hz to 11 kHz: +6 dB through a small capacitance, 0 past a resistance.
 *
 * @returns null where fewer than three bands stand out of the noise.
 */
export function octaveSlope(r: ResponseEstimate): OctaveSlope | null {
  const bands = OCTAVES_HZ.flatMap((hz) => {
    const [low, high] = [hz / Math.SQRT2, hz * Math.SQRT2];
    const { power, relativeUncertainty } = meanPower(r, low, high);
    const noise = meanNoise(r, low, high);
    return power > LEAST_OVER_NOISE * noise ? [{ octave: meanOctave(low, high), db: 10 * Math.log10(power - noise), standard: (DB_PER_RELATIVE * relativeUncertainty * power) / (power - noise) + METHOD_PART.standard }] : [];
  });
  if (bands.length < 3) return null;
  const column = (of: (band: (typeof bands)[number]) => number): Float64Array => Float64Array.from(bands, of);
  const fit = leastSquares([column(() => 1), column((b) => b.octave)], column((b) => b.db), column((b) => 1 / b.standard ** 2));
  if (!fit) return null;
  // Where the bands lie off the line by more than their noise explains, the scatter about it counts, with the few degrees of freedom that it has.
  const left = bands.length - 2;
  const isBent = fit.residualSum > chiSquareUpper(STRAIGHT_FALSE_ALARM, left);
  return { dbPerOctave: fit.x[1]!, part: part('fit', 'scatter about the line', Math.sqrt(fit.inverse[3]! * (isBent ? fit.residualSum / left : 1)), { degreesOfFreedom: isBent ? left : null }) };
}

/** Where the points of a band lie in the mean, octaves from 1 kHz: the grid does not fill each band alike. */
function meanOctave(lowHz: number, highHz: number): number {
  const [first, last] = gridRange(lowHz, highHz);
  let [sum, total] = [0, 0];
  for (let i = first; i <= last; i++) {
    sum += GRID_LOG_WEIGHT[i]! * Math.log2(GRID_HZ[i]! / 1000);
    total += GRID_LOG_WEIGHT[i]!;
  }
  return sum / total;
}
