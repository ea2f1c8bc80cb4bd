/** The simulator's own tools: random numbers, interpolation, shaped noise, lines, the recorder's integers. */
import { describe, expect, it } from 'vitest';
import { GROUND, capacitor, inductor, resistor, voltageSource } from '../../src/circuit/elements.js';
import { response, toGround } from '../../src/circuit/response.js';
import { irfft, rfft, zeroSpectrum } from '../../src/numerics/fft.js';
import { playerResponse, recorderResponse } from '../../src/simulate/bench-response.js';
import { HUM_PATTERNS, addLines, humLines, whineLines } from '../../src/simulate/lines.js';
import { binMap, logGrid, toBins } from '../../src/simulate/log-grid.js';
import { IDEAL_BENCH } from '../../src/simulate/model.js';
import { randomStream, streamSeed } from '../../src/simulate/random.js';
import { addHarmonics, quantise } from '../../src/simulate/recorder.js';
import { fillShapedNoise, noiseScratch, noiseShape } from '../../src/simulate/shaped-noise.js';
import { voltsToDbu } from '../../src/units/decibels.js';
import { lineAt } from './fixtures.js';

describe('random stream', () => {
  const normals = (seed: number, count: number): Float64Array => {
    const out = new Float64Array(count);
    randomStream(seed).fillNormal(out);
    return out;
  };

  it('follows from its seed alone', () => {
    expect(normals(1, 100)).toEqual(normals(1, 100));
    expect(normals(1, 100)).not.toEqual(normals(2, 100));
    expect(streamSeed(1, 'rest.idle')).toBe(streamSeed(1, 'rest.idle'));
    expect(streamSeed(1, 'rest.idle')).not.toBe(streamSeed(1, 'all.idle'));
    expect(streamSeed(1, 'rest.idle')).not.toBe(streamSeed(2, 'rest.idle'));
  });

  it('is normal: moments and tails of four million within 4.5 standard errors', () => {
    const count = 4e6;
    const x = normals(20, count);
    const moment = (power: number): number => x.reduce((sum, v) => sum + v ** power, 0) / count;
    // Mean of x^p has variance (E x^2p − (E x^p)²)/n: 1, 2, 15, 96 for p = 1…4.
    const error = (variance: number): number => 4.5 * Math.sqrt(variance / count);
    expect(Math.abs(moment(1))).toBeLessThan(error(1));
    expect(Math.abs(moment(2) - 1)).toBeLessThan(error(2));
    expect(Math.abs(moment(3))).toBeLessThan(error(15));
    expect(Math.abs(moment(4) - 3)).toBeLessThan(error(96));
    // Two-sided tails of the normal distribution; 3.4426 is where the lowest layer of the ziggurat ends.
    for (const [z, tail] of [
      [0.5, 0.6170750774519739],
      [1, 0.31731050786291415],
      [2, 0.04550026389635842],
      [3, 0.002699796063260207],
      [3.442619855899, 0.0005761074],
      [4, 6.334248366623996e-5],
    ]) {
      const share = x.reduce((sum, v) => sum + (Math.abs(v) > z ? 1 : 0), 0) / count;
      expect(Math.abs(share - tail), `beyond ${z}: ${share}, want ${tail}`).toBeLessThan(4.5 * Math.sqrt(tail / count));
    }
  });

  it('has no correlation with itself one, two or three draws later', () => {
    const count = 1e6;
    const x = normals(3, count);
    for (const lag of [1, 2, 3]) {
      let sum = 0;
      for (let n = 0; n + lag < count; n++) sum += x[n] * x[n + lag];
      expect(Math.abs(sum / count), `lag ${lag}`).toBeLessThan(4.5 / Math.sqrt(count));
    }
  });

  it('is uniform and triangular where asked', () => {
    const random = randomStream(9);
    const count = 200000;
    const uniform = Float64Array.from({ length: count }, () => random.uniform());
    const triangular = Float64Array.from({ length: count }, () => random.triangular());
    const mean = (v: Float64Array): number => v.reduce((a, b) => a + b, 0) / count;
    expect(Math.abs(mean(uniform) - 0.5)).toBeLessThan(4.5 / Math.sqrt(12 * count));
    expect(uniform.every((v) => v > 0 && v <= 1)).toBe(true);
    expect(Math.abs(mean(triangular))).toBeLessThan(4.5 / Math.sqrt(6 * count));
    // Variance of a triangular deviate on ±1 is 1/6; that of its square 1/15 − 1/36.
    expect(Math.abs(mean(triangular.map((v) => v * v)) - 1 / 6)).toBeLessThan(4.5 * Math.sqrt((1 / 15 - 1 / 36) / count));
  });
});

