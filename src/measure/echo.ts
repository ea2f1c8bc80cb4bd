/**
 * Further arrivals of the signal in a response, or a ratio of two: what comes known times after the first, or before it.
 *
 * r(f)·e^(jω·t₀) = smooth(f) + Σ (bₙ + cₙ·f)·e^(−jω·lagₙ), by weighted least squares: smooth a complex polynomial in log frequency, an
 * arrival flat or rising with frequency as a leak through a capacitance does. What turns with frequency as fast as the lag
 * makes it turn is no filter's doing.
 *
 * @module
 */
import { leastSquares } from '../numerics/linear-solve.js';
import { GRID_HZ, gridRange } from './frequency-grid.js';
import { isMeasured } from './response.js';
import type { ResponseEstimate } from './take.js';

export interface Echo {
  /** Mean square against that of the first arrival, every octave of 300 Hz to 8 kHz weighing the same; noise taken off. */
  readonly power: number;
  /** What noise and misfit alone would show. */
  readonly noise: number;
  /** Standard uncertainty of `power`, from noise and misfit. */
  readonly standard: number;
}

export interface EchoFit {
  /** One for each lag. */
  readonly echoes: readonly Echo[];
  /** Weighted squares that the fit leaves, and what of them noise and method make on average: 1, or more where they leave more. */
  readonly residual: number;
  readonly perPoint: number;
}

const LOW_HZ = 300;
const HIGH_HZ = 8000;
/** Terms of the smooth part. A shorter lag turns as slowly as filters do. */
const SMOOTH_TERMS = 8;
export const SHORTEST_LAG_S = 0.5e-3;
/** Two arrivals nearer than a turn over the band, 1/(8 kHz − 300 Hz), look like one. */
export const LEAST_BETWEEN_S = 0.13e-3;

/**
 * @param lagsS - of the arrivals against the first; before it: negative.
 * @returns null where one lag is too short, two are too near to each other, or the response is too poor to tell them apart.
 */
export function echoesAt(r: ResponseEstimate, firstS: number, lagsS: readonly number[]): EchoFit | null {
  if (lagsS.length === 0 || lagsS.some((lag, k) => Math.abs(lag) < SHORTEST_LAG_S || lagsS.slice(0, k).some((other) => Math.abs(lag - other) < LEAST_BETWEEN_S))) return null;
  const [first, last] = gridRange(LOW_HZ, HIGH_HZ);
  const points = Array.from({ length: last - first + 1 }, (_, i) => first + i).filter((i) => isMeasured(r, i) && Number.isFinite(r.variance[i]!));
  const rows = 2 * points.length;
  const columns = Array.from({ length: 2 * SMOOTH_TERMS + 4 * lagsS.length }, () => new Float64Array(rows));
  const y = new Float64Array(rows);
  const weights = new Float64Array(rows);
  let mainPower = 0;
  const middle = Math.sqrt(LOW_HZ * HIGH_HZ);
  points.forEach((i, k) => {
    const omega = 2 * Math.PI * GRID_HZ[i]!;
    const [re, im] = [r.curve.re[i]!, r.curve.im[i]!];
    const [c, s] = [Math.cos(omega * firstS), Math.sin(omega * firstS)];
    y[2 * k] = re * c - im * s;
    y[2 * k + 1] = re * s + im * c;
    mainPower += (re * re + im * im) / points.length;
    // The method itself leaves some 1e-5 of the response.
    weights[2 * k] = weights[2 * k + 1] = 1 / (r.variance[i]! / 2 + 1e-10 * (re * re + im * im));
    const u = Math.log(GRID_HZ[i]! / middle) / Math.log(HIGH_HZ / middle);
    // Chebyshev's polynomials keep the columns apart.
    let [before, now] = [u, 1];
    for (let t = 0; t < SMOOTH_TERMS; t++) {
      columns[2 * t]![2 * k] = now;
      columns[2 * t + 1]![2 * k + 1] = now;
      [before, now] = [now, t === 0 ? u : 2 * u * now - before];
    }
    lagsS.forEach((lag, e) => {
      const [ec, es] = [Math.cos(omega * lag), -Math.sin(omega * lag)];
      [1, GRID_HZ[i]! / 1000].forEach((x, t) => {
        const at = 2 * SMOOTH_TERMS + 4 * e + 2 * t;
        columns[at]![2 * k] = x * ec;
        columns[at]![2 * k + 1] = x * es;
        columns[at + 1]![2 * k] = -x * es;
        columns[at + 1]![2 * k + 1] = x * ec;
      });
    });
  });
  const fit = rows > 4 * columns.length ? leastSquares(columns, y, weights) : null;
  if (!fit || !(mainPower > 0)) return null;
  const misfit = Math.max(1, fit.residualSum / (rows - columns.length));
  const echo = (from: number): Echo => {
    const covariance = (a: number, b: number): number => misfit * fit.inverse[(from + a) * columns.length + from + b]!;
    const [b0, c0, b1, c1] = fit.x.slice(from, from + 4) as unknown as [number, number, number, number];
    let [power, noise] = [0, 0];
    const slopes = [0, 0, 0, 0];
    for (const i of points) {
      const x = GRID_HZ[i]! / 1000;
      const [re, im] = [b0 + b1 * x, c0 + c1 * x];
      power += (re * re + im * im) / points.length;
      noise += (covariance(0, 0) + covariance(1, 1) + 2 * x * (covariance(0, 2) + covariance(1, 3)) + x * x * (covariance(2, 2) + covariance(3, 3))) / points.length;
      [re, im, re * x, im * x].forEach((slope, k) => (slopes[k]! += (2 * slope) / points.length));
    }
    // Through the slopes of the power by each of the four, and what their own squares scatter by.
    const variance = slopes.reduce((sum, s, a) => sum + slopes.reduce((row, t, b) => row + s * t * covariance(a, b), 0), 0) + noise * noise;
    return { power: (power - noise) / mainPower, noise: noise / mainPower, standard: Math.sqrt(variance) / mainPower };
  };
  return { echoes: lagsS.map((_, e) => echo(2 * SMOOTH_TERMS + 4 * e)), residual: fit.residualSum, perPoint: misfit };
}
