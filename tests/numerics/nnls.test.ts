/** Non-negative least squares against SciPy 1.10.1 (nnls and lsq_linear on the same numbers), and against its own conditions. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { nonNegativeLeastSquares } from '../../src/numerics/nnls.js';
import { lcg } from '../helpers/lcg.js';

interface System {
  readonly columns: number[][];
  readonly y: number[];
  readonly weights: number[];
  readonly x: number[];
  readonly residualSum: number;
}

const { systems } = JSON.parse(readFileSync(join(import.meta.dirname, '../outside/scipy/nnls.json'), 'utf8')) as { systems: System[] };
const solve = (s: Pick<System, 'columns' | 'y' | 'weights'>): NonNullable<ReturnType<typeof nonNegativeLeastSquares>> =>
  nonNegativeLeastSquares(s.columns.map((c) => Float64Array.from(c)), Float64Array.from(s.y), Float64Array.from(s.weights))!;

describe('non-negative least squares', () => {
  it.each(systems.map((s, k) => [k, s] as const))('system %i is solved as SciPy does', (_, system) => {
    const { x, residualSum } = solve(system);
    // Both work through normal equations or a QR of a well-conditioned system: nine digits of the largest are left.
    const scale = Math.max(...system.x);
    system.x.forEach((want, k) => expect(Math.abs(x[k]! - want), `x[${k}]`).toBeLessThan(1e-8 * scale));
    expect(residualSum).toBeCloseTo(system.residualSum, 8);
  });

  it('some of them end at zero, or the condition was never asked for', () => {
    expect(systems.filter(({ x }) => x.includes(0)).length).toBeGreaterThan(2);
  });

  it('holds the conditions of Kuhn and Tucker on 200 systems: no slope inwards at zero, none at all elsewhere', () => {
    for (let seed = 1; seed <= 200; seed++) {
      const [m, n] = [9, 6];
      const draw = lcg(m * n + 2 * m, seed);
      const columns = Array.from({ length: n }, (_, k) => Array.from(draw.subarray(k * m, (k + 1) * m)));
      const y = Array.from(draw.subarray(m * n, m * n + m));
      const weights = Array.from(draw.subarray(m * n + m), (v) => 0.1 + Math.abs(v));
      const { x } = solve({ columns, y, weights });
      columns.forEach((column, k) => {
        const slope = column.reduce((sum, v, t) => sum + weights[t]! * v * (y[t]! - columns.reduce((s, c, j) => s + x[j]! * c[t]!, 0)), 0);
        expect(x[k]!).toBeGreaterThanOrEqual(0);
        expect(slope, `seed ${seed}, unknown ${k}`).toBeLessThan(1e-8);
        if (x[k]! > 0) expect(Math.abs(slope), `seed ${seed}, unknown ${k}`).toBeLessThan(1e-8);
      });
    }
  });

  it('is plain least squares where nothing is below zero, with its covariance', () => {
    // y = 2 + 3t at t = 0, 1, 2 exactly; (AᵀA)⁻¹ of [1 t] there is [5/6, −1/2; −1/2, 1/2].
    const { x, free, covariance } = solve({ columns: [[1, 1, 1], [0, 1, 2]], y: [2, 5, 8], weights: [1, 1, 1] });
    [2, 3].forEach((want, k) => {
      expect(x[k]!).toBeCloseTo(want, 10);
      expect(free[k]!).toBeCloseTo(want, 10);
    });
    [5 / 6, -1 / 2, -1 / 2, 1 / 2].forEach((want, k) => expect(covariance[k]!).toBeCloseTo(want, 10));
  });

  it('says so where columns cannot be told apart', () => {
    expect(nonNegativeLeastSquares([Float64Array.of(1, 1), Float64Array.of(1, 1)], Float64Array.of(1, 2), Float64Array.of(1, 1))).toBeNull();
  });
});
