import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { BANDS, highestBetween, nearestIndex, spanOf, stepsOf, valueNear } from '../../../src/report/charts/axis.js';
import { decimate } from '../../../src/report/charts/decimate.js';
import { fitting, spread } from '../../../src/report/charts/labels.js';
import { simplify } from '../../../src/report/charts/simplify.js';
import { seeded } from '../../helpers/random.js';

const grid = (points: number, low = 20, high = 20_000): number[] => Array.from({ length: points }, (_, i) => low * (high / low) ** (i / (points - 1)));

describe('decimate', () => {
  it('keeps the lowest and the highest point of every slice, in order', () => {
    const { gauss } = seeded(3);
    const x = grid(4000);
    const y = x.map(() => gauss());
    const slices = 100;
    const kept = decimate(x, y, slices);
    expect(kept.length).toBeLessThanOrEqual(2 * slices + 2);
    expect(kept).toEqual([...kept].sort((a, b) => a - b));
    const sliceOf = (hz: number): number => Math.min(slices - 1, Math.floor((Math.log(hz / 20) / Math.log(1000)) * slices));
    for (let s = 0; s < slices; s++) {
      const all = x.flatMap((hz, i) => (sliceOf(hz) === s ? [y[i]!] : []));
      const left = kept.flatMap((i) => (sliceOf(x[i]!) === s ? [y[i]!] : []));
      expect(Math.max(...left), `slice ${String(s)}`).toBe(Math.max(...all));
      expect(Math.min(...left), `slice ${String(s)}`).toBe(Math.min(...all));
    }
  });

  it('loses no single line, wherever it stands', () => {
    fc.assert(
      fc.property(fc.integer({ min: 0, max: 1999 }), (at) => {
        const x = grid(2000);
        const y = x.map((_, i) => (i === at ? 40 : 0));
        expect(decimate(x, y, 60)).toContain(at);
      }),
      { seed: 5, numRuns: 100 },
    );
  });

  it('keeps gaps as gaps, both ends, and nothing outside the audio band', () => {
    const x = [10, 20, 30, 40, 50, 20_000, 20_000.001, 24_000];
    expect(decimate(x, [0, 1, null, 2, 3, 4, 5, 6], 400)).toEqual([1, 2, 3, 4, 5, 6]);
    expect(decimate([], [], 10)).toEqual([]);
    expect(decimate(grid(9), grid(9).map(() => null), 3).every((i) => i >= 0)).toBe(true);
  });
});

describe('simplify', () => {
  it('leaves no point further from the line than the tolerance', () => {
    const { gauss } = seeded(4);
    const x = grid(300).map((hz) => 100 * Math.log10(hz / 20));
    const y = x.map((v) => 20 * Math.sin(v / 30) + 0.05 * gauss());
    const kept = simplify(x, y, 0.15);
    expect(kept.length).toBeLessThan(120);
    for (let k = 1; k < kept.length; k++) {
      const [a, b] = [kept[k - 1]!, kept[k]!];
      for (let i = a; i <= b; i++) {
        const [dx, dy] = [x[b]! - x[a]!, y[b]! - y[a]!];
        const off = Math.abs((x[i]! - x[a]!) * dy - (y[i]! - y[a]!) * dx) / Math.hypot(dx, dy);
        expect(off).toBeLessThanOrEqual(0.15 + 1e-9);
      }
    }
  });

  it('keeps the ends, and two points of a straight line', () => {
    expect(simplify([0, 1, 2, 3], [0, 1, 2, 3], 0.1)).toEqual([0, 3]);
    expect(simplify([5], [5], 0.1)).toEqual([0]);
    expect(simplify([], [], 0.1)).toEqual([]);
    expect(simplify([1, 1, 1], [0, 9, 0], 0.1)).toEqual([0, 1, 2]);
  });
});

describe('spread', () => {
  it('keeps order, gap and frame wherever there is room', () => {
    fc.assert(
      fc.property(fc.array(fc.double({ min: 0, max: 200, noNaN: true }), { maxLength: 10 }), (wanted) => {
        const placed = spread(wanted, 15, 0, 200);
        const order = wanted.map((_, i) => i).sort((a, b) => wanted[a]! - wanted[b]! || a - b);
        order.forEach((i, k) => {
          expect(placed[i]!).toBeGreaterThanOrEqual(-1e-9);
          expect(placed[i]!).toBeLessThanOrEqual(200 + 1e-9);
          if (k > 0) expect(placed[i]! - placed[order[k - 1]!]!).toBeGreaterThanOrEqual(15 - 1e-6);
        });
      }),
      { seed: 6, numRuns: 300 },
    );
  });

  it('does not move labels that have room', () => {
    expect(spread([100, 20, 60], 15, 0, 200)).toEqual([100, 20, 60]);
    expect(spread([50, 50], 10, 0, 100)).toEqual([45, 55]);
  });
});

describe('fitting', () => {
  const box = (x: number, weight: number, y = 0): { x: number; y: number; width: number; height: number; weight: number } => ({ x, y, width: 10, height: 10, weight });

  it('takes the heaviest first and leaves out what would cover it', () => {
    expect(fitting([box(0, 1), box(5, 3), box(20, 2)], 9, [])).toEqual([1, 2]);
    expect(fitting([box(0, 1), box(5, 3, 30), box(20, 2)], 9, [])).toEqual([0, 1, 2]);
    expect(fitting([box(0, 1), box(50, 3), box(20, 2)], 1, [])).toEqual([1]);
    expect(fitting([box(0, 1), box(50, 3)], 9, [{ x: 52, y: 0, width: 3, height: 3 }])).toEqual([0]);
  });
});

describe('scales', () => {
  it('hold all values on whole steps, and are never blown up by noise', () => {
    fc.assert(
      fc.property(fc.array(fc.double({ min: -150, max: 30, noNaN: true }), { minLength: 1, maxLength: 9 }), (values) => {
        const span = spanOf(values, 2, 400);
        expect(span.low).toBeLessThanOrEqual(Math.min(...values) + 1e-6);
        expect(span.high).toBeGreaterThanOrEqual(Math.max(...values) - 1e-6);
        expect(span.high - span.low).toBeGreaterThanOrEqual(2 - 1e-9);
        const steps = stepsOf(span);
        expect(steps.length).toBeGreaterThanOrEqual(4);
        expect(steps.length).toBeLessThanOrEqual(10);
        for (const step of steps) expect(Math.abs(step / span.step - Math.round(step / span.step))).toBeLessThan(1e-6);
      }),
      { seed: 11, numRuns: 300 },
    );
  });

  it('cut what lies too far below the top, and stand for nothing when empty', () => {
    expect(spanOf([-100, 0], 2, 30)).toMatchObject({ low: -30, high: 0 });
    expect(spanOf([], 2, 30)).toMatchObject({ low: 0, high: 2 });
  });
});

describe('reading curves', () => {
  const x = [90, 100, 112, 1000];
  const y = [1, 2, null, 4];

  it('takes the nearest point within half a third-octave, or nothing', () => {
    expect(nearestIndex(x, 101)).toBe(1);
    expect(nearestIndex(x, 500)).toBe(-1);
    expect(valueNear(x, y, 112)).toBeNull();
    expect(valueNear(x, y, 1000)).toBe(4);
    expect(highestBetween(x, y, 89, 113)).toBe(2);
    expect(highestBetween(x, y, 200, 300)).toBeNull();
  });

  it('knows the 31 third-octave bands of the audio band', () => {
    expect(BANDS.map((b) => b.nominalHz)).toEqual([
      20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000, 10_000, 12_500,
      16_000, 20_000,
    ]);
  });
});
