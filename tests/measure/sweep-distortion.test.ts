import { describe, expect, it } from 'vitest';
import { memoryRecording } from '../../src/measure/recording.js';
import { distortionCurves } from '../../src/measure/sweep-distortion.js';
import { findTakes } from '../../src/measure/take-search.js';
import { measureTake } from '../../src/measure/take.js';
import type { TakeEstimate } from '../../src/measure/take.js';
import { sweepTopHz } from '../../src/signals/sweep.js';
import { renderTake } from '../../src/signals/take.js';
import { noise } from '../helpers/random.js';

const RATE = 48000;
const place = { state: 'rest', source: null, output: 'A', loop: null, capture: ['rest.take'] };
const db = (power: number): number => 10 * Math.log10(power);
const AMPLITUDE = 10 ** (-12 / 20);

/** Takes of a device that bends what it hears, on a recorder whose clock runs 180 ppm fast. */
function takes(rms: number, seeds: readonly number[], bend: (v: number) => number): TakeEstimate[] {
  const clean = renderTake({ stepCode: 12, levelDbfs: -12, sweepTopHz: sweepTopHz(RATE) }, RATE * (1 + 180e-6), 1.0000123, 16 * RATE);
  const recording = memoryRecording(seeds.map((seed) => {
    const hiss = noise(clean.length, rms, seed);
    return clean.map((v, i) => bend(v) + hiss[i]!);
  }), RATE);
  return measureTake(recording, findTakes(recording).takes[0]!, seeds.map((_, i) => i), true);
}

describe('distortion against frequency from a take', () => {
  it('of a polynomial: the harmonics of its formula at every frequency, and what the tone of the same take shows', () => {
    const [second, third] = [0.02, 0.05];
    const [take] = takes(1e-6, [3], (v) => v + second * v * v + third * v ** 3);
    // Of x + b·x² + c·x³ at amplitude A: b·A²/2 and c·A³/4 over A + 3c·A³/4.
    const first = AMPLITUDE + 0.75 * third * AMPLITUDE ** 3;
    const [h2, h3] = [((second * AMPLITUDE ** 2) / 2 / first) ** 2, ((third * AMPLITUDE ** 3) / 4 / first) ** 2];
    const [all, ...each] = distortionCurves(place, take!.harmonics!, 'output A');
    expect([all, ...each].map((c) => [c!.kind, c!.y.values.length])).toEqual([['distortion', 53], ['harmonic-2', 53], ['harmonic-3', 50]]);
    // A cube of what lies above 8 kHz folds back at this rate.
    const upTo = (c: typeof all): number[] => c!.x.values.flatMap((hz, i) => (hz! < 6000 ? [i] : []));
    for (const i of upTo(all)) expect(Math.abs(all!.y.values[i]! - db(h2 + h3)), `${all!.x.values[i]!} Hz`).toBeLessThan(0.02);
    each.forEach((c, k) => { for (const i of upTo(c)) expect(Math.abs(c.y.values[i]! - db([h2, h3][k]!)), `${c.label}, ${c.x.values[i]!} Hz`).toBeLessThan(0.05); });
    const { tone } = take!;
    each.forEach((c, k) => { expect(Math.abs(c.y.values[c.x.values.findIndex((hz) => hz! > 930)]! - 20 * Math.log10(tone!.harmonics[k]! / tone!.amplitude))).toBeLessThan(0.02); });
  });

  it('intervals hold the truth in noise; without distortion there are bounds, and hardly a value', () => {
    const second = 0.004;
    const truth = db(((second * AMPLITUDE) / 2) ** 2);
    let [held, values] = [0, 0];
    for (const take of takes(3e-5, [11, 12, 13, 14], (v) => v + second * v * v)) {
      const curve = distortionCurves(place, take.harmonics!, '')[1]!;
      curve.x.values.forEach((hz, i) => {
        if (hz! > 9000) return;
        values++;
        if ((curve.low![i] ?? -Infinity) <= truth && truth <= curve.high![i]!) held++;
      });
    }
    expect(values).toBeGreaterThan(200);
    // 95 % of some 200 values that are hardly dependent: three standard deviations are 4.6 %.
    expect(held / values).toBeGreaterThan(0.904);
    const straight = takes(3e-5, [21, 22], (v) => v).flatMap((take) => distortionCurves(place, take.harmonics!, ''));
    const seen = straight.flatMap((c) => c.y.values);
    expect(seen.filter((v) => v !== null).length / seen.length).toBeLessThan(0.02);
  });
});
