import { describe, expect, it } from 'vitest';
import { highestCrest } from '../../src/measure/click-crest.js';
import { noise } from '../helpers/random.js';

const RATE = 48000;
const silent = { rms: 0, stretches: [] };
const sampled = (at: (t: number) => number, shift: number): Float64Array => Float64Array.from({ length: 200 }, (_, n) => at((n - 20 - shift) / RATE));

describe('highest crest of a click', () => {
  it('between samples, from 300 Hz to 6 kHz, wherever they fall: within its slack, and 0.002 dB where there is none', () => {
    for (const hz of [300, 1000, 2000, 4000, 6000]) {
      for (const shift of [0, 0.25, 0.5, 0.75]) {
        const [w, decay] = [2 * Math.PI * hz, 700];
        const y = sampled((t) => (t < 0 ? 0 : Math.exp(-decay * t) * Math.sin(w * t)), shift);
        // At its crest tan ωt = ω/γ.
        const truth = Math.exp((-decay * Math.atan2(w, decay)) / w) * Math.sin(Math.atan2(w, decay));
        const { peak, slack } = highestCrest(y, 0, y.length, silent);
        expect(Math.abs(peak - truth), `${hz} Hz, ${shift}`).toBeLessThan(slack + 2.3e-4 * truth);
        // Above 5 kHz a crest is so steep that it may be a jump.
        expect(slack / truth).toBeLessThan(hz < 1500 ? 1e-9 : hz < 5000 ? 0.02 : 0.1);
      }
    }
  });

  it('is found where the largest sample lies on a lower one', () => {
    // 6 kHz, eight samples a turn: the first crest falls midway between two samples, the second half turn, 2 % lower, upon one.
    const w = (2 * Math.PI * RATE) / 7.5 / RATE;
    const y = Float64Array.from({ length: 60 }, (_, n) => (n < 20 ? 0 : 0.98 ** ((n - 20) / 3.75) * Math.cos(w * (n - 20.5))));
    const largest = y.reduce((at, v, n) => (Math.abs(v) > Math.abs(y[at]!) ? n : at), 0);
    expect(largest).toBeGreaterThan(21);
    const { peak } = highestCrest(y, 0, y.length, silent);
    expect(peak).toBeGreaterThan(1.005 * Math.abs(y[largest]!));
  });

  it('of a jump is its largest sample, give or take a recorder’s overshoot', () => {
    const y = Float64Array.from({ length: 100 }, (_, n) => (n < 30 ? 0 : -Math.exp((30 - n) / 40)));
    expect(highestCrest(y, 0, y.length, silent)).toEqual({ peak: 1, spread: 0, slack: 0.09 });
  });

  it('is read through the noise of hiss better than through as much hum', () => {
    const y = sampled((t) => (t < 0 ? 0 : Math.sin(2 * Math.PI * 500 * t)), 0).subarray(0, 68);
    const hiss = noise(9600, 0.01, 3);
    const hum = Float64Array.from({ length: 9600 }, (_, n) => 0.01 * Math.SQRT2 * Math.sin((2 * Math.PI * 150 * n) / RATE));
    const spread = (x: Float64Array): number => highestCrest(y, 0, y.length, { rms: 0.01, stretches: [x] }).spread;
    expect(spread(hum)).toBeCloseTo(0.01, 3);
    expect(spread(hiss)).toBeLessThan(0.6 * spread(hum));
    // Without a stretch to go by, a white floor is assumed.
    expect(highestCrest(y, 0, y.length, { rms: 0.01, stretches: [] }).spread / spread(hiss)).toBeCloseTo(1, 1);
  });
});
