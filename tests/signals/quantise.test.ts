import { describe, expect, it } from 'vitest';
import { bandPower, createPsdAccumulator } from '../../src/numerics/psd.js';
import { projectTones } from '../../src/numerics/sine-fit.js';
import { hann } from '../../src/numerics/window.js';
import { amplitudeOfDbfs } from '../../src/signals/exact.js';
import { ditherRoom, quantise } from '../../src/signals/quantise.js';
import { toneAt } from '../../src/signals/take.js';

const LSB_16 = 2 ** -15;

/** The error of quantising x to 16 bits, in LSB. */
function errorOf(x: Float64Array): Float64Array {
  const y = quantise(x, '16');
  return y.map((v, n) => (v - x[n]!) / LSB_16);
}

const largest = (x: Float64Array): number => x.reduce((m, v) => Math.max(m, Math.abs(v)), 0);

describe('dither', () => {
  it('gives whole numbers of LSB, and blocks give what the whole gives', () => {
    const x = Float64Array.from({ length: 3000 }, (_, n) => 0.3 * toneAt(n / 48000, 1));
    for (const [bits, scale] of [['16', 2 ** 15], ['24', 2 ** 23]] as const) {
      const whole = quantise(x, bits);
      expect(whole.every((v) => Number.isInteger(v * scale))).toBe(true);
      const parts = [0, 1, 1000, 2999].map((from, i, all) => quantise(x.subarray(from, all[i + 1] ?? 3000), bits, from));
      expect(parts.flatMap((p) => [...p])).toEqual([...whole]);
    }
  });

  const N = 1e6;
  // N = 10⁶ samples: the mean of an error of ¼ LSB² scatters by 0.5/√N = 0.0005, its power by ¼·√(2.4 − 1)/√N = 0.0003
  // (TPDF plus rounding has a kurtosis of about 2.4 to 3). Five of each are allowed.
  for (const dc of [0, 0.25, 0.5, 0.8125, -123.4]) {
    it(`makes an error of mean 0 and power ¼ LSB² whatever the signal: a level of ${dc} LSB`, () => {
      const error = errorOf(new Float64Array(N).fill(dc * LSB_16));
      const mean = error.reduce((s, e) => s + e, 0) / error.length;
      const power = error.reduce((s, e) => s + e * e, 0) / error.length;
      expect(Math.abs(mean), `mean ${mean}`).toBeLessThan(0.0025);
      expect(Math.abs(power - 0.25), `power ${power}`).toBeLessThan(0.0018);
    });
  }

  it('is white', () => {
    const rate = 48000;
    const accumulator = createPsdAccumulator(1, rate, 1024);
    const error = errorOf(Float64Array.from({ length: 1 << 20 }, (_, n) => 0.1 * toneAt(n / rate, 30)));
    accumulator.push([error], error.length);
    const [psd] = accumulator.finish()!;
    for (let low = 100; low < 12000; low *= 2) {
      const { power, degreesOfFreedom } = bandPower(psd!, low, 2 * low);
      const expected = (0.25 * low) / (rate / 2);
      // A sum of ν squares scatters by √(2/ν); five of that in seven octaves is never met by chance.
      expect(Math.abs(power / expected - 1), `${low} to ${2 * low} Hz`).toBeLessThan(5 * Math.sqrt(2 / degreesOfFreedom));
    }
  });

  it('leaves a 16-bit tone of −90 dBFS, one LSB high, free of harmonics that plain rounding gives it', () => {
    const rate = 48000;
    const x = Float64Array.from({ length: 20 * rate }, (_, n) => amplitudeOfDbfs(-90) * toneAt(n / rate, 20));
    const window = hann(x.length);
    const levelIn = (y: Float64Array, hz: number): number => {
      const [{ re, im }] = projectTones(y, rate, [hz], window) as [{ re: number; im: number }];
      return 10 * Math.log10(re * re + im * im);
    };
    const dithered = quantise(x, '16');
    const plain = x.map((v) => Math.round(v / LSB_16) * LSB_16);
    const harmonics = [2, 3, 4, 5, 7, 9, 11].map((h) => h * 997);
    // The tone is there at its level: noise of ½ LSB rms in a bin of 1.5/20 Hz is 49 dB below it, so 0.04 dB of scatter.
    expect(Math.abs(levelIn(dithered, 997) + 90)).toBeLessThan(0.15);
    // A bin of noise has power N = 4·(¼ LSB²)·1.5/(rate·20 s) as a peak squared, exponentially distributed: 11.4 dB
    // above it in one bin of a million; seven bins are looked at.
    const bin = 10 * Math.log10((4 * 0.25 * LSB_16 ** 2 * 1.5) / (rate * 20));
    const worst = Math.max(...harmonics.map((hz) => levelIn(dithered, hz)));
    expect(worst - bin, `worst harmonic ${worst.toFixed(1)} dBFS, noise per bin ${bin.toFixed(1)} dBFS`).toBeLessThan(11.4);
    // The same measurement sees what rounding without dither does: harmonics 40 dB and more above that.
    expect(Math.max(...harmonics.map((hz) => levelIn(plain, hz))) - bin).toBeGreaterThan(40);
  });

  it('leaves no digital silence: no run of zeros that a recorder would fill a gap with', () => {
    for (const bits of ['16', '24'] as const) {
      const y = quantise(new Float64Array(1 << 20), bits);
      let run = 0;
      let longest = 0;
      for (const v of y) longest = Math.max(longest, (run = v === 0 ? run + 1 : 0));
      // A zero comes with probability ¾: in a million frames a run of about ln(N)/ln(4/3) = 48 is expected, one of 128 never.
      expect(longest).toBeGreaterThan(20);
      expect(longest).toBeLessThan(100);
    }
    expect(quantise(new Float64Array(1000), '32f').every((v) => v === 0)).toBe(true);
  });

  it('never clips, at 0 dBFS either', () => {
    const x = Float64Array.from({ length: 200_000 }, (_, n) => toneAt(n / 48000, 30));
    for (const [bits, scale] of [['16', 2 ** 15], ['24', 2 ** 23]] as const) {
      const codes = quantise(x, bits, 0, ditherRoom(0, bits)).map((v) => v * scale);
      expect(largest(codes)).toBeLessThanOrEqual(scale - 1);
      expect(largest(codes)).toBeGreaterThan(scale - 4);
      expect(ditherRoom(-0.25, bits)).toBe(1);
      const below = quantise(x.map((v) => v * amplitudeOfDbfs(-0.25)), bits).map((v) => v * scale);
      expect(largest(below)).toBeLessThanOrEqual(scale - 1);
    }
    expect(ditherRoom(0, '32f')).toBe(1);
  });

  it('floats are the nearest', () => {
    const x = Float64Array.from({ length: 1000 }, (_, n) => toneAt(n / 45000, 1));
    expect([...quantise(x, '32f')]).toEqual([...Float32Array.from(x)]);
  });
});
