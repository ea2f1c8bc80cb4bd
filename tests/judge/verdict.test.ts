import { describe, expect, it } from 'vitest';
import { combined, expanded } from '../../src/judge/uncertainty.js';
import { judge } from '../../src/judge/verdict.js';
import { normalCdf } from '../../src/numerics/statistics.js';
import table from '../standards/guard-band-decision-rules.json' with { type: 'json' };
import { seeded } from '../helpers/random.js';

const reading = (value: number | null, uncertainty: number | null, bound: 'upper' | 'lower' | null = null, benchLimited = false): Parameters<typeof judge>[0] => ({ value, uncertainty, bound, benchLimited });
const max = (v: number): Parameters<typeof judge>[1] => ({ max: v, min: null, within: null });
const min = (v: number): Parameters<typeof judge>[1] => ({ max: null, min: v, within: null });
const within = (a: number, b: number): Parameters<typeof judge>[1] => ({ max: null, min: null, within: [a, b] });

describe('guard-band verdicts, JCGM 106:2012', () => {
  it('worked case, one-sided: limit −80.0, reading −81.2, U 1.0: acceptance limit −81.0, so pass', () => {
    expect(judge(reading(-81.2, 1), max(-80))).toBe('pass');
    expect(judge(reading(-80.9, 1), max(-80))).toBe('undecided');
    expect(judge(reading(-79.1, 1), max(-80))).toBe('undecided');
    expect(judge(reading(-78.9, 1), max(-80))).toBe('fail');
    expect(100 * normalCdf((-80 + 81.2) / 0.5)).toBeCloseTo(99.18, 2);
  });

  it('worked case, two-sided: 0 ±0.5, reading 0.30, U 0.2: guarded limits ±0.30, so just pass', () => {
    expect(judge(reading(0.3, 0.2), within(-0.5, 0.5))).toBe('pass');
    expect(judge(reading(-0.31, 0.2), within(-0.5, 0.5))).toBe('undecided');
    expect(judge(reading(-0.71, 0.2), within(-0.5, 0.5))).toBe('fail');
  });

  it('conformance probability at the acceptance limit is that of the table', () => {
    for (const [w, conformance, risk] of table.rows as number[][]) {
      expect(100 * normalCdf(w!)).toBeCloseTo(conformance!, 2);
      expect(100 * (1 - normalCdf(w!))).toBeCloseTo(risk!, 2);
    }
  });

  it('accepts a bad one in at most 2.5 % and rejects a good one in at most 2.5 %, wherever the truth lies', () => {
    const { gauss } = seeded(5);
    for (const truth of [-80.9, -80.4, -80.001, -79.999, -79.5]) {
      let passed = 0;
      let failed = 0;
      const trials = 4000;
      for (let i = 0; i < trials; i++) {
        const verdict = judge(reading(truth + 0.5 * gauss(), 0.98), max(-80));
        if (verdict === 'pass') passed++;
        if (verdict === 'fail') failed++;
      }
      // 2.5 % of 4000 is 100 ± 10; four standard deviations.
      if (truth > -80) expect(passed, `truth ${truth}`).toBeLessThan(140);
      else expect(failed, `truth ${truth}`).toBeLessThan(140);
    }
  });

  it('a bound decides only what it can', () => {
    expect(judge(reading(-92, 0.2, 'upper', true), max(-90))).toBe('pass');
    expect(judge(reading(-89, 0.2, 'upper', true), max(-90))).toBe('bench-limited');
    expect(judge(reading(-89, 0.2, 'upper'), max(-90))).toBe('undecided');
    expect(judge(reading(86, 0.2, 'lower'), min(75))).toBe('pass');
    expect(judge(reading(70, 0.2, 'lower', true), min(75))).toBe('bench-limited');
    expect(judge(reading(70, 0.2, 'upper'), min(75))).toBe('fail');
    expect(judge(reading(80, 0.2, 'upper'), min(75))).toBe('undecided');
  });

  it('no limit is information, no value is undecided, signs are compared as they are', () => {
    expect(judge(reading(1, null), null)).toBe('info');
    expect(judge(reading(null, null), max(0))).toBe('undecided');
    expect(judge(reading(-1, null), within(1, 1))).toBe('fail');
    expect(judge(reading(1, null), within(1, 1))).toBe('pass');
  });
});

describe('uncertainty budget, JCGM 100:2008', () => {
  it('adds squares, and widens k for few degrees of freedom', () => {
    expect(combined([{ standard: 3, degreesOfFreedom: null }, { standard: 4, degreesOfFreedom: null }])).toMatchObject({ standard: 5, degreesOfFreedom: null });
    expect(expanded([{ standard: 1, degreesOfFreedom: null }])).toBeCloseTo(1.96, 3);
    // t(10) = 2.228
    expect(expanded([{ standard: 1, degreesOfFreedom: 10 }])).toBeCloseTo(2.228, 2);
    // Welch-Satterthwaite: two equal parts of ν = 5 make ν = 10.
    expect(combined([{ standard: 1, degreesOfFreedom: 5 }, { standard: 1, degreesOfFreedom: 5 }]).degreesOfFreedom).toBeCloseTo(10, 9);
    expect(expanded([])).toBe(0);
  });

  it('a part that is not normal: k of the sum, as simulation gives it', () => {
    const { gauss, uniform } = seeded(11);
    const draw = { arcsine: () => Math.SQRT2 * Math.cos(2 * Math.PI * uniform()), rectangular: () => Math.sqrt(12) * (uniform() - 0.5) };
    for (const distribution of ['arcsine', 'rectangular'] as const) {
      for (const standard of [0.3, 1, 3]) {
        const u = expanded([{ standard: 1, degreesOfFreedom: null }, { standard, degreesOfFreedom: null, distribution }]);
        const trials = 20000;
        let inside = 0;
        for (let i = 0; i < trials; i++) if (Math.abs(gauss() + standard * draw[distribution]()) <= u) inside++;
        // 95 % of 20 000 is known to 0.15 %; four of those.
        expect(Math.abs(inside / trials - 0.95), `${distribution} ${standard}`).toBeLessThan(0.0062);
      }
    }
    // A phase alone never errs by more than √2 of its standard uncertainty: 95 % lie within √2·sin(0.475·π) = 1.4098.
    expect(combined([{ standard: 2, degreesOfFreedom: null, distribution: 'arcsine' }]).coverageFactor).toBeCloseTo(1.41, 2);
  });
});
