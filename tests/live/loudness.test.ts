/** FFmpeg's ebur128 filter reads, on the spot, what our meter reads. Needs ffmpeg. */
import { execFileSync } from 'node:child_process';
import { describe, expect, it } from 'vitest';
import { CHANNEL_WEIGHT, createLoudnessMeter } from '../../src/numerics/loudness.js';
import { encodeSamples } from '../../src/wav/write.js';
import { ebuCase } from '../helpers/loudness-signals.js';
import { noise, seeded } from '../helpers/random.js';

const { front, surround } = CHANNEL_WEIGHT;

function ours(rate: number, channels: readonly Float64Array[]): number {
  const meter = createLoudnessMeter(rate, channels.map((_, c) => (c < 3 ? front : surround)));
  meter.push(channels);
  return meter.finish().integratedLufs!;
}

function ffmpeg(rate: number, channels: readonly Float64Array[]): number {
  const input = ['-f', 'f64le', '-ar', String(rate), '-ac', String(channels.length), '-i', '-'];
  const filter = ['-af', 'ebur128=metadata=1,ametadata=mode=print:key=lavfi.r128.I:file=-', '-f', 'null', '-'];
  const said = execFileSync('ffmpeg', ['-v', 'error', ...input, ...filter], { input: encodeSamples(channels, 'float64'), encoding: 'utf8', maxBuffer: 2 ** 26 });
  return Number(said.trim().split('=').at(-1));
}

/** FFmpeg rounds the loudness of each block down to the next 0.01 LU, and prints three decimals. */
function expectAlike(got: number, theirs: number): void {
  expect(got - theirs, `${got}, FFmpeg ${theirs}`).toBeGreaterThan(-0.0006);
  expect(got - theirs, `${got}, FFmpeg ${theirs}`).toBeLessThan(0.0106);
}

describe('integrated loudness against FFmpeg', () => {
  it.each([1, 2, 3, 4, 5, 6])('EBU Tech 3341 case %i', (number) => {
    const channels = ebuCase(number, 48000);
    expectAlike(ours(48000, channels), ffmpeg(48000, channels));
  });

  it.each([44100, 48000, 88200, 96000, 192000])('stereo noise whose level wanders over 50 dB, through both gates, at %i Hz', (rate) => {
    const { uniform } = seeded(rate);
    const channels = [1, 2].map((seed) => noise(12 * rate, 1, seed));
    for (let at = 0; at < channels[0]!.length; at += rate / 4) {
      const gain = 10 ** ((-15 - 50 * uniform()) / 20);
      for (const x of channels) for (let n = at; n < at + rate / 4; n++) x[n]! *= gain;
    }
    expectAlike(ours(rate, channels), ffmpeg(rate, channels));
  });
});
