/** Levels of block after block. */
import { expect, it } from 'vitest';
import { createLevels } from '../../src/capture/levels.js';

const block = (...ends: readonly (readonly [at: number, value: number])[]): Float32Array => {
  const x = Float32Array.from({ length: 64 }, (_, n) => 0.5 * Math.sin((2 * Math.PI * n) / 64));
  for (const [at, value] of ends) x[at < 0 ? 64 + at : at] = value;
  return x;
};

it('three samples in a row at full scale are a clip, in one block or over two, for as long as it lasts', () => {
  const levels = createLevels();
  const clips = (...channels: readonly Float32Array[]): boolean[] => levels(channels).map((l) => l.clips);
  expect(clips(block([-2, 1], [-1, 1]), block([-1, -1]))).toEqual([false, false]);
  // The first goes on with a third; the second's two are no clip yet.
  expect(clips(block([0, 1]), block([0, -1]))).toEqual([true, false]);
  expect(clips(block([-3, 1], [-2, 1], [-1, 1]), block())).toEqual([true, false]);
  expect(clips(block([0, 1]), block())).toEqual([true, false]);
  expect(clips(block(), block([0, 1], [1, 1]))).toEqual([false, false]);
});

it('a sine of half scale is -6.02 dBFS at its peak and as a level', () => {
  const [level] = createLevels()([block()]);
  expect([level!.dbfs, level!.peakDbfs]).toEqual([expect.closeTo(-6.0206, 3), expect.closeTo(-6.0206, 3)]);
});