describe('interpolation from the grid to the bins', () => {
  it('is the circuit within 0.002 dB of its height at a resonance of Q = 5', () => {
    // 1 H and 1 nF resonate at 5033 Hz; 31.6 kΩ / 5 in series.
    const network = [
      voltageSource('v', 'a', GROUND),
      inductor('l', 'a', 'b', 1),
      resistor('r', 'b', 'c', 6325),
      capacitor('c', 'c', GROUND, 1e-9),
    ];
    const grid = logGrid(48000 / 4096, 24000);
    const map = binMap(grid, 48000 / 4096, 2049);
    const onGrid = response(network, 'v', toGround('c'), grid.frequenciesHz);
    const exact = response(network, 'v', toGround('c'), Float64Array.from({ length: 2049 }, (_, k) => (k * 48000) / 4096));
    const re = toBins(map, onGrid.re);
    const im = toBins(map, onGrid.im);
    let worst = 0;
    for (let k = 1; k < 2049; k++) worst = Math.max(worst, Math.hypot(re[k] - exact.re[k], im[k] - exact.im[k]));
    // 0.0234·(ln 2/48)⁴·24·Q·(2Q)⁴, the remainder of the cubic at a pole: 1.2e-3 of a height of 5.
    expect(worst).toBeLessThan(1.3e-3);
    expect(re[0]).toBe(0);
  });

  it('reproduces cubics of log frequency exactly, to the first bin and the last', () => {
    const grid = logGrid(1, 512, 12);
    const curve = grid.frequenciesHz.map((f) => 1 - Math.log2(f) + 0.3 * Math.log2(f) ** 3);
    const bins = toBins(binMap(grid, 1, 513), curve);
    for (let k = 1; k <= 512; k++) expect(Math.abs(bins[k] - (1 - Math.log2(k) + 0.3 * Math.log2(k) ** 3)), `bin ${k}`).toBeLessThan(1e-10);
  });
});

describe('shaped noise', () => {
  it('has the density, the correlation and the phase asked for', () => {
    const size = 1 << 18;
    const rate = 48000;
    const grid = logGrid(rate / size, rate / 2);
    const length = grid.frequenciesHz.length;
    const flat = (value: number): Float64Array => new Float64Array(length).fill(value);
    // Channel 1 at 4e-6, channel 2 at 1e-6 per hertz, what they share a quarter turn apart.
    const shape = noiseShape({ count: 2, re: [flat(4e-6), flat(0), flat(0), flat(1e-6)], im: [flat(0), flat(1e-6), flat(-1e-6), flat(0)] });
    const spectra = [zeroSpectrum(size), zeroSpectrum(size)];
    // Dirty scratch: nothing may rely on zeros.
    const dirty = noiseScratch(size / 2 + 1);
    [dirty.normal, dirty.lRe, dirty.lIm, spectra[0].re, spectra[1].im].forEach((array) => array.fill(1e9));
    fillShapedNoise(spectra, shape, binMap(grid, rate / size, size / 2 + 1), size, rate, randomStream(4), dirty);
    const [a, b] = spectra.map((spectrum) => rfft(irfft(spectrum), size));
    let [aa, bb, abRe, abIm] = [0, 0, 0, 0];
    for (let k = 1; k < size / 2; k++) {
      aa += a.re[k] ** 2 + a.im[k] ** 2;
      bb += b.re[k] ** 2 + b.im[k] ** 2;
      abRe += a.re[k] * b.re[k] + a.im[k] * b.im[k];
      abIm += a.im[k] * b.re[k] - a.re[k] * b.im[k];
    }
    // One-sided density from an unscaled transform: 2·|X|²/(fs·N), averaged over the bins.
    const density = (sum: number): number => (2 * sum) / (size / 2 - 1) / (rate * size);
    // Relative standard error of a mean of 131 071 exponential deviates: 0.28 %.
    expect(Math.abs(density(aa) / 4e-6 - 1)).toBeLessThan(0.0125);
    expect(Math.abs(density(bb) / 1e-6 - 1)).toBeLessThan(0.0125);
    expect(Math.abs(density(abIm) / 1e-6 - 1)).toBeLessThan(0.025);
    expect(Math.abs(density(abRe) / 1e-6)).toBeLessThan(0.025);
  });

  it('gives two channels that hear one source the same noise', () => {
    const one = new Float64Array(3).fill(1);
    const shape = noiseShape({ count: 2, re: [one, one, one, one], im: [0, 0, 0, 0].map(() => new Float64Array(3)) });
    expect(Array.from(shape.re[2])).toEqual([0, 0, 0]);
    expect(Array.from(shape.re[1])).toEqual([1, 1, 1]);
  });
});

