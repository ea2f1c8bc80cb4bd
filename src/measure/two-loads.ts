/**
 * What an output has in series and across it, from its level with two loads:
 *
 *   q = V2/V1 = (1 + Z·Y1)/(1 + Z·Y2),   Z = R + jX,   Y = G + jB
 *
 * G1 is the first load, G2 that with a known one beside it. Nearly every output has a capacitor in series, or a transformer's inductance
 * across it, that shows in the bass, and a capacitance across it (its lead), or a coil in series, that shows in the treble. So each end of
 * the band has one reactance besides R: in series (X) or across (B), whichever explains the level better. They are not left out where they
 * seem small: what noise hides of them would be an error of R that no interval has.
 *
 * Magnitude only: two takes share no exact start. |q|² depends on the squares of a reactance in the first place, so squares are fitted, and
 * may come out below zero by noise: R then has no bias. Shapes that explain the level as well as the best count each by its likelihood, and
 * what parts them is uncertainty.
 *
 * @module
 */
import { leastSquares } from '../numerics/linear-solve.js';
import { chiSquareUpper } from '../numerics/statistics.js';
import { DB_PER_RELATIVE } from '../units/decibels.js';
import { GRID_HZ, gridRange } from './frequency-grid.js';
import { isMeasured, magnitudeDb, magnitudeDbUncertainty, meanPower } from './response.js';
import type { ResponseEstimate } from './take.js';

/** In series with the output, or across it. */
export type Where = 'series' | 'across';

export interface Reactance {
  readonly where: Where;
  /** In series F or H, across F or H: a capacitor in series and a coil across show in the bass, a coil in series and a capacitor across in the treble. */
  readonly value: number;
  /** What it does to the level at the end of the band where it does most, dB. */
  readonly effectDb: number;
}

export interface TwoLoadFit {
  readonly ohm: number;
  /** Standard uncertainty from the noise, Ω. */
  readonly noiseOhm: number;
  /** Standard uncertainty from what may lie in series or across it and fits as well, Ω. */
  readonly shapeOhm: number;
  /** Null where what is fitted does not stand out of the noise. */
  readonly bass: Reactance | null;
  readonly treble: Reactance | null;
  /** What the fit leaves beyond what noise explains, rms, dB; 0 where noise explains it all. */
  readonly leftDb: number;
}

/** R, and the squares of the reactance that shows in the bass (times ω²) and of the one that shows in the treble (over ω²). */
interface Guess {
  readonly ohm: number;
  readonly bass: number;
  readonly treble: number;
}

/** Conductance of the first load, and of both together, S. */
type Loads = readonly [first: number, both: number];

interface Shape {
  readonly bass: Where;
  readonly treble: Where;
}

const SHAPES: readonly Shape[] = (['series', 'across'] as const).flatMap((bass) => (['across', 'series'] as const).map((treble) => ({ bass, treble })));

const LOW_HZ = 100;
const HIGH_HZ = 10_000;
/** The fit is said to leave something so often by chance. */
const FALSE_ALARM = 1e-3;
/** A shape that is not that of the output may wander off; one that is settles within ten. */
const MOST_PASSES = 30;
/** A reactance is named from so many standard uncertainties on. */
const STANDS_OUT = 3;

/** |1 + Z·(G + jB)|² and its slopes against R and the two squares; the product of both reactances has no slope of its own, as it is small. */
interface Square {
  readonly value: number;
  readonly ohm: number;
  readonly bass: number;
  readonly treble: number;
}

function squareOf({ ohm, bass, treble }: Guess, shape: Shape, siemens: number, w: number): Square {
  const [bassInSeries, trebleInSeries] = [shape.bass === 'series', shape.treble === 'series'];
  const low = bass / (w * w);
  const high = treble * w * w;
  const product = low > 0 && high > 0 ? Math.sqrt(low * high) : 0;
  // Of opposite sign: in one place they take from each other, in two they add to the product of X and B.
  const squareOfX = (bassInSeries ? low : 0) + (trebleInSeries ? high : 0) - (bassInSeries && trebleInSeries ? 2 * product : 0);
  const squareOfB = (bassInSeries ? 0 : low) + (trebleInSeries ? 0 : high) - (bassInSeries || trebleInSeries ? 0 : 2 * product);
  const crossed = bassInSeries === trebleInSeries ? 0 : product;
  const byX = siemens * siemens + squareOfB;
  const byB = ohm * ohm + squareOfX;
  return {
    value: 1 + 2 * ohm * siemens + 2 * crossed + byB * byX,
    ohm: 2 * siemens + 2 * ohm * byX,
    bass: (bassInSeries ? byX : byB) / (w * w),
    treble: (trebleInSeries ? byX : byB) * w * w,
  };
}

/** |q|² in dB. */
const levelOf = (guess: Guess, shape: Shape, loads: Loads, w: number): number => DB_PER_RELATIVE * Math.log(squareOf(guess, shape, loads[0], w).value / squareOf(guess, shape, loads[1], w).value);

interface Points {
  readonly w: Float64Array;
  readonly db: Float64Array;
  readonly weights: Float64Array;
}

