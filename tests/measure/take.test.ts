import { describe, expect, it } from 'vitest';
import { GRID_HZ } from '../../src/measure/frequency-grid.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { findTakes } from '../../src/measure/take-search.js';
import { measureTake } from '../../src/measure/take.js';
import { sweepTopHz } from '../../src/signals/sweep.js';
import { renderTake } from '../../src/signals/take.js';
import { chain, gain, highPass, invert, lowPass, through } from '../helpers/device.js';
import type { Complex } from '../helpers/device.js';
import { noise } from '../helpers/random.js';

const identity = { stepCode: 4711, levelDbfs: -12, sweepTopHz: sweepTopHz(48000) };

const db = (x: number): number => 20 * Math.log10(x);

/** Largest error of a response against the truth, the best common delay taken out of the phase (takes are placed by their own markers). */
function errors(curve: { re: Float64Array; im: Float64Array }, truth: (hz: number) => Complex): { db: number; deg: number } {
  let worstDb = 0;
  const phase: number[] = [];
  const hz: number[] = [];
  GRID_HZ.forEach((f, i) => {
    const [re, im] = truth(f);
    if (Number.isNaN(curve.re[i]!)) return;
    worstDb = Math.max(worstDb, Math.abs(db(Math.hypot(curve.re[i]!, curve.im[i]!) / Math.hypot(re, im))));
    hz.push(f);
    phase.push(Math.atan2(curve.im[i]! * re - curve.re[i]! * im, curve.re[i]! * re + curve.im[i]! * im));
  });
  const slope = hz.reduce((s, f, i) => s + f * phase[i]!, 0) / hz.reduce((s, f) => s + f * f, 0);
  return { db: worstDb, deg: Math.max(...hz.map((f, i) => (Math.abs(phase[i]! - slope * f) * 180) / Math.PI)) };
}

