import { readdirSync, readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { Problem } from '../../src/problems.js';
import { bytesSource } from '../../src/wav/byte-source.js';
import { readWavInfo } from '../../src/wav/header.js';
import { readFrames } from '../../src/wav/read.js';
import { encodeSamples, encodeWav, sampleBytes, wavHeader, wavTrailer, type WavFormat, type WavSpec } from '../../src/wav/write.js';
import { lcg } from '../helpers/lcg.js';

const formats: readonly WavFormat[] = ['pcm16', 'pcm24', 'float32', 'float64'];

/** To the nearest of 2^bits steps, halves to even; by comparing distances, unlike the code under test. */
function quantised(x: number, bits: number): number {
  const scaled = x * 2 ** (bits - 1);
  const below = Math.floor(scaled);
  const up = scaled - below > 0.5 || (scaled - below === 0.5 && below % 2 !== 0);
  return Math.max(-1, Math.min(1 - 2 ** (1 - bits), (up ? below + 1 : below) / 2 ** (bits - 1)));
}

const stored: Readonly<Record<WavFormat, (x: number) => number>> = {
  pcm16: (x) => quantised(x, 16),
  pcm24: (x) => quantised(x, 24),
  float32: Math.fround,
  float64: (x) => x,
};

describe.each(formats)('%s', (format) => {
  test.each([1, 2, 3, 32])('what is written in %i channels is read again', (channels) => {
    const samples = Array.from({ length: channels }, (_, c) => lcg(101, c + 1).map((x) => 1.1 * x));
    const bytes = encodeWav(samples, { format, sampleRateHz: 96000 });
    const source = bytesSource('take.wav', bytes);
    const info = readWavInfo(source);
    expect(info).toMatchObject({ channels, sampleRateHz: 96000, frames: 101, container: 'RIFF', unfinished: false, recordedAt: null });
    expect(info.bitsPerSample).toBe(8 * sampleBytes[format]);
    expect(info.encoding).toBe(format.startsWith('float') ? 'float' : 'pcm');
    readFrames(source, info, 0, 101).forEach((read, c) => {
      expect(read).toEqual(samples[c]!.map(stored[format]));
    });
    expect(bytes.length % 2).toBe(0);
    expect(new DataView(bytes.buffer).getUint32(4, true), 'RIFF size').toBe(bytes.length - 8);
  });

  test('blocks joined are the whole', () => {
    const samples = [lcg(100, 5), lcg(100, 6)];
    const spec: WavSpec = { format, channels: 2, sampleRateHz: 48000, frames: 100 };
    const room = new Uint8Array(1000).fill(0xa5);
    const blocks = [0, 33, 66, 99].map((from) => encodeSamples(samples.map((s) => s.subarray(from, from + 33)), format, room).slice());
    const joined = Buffer.concat([wavHeader(spec), ...blocks, wavTrailer(spec)]);
    expect(new Uint8Array(joined)).toEqual(encodeWav(samples, spec));
  });

  test('a growing file has one header size, and reads as unfinished until the end', () => {
    const spec: WavSpec = { format, channels: 2, sampleRateHz: 48000, frames: 0, growing: true };
    const samples = encodeSamples([lcg(50, 5), lcg(50, 6)], format);
    const begun = Buffer.concat([wavHeader(spec), samples]);
    expect(readWavInfo(bytesSource('take.wav', begun))).toMatchObject({ frames: 50, unfinished: true });
    const ended = Buffer.concat([wavHeader({ ...spec, frames: 50 }), samples]);
    expect(ended.length).toBe(begun.length);
    expect(readWavInfo(bytesSource('take.wav', ended))).toMatchObject({ frames: 50, unfinished: false });
    expect(wavHeader({ ...spec, frames: 1e10 }).length).toBe(wavHeader(spec).length);
  });
});

test('integers are rounded to the nearest, halves to even, and limited', () => {
  const step = 2 ** -15;
  const written = new DataView(encodeSamples([Float64Array.of(0.5 * step, 1.5 * step, -0.5 * step, -1.5 * step, 0.4999 * step, 1, -1, 7, -7, 1 - step / 2)], 'pcm16').buffer);
  expect(Array.from({ length: 10 }, (_, i) => written.getInt16(2 * i, true))).toEqual([0, 2, 0, -2, 0, 32767, -32768, 32767, -32768, 32767]);
  const ends = encodeSamples([Float64Array.of(1, -1, 1 - 2 ** -23, -(2 ** -23))], 'pcm24');
  expect([...ends]).toEqual([0xff, 0xff, 0x7f, 0, 0, 0x80, 0xff, 0xff, 0x7f, 0xff, 0xff, 0xff]);
});

test('floats pass full scale and keep the sign of zero', () => {
  const values = Float64Array.of(3.5, -0, 2 ** -140, -1);
  for (const format of ['float32', 'float64'] as const) {
    const source = bytesSource('take.wav', encodeWav([values], { format, sampleRateHz: 44100 }));
    readFrames(source, readWavInfo(source), 0, 4)[0]!.forEach((x, i) => {
      expect(Object.is(x, values[i]), `${x}`).toBe(true);
    });
  }
});

describe('headers', () => {
  test('16-bit stereo is the 44 bytes of RIFF 1991', () => {
    expect(Buffer.from(wavHeader({ format: 'pcm16', channels: 2, sampleRateHz: 48000, frames: 10 })).toString('latin1')).toBe(
      'RIFF\x4c\0\0\0WAVEfmt \x10\0\0\0\x01\0\x02\0\x80\xbb\0\0\0\xee\x02\0\x04\0\x10\0data\x28\0\0\0',
    );
  });

  test('the sizes change to 64 bits exactly where 32 no longer hold them', () => {
    const base = { format: 'pcm16', channels: 1, sampleRateHz: 48000 } as const;
    const last = (2 ** 32 - 1 - 36 - 1) / 2; // RIFF size = 36 + data, and must be even
    const plain = wavHeader({ ...base, frames: last });
    expect(Buffer.from(plain).toString('latin1', 0, 4)).toBe('RIFF');
    expect(new DataView(plain.buffer).getUint32(4, true)).toBe(0xfffffffe);
    const large = wavHeader({ ...base, frames: last + 1 });
    const view = new DataView(large.buffer);
    expect(Buffer.from(large).toString('latin1', 0, 4)).toBe('RF64');
    expect(Buffer.from(large).toString('latin1', 12, 16)).toBe('ds64');
    expect(view.getBigUint64(20, true), 'file size - 8').toBe(BigInt(large.length - 8) + BigInt(2 * (last + 1)));
    expect(view.getBigUint64(28, true), 'bytes of samples').toBe(BigInt(2 * (last + 1)));
    expect(view.getBigUint64(36, true), 'frames').toBe(BigInt(last + 1));
  });

  test('a pad byte follows an odd number of bytes only', () => {
    const base = { format: 'pcm24', channels: 1, sampleRateHz: 48000 } as const;
    expect(wavTrailer({ ...base, frames: 3 })).toEqual(new Uint8Array(1));
    expect(wavTrailer({ ...base, frames: 4 })).toEqual(new Uint8Array(0));
  });
});

describe('samples that SoX, FFmpeg and libsndfile wrote are written with the same bytes', () => {
  const folder = new URL('../outside/wav-files/', import.meta.url);
  const formatOf: Readonly<Record<string, WavFormat>> = { 'pcm 16': 'pcm16', 'pcm 24': 'pcm24', 'float 32': 'float32', 'float 64': 'float64' };
  const files = readdirSync(folder).filter((name) => /^(sox|ffmpeg|sndfile)-(16|24|f32|f64)-.*\.wav$/.test(name));
  test.each(files)('%s', (name) => {
    const bytes = new Uint8Array(readFileSync(new URL(name, folder)));
    const source = bytesSource(name, bytes);
    const info = readWavInfo(source);
    const format = formatOf[`${info.encoding} ${info.bitsPerSample}`]!;
    const length = info.frames * info.channels * sampleBytes[format];
    expect(encodeSamples(readFrames(source, info, 0, info.frames), format)).toEqual(bytes.slice(info.dataOffset, info.dataOffset + length));
  });
});

test('what cannot be written is our own mistake, and says so', () => {
  const refused = (act: () => unknown): Problem => {
    try {
      act();
    } catch (error) {
      if (error instanceof Problem) return error;
    }
    throw new Error('was not refused');
  };
  const spec: WavSpec = { format: 'pcm16', channels: 2, sampleRateHz: 48000, frames: 10 };
  for (const wrong of [{ channels: 0 }, { channels: 33 }, { sampleRateHz: 32000 }, { sampleRateHz: 44100.5 }, { frames: -1 }, { frames: 0.5 }, { frames: NaN }, { frames: 2 ** 53 }])
    expect(refused(() => wavHeader({ ...spec, ...wrong }))).toMatchObject({ code: 'wav.write', exit: 70 });
  expect(refused(() => encodeSamples([new Float64Array(3), new Float64Array(4)], 'pcm16')).message).toContain('differ in length');
  expect(refused(() => encodeSamples([Float64Array.of(0, NaN)], 'float32')).message).toContain('sample 1 of channel 1 is NaN');
  expect(refused(() => encodeSamples([Float64Array.of(Infinity)], 'pcm24')).code).toBe('wav.write');
  expect(refused(() => encodeSamples([new Float64Array(3)], 'pcm16', new Uint8Array(5))).message).toContain('6 bytes do not fit into 5');
});
