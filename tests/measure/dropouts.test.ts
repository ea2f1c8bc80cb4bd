import { expect, it } from 'vitest';
import { memoryRecording } from '../../src/measure/recording.js';
import { findTakes } from '../../src/measure/take-search.js';
import { measureTake } from '../../src/measure/take.js';
import { sweepTopHz } from '../../src/signals/sweep.js';
import { renderTake } from '../../src/signals/take.js';
import { chain, gain, highPass, lowPass, through } from '../helpers/device.js';
import { noise } from '../helpers/random.js';

const RATE = 48000;
const played = renderTake({ stepCode: 1, levelDbfs: -12, sweepTopHz: sweepTopHz(RATE) }, RATE, 1, 16 * RATE);
const located = findTakes(memoryRecording([played], RATE)).takes[0]!;

/** Seconds from the start of the take, and length in milliseconds. */
const openings: readonly (readonly [number, number])[] = [[2.2, 6], [3.1, 20], [8.4, 6], [9.6, 40], [10.7, 9]];

it('a contact that opens five times is counted so, at 40 dB over the noise; a sound one never, dull, thin or peaked', () => {
  const broken = played.map((v, n) => (openings.some(([at, ms]) => Math.abs(n / RATE - 1 - at - ms / 2000) < ms / 2000) ? 0.03 * v : v));
  // A resonance of a pickup, 12 dB high, and a fall of 20 dB by 20 kHz.
  const peaked = (hz: number): readonly [number, number] => {
    const x = hz / 3000;
    const [re, im] = [1 - x * x, x / 4];
    const square = re * re + im * im;
    return [re / square, -im / square];
  };
  const devices = [chain(gain(-3)), chain(lowPass(1500)), chain(highPass(2000)), peaked];
  const channels = [broken, ...devices.map((d) => through(played, RATE, d))].map((x, c) => {
    const hiss = noise(x.length, 1.8e-3, c + 1);
    return x.map((v, n) => v + hiss[n]!);
  });
  const counts = measureTake(memoryRecording(channels, RATE), located, [...channels.keys()]).map((t) => t.dropouts);
  expect(counts).toEqual([5, 0, 0, 0, 0]);
});
