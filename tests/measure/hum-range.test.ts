/** Hum of several loops together, from lines drawn with the scatter that their spectra state: the range must be wider than without scatter by just that. */
import { describe, expect, it } from 'vitest';
import { humBetween, strangeHarmonic } from '../../src/measure/hum-range.js';
import type { IdleEstimate } from '../../src/measure/idle.js';
import { linePowerVariance } from '../../src/measure/power-estimate.js';
import { seeded } from '../helpers/random.js';

type Spectrum = NonNullable<IdleEstimate['spectrum']>;

const BIN_HZ = 0.75;
const FLOOR = 1e-14;
const psd = { density: new Float64Array(2048), binHz: BIN_HZ, segments: 20, degreesOfFreedom: 38 };
const search = { floor: new Float64Array(2048).fill(FLOOR), unseen: new Float64Array(2048), lines: [], thresholdDb: 5, skirts: null };

/** A capture that shows these powers at 50 and 150 Hz, off by their own scatter where `gauss` draws it. */
function showing(powers: readonly number[], gauss: () => number = () => 0): Spectrum {
  const hum = powers.map((power, k) => {
    const hz = 50 + 100 * k;
    const bin = Math.round(hz / BIN_HZ);
    const line = { hz, hzUncertainty: 1e-4, power, overFloorDb: 30, firstBin: bin - 3, lastBin: bin + 3, harmonic: 1 + 2 * k };
    return { ...line, power: power + Math.sqrt(linePowerVariance(line, search, psd)) * gauss() };
  });
  return { psd, search, lines: { mainsHz: 50, hum, whine: [] } } as unknown as Spectrum;
}

const GAINS = [0.9, 1.2];
const REST = [2e-12, 1e-12];
const LOOPS = [
  [9e-11, 4e-12],
  [5e-12, 6e-12],
];
const at = (gauss?: () => number) => ({ rest: showing(REST, gauss), loops: LOOPS.map((powers, k) => ({ spectrum: showing(powers, gauss), squareGain: GAINS[k]! ** 2 })) });
const amplitude = (powers: readonly number[], h: number): number => Math.sqrt(powers[h]!);

/** Both ends by hand, for two loops. */
const [g1, g2] = GAINS as [number, number];
const ends = [0, 1].map((h) => {
  const [r, a, b] = [amplitude(REST, h), amplitude(LOOPS[0]!, h), amplitude(LOOPS[1]!, h)];
  const [first, second] = [(a + g1 * r) * g2, b + g2 * r];
  return { most: r * g1 * g2 + first + second, least: Math.max(0, a * g2 - second, b - r * g2 * Math.abs(g1 - 1) - first) };
});
const most = ends.reduce((sum, e) => sum + e.most ** 2, 0);
const least = ends.reduce((sum, e) => sum + e.least ** 2, 0);

describe('what hum of several loops can come to', () => {
  const { gauss } = seeded(5);
  const clean = at();
  const stated = humBetween(clean.rest, clean.loops, 0);

  it('reaches further than the sums of amplitudes, both ways', () => {
    expect(stated.most).toBeGreaterThan(most);
    expect(stated.least).toBeLessThan(least);
    expect(stated.least).toBeGreaterThan(0);
  });

  it('by as much as the sums scatter: 1.96 of their standard deviation, over draws', () => {
    const drawn = Array.from({ length: 4000 }, () => {
      const { rest, loops } = at(gauss);
      const between = humBetween(rest, loops, 0);
      // What each draw states of itself is all but the same for all: taken off, the sum of its own lines is left.
      return { most: between.most - (stated.most - most), least: between.least + (least - stated.least) };
    });
    for (const [end, truth] of [['most', most], ['least', least]] as const) {
      const spread = Math.sqrt(drawn.reduce((sum, d) => sum + (d[end] - truth) ** 2, 0) / drawn.length);
      // 4000 draws tell a standard deviation to 1.1 %; the rest is the draws' own intervals, which scatter along.
      expect(Math.abs(stated[end] - truth) / 1.96 / spread, end).toBeGreaterThan(0.93);
      expect(Math.abs(stated[end] - truth) / 1.96 / spread, end).toBeLessThan(1.05);
    }
    // One-sided, the far end holds the sum in 97.5 of 100.
    const held = drawn.filter((d) => d.most + (stated.most - most) >= most).length / drawn.length;
    expect(held).toBeGreaterThan(0.965);
    expect(held).toBeLessThan(0.985);
  });

  it('further still by what the sum leaves out', () => {
    const withModel = humBetween(clean.rest, clean.loops, 0.05);
    expect(withModel.most - most).toBeCloseTo(Math.hypot(stated.most - most, 1.96 * 0.05 * most), 15);
  });

  it('a harmonic is strange from 3 dB over the most on, and where its scatter and that of the most do not explain it', () => {
    const strange = (factor: number) => strangeHarmonic(showing([factor * ends[0]!.most ** 2, 1e-12]), clean.rest, clean.loops);
    expect(strange(1.9)).toBeNull();
    expect(strange(4)?.harmonic).toBe(1);
    expect(strange(4)?.overDb).toBeCloseTo(10 * Math.log10(4), 10);
  });
});
