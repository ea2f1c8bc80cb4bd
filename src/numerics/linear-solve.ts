/**
 * Small dense linear algebra for fits: symmetric positive definite systems by Cholesky.
 *
 * @module
 */

/**
 * Solves A·x = b and returns A⁻¹ as well, which times the residual variance is a fit's covariance.
 *
 * @param a - n × n, row-major, symmetric positive definite; not changed.
 * @param b - n values; not changed.
 * @returns null where A is not positive definite to working precision: the data cannot separate the parameters.
 */
export function solveSymmetric(a: Float64Array, b: Float64Array): { x: Float64Array; inverse: Float64Array } | null {
  const n = b.length;
  // Scaling to a unit diagonal keeps columns of very different size (a constant beside a slope in Hz) comparable.
  const scale = Float64Array.from({ length: n }, (_, i) => 1 / Math.sqrt(a[i * n + i]!));
  if (!scale.every((s) => Number.isFinite(s))) return null;
  const l = new Float64Array(n * n);
  for (let i = 0; i < n; i++) {
    for (let j = 0; j <= i; j++) {
      let sum = a[i * n + j]! * scale[i]! * scale[j]!;
      for (let k = 0; k < j; k++) sum -= l[i * n + k]! * l[j * n + k]!;
      if (i === j) {
        if (!(sum > 1e-14)) return null;
        l[i * n + i] = Math.sqrt(sum);
      } else {
        l[i * n + j] = sum / l[j * n + j]!;
      }
    }
  }
  const solve = (rhs: Float64Array): Float64Array => {
    const y = new Float64Array(n);
    for (let i = 0; i < n; i++) {
      let sum = rhs[i]! * scale[i]!;
      for (let k = 0; k < i; k++) sum -= l[i * n + k]! * y[k]!;
      y[i] = sum / l[i * n + i]!;
    }
    for (let i = n - 1; i >= 0; i--) {
      let sum = y[i]!;
      for (let k = i + 1; k < n; k++) sum -= l[k * n + i]! * y[k]!;
      y[i] = sum / l[i * n + i]!;
    }
    for (let i = 0; i < n; i++) y[i]! *= scale[i]!;
    return y;
  };
  const inverse = new Float64Array(n * n);
  for (let j = 0; j < n; j++) {
    const unit = new Float64Array(n);
    unit[j] = 1;
    const column = solve(unit);
    for (let i = 0; i < n; i++) inverse[i * n + j] = column[i]!;
  }
  return { x: solve(b), inverse };
}

/** Weighted least squares: minimises Σ w·(y − Σ xₖ·columnₖ)². Null where the columns cannot be separated. */
export function leastSquares(
  columns: readonly Float64Array[],
  y: Float64Array,
  weights: Float64Array | null = null,
): { x: Float64Array; inverse: Float64Array; residualSum: number } | null {
  const n = columns.length;
  const a = new Float64Array(n * n);
  const b = new Float64Array(n);
  for (let t = 0; t < y.length; t++) {
    const w = weights ? weights[t]! : 1;
    for (let i = 0; i < n; i++) {
      const wc = w * columns[i]![t]!;
      b[i]! += wc * y[t]!;
      for (let j = 0; j <= i; j++) a[i * n + j]! += wc * columns[j]![t]!;
    }
  }
  for (let i = 0; i < n; i++) for (let j = i + 1; j < n; j++) a[i * n + j] = a[j * n + i]!;
  const solved = solveSymmetric(a, b);
  if (!solved) return null;
  let residualSum = 0;
  for (let t = 0; t < y.length; t++) {
    let r = y[t]!;
    for (let i = 0; i < n; i++) r -= solved.x[i]! * columns[i]![t]!;
    residualSum += (weights ? weights[t]! : 1) * r * r;
  }
  return { ...solved, residualSum };
}
