import { describe, expect, it } from 'vitest';
import { memoryRecording } from '../../src/measure/recording.js';
import { takeHarmonics } from '../../src/measure/sweep-distortion.js';
import { findTakes } from '../../src/measure/take-search.js';
import { measureTake } from '../../src/measure/take.js';
import { sweepTopHz } from '../../src/signals/sweep.js';
import { renderTake } from '../../src/signals/take.js';
import { noise } from '../helpers/random.js';

describe('distortion against frequency from a take', () => {
  it('agrees with the tone of the same take, on a recorder of another clock, and stands above the noise it states', () => {
    const [rate, ppm] = [48000, 180];
    const identity = { stepCode: 12, levelDbfs: -12, sweepTopHz: sweepTopHz(rate) };
    const clean = renderTake(identity, rate * (1 + ppm * 1e-6), 1.0000123, 16 * rate);
    const hiss = noise(clean.length, 1e-5, 3);
    const recording = memoryRecording([clean.map((v, i) => v + 0.02 * v * v + 0.05 * v ** 3 + hiss[i]!), clean.map((v, i) => 0.5 * v + hiss[i]!)], rate);
    const [located] = findTakes(recording).takes;
    const [bent, straight] = takeHarmonics(recording, located!, [0, 1], 3, Float64Array.of(200, 997, 3000));
    const { tone } = measureTake(recording, located!, [0])[0]!;
    bent!.forEach(({ order, ratio, noise: floor }, k) => {
      // The harmonic is 35 dB and more above its noise; four times what that noise can do.
      const slack = (i: number): number => 20 * Math.log10(1 + (4 * floor[i]!) / ratio[i]!);
      expect(slack(1), `order ${order}`).toBeLessThan(0.6);
      expect(Math.abs(20 * Math.log10(ratio[1]! / (tone!.harmonics[k]! / tone!.amplitude))), `order ${order}`).toBeLessThan(slack(1));
      // A memoryless device bends every frequency alike.
      for (const i of [0, 2]) expect(Math.abs(20 * Math.log10(ratio[i]! / ratio[1]!)), `order ${order}`).toBeLessThan(Math.hypot(slack(i), slack(1)));
    });
    // Without distortion there is noise: |n| of rms 1 exceeds 3.5 once in 200 000.
    for (const { ratio, noise: floor } of straight!) ratio.forEach((r, i) => { expect(r / floor[i]!).toBeLessThan(3.5); });
  });
});
