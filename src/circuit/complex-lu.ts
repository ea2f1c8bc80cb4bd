/**
 * Dense complex LU decomposition with partial pivoting, for small matrices kept as split real and imaginary parts,
 * row-major, decomposed in place.
 *
 * P·A = L·U with unit diagonal in L. Multipliers that are zero are skipped, so a matrix whose unknowns are in the order
 * of a ladder is decomposed in about n² steps instead of n³. Preconditions: arrays of n·n; rows and columns of similar
 * size (see equilibrate).
 *
 * @module
 */

/** A pivot below this, in a matrix whose rows and columns are scaled to about 1, means that the matrix is singular. */
const SINGULAR = 1e-13;

/**
 * Decomposes in place. `pivots[k]` is the row exchanged with row k at step k.
 *
 * @returns −1 where it succeeded, else the column in which no pivot was found.
 */
export function luDecompose(n: number, re: Float64Array, im: Float64Array, pivots: Int32Array): number {
  for (let k = 0; k < n; k++) {
    let best = -1;
    let bestSize = 0;
    for (let row = k; row < n; row++) {
      const at = row * n + k;
      const size = Math.abs(re[at]) + Math.abs(im[at]);
      if (size > bestSize) {
        bestSize = size;
        best = row;
      }
    }
    if (!(bestSize > SINGULAR)) return k;
    pivots[k] = best;
    if (best !== k) {
      for (let col = 0; col < n; col++) {
        const p = k * n + col;
        const q = best * n + col;
        const r = re[p];
        re[p] = re[q];
        re[q] = r;
        const i = im[p];
        im[p] = im[q];
        im[q] = i;
      }
    }
    const diagonal = k * n + k;
    const size2 = re[diagonal] * re[diagonal] + im[diagonal] * im[diagonal];
    const inverseRe = re[diagonal] / size2;
    const inverseIm = -im[diagonal] / size2;
    for (let row = k + 1; row < n; row++) {
      const start = row * n;
      const r = re[start + k];
      const i = im[start + k];
      if (r === 0 && i === 0) continue;
      const factorRe = r * inverseRe - i * inverseIm;
      const factorIm = r * inverseIm + i * inverseRe;
      re[start + k] = factorRe;
      im[start + k] = factorIm;
      for (let col = k + 1; col < n; col++) {
        const upperRe = re[k * n + col];
        const upperIm = im[k * n + col];
        if (upperRe === 0 && upperIm === 0) continue;
        re[start + col] -= factorRe * upperRe - factorIm * upperIm;
        im[start + col] -= factorRe * upperIm + factorIm * upperRe;
      }
    }
  }
  return -1;
}

/** Solves A·x = b in place of b, from the decomposition of A. */
export function luSolve(n: number, re: Float64Array, im: Float64Array, pivots: Int32Array, bRe: Float64Array, bIm: Float64Array): void {
  for (let k = 0; k < n; k++) {
    const p = pivots[k];
    if (p !== k) {
      const r = bRe[k];
      bRe[k] = bRe[p];
      bRe[p] = r;
      const i = bIm[k];
      bIm[k] = bIm[p];
      bIm[p] = i;
    }
  }
  for (let row = 1; row < n; row++) {
    let sumRe = bRe[row];
    let sumIm = bIm[row];
    for (let col = 0; col < row; col++) {
      const at = row * n + col;
      sumRe -= re[at] * bRe[col] - im[at] * bIm[col];
      sumIm -= re[at] * bIm[col] + im[at] * bRe[col];
    }
    bRe[row] = sumRe;
    bIm[row] = sumIm;
  }
  for (let row = n - 1; row >= 0; row--) {
    let sumRe = bRe[row];
    let sumIm = bIm[row];
    for (let col = row + 1; col < n; col++) {
      const at = row * n + col;
      sumRe -= re[at] * bRe[col] - im[at] * bIm[col];
      sumIm -= re[at] * bIm[col] + im[at] * bRe[col];
    }
    const dRe = re[row * n + row];
    const dIm = im[row * n + row];
    const size2 = dRe * dRe + dIm * dIm;
    bRe[row] = (sumRe * dRe + sumIm * dIm) / size2;
    bIm[row] = (sumIm * dRe - sumRe * dIm) / size2;
  }
}

/** Solves Aᵀ·y = b (transposed, not conjugated) in place of b, from the decomposition of A. */
export function luSolveTransposed(
  n: number,
  re: Float64Array,
  im: Float64Array,
  pivots: Int32Array,
  bRe: Float64Array,
  bIm: Float64Array,
): void {
  for (let row = 0; row < n; row++) {
    const dRe = re[row * n + row];
    const dIm = im[row * n + row];
    const size2 = dRe * dRe + dIm * dIm;
    const r = bRe[row];
    const i = bIm[row];
    const xRe = (r * dRe + i * dIm) / size2;
    const xIm = (i * dRe - r * dIm) / size2;
    bRe[row] = xRe;
    bIm[row] = xIm;
    if (xRe === 0 && xIm === 0) continue;
    for (let col = row + 1; col < n; col++) {
      const at = row * n + col;
      bRe[col] -= re[at] * xRe - im[at] * xIm;
      bIm[col] -= re[at] * xIm + im[at] * xRe;
    }
  }
  for (let row = n - 1; row > 0; row--) {
    const xRe = bRe[row];
    const xIm = bIm[row];
    if (xRe === 0 && xIm === 0) continue;
    for (let col = 0; col < row; col++) {
      const at = row * n + col;
      bRe[col] -= re[at] * xRe - im[at] * xIm;
      bIm[col] -= re[at] * xIm + im[at] * xRe;
    }
  }
  for (let k = n - 1; k >= 0; k--) {
    const p = pivots[k];
    if (p !== k) {
      const r = bRe[k];
      bRe[k] = bRe[p];
      bRe[p] = r;
      const i = bIm[k];
      bIm[k] = bIm[p];
      bIm[p] = i;
    }
  }
}

const nearestPowerOfTwo = (value: number): number => 2 ** Math.round(Math.log2(value));

/**
 * Scales rows, then columns, in place by powers of two so that the largest entry of each is about 1: siemens of a
 * picofarad and the ±1 of a branch then pivot on equal terms. A row or column of zeros keeps scale 1.
 *
 * A' = R·A·C, so A·x = b becomes A'·(C⁻¹x) = R·b and Aᵀ·y = b becomes A'ᵀ·(R⁻¹y) = C·b; powers of two round nothing.
 *
 * @param entries - Positions (row·n + column) of the entries that may differ from zero.
 */
export function equilibrate(
  n: number,
  entries: Int32Array,
  re: Float64Array,
  im: Float64Array,
  rowScale: Float64Array,
  columnScale: Float64Array,
): void {
  const pass = (scale: Float64Array, indexOf: (entry: number) => number): void => {
    scale.fill(0);
    for (const entry of entries) {
      const index = indexOf(entry);
      const size = Math.max(Math.abs(re[entry]), Math.abs(im[entry]));
      if (size > scale[index]) scale[index] = size;
    }
    for (let k = 0; k < n; k++) scale[k] = scale[k] > 0 ? 1 / nearestPowerOfTwo(scale[k]) : 1;
    for (const entry of entries) {
      const factor = scale[indexOf(entry)];
      re[entry] *= factor;
      im[entry] *= factor;
    }
  };
  pass(rowScale, (entry) => Math.floor(entry / n));
  pass(columnScale, (entry) => entry % n);
}
