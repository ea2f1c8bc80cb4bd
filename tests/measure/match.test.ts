import { describe, expect, it } from 'vitest';
import { GRID_HZ } from '../../src/measure/frequency-grid.js';
import { fitPhaseLine, matchFigures } from '../../src/measure/match.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { ratio } from '../../src/measure/response.js';
import { findTakes } from '../../src/measure/take-search.js';
import { measureTake } from '../../src/measure/take.js';
import type { ResponseEstimate } from '../../src/measure/take.js';
import { sweepTopHz } from '../../src/signals/sweep.js';
import { renderTake } from '../../src/signals/take.js';
import { chain, delay, gain, highPass, invert, lowPass, through } from '../helpers/device.js';
import type { Complex } from '../helpers/device.js';
import { noise } from '../helpers/random.js';

const place = { state: 'rest', source: null, output: null, loop: null, capture: ['rest.take'] };
const take = renderTake({ stepCode: 1, levelDbfs: -12, sweepTopHz: sweepTopHz(48000) }, 48000, 1, 16 * 48000);

function between(a: (hz: number) => Complex, b: (hz: number) => Complex, hissRms: number, seed: number): ResponseEstimate {
  const channels = [a, b].map((h, c) => {
    const hiss = noise(take.length, hissRms, 10 * seed + c);
    return through(take, 48000, h).map((v, i) => v + hiss[i]!);
  });
  const recording = memoryRecording(channels, 48000);
  const [x, y] = measureTake(recording, findTakes(recording).takes[0]!, [0, 1]);
  return ratio(y!.response, x!.response);
}

const read = (r: ResponseEstimate): Record<string, { value: number | null; standard: number }> =>
  Object.fromEntries(matchFigures(place, ['A', 'B'], r, []).map((f) => [f.id, { value: f.value, standard: f.parts?.[0]?.standard ?? 0 }]));

describe('match between two outputs', () => {
  const sample = 1e6 / 48000;
  // Delay is asked to 0.05 sample: 1 µs. The parabola's bias at a third of a sample would be 2.5 µs.
  for (const samples of [0, 0.33, 0.5, -2.25, 48.4]) {
    it(`level within 0.01 dB, delay within 0.05 sample, polarity: ${samples} samples later, 0.4 dB lower, inverted`, () => {
      const r = read(between(gain(-1), chain(gain(-1.4), delay(samples / 48000), invert), 1e-5, 1));
      expect(r['match.level']!.value).toBeCloseTo(-0.4, 2);
      expect(Math.abs(r['match.delay']!.value! - samples * sample)).toBeLessThan(0.05 * sample);
      expect(r['match.polarity']!.value).toBe(-1);
      expect(Math.abs(r['match.level-worst-band']!.value! + 0.4)).toBeLessThan(0.02);
    });
  }

  it('keeps polarity and delay apart from a transformer’s phase and a dull output', () => {
    const r = read(between(lowPass(60000), chain(highPass(20), highPass(8), lowPass(60000), delay(3 / 48000)), 1e-5, 2));
    expect(r['match.polarity']!.value).toBe(1);
    expect(Math.abs(r['match.delay']!.value! - 3 * sample)).toBeLessThan(0.05 * sample);
    // High-pass 20 Hz and 8 Hz in the 25 Hz band: about −2.6 dB.
    expect(r['match.level-worst-band']!.value).toBeLessThan(-2);
  });

  it('names the first notch of the sum', () => {
    const r = read(between(gain(0), delay(10 / 48000), 1e-5, 3));
    expect(r['match.first-notch']!.value).toBeCloseTo(2400, -1);
  });

  it('gives no polarity for signals a quarter turn apart', () => {
    const quarter = (): Complex => [0, 1];
    const line = fitPhaseLine(between(gain(0), quarter, 1e-5, 4))!;
    expect(line.polarity).toBeNull();
  });

  it('states an uncertainty that holds, with the tone 50 dB over the noise', () => {
    let inside = 0;
    const trials = 10;
    const later = chain(gain(-0.1), delay(0.2 / 48000));
    const clean = [take, through(take, 48000, later)];
    const located = findTakes(memoryRecording([take], 48000)).takes[0]!;
    for (let seed = 1; seed <= trials; seed++) {
      const noisy = clean.map((x, c) => {
        const hiss = noise(x.length, 5e-4, 1000 + 10 * seed + c);
        return x.map((v, i) => v + hiss[i]!);
      });
      const [x, y] = measureTake(memoryRecording(noisy, 48000), located, [0, 1]);
      const r = read(ratio(y!.response, x!.response));
      if (Math.abs(r['match.delay']!.value! - 0.2 * sample) < 2 * r['match.delay']!.standard) inside++;
      if (Math.abs(r['match.level']!.value! + 0.1) < 2 * r['match.level']!.standard) inside++;
    }
    // 20 intervals at 95 %: fewer than 16 inside happens once in 400.
    expect(inside).toBeGreaterThanOrEqual(16);
  });

  it('the grid holds the frequencies that readings name', () => {
    expect([20, 1000, 5000, 10000, 20000].every((hz) => GRID_HZ.includes(hz))).toBe(true);
    expect(GRID_HZ.every((hz, i) => i === 0 || hz > GRID_HZ[i - 1]!)).toBe(true);
  });
});
