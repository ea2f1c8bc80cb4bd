import { describe, expect, it } from 'vitest';
import { chiSquareUpper, coverageFactor95, median, normalCdf, normalQuantile, robustSpread } from '../../src/numerics/statistics.js';
import scipy from '../outside/scipy/distributions.json' with { type: 'json' };
import { noise } from '../helpers/random.js';

describe('distributions against SciPy', () => {
  it('chi-square, from the middle to one in 10¹²', () => {
    for (const [tail, dof, want] of scipy.chiSquareUpper as [number, number, number][]) {
      // 1e-9 relative: ln Γ near 5·10⁴ is good to 1e-13 of itself, about 6e-8 in ln Q; the quantile moves far less.
      expect(Math.abs(chiSquareUpper(tail, dof) / want - 1), `tail ${tail}, ν ${dof}`).toBeLessThan(1e-9);
    }
  });

  it('normal, both ways', () => {
    for (const [tail, want] of scipy.normalUpper as [number, number][]) {
      expect(Math.abs(-normalQuantile(tail) - want), `tail ${tail}`).toBeLessThan(1e-12);
      expect(Math.abs((1 - normalCdf(want)) / tail - 1)).toBeLessThan(tail < 1e-6 ? 1e-3 : 1e-9);
    }
  });

  it('Student’s t, 95 %', () => {
    // The expansion is good to 0.1 % from 3 degrees of freedom on; no verdict turns on less.
    for (const [dof, want] of scipy.t95 as [number, number][]) expect(Math.abs(coverageFactor95(dof) / want - 1), `ν ${dof}`).toBeLessThan(1e-3 * (dof < 4 ? 5 : 1));
    expect(coverageFactor95(null)).toBeCloseTo(1.959964, 6);
  });
});

it('robust location and spread shrug off outliers', () => {
  const x = noise(1001, 2, 3);
  for (let i = 0; i < 100; i++) x[i * 10] = 1e6;
  expect(Math.abs(median(x))).toBeLessThan(0.5);
  expect(robustSpread(x)).toBeGreaterThan(1.7);
  expect(robustSpread(x)).toBeLessThan(2.8);
  expect(median([4, 1, 3, 2])).toBe(2.5);
});
