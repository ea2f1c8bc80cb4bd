/** The floor beside bins that are no floor. */
import { describe, expect, it } from 'vitest';
import { closed, localFloor } from '../../src/measure/local-floor.js';
import { seeded } from '../helpers/random.js';

const NU = 40;
const BINS = 4000;

/** Chi-square noise of mean 1 in every bin, two of its degrees of freedom at a time: −2·ln u. */
const noisy = (seed: number): Float64Array => {
  const { uniform } = seeded(seed);
  return Float64Array.from({ length: BINS }, () => Array.from({ length: NU / 2 }, () => -2 * Math.log(1 - uniform())).reduce((a, b) => a + b, 0) / NU);
};
const psdOf = (density: Float64Array) => ({ density, binHz: 1, segments: 20, degreesOfFreedom: NU });
const isOut = (k: number): boolean => k % 70 < 40;

describe('local floor', () => {
  it('is that of the bins which count, whatever is in the others, and its mean is theirs', () => {
    const density = noisy(1);
    const spoilt = density.map((v, k) => (isOut(k) ? 1e6 * v : v));
    const floor = localFloor(psdOf(spoilt), isOut);
    expect(floor).toEqual(localFloor(psdOf(density), isOut));
    // Relative scatter of a median of 43 bins is √(π/2·2/40/43) = 4.3 %; of some 90 such, 0.5 %; four of them.
    expect(Math.abs(floor.reduce((sum, v) => sum + v / BINS, 0) - 1)).toBeLessThan(0.02);
  });

  it('has no figure where hardly a bin counts; there it lies between its ends, and says how far it may be off', () => {
    const density = noisy(2).map((v, k) => (k >= 1000 && k < 1300 ? 5 * v : v));
    const open = localFloor(psdOf(density), (k) => k >= 1000 && k < 1300);
    const hidden = Array.from(open.keys()).filter((k) => Number.isNaN(open[k]!));
    // Fewer than 12 of a neighbourhood of 50 to each side.
    expect([hidden[0], hidden.at(-1)]).toEqual([1039, 1260]);
    const { floor, unseen } = closed(open, density);
    for (const k of hidden) {
      expect(floor[k]).toBeGreaterThanOrEqual(Math.min(open[1038]!, open[1261]!) - 1e-12);
      expect(floor[k]).toBeLessThanOrEqual(Math.max(open[1038]!, open[1261]!) + 1e-12);
      // A rectangle that the truth, 1, is inside.
      expect(floor[k]! + Math.sqrt(3) * unseen[k]!).toBeGreaterThan(1.2);
    }
    expect(unseen.filter((v) => v > 0).length).toBe(hidden.length);
    expect(floor.every((v, k) => v === open[k] || Number.isNaN(open[k]!))).toBe(true);
  });
});
