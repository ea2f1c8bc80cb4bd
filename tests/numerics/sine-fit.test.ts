import { describe, expect, it } from 'vitest';
import { fitSine, projectTones } from '../../src/numerics/sine-fit.js';
import { hann } from '../../src/numerics/window.js';
import { noise } from '../helpers/random.js';

const tone = (n: number, fs: number, hz: number, amplitude: number, phase: number, offset = 0): Float64Array =>
  Float64Array.from({ length: n }, (_, t) => amplitude * Math.cos((2 * Math.PI * hz * t) / fs + phase) + offset);

describe('four-parameter sine fit', () => {
  // Noise-free: what is left is rounding, about eps·sqrt N in amplitude and eps·fs/N in frequency.
  it('recovers frequency, amplitude, phase and offset', () => {
    for (const window of [null, hann(96000)]) {
      for (const hz of [996.8, 997, 997.2]) {
        const fit = fitSine(tone(96000, 48000, hz, 0.37, -1.1, 0.02), 48000, 997, window)!;
        expect(fit.frequencyHz).toBeCloseTo(hz, 9);
        expect(fit.amplitude).toBeCloseTo(0.37, 11);
        expect(fit.phaseRad).toBeCloseTo(-1.1, 8);
        expect(fit.offset).toBeCloseTo(0.02, 11);
      }
    }
  });

  it('scatters as the Cramér-Rao bound says: sd(A) = σ·sqrt(2/N), sd(f) = (fs/2π)(σ/A)·sqrt(24/N³)', () => {
    const n = 4800;
    const sigma = 0.01;
    const fits = Array.from({ length: 300 }, (_, i) => {
      const x = tone(n, 48000, 997, 1, 0.4);
      noise(n, sigma, 100 + i).forEach((v, t) => (x[t]! += v));
      return fitSine(x, 48000, 997)!;
    });
    const sd = (v: number[]): number => {
      const mean = v.reduce((p, q) => p + q) / v.length;
      return Math.sqrt(v.reduce((p, q) => p + (q - mean) ** 2, 0) / (v.length - 1));
    };
    // 300 trials: the scatter of a standard deviation is 1/sqrt(600) = 4 %; four of those.
    expect(Math.abs(sd(fits.map((f) => f.amplitude)) / (sigma * Math.sqrt(2 / n)) - 1)).toBeLessThan(0.16);
    expect(Math.abs(sd(fits.map((f) => f.frequencyHz)) / ((48000 / 2 / Math.PI) * sigma * Math.sqrt(24 / n ** 3)) - 1)).toBeLessThan(0.16);
    expect(fits.reduce((s, f) => s + f.residualRms, 0) / fits.length).toBeCloseTo(sigma, 4);
  });

  it('says so where there is no tone', () => {
    expect(fitSine(new Float64Array(1000), 48000, 997)?.amplitude ?? 0).toBe(0);
  });
});

describe('harmonics', () => {
  it('recovers a distorted tone: y = x + 0.1x² + 0.05x³ has H1 1.0375, H2 0.05, H3 0.0125', () => {
    // Trigonometry, as in the table of outside test cases, D1.
    const y = tone(48000, 48000, 997, 1, -Math.PI / 2).map((v) => v + 0.1 * v * v + 0.05 * v ** 3);
    const window = hann(y.length);
    const read = projectTones(y, 48000, [997, 1994, 2991], window).map(({ re, im }) => Math.hypot(re, im));
    expect(read).toEqual([1.0375, 0.05, 0.0125].map((v) => expect.closeTo(v, 9)));
  });
});