function fitShape(shape: Shape, start: number, loads: Loads, { w, db, weights }: Points): { guess: Guess; inverse: Float64Array; chiSquare: number } | null {
  const chiSquareOf = (guess: Guess): number => w.reduce((sum, at, i) => sum + weights[i] * (db[i] - levelOf(guess, shape, loads, at)) ** 2, 0);
  let guess: Guess = { ohm: start, bass: 0, treble: 0 };
  let chiSquare = chiSquareOf(guess);
  for (let pass = 0; pass < MOST_PASSES; pass++) {
    const columns = Array.from({ length: 3 }, () => new Float64Array(w.length));
    const left = new Float64Array(w.length);
    w.forEach((at, i) => {
      const a = squareOf(guess, shape, loads[0], at);
      const b = squareOf(guess, shape, loads[1], at);
      left[i] = db[i] - DB_PER_RELATIVE * Math.log(a.value / b.value);
      columns[0][i] = DB_PER_RELATIVE * (a.ohm / a.value - b.ohm / b.value);
      columns[1][i] = DB_PER_RELATIVE * (a.bass / a.value - b.bass / b.value);
      columns[2][i] = DB_PER_RELATIVE * (a.treble / a.value - b.treble / b.value);
    });
    const step = leastSquares(columns, left, weights);
    if (!step) return null;
    let share = 1;
    let next = guess;
    let ofNext = Infinity;
    // Half the step, and half again, until the fit is better for it; where none is, this is the best there is.
    for (; share > 1e-4; share /= 2) {
      next = { ohm: guess.ohm + share * step.x[0], bass: guess.bass + share * step.x[1], treble: guess.treble + share * step.x[2] };
      ofNext = chiSquareOf(next);
      if (ofNext <= chiSquare) break;
    }
    const settled = !(ofNext <= chiSquare) || Math.abs(next.ohm - guess.ohm) < 1e-3 * Math.sqrt(step.inverse[0]);
    if (ofNext <= chiSquare) [guess, chiSquare] = [next, ofNext];
    if (settled) return { guess, inverse: step.inverse, chiSquare };
  }
  return null;
}

/**
 * @param change - Response with the second load over that with the first.
 * @returns null where the level does not fall with the second load, or nothing of this kind explains how it does.
 */
export function fitTwoLoads(change: ResponseEstimate, loads: Loads): TwoLoadFit | null {
  const [first, last] = gridRange(LOW_HZ, HIGH_HZ);
  const at = Array.from({ length: last - first + 1 }, (_, k) => first + k).filter((i) => isMeasured(change, i));
  const points: Points = {
    w: Float64Array.from(at, (i) => 2 * Math.PI * GRID_HZ[i]),
    db: Float64Array.from(at, (i) => magnitudeDb(change, i)),
    weights: Float64Array.from(at, (i) => 1 / magnitudeDbUncertainty(change, i) ** 2),
  };
  const q = Math.sqrt(meanPower(change, 200, 1000).power);
  const start = (1 - q) / (q * loads[1] - loads[0]);
  if (!(q > 0) || !Number.isFinite(start) || start <= -1 / loads[1]) return null;
  const fits = SHAPES.flatMap((shape) => {
    const fit = fitShape(shape, start, loads, points);
    return fit ? [{ shape, ...fit }] : [];
  }).sort((a, b) => a.chiSquare - b.chiSquare);
  const [best] = fits;
  if (!best) return null;
  const { shape, guess, inverse, chiSquare } = best;
  const freedom = points.w.length - 3;
  // What is as likely as the best counts as much as it does: each by its likelihood, where misfit makes all likelihoods flatter.
  const scale = Math.max(1, chiSquare / freedom);
  const shares = fits.map((fit) => Math.exp((chiSquare - fit.chiSquare) / 2 / scale));
  const total = shares.reduce((sum, share) => sum + share, 0);
  const meanOf = (of: (fit: (typeof fits)[number]) => number): number => fits.reduce((sum, fit, k) => sum + (shares[k] / total) * of(fit), 0);
  const ohm = meanOf((fit) => fit.guess.ohm);
  const isOff = chiSquare > chiSquareUpper(FALSE_ALARM, freedom);
  const left = points.w.reduce((sum, w, i) => sum + (points.db[i] - levelOf(guess, shape, loads, w)) ** 2 - 1 / points.weights[i], 0) / freedom;
  const reactance = (square: number, variance: number, where: Where, edgeHz: number, without: Guess): Reactance | null => {
    if (square < STANDS_OUT * Math.sqrt(variance)) return null;
    const w = 2 * Math.PI * edgeHz;
    return { where, value: edgeHz === LOW_HZ ? 1 / Math.sqrt(square) : Math.sqrt(square), effectDb: Math.abs(levelOf(guess, shape, loads, w) - levelOf(without, shape, loads, w)) };
  };
  return {
    ohm,
    noiseOhm: Math.sqrt(scale * meanOf((fit) => fit.inverse[0])),
    shapeOhm: Math.sqrt(meanOf((fit) => (fit.guess.ohm - ohm) ** 2)),
    bass: reactance(guess.bass, inverse[4], shape.bass, LOW_HZ, { ...guess, bass: 0 }),
    treble: reactance(guess.treble, inverse[8], shape.treble, HIGH_HZ, { ...guess, treble: 0 }),
    leftDb: isOff ? Math.sqrt(Math.max(0, left)) : 0,
  };
}
