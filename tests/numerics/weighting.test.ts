import { describe, expect, it } from 'vitest';
import { aWeighting, cWeighting, ccirRmsWeighting, itu468Weighting } from '../../src/numerics/weighting.js';
import scipy from '../outside/scipy/weighting.json' with { type: 'json' };
import iec61672 from '../standards/iec61672-weighting-table.json' with { type: 'json' };
import gains from '../standards/noise-weighting-gains.json' with { type: 'json' };
import itu468 from '../standards/itu468-weighting-table.json' with { type: 'json' };

const db = (ratio: number): number => 20 * Math.log10(ratio);

describe('A and C weighting, IEC 61672-1:2013 Table 3', () => {
  it('equal the 34 design goals when rounded to 0.1 dB, and the formula to 1e-4 dB', () => {
    expect(iec61672.rows).toHaveLength(34);
    for (const row of iec61672.rows as number[][]) {
      const [nominal, , a, c, , aComputed, cComputed] = row;
      // Design goals hold at the exact base-ten frequency; the table's copy of it has four decimals.
      const exact = 10 ** (Math.round(10 * Math.log10(row[1]!)) / 10);
      expect(Math.abs(db(aWeighting(exact)) - a!), `A at ${nominal} Hz`).toBeLessThanOrEqual(0.0501);
      expect(Math.abs(db(cWeighting(exact)) - c!), `C at ${nominal} Hz`).toBeLessThanOrEqual(0.0501);
      expect(Math.abs(db(aWeighting(exact)) - aComputed!), `A at ${nominal} Hz`).toBeLessThan(1e-4);
      expect(Math.abs(db(cWeighting(exact)) - cComputed!), `C at ${nominal} Hz`).toBeLessThan(1e-4);
    }
    expect(db(aWeighting(997))).toBeCloseTo(-0.0092, 4);
  });

  it('A agrees with SciPy’s analogue zeros and poles to 96 kHz', () => {
    for (const [hz, want] of scipy.a as [number, number][]) expect(Math.abs(db(aWeighting(hz)) - want), `${hz} Hz`).toBeLessThan(1e-9);
  });
});

describe('468 weighting, ITU-R BS.468-4 Table 1', () => {
  it('follows the rounded table within 0.0503 dB (the table’s own distance from its network) and the network within 1e-3 dB', () => {
    expect(itu468.rows).toHaveLength(21);
    for (const [hz, nominal, , , network] of itu468.rows as number[][]) {
      expect(Math.abs(db(itu468Weighting(hz!)) - nominal!), `${hz} Hz`).toBeLessThan(0.0503);
      expect(Math.abs(db(itu468Weighting(hz!)) - network!), `${hz} Hz`).toBeLessThan(1e-3);
    }
  });

  it('is the ladder of Fig. 1a, solved as a chain of two-ports', () => {
    for (const [hz, want] of scipy.itu468 as [number, number][]) expect(Math.abs(db(itu468Weighting(hz)) - want), `${hz} Hz`).toBeLessThan(2e-5);
  });

  it('AES17: a 1 kHz sine at −20 dBFS reads −25.63 dB CCIR-RMS', () => {
    expect(-20 + db(ccirRmsWeighting(1000))).toBeCloseTo(-25.63, 5);
    expect(db(ccirRmsWeighting(2000))).toBeCloseTo(0, 2);
  });
});

it('change ideal white noise, 20 Hz to 20 kHz, by the computed amounts', () => {
  const weightings = [aWeighting, cWeighting, itu468Weighting, ccirRmsWeighting];
  weightings.forEach((weighting, i) => {
    let sum = 0;
    // Middles of 1 Hz steps.
    for (let hz = 20.5; hz < 20000; hz++) sum += weighting(hz) ** 2;
    // The table has three decimals.
    expect(10 * Math.log10(sum / 19980), String(gains.rows[i]![0])).toBeCloseTo(gains.rows[i]![1] as number, 3);
  });
});
