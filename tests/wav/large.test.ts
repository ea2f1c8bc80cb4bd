/** Files beyond 4 GiB, whose bytes are computed when they are asked for: nothing of that size exists. */
import { expect, test } from 'vitest';
import { bytesSource, type ByteSource } from '../../src/wav/byte-source.js';
import { readWavInfo } from '../../src/wav/header.js';
import { forEachBlock, readFrames } from '../../src/wav/read.js';
import { wavHeader, type WavFormat, type WavSpec } from '../../src/wav/write.js';
import { chunk, file, format as formatChunk, zeros } from './build.js';

/** A 24-bit number that differs between neighbours and over any distance used here. */
const valueAt = (frame: number, channel: number): number => (((frame % 16_777_213) * 40_503 + channel * 7_001) % 16_777_216) - 8_388_608;

/** Header, then 24-bit samples, then a tail: `size` bytes of which only those read are made. */
function endless(header: Uint8Array, channels: number, frames: number, tail: Uint8Array = new Uint8Array(0)): ByteSource & { readonly largestRead: () => number } {
  const dataEnd = header.length + frames * channels * 3;
  let largest = 0;
  const byteAt = (position: number): number => {
    if (position < header.length) return header[position]!;
    if (position >= dataEnd) return tail[position - dataEnd]!;
    const sample = Math.floor((position - header.length) / 3);
    return (valueAt(Math.floor(sample / channels), sample % channels) >> (8 * ((position - header.length) % 3))) & 255;
  };
  return {
    name: 'long.wav',
    size: dataEnd + tail.length,
    read(position, into) {
      largest = Math.max(largest, into.length);
      const count = Math.max(0, Math.min(into.length, this.size - position));
      for (let i = 0; i < count; i++) into[i] = byteAt(position + i);
      return count;
    },
    largestRead: () => largest,
  };
}

const spec = (frames: number, channels = 2, format: WavFormat = 'pcm24'): WavSpec => ({ format, channels, sampleRateHz: 96000, frames });

// 13 hours of 96 kHz stereo at 24 bits: 27 GB, frame numbers beyond 2^32.
const frames = 13 * 3600 * 96000;

test('RF64 of 27 GB: frames around every limit of 32 bits', () => {
  const source = endless(wavHeader(spec(frames)), 2, frames);
  expect(source.size).toBeGreaterThan(5 * 2 ** 32);
  const info = readWavInfo(source);
  expect(info).toMatchObject({ container: 'RF64', frames, unfinished: false, sampleRateHz: 96000 });
  const limits = [2 ** 31 / 6, 2 ** 32 / 6, 2 ** 31 / 3, 2 ** 31, 2 ** 32 / 2, 2 ** 32, frames - 20].map(Math.floor);
  for (const at of limits) {
    const start = Math.min(at, frames - 20) - 10;
    readFrames(source, info, start, 30).forEach((samples, c) => {
      expect(samples, `channel ${c} from frame ${start}`).toEqual(Float64Array.from(samples, (_, i) => valueAt(start + i, c) / 2 ** 23));
    });
  }
});

test('blocks from beyond 4 GiB carry their true frame numbers', () => {
  const source = endless(wavHeader(spec(frames)), 2, frames);
  const info = readWavInfo(source);
  const startFrame = 2 ** 32 - 1000;
  let next = startFrame;
  forEachBlock(source, info, { startFrame, frames: 5000, blockFrames: 700 }, (block) => {
    expect(block.frame).toBe(next);
    expect(block.channels[1]![block.frames - 1]).toBe(valueAt(block.frame + block.frames - 1, 1) / 2 ** 23);
    next += block.frames;
  });
  expect(next).toBe(startFrame + 5000);
});

test('nothing that is read or kept grows with the length', () => {
  const short = endless(wavHeader(spec(1_000_000)), 2, 1_000_000);
  const long = endless(wavHeader(spec(frames)), 2, frames);
  for (const source of [short, long]) {
    const arrays = new Set<ArrayBufferLike>();
    let visits = 0;
    const stop = new Error('enough');
    try {
      forEachBlock(source, readWavInfo(source), {}, ({ channels }) => {
        channels.forEach((samples) => arrays.add(samples.buffer));
        if (++visits === 4) throw stop;
      });
    } catch (error) {
      if (error !== stop) throw error;
    }
    expect(arrays.size, 'arrays in use').toBe(2);
    expect([...arrays].reduce((sum, a) => sum + a.byteLength, 0)).toBeLessThanOrEqual(2 ** 20);
  }
  expect(long.largestRead()).toBe(short.largestRead());
});

test('a bext chunk after 27 GB of samples is found', () => {
  const bext = chunk('bext', [...zeros(320), ...new TextEncoder().encode('2024-02-2921:22:23'), ...zeros(264)]);
  const source = endless(wavHeader(spec(frames)), 2, frames, Uint8Array.from(bext));
  expect(readWavInfo(source).recordedAt).toBe('2024-02-29T21:22:23');
});

test('a stream of 27 GB that was never finished runs to the end of the file', () => {
  const header = file([formatChunk({ bits: 24, rate: 96000 }), chunk('data', [], 0xffffffff)]);
  const source = endless(header, 2, frames);
  const info = readWavInfo(source);
  expect(info).toMatchObject({ container: 'RIFF', frames, unfinished: true });
  expect(readFrames(source, info, frames - 1, 1)[1]![0]).toBe(valueAt(frames - 1, 1) / 2 ** 23);
});

test('RF64 that lost its last gigabyte is refused with what is missing', () => {
  const whole = wavHeader(spec(frames));
  const lost = 2 ** 30 / 6;
  const source = endless(whole, 2, Math.floor(frames - lost));
  expect(() => readWavInfo(source)).toThrow(`says ${frames} frames, ${Math.floor(frames - lost)} are there, ${Math.ceil(lost)} are missing`);
});

test('a plain WAV file whose size wrapped at 4 GiB is refused', () => {
  const long = 2 ** 30;
  const wrapped = (long * 6) % 2 ** 32;
  const header = file([formatChunk({ bits: 24, rate: 96000 }), chunk('data', [], wrapped)]);
  expect(() => readWavInfo(endless(header, 2, long))).toThrow(/longer than 4 GiB.*RF64/);
});

test('the header of a long file is all that a header needs', () => {
  const header = wavHeader(spec(frames));
  const alone = bytesSource('long.wav', header);
  expect(() => readWavInfo(alone)).toThrow(`${frames} are missing`);
});
