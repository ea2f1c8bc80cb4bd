/** The decomposition against the definition: A·x = b holds for what it solves, plain and transposed. */
import { describe, expect, it } from 'vitest';
import { equilibrate, luDecompose, luSolve, luSolveTransposed } from '../../src/circuit/complex-lu.js';
import { seeded } from '../helpers/random.js';

interface Complex {
  re: Float64Array;
  im: Float64Array;
}

const random = (count: number, seed: number, share = 1): Complex => {
  const { uniform, gauss } = seeded(seed);
  const draw = (): Float64Array => Float64Array.from({ length: count }, () => (uniform() < share ? gauss() : 0));
  return { re: draw(), im: draw() };
};

/** Largest |A·x − b| (or |Aᵀ·x − b|) over the largest |A|·|x|. */
function residual(n: number, a: Complex, x: Complex, b: Complex, transposed: boolean): number {
  let worst = 0;
  let size = 0;
  for (let row = 0; row < n; row++) {
    let [re, im] = [-b.re[row], -b.im[row]];
    for (let col = 0; col < n; col++) {
      const at = transposed ? col * n + row : row * n + col;
      re += a.re[at] * x.re[col] - a.im[at] * x.im[col];
      im += a.re[at] * x.im[col] + a.im[at] * x.re[col];
      size = Math.max(size, Math.hypot(a.re[at], a.im[at]) * Math.hypot(x.re[col], x.im[col]));
    }
    worst = Math.max(worst, Math.hypot(re, im));
  }
  return worst / size;
}

describe('complex LU', () => {
  it.each([1, 2, 3, 7, 20, 50])('solves and solves transposed, n = %i, full and sparse', (n) => {
    for (const share of [1, 0.3]) {
      const a = random(n * n, 100 + n, share);
      // A sparse matrix needs something on its diagonal to be regular, but not in its first row: pivoting must find it.
      if (share < 1) for (let k = n > 1 ? 1 : 0; k < n; k++) a.re[k * n + k] += 3;
      if (share < 1 && n > 1) {
        a.re[0] = a.im[0] = 0;
        a.re[1] = 2;
        a.re[n] = 2;
      }
      const b = random(n, 200 + n);
      const lu = { re: a.re.slice(), im: a.im.slice() };
      const pivots = new Int32Array(n).fill(-7);
      expect(luDecompose(n, lu.re, lu.im, pivots)).toBe(-1);
      const x = { re: b.re.slice(), im: b.im.slice() };
      luSolve(n, lu.re, lu.im, pivots, x.re, x.im);
      // Backward error of partial pivoting: a few n·eps.
      expect(residual(n, a, x, b, false), `share ${share}`).toBeLessThan(8 * n * Number.EPSILON);
      const y = { re: b.re.slice(), im: b.im.slice() };
      luSolveTransposed(n, lu.re, lu.im, pivots, y.re, y.im);
      expect(residual(n, a, y, b, true), `share ${share}, transposed`).toBeLessThan(8 * n * Number.EPSILON);
    }
  });

  it('names the column in which a singular matrix runs out of pivots', () => {
    // Third column = first + second.
    const re = Float64Array.of(1, 2, 3, 4, 5, 9, 7, 8, 15);
    expect(luDecompose(3, re, new Float64Array(9), new Int32Array(3))).toBe(2);
  });

  it('is told rows and columns of one size, by powers of two', () => {
    const n = 3;
    const re = Float64Array.of(1e-12, 2e-12, 0, 3, 0, 4e6, 0, 5e-3, 6e9);
    const im = Float64Array.of(0, 0, 1e-12, 0, 0, 0, 0, 0, 0);
    const entries = Int32Array.from([...re.keys()].filter((k) => re[k] !== 0 || im[k] !== 0));
    const before = { re: re.slice(), im: im.slice() };
    const [rows, columns] = [new Float64Array(n), new Float64Array(n)];
    equilibrate(n, entries, re, im, rows, columns);
    for (let row = 0; row < n; row++) {
      expect(Number.isInteger(Math.log2(rows[row]))).toBe(true);
      expect(Number.isInteger(Math.log2(columns[row]))).toBe(true);
      const column = [0, 1, 2].map((r) => Math.max(Math.abs(re[r * n + row]), Math.abs(im[r * n + row])));
      expect(Math.max(...column)).toBeGreaterThan(0.7);
      expect(Math.max(...column)).toBeLessThan(1.5);
      for (let col = 0; col < n; col++) expect(re[row * n + col]).toBe(before.re[row * n + col] * rows[row] * columns[col]);
    }
  });
});
