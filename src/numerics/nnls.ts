/**
 * Least squares whose unknowns cannot be negative: powers of sources.
 *
 * Active set method of Lawson and Hanson, Solving Least Squares Problems (1974), chapter 23 (from memory): unknowns come
 * into play one by one, that with the steepest descent first, and leave again where the fit would take them below zero.
 *
 * @module
 */
import { leastSquares } from './linear-solve.js';

export interface NonNegativeFit {
  /** The fit, none below zero. */
  readonly x: Float64Array;
  /** The same without the condition; where it is below zero, noise made it so. */
  readonly free: Float64Array;
  /** Covariance of `free` (n × n, row-major), for weights of one over the variance of each row. */
  readonly covariance: Float64Array;
  /** Σ w·(y − A·x)². */
  readonly residualSum: number;
}

/**
 * Minimises Σ w·(y − Σ xₖ·columnₖ)² with every xₖ ≥ 0.
 *
 * @param columns - n columns of m values each, m ≥ n.
 * @param weights - one over the variance of each of the m values.
 * @returns null where the columns cannot be told apart.
 */
export function nonNegativeLeastSquares(columns: readonly Float64Array[], y: Float64Array, weights: Float64Array): NonNegativeFit | null {
  const n = columns.length;
  const unbounded = leastSquares(columns, y, weights);
  if (!unbounded) return null;
  const x = new Float64Array(n);
  const inPlay = new Set<number>();
  const residual = (): Float64Array => y.map((v, t) => v - columns.reduce((sum, column, k) => sum + x[k]! * column[t]!, 0));
  // What rounding leaves of a gradient, on the scale of its own column.
  const slack = columns.map((column) => 1e-12 * column.reduce((sum, v, t) => sum + weights[t]! * Math.abs(v * y[t]!), 0));
  // Each unknown comes in a few times at most; the bound only guards against a cycle of rounding.
  for (let round = 0; round < 10 * n; round++) {
    const left = residual();
    let steepest = -1;
    let most = 0;
    for (let k = 0; k < n; k++) {
      if (inPlay.has(k)) continue;
      const slope = columns[k]!.reduce((sum, v, t) => sum + weights[t]! * v * left[t]!, 0);
      // Compared on the scale of each column, so that units do not decide.
      const scaled = slope / Math.sqrt(columns[k]!.reduce((sum, v, t) => sum + weights[t]! * v * v, 0));
      if (slope > slack[k]! && scaled > most) [steepest, most] = [k, scaled];
    }
    if (steepest < 0) break;
    inPlay.add(steepest);
    for (;;) {
      const played = [...inPlay];
      const fit = leastSquares(played.map((k) => columns[k]!), y, weights);
      if (!fit) return null;
      if (fit.x.every((v) => v > 0)) {
        x.fill(0);
        played.forEach((k, i) => (x[k] = fit.x[i]!));
        break;
      }
      // As far towards the fit as the first unknown that reaches zero allows; that one leaves.
      let step = 1;
      played.forEach((k, i) => {
        if (fit.x[i]! <= 0) step = Math.min(step, x[k]! === fit.x[i]! ? 0 : x[k]! / (x[k]! - fit.x[i]!));
      });
      played.forEach((k, i) => (x[k] = x[k]! + step * (fit.x[i]! - x[k]!)));
      for (const [i, k] of played.entries()) {
        if (fit.x[i]! > 0 || x[k]! > 1e-14 * Math.abs(fit.x[i]!)) continue;
        x[k] = 0;
        inPlay.delete(k);
      }
      if (inPlay.size === 0) break;
    }
  }
  const left = residual();
  return { x, free: unbounded.x, covariance: unbounded.inverse, residualSum: left.reduce((sum, v, t) => sum + weights[t]! * v * v, 0) };
}
