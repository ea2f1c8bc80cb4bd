import { describe, expect, it } from 'vitest';
import { amplitudeOfDbfs, exp, ln, sinTurns } from '../../src/signals/exact.js';

describe('sine, exponential and logarithm without the engine', () => {
  // Math.sin is handed 2π·t, whose own rounding is up to |2πt|·eps/2; a negative t is rounded once more when it is
  // brought to [0, 1), by eps/4 of a turn = 3.5e-16. Those, not the series, set this tolerance.
  it('sine agrees with the built-in', () => {
    for (let i = -4000; i <= 4000; i++) {
      const t = i / 1009;
      expect(Math.abs(sinTurns(t) - Math.sin(2 * Math.PI * t)), `turns ${t}`).toBeLessThan(7e-16 + 2.3e-16 * 2 * Math.PI * Math.abs(t));
    }
  });

  it('sine is exact where it can be', () => {
    for (const whole of [0, 1, -3, 24000]) {
      expect([0, 0.25, 0.5, 0.75].map((q) => sinTurns(whole + q))).toEqual([0, 1, -0, -1]);
    }
  });

  it('exponential and logarithm agree with the built-ins', () => {
    for (let i = -300; i <= 300; i++) {
      const x = i / 37;
      expect(Math.abs(exp(x) / Math.exp(x) - 1), `x ${x}`).toBeLessThan(5e-16);
      expect(Math.abs(ln(Math.exp(x)) - x), `x ${x}`).toBeLessThan(4e-16 * Math.max(1, Math.abs(x)));
    }
  });

  it('a level of −20 dBFS has a peak of a tenth', () => {
    expect(amplitudeOfDbfs(-20)).toBeCloseTo(0.1, 15);
    expect(amplitudeOfDbfs(0)).toBe(1);
  });
});