describe('a take through a known device', () => {
  const cases = [
    { name: '48 kHz', rate: 48000, ppm: 0 },
    { name: '44.1 kHz recorder, 48 kHz player', rate: 44100, ppm: 0 },
    { name: '96 kHz, clocks +300 ppm', rate: 96000, ppm: 300 },
    { name: '48 kHz, clocks −500 ppm', rate: 48000, ppm: -500 },
  ];
  for (const { name, rate, ppm } of cases) {
    it(`${name}: response within 0.02 dB and 0.2°, start to 0.05 sample, clock to 0.5 ppm`, () => {
      const ratio = 1 + ppm * 1e-6;
      const truth = chain(lowPass(9000), highPass(6), gain(-3));
      const inverted = chain(lowPass(30000), gain(2), invert);
      const x = renderTake(identity, rate * ratio, 1.0000123, Math.ceil(16.2 * rate));
      // The device lives in the player's time: its frequencies are those of the player's clock.
      const recording = memoryRecording([through(x, rate * ratio, truth), through(x, rate * ratio, inverted)], rate);
      const { takes, fragments } = findTakes(recording);
      expect(fragments).toEqual([]);
      expect(takes).toHaveLength(1);
      const [take] = takes;
      expect(take!.identity).toEqual(identity);
      expect(Math.abs(take!.clockRatio / ratio - 1)).toBeLessThan(0.05e-6);
      expect(Math.abs(take!.toneClockRatio! / ratio - 1)).toBeLessThan(0.01e-6);
      expect(Math.abs(take!.extraFrames!)).toBeLessThan(0.05);
      const [a, b] = measureTake(recording, take!, [0, 1]);
      for (const [estimate, want] of [[a!, truth], [b!, inverted]] as const) {
        const worst = errors(estimate.response.curve, want);
        expect(worst.db, 'dB').toBeLessThan(0.02);
        expect(worst.deg, 'degrees').toBeLessThan(0.2);
        const [re, im] = want(997);
        expect(db(estimate.tone!.amplitude / (10 ** (-12 / 20) * Math.hypot(re, im)))).toBeCloseTo(0, 3);
      }
    });
  }

  it('tells 64 samples missing in the sweep, 3 put in before it, and one lost in the tail', () => {
    const x = renderTake(identity, 48000, 1, 16 * 48000);
    const cut = (at: number, count: number): Float64Array => Float64Array.from([...x.subarray(0, at), ...x.subarray(at + count)]);
    const padded = Float64Array.from([...x.subarray(0, 4.6 * 48000), 0, 0, 0, ...x.subarray(4.6 * 48000)]);
    for (const [recording, want] of [[cut(7 * 48000, 64), -64], [padded, 3], [cut(13.2 * 48000, 1), -1]] as const) {
      const [take] = findTakes(memoryRecording([recording], 48000)).takes;
      expect(take!.extraFrames!).toBeCloseTo(want, 1);
    }
  });

  it('reads harmonics of −80 and −110 dB within 0.5 dB, and none where there are none', () => {
    const amplitude = 10 ** (-12 / 20);
    const x = renderTake(identity, 48000, 1, 16 * 48000);
    const hiss = noise(x.length, 1e-6, 3);
    for (const thdDb of [-80, -110]) {
      // y = x + a·x²: second harmonic a·A²/2 of a fundamental A.
      const a = (2 * 10 ** (thdDb / 20)) / amplitude;
      const recording = memoryRecording([x.map((v, i) => v + a * v * v + hiss[i]!)], 48000);
      const tone = measureTake(recording, findTakes(recording).takes[0]!, [0])[0]!.tone!;
      expect(Math.abs(db(Math.sqrt(tone.harmonicSquares) / tone.amplitude) - thdDb)).toBeLessThan(0.5);
    }
    const clean = memoryRecording([x.map((v, i) => v + hiss[i]!)], 48000);
    const tone = measureTake(clean, findTakes(clean).takes[0]!, [0])[0]!.tone!;
    expect(Math.abs(tone.harmonicSquares)).toBeLessThan(4 * tone.harmonicSquaresUncertainty);
  });

  it('error bars of the response hold at 40 dB of signal over noise', () => {
    const x = renderTake(identity, 48000, 1, 16 * 48000);
    let inside = 0;
    let all = 0;
    for (let seed = 1; seed <= 6; seed++) {
      const hiss = noise(x.length, 2e-3, seed);
      const recording = memoryRecording([x.map((v, i) => v + hiss[i]!)], 48000);
      const [estimate] = measureTake(recording, findTakes(recording).takes[0]!, [0]);
      const { curve, variance } = estimate!.response;
      // Magnitude sees half of the complex error. Every 16th point: neighbours share their error.
      for (let i = 8; i < GRID_HZ.length; i += 16) {
        all++;
        if (Math.abs(Math.hypot(curve.re[i]!, curve.im[i]!) - 1) < 1.96 * Math.sqrt(variance[i]! / 2)) inside++;
      }
    }
    expect(inside / all).toBeGreaterThan(0.9);
    expect(inside / all).toBeLessThan(0.99);
  });
});

it('finds several takes in one recording, apart and in any order, and a fragment', () => {
  const second = { ...identity, stepCode: 99 };
  const a = renderTake(identity, 48000, 0.5, 15 * 48000);
  const b = renderTake(second, 48000, 0.2, 15 * 48000);
  const all = new Float64Array(36 * 48000);
  all.set(b, 0);
  all.set(a, 15 * 48000);
  all.set(renderTake(identity, 48000, 0, 6 * 48000), 30 * 48000);
  const { takes, fragments } = findTakes(memoryRecording([all], 48000));
  expect(takes.map((t) => t.identity.stepCode)).toEqual([99, 4711]);
  expect(fragments).toEqual([{ identity, end: 'start', frame: expect.closeTo(30 * 48000, 0), cutShort: true }]);
});

it('times both ends on one output, where another comes later by 3 ms and is the clearer at one end', () => {
  const x = renderTake(identity, 48000, 1, 16 * 48000);
  const later = new Float64Array(x.length);
  later.set(x.subarray(0, x.length - 157), 157);
  // The beginning of the first is noisy, the end of the second.
  const hiss = noise(x.length, 0.05, 8);
  const recording = memoryRecording([x.map((v, n) => v + (n < 5 * 48000 ? hiss[n]! : 0)), later.map((v, n) => v + (n > 10 * 48000 ? hiss[n]! : 0))], 48000);
  const [take] = findTakes(recording).takes;
  expect(Math.abs(take!.extraFrames!)).toBeLessThan(0.5);
});