describe('lines', () => {
  it('are cosines of the frequency, amplitude and phase given, however long', () => {
    const lines = [49.97, 149.91, 1013, 0.3, 21000].map((hz, k) => ({ hz, amplitude: 0.1 * (k + 1), phaseRad: k }));
    const out = new Float64Array(100000).fill(0.5);
    addLines(out, lines, 48000.2);
    let worst = 0;
    for (let n = 0; n < out.length; n++) {
      const want = lines.reduce((sum, { hz, amplitude, phaseRad }) => sum + amplitude * Math.cos(2 * Math.PI * ((hz * n) / 48000.2) + phaseRad), 0.5);
      worst = Math.max(worst, Math.abs(out[n] - want));
    }
    // The reference's own phase has 1e-16 of 4e4 turns; the recurrence 1e-10.
    expect(worst).toBeLessThan(1e-9);
  });

  it('of hum are multiples of the mains with the pattern’s levels', () => {
    const lines = humLines(49.97, 'rectifier-ripple', -80);
    expect(lines[1].hz).toBeCloseTo(99.94, 9);
    expect(voltsToDbu(lines[1].volts)).toBeCloseTo(-80, 9);
    expect(voltsToDbu(lines[0].volts)).toBeCloseTo(-80 + HUM_PATTERNS['rectifier-ripple'][0], 9);
    expect(Math.max(...HUM_PATTERNS.magnetic)).toBe(0);
    expect(Math.max(...HUM_PATTERNS['rectifier-ripple'])).toBe(0);
    expect(whineLines(1013, [0, -6], -90).map(({ hz }) => hz)).toEqual([1013, 2026]);
  });
});

describe('the bench', () => {
  it('is first-order at its corners: −3.01 dB and ±45°', () => {
    const bench = { ...IDEAL_BENCH, highPassHz: 2, lowPassHz: 50000 };
    const { re, im } = playerResponse(bench, Float64Array.of(2, 50000, 1000, 0));
    expect(Math.hypot(re[0], im[0])).toBeCloseTo(Math.SQRT1_2, 6);
    expect(im[0] / re[0]).toBeCloseTo(1, 3);
    expect(Math.hypot(re[1], im[1])).toBeCloseTo(Math.SQRT1_2, 6);
    expect(im[1] / re[1]).toBeCloseTo(-1, 3);
    expect(Math.hypot(re[2], im[2])).toBeCloseTo(1, 3);
    expect(Math.hypot(re[3], im[3])).toBe(0);
    const ideal = playerResponse(IDEAL_BENCH, Float64Array.of(0, 1, 1e5));
    expect(Array.from(ideal.re)).toEqual([1, 1, 1]);
    expect(ideal.im.every((v) => v === 0)).toBe(true);
  });

  it('ripples by what it says', () => {
    const { re } = recorderResponse({ ...IDEAL_BENCH, rippleDb: 0.01, ripplePeriodHz: 4000 }, Float64Array.of(2000, 4000));
    expect(20 * Math.log10(re[0])).toBeCloseTo(-0.01, 9);
    expect(20 * Math.log10(re[1])).toBeCloseTo(0.01, 9);
  });

  it('adds the harmonics of a full-scale sine that it says, and 10 dB less drive makes them 20 and 30 dB less', () => {
    const bench = { ...IDEAL_BENCH, secondHarmonicDb: -100, thirdHarmonicDb: -110 };
    for (const [drive, second, third] of [
      [1, -100, -110],
      [10 ** -0.5, -120, -140],
    ]) {
      const x = Float64Array.from({ length: 48000 }, (_, n) => drive * Math.cos((2 * Math.PI * 997 * n) / 48000));
      addHarmonics(x, bench);
      expect(20 * Math.log10(lineAt(x, 1994, 48000).amplitude)).toBeCloseTo(second, 1);
      expect(20 * Math.log10(lineAt(x, 2991, 48000).amplitude)).toBeCloseTo(third, 1);
    }
  });

  it('makes no harmonics of what lies above a quarter of the sample rate', () => {
    const x = Float64Array.from({ length: 48000 }, (_, n) => Math.cos((2 * Math.PI * 17000 * n) / 48000));
    addHarmonics(x, { ...IDEAL_BENCH, secondHarmonicDb: -60 });
    // 34 kHz would fold to 14 kHz at −60 dB; the half-band filter takes 40 dB and more of the tone, twice that of its square.
    expect(20 * Math.log10(lineAt(x, 14000, 48000).amplitude)).toBeLessThan(-140);
  });

  it('rounds to 24 bits with triangular dither, and clamps at full scale', () => {
    const random = randomStream(1);
    const level = 0.3 / 2 ** 23;
    const x = new Float64Array(200000).fill(level);
    expect(quantise(x, 24, random)).toBe(0);
    const steps = x.map((v) => v * 2 ** 23);
    expect(steps.every((v) => Number.isInteger(v) && Math.abs(v) <= 2)).toBe(true);
    const mean = steps.reduce((a, b) => a + b, 0) / x.length;
    const power = steps.reduce((a, b) => a + (b - 0.3) ** 2, 0) / x.length;
    // TPDF: mean without bias, error power 1/12 + 1/6 = 1/4 of a step squared whatever the level.
    expect(Math.abs(mean - 0.3)).toBeLessThan(4.5 * Math.sqrt(0.25 / x.length));
    expect(Math.abs(power - 0.25)).toBeLessThan(0.005);
    const loud = Float64Array.of(1.2, -1.2, 1, -1);
    expect(quantise(loud, 24, random)).toBeGreaterThanOrEqual(2);
    expect(loud[0]).toBe(1 - 2 ** -23);
    expect(loud[1]).toBe(-1);
  });
});
