/** Breaks in a sweep that leave its level, and the markers around it, as they were; and what boards do, which is none. */
import { describe, expect, it } from 'vitest';
import { breakAt } from '../../src/measure/continuity.js';
import { sweepAt, sweepDurationS } from '../../src/signals/sweep.js';
import { noise } from '../helpers/random.js';

const RATE = 48000;
const NOISE = 1e-5;
const TOP_S = sweepDurationS(20_000);
const played = Float64Array.from({ length: Math.ceil(TOP_S * RATE) }, (_, n) => 0.1 * sweepAt(n / RATE, TOP_S + 1));
const hiss = noise(played.length, NOISE, 3);
const FROM = Math.round(sweepDurationS(200) * RATE);

/** From 200 Hz on; frame of the whole sweep. */
function broken(heard: Float64Array): number | null {
  const hz = (n: number): number => 10 * Math.exp((n + FROM) / RATE);
  const at = breakAt(heard.map((v, n) => v + hiss[n]!).subarray(FROM), RATE, { turnsAt: hz, hzAt: hz }, NOISE);
  return at === null ? null : at + FROM;
}
const delayed = (frames: number): Float64Array => played.map((_, n) => played[n - frames] ?? 0);

describe('a sweep in which', () => {
  // 128 samples are 8.53 periods here: were they whole ones, to give them twice would change nothing.
  const at = Math.round(sweepDurationS(3200) * RATE);
  const spoilt = (from: (n: number) => number, frames: number): Float64Array => played.map((v, n) => (n >= at && n < at + frames ? from(n) : v));
  it.each([
    ['a buffer of 128 frames is given twice', spoilt((n) => played[n - 128]!, 128)],
    ['a buffer of 4096 frames is given twice', spoilt((n) => played[n - 4096]!, 4096)],
    ['a buffer of 128 frames is left out, which hiss fills', spoilt(() => 0, 128)],
    ['4 samples are lost, and made up for a tenth of a second later', spoilt((n) => played[n + 4]!, 4800)],
    ['20 samples are lost', played.map((v, n) => (n < at ? v : (played[n + 20] ?? 0)))],
  ])('%s is broken there', (_what, heard) => {
    expect(Math.abs(broken(heard)! - at)).toBeLessThan(0.006 * RATE);
  });
});

describe('whole is a sweep', () => {
  const onePole = (hz: number): Float64Array => {
    const p = Math.exp((-2 * Math.PI * hz) / RATE);
    let y = 0;
    return played.map((v) => (y = (1 - p) * v + p * y));
  };
  it.each([
    ['as it was played', played],
    ['turned over and 60 dB down', played.map((v) => -1e-3 * v)],
    ['through a low-pass', onePole(1000)],
    ['5 ms late', delayed(240)],
    ['that comes by two ways a millisecond apart', played.map((v, n) => v + 0.5 * (played[n - 48] ?? 0))],
    ['with hum 20 dB below', played.map((v, n) => v + 0.01 * Math.sin(n / 152.79) + 0.005 * Math.sin(n / 50.93))],
    ['through a stage that clips', played.map((v) => Math.tanh(20 * v) / 20)],
  ])('%s', (_what, heard) => {
    expect(broken(heard)).toBeNull();
  });
});
