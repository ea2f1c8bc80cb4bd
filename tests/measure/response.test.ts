/** Algebra on responses, on curves in closed form. */
import { describe, expect, it } from 'vitest';
import { GRID_HZ } from '../../src/measure/frequency-grid.js';
import { METHOD_DB, extremes } from '../../src/measure/response.js';
import type { ResponseEstimate } from '../../src/measure/take.js';
import { chain, gain, highPass, lowPass } from '../helpers/device.js';
import type { Complex } from '../helpers/device.js';

/** Its error has this standard deviation at each point, as a share of full scale. */
function estimateOf(response: (hz: number) => Complex, error: number): ResponseEstimate {
  const points = [...GRID_HZ].map(response);
  return { curve: { re: Float64Array.from(points, ([re]) => re), im: Float64Array.from(points, ([, im]) => im) }, variance: new Float64Array(points.length).fill(error * error), peakLagS: 0 };
}

const highDb = (hz: number, corner: number): number => -10 * Math.log10(1 + (corner / hz) ** 2);
const lowDb = (hz: number, corner: number): number => -10 * Math.log10(1 + (hz / corner) ** 2);

describe('the extremes of a response', () => {
  it('are those of the closed form, whatever its gain', () => {
    const { lowest, highest } = extremes(estimateOf(chain(gain(-7), highPass(10), lowPass(50_000)), 1e-9))!;
    const db = (hz: number): number => highDb(hz, 10) + lowDb(hz, 50_000) - highDb(1000, 10) - lowDb(1000, 50_000);
    expect(lowest).toMatchObject({ hz: 20, db: expect.closeTo(db(20), 9) as number });
    // Between two corners a band is highest at the root of their product: 707 Hz, to half a step of the grid.
    expect(Math.abs(Math.log2(highest.hz / Math.sqrt(10 * 50_000)))).toBeLessThan(1 / 48);
    expect(highest.db).toBeCloseTo(db(highest.hz), 9);
    expect(lowest.uncertaintyDb).toBeCloseTo(2 * Math.SQRT2 * METHOD_DB, 6);
  });

  it('carry the error of both levels', () => {
    // A relative error e of a complex value moves its level by 8.69·e/√2 dB; at 20 kHz the value is smaller by the low-pass.
    const { lowest } = extremes(estimateOf(lowPass(10_000), 1e-3))!;
    const of = (hz: number): number => (8.6859 * 1e-3 * 10 ** (-lowDb(hz, 10_000) / 20)) / Math.SQRT2;
    expect(lowest.hz).toBe(20_000);
    expect(lowest.uncertaintyDb).toBeCloseTo(2 * Math.hypot(of(20_000), of(1000), METHOD_DB, METHOD_DB), 5);
  });

  it('leave out what is noise, and are not told of noise alone', () => {
    // −45.7 dB is what twice the error amounts to: from 1.98 kHz on nothing is told.
    const steep = estimateOf((hz) => [10 ** ((-23 * Math.log2(hz / 500)) / 20), 0], 0.0026);
    expect(extremes(steep)!.lowest.hz).toBeLessThan(2000);
    expect(extremes(steep)!.lowest.hz).toBeGreaterThan(1950);
    expect(extremes(estimateOf(gain(-60), 1e-3))).toBeNull();
  });
});
