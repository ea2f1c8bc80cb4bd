import { describe, expect, it } from 'vitest';
import { part } from '../../src/measure/figure.js';
import { measureIdle, segmentSize } from '../../src/measure/idle.js';
import { noiseCurve, noiseFigures } from '../../src/measure/noise-figures.js';
import { PASSES, memoryRecording, watched } from '../../src/measure/recording.js';
import { noise } from '../helpers/random.js';

const rate = 48000;
const place = { state: 'rest', source: null, output: 'A', loop: null, capture: ['rest.idle'] };
const scale = { unit: 'dBu' as const, offsetDb: 18, parts: [part('calibration', 'calibration of the recorder input', 0.05)] };

const idle = (...channels: Float64Array[]): ReturnType<typeof measureIdle> => measureIdle(memoryRecording(channels, rate), 50);
const figures = (x: Float64Array, bench: Float64Array | null = null): Record<string, ReturnType<typeof noiseFigures>[0]> =>
  Object.fromEntries(noiseFigures(place, idle(x)[0]!, bench ? idle(bench)[0]! : null, scale).map((f) => [f.id, f]));

it('says how far it is while it goes over a recording', () => {
  const shares: number[] = [];
  measureIdle(watched(memoryRecording([new Float64Array(4 * rate)], rate), PASSES.idle, (share) => shares.push(share)), 50);
  expect(shares.length).toBeGreaterThan(3);
  expect([...shares].sort((a, b) => a - b)).toEqual(shares);
  // The passes are as many as it says.
  expect(shares.at(-1)).toBe(1);
  expect(shares.filter((share) => share === 1)).toHaveLength(1);
});

describe('noise floor of an idle capture', () => {
  it('white noise of known level: unweighted, A, CCIR-RMS and density within their statistics', () => {
    const rms = 1e-5;
    const f = figures(noise(20 * rate, rms, 1));
    const wide = 18 + 10 * Math.log10(2 * rms * rms);
    // 20 Hz–20 kHz of 24 kHz; weightings as computed for ideal white noise (A −2.048, 468 +7.301, AES17 shift −5.63).
    const inBand = wide + 10 * Math.log10(19980 / 24000);
    for (const [id, want] of [['noise.unweighted', inBand], ['noise.hiss', inBand], ['noise.a', inBand - 2.048], ['noise.ccir-rms', inBand + 7.301 - 5.63], ['noise.density-1k', wide - 10 * Math.log10(24000)]] as const) {
      const statistical = f[id]!.parts!.find((p) => p.name === 'spectral statistics')!.standard;
      expect(Math.abs(f[id]!.value! - want), id).toBeLessThan(3.5 * statistical + 0.01);
      expect(statistical, id).toBeLessThan(id === 'noise.density-1k' ? 0.15 : 0.03);
    }
    expect(f['noise.hum']!.bound).toBe('upper');
    expect(f['noise.whine']!.bound).toBe('upper');
    // A bound must lie far below the floor it hides in.
    expect(f['noise.hum']!.value!).toBeLessThan(inBand - 25);
  });

  it('quasi-peak of white noise reads as a simulation of the meter does: +4.9 dB over its 468 rms', () => {
    const f = figures(noise(20 * rate, 1e-5, 2));
    const rms468 = f['noise.ccir-rms']!.value! + 5.63;
    // Any 468 meter reads Gaussian noise 4 to 5.5 dB over its weighted rms (common practice, no source).
    expect(f['noise.468-qpk']!.value! - rms468).toBeGreaterThan(3.5);
    expect(f['noise.468-qpk']!.value! - rms468).toBeLessThan(6);
  });

  it('hum and whine come apart from hiss, and do not widen its uncertainty', () => {
    const x = noise(20 * rate, 1e-5, 3).map((v, n) => v + 1e-4 * Math.sin((2 * Math.PI * 50.02 * n) / rate) + 3e-5 * Math.sin((2 * Math.PI * 150.06 * n) / rate) + 1e-4 * Math.sin((2 * Math.PI * 3333 * n) / rate));
    const f = figures(x);
    expect(f['noise.hum']!.value!).toBeCloseTo(18 + 10 * Math.log10(1e-8 + 9e-10), 1);
    expect(f['noise.whine']!.value!).toBeCloseTo(18 - 80, 1);
    expect(f['noise.hiss']!.value!).toBeCloseTo(18 + 10 * Math.log10(2e-10 * (19980 / 24000)), 1);
    expect(f['hum.mains-frequency']!.value!).toBeCloseTo(50.02, 2);
    expect(f['noise.a']!.parts!.find((p) => p.name === 'spectral statistics')!.standard).toBeLessThan(0.03);
  });

  it('takes the bench’s noise off as power, and gives a bound where less than 3 dB is left', () => {
    const bench = noise(20 * rate, 1e-5, 4);
    const board = noise(20 * rate, 2e-5, 5);
    const both = figures(board.map((v, n) => v + bench[n]!), noise(20 * rate, 1e-5, 6));
    const want = 18 + 10 * Math.log10(2 * 4e-10 * (19980 / 24000));
    expect(Math.abs(both['noise.unweighted']!.value! - want)).toBeLessThan(0.12);
    expect(both['noise.unweighted']!.bound).toBeNull();
    expect(both['noise.unweighted']!.parts!.some((p) => p.name === 'bench noise taken off')).toBe(true);
    const quiet = figures(noise(20 * rate, 1.1e-5, 7), noise(20 * rate, 1e-5, 8));
    expect(quiet['noise.a']!.bound).toBe('upper');
    expect(quiet['noise.a']!.benchLimited).toBe(true);
  });

  it('leaves a thump out and says so; DC does not count', () => {
    const x = noise(20 * rate, 1e-5, 9).map((v) => v + 0.01);
    const clean = figures(x)['noise.unweighted']!.value!;
    for (let n = 0; n < 4000; n++) x[5 * rate + n]! += 0.05 * Math.exp(-n / 1000) * Math.sin(n / 100);
    const f = figures(x)['noise.unweighted']!;
    expect(Math.abs(f.value! - clean)).toBeLessThan(0.1);
    expect(f.remarks.join(' ')).toMatch(/thump/);
    expect(f.remarks).toContain('DC of 1.00 % of the recorder’s full scale was kept out.');
  });

  it('gives no number for silence and none that is not finite', () => {
    for (const f of Object.values(figures(new Float64Array(10 * rate)))) expect(f.value === null || Number.isFinite(f.value), f.id).toBe(true);
  });

  it('curve: ascending, finite, no line lost', () => {
    const x = noise(20 * rate, 1e-5, 10).map((v, n) => v + 1e-3 * Math.sin((2 * Math.PI * 12345.6 * n) / rate));
    const curve = noiseCurve(place, idle(x)[0]!, scale, 'A')!;
    const hz = curve.x.values as number[];
    expect(hz.every((v, i) => i === 0 || v > hz[i - 1]!)).toBe(true);
    const floor = 18 + 10 * Math.log10((2 * 1e-10) / 24000);
    expect(Math.max(...(curve.peak as number[]))).toBeGreaterThan(floor + 40);
    expect(curve.marks.map((m) => Math.round(m.hz))).toEqual([12346]);
  });

  it('short captures still average a dozen segments', () => {
    expect(segmentSize(48000, 20 * 48000)).toBe(65536);
    expect(segmentSize(44100, 20 * 44100)).toBe(65536);
    expect(segmentSize(96000, 20 * 96000)).toBe(131072);
    expect(segmentSize(48000, 5 * 48000)).toBe(32768);
  });
});
