import { describe, expect, it } from 'vitest';
import { heardSweep, sweepAt, sweepDurationS, sweepTopHz } from '../../src/signals/sweep.js';

describe('the sweep as a recorder hears it', () => {
  // e^(t/L) is carried on by up to 64 multiplications; the phase then is off by 64·1.1e-16·2π·24 000, 1e-9 rad.
  for (const [topHz, rate, start] of [[20224, 44100, 812.4], [22080, 48000 * (1 - 3e-4), 0], [24000, 192000, -5000.7]] as const) {
    it(`is the sweep that is played, to ${topHz} Hz on a clock of ${rate} Hz, begun at frame ${start}`, () => {
      const frames = Math.round(7.9 * rate);
      const { samples, topHz: heldHz } = heardSweep(topHz, rate, frames, start, 0.1);
      let worst = 0;
      samples.forEach((v, n) => (worst = Math.max(worst, Math.abs(v - 0.1 * sweepAt((n - start) / rate, sweepDurationS(topHz))))));
      expect(worst).toBeLessThan(0.1 * 2e-9);
      expect(heldHz).toBe(topHz);
    });
  }

  it('ends below half the rate where the player went beyond it', () => {
    const rate = 44100;
    const { samples, topHz } = heardSweep(24000, rate, 9 * rate, 0, 1);
    expect(topHz).toBe(sweepTopHz(rate));
    const heldS = sweepDurationS(topHz);
    const endS = sweepDurationS(rate / 2);
    samples.forEach((v, n) => {
      const played = sweepAt(n / rate, sweepDurationS(24000));
      if (n / rate < heldS) expect(Math.abs(v - played)).toBeLessThan(2e-9);
      else expect(Math.abs(v)).toBeLessThanOrEqual(n / rate > endS ? 0 : Math.abs(played) + 2e-9);
    });
  });
});
