/**
 * WAV files, in pieces: a header, then blocks of samples, then {@link wavTrailer}. Nothing here dithers.
 *
 * @module
 */
import { problem } from '../problems.js';
import { allowed } from './format-chunk.js';

export type WavFormat = 'pcm16' | 'pcm24' | 'float32' | 'float64';

export interface WavSpec {
  readonly format: WavFormat;
  readonly channels: number;
  readonly sampleRateHz: number;
  /** Frames in the finished file. */
  readonly frames: number;
  /**
   * True where the length is not known yet: the header then has the same size for every number of frames, and is written
   * first with 0 frames (which reads as an unfinished file, should the writer be killed) and again at the end.
   */
  readonly growing?: boolean;
}

/** Bytes of one sample. */
export const sampleBytes: Readonly<Record<WavFormat, number>> = { pcm16: 2, pcm24: 3, float32: 4, float64: 8 };

const most32 = 0xffffffff;
const subformatTail = [0x00, 0x00, 0x00, 0x00, 0x10, 0x00, 0x80, 0x00, 0x00, 0xaa, 0x00, 0x38, 0x9b, 0x71];

/**
 * Everything in front of the samples. Plain where that is unambiguous; WAVE_FORMAT_EXTENSIBLE for 24-bit and for more than
 * two channels; a "fact" chunk for both these and float; RF64 with a ds64 chunk (EBU Tech 3306) from 4 GiB on. Mono and stereo name the
 * usual speakers, more channels none, because a board's outputs are no loudspeakers.
 *
 * @throws `wav.write` for a layout that the reader would refuse
 */
export function wavHeader(spec: WavSpec): Uint8Array {
  checkSpec(spec);
  const { format, channels, sampleRateHz, frames } = spec;
  const bytesEach = sampleBytes[format];
  const float = format === 'float32' || format === 'float64';
  const extensible = format === 'pcm24' || channels > 2;
  const formatSize = extensible ? 40 : float ? 18 : 16;
  const fact = float || extensible;
  const dataSize = frames * channels * bytesEach;

  const roomSize = 28;
  const plainLength = 12 + 8 + formatSize + (fact ? 12 : 0) + 8;
  const contents = (length: number): number => length - 8 + dataSize + (dataSize % 2);
  const large = contents(plainLength + (spec.growing ? 8 + roomSize : 0)) > most32;
  const length = plainLength + (large || spec.growing ? 8 + roomSize : 0);

  const bytes = new Uint8Array(length);
  const view = new DataView(bytes.buffer);
  let at = 0;
  const word = (characters: string): void => {
    for (const c of characters) view.setUint8(at++, c.charCodeAt(0));
  };
  const u16 = (value: number): void => {
    view.setUint16(at, value, true);
    at += 2;
  };
  const u32 = (value: number): void => {
    view.setUint32(at, value, true);
    at += 4;
  };
  const u64 = (value: number): void => {
    u32(value % 2 ** 32);
    u32(Math.floor(value / 2 ** 32));
  };

  word(large ? 'RF64' : 'RIFF');
  u32(large ? most32 : contents(length));
  word('WAVE');
  if (large) {
    word('ds64');
    u32(roomSize);
    u64(contents(length));
    u64(dataSize);
    u64(frames);
    u32(0);
  } else if (spec.growing) {
    word('JUNK');
    u32(roomSize);
    at += roomSize;
  }
  word('fmt ');
  u32(formatSize);
  const tag = float ? 3 : 1;
  u16(extensible ? 0xfffe : tag);
  u16(channels);
  u32(sampleRateHz);
  u32(sampleRateHz * channels * bytesEach);
  u16(channels * bytesEach);
  u16(8 * bytesEach);
  if (formatSize > 16) u16(formatSize - 18);
  if (extensible) {
    u16(8 * bytesEach);
    u32(channels === 1 ? 4 : channels === 2 ? 3 : 0);
    u16(tag);
    bytes.set(subformatTail, at);
    at += subformatTail.length;
  }
  if (fact) {
    word('fact');
    u32(4);
    u32(Math.min(frames, most32));
  }
  word('data');
  u32(large ? most32 : dataSize);
  return bytes;
}

/** What follows the samples: a pad byte where they take an odd number of bytes, else nothing. */
export function wavTrailer(spec: WavSpec): Uint8Array {
  return new Uint8Array((spec.frames * spec.channels * sampleBytes[spec.format]) % 2);
}

/**
 * Interleaves and writes samples. Integers are round(x · 2^(bits-1)), halves to the even neighbour, limited to
 * -2^(bits-1) … 2^(bits-1)-1; floats are not limited.
 *
 * @param channels one array per channel, all of one length
 * @param out where to write; a new array if left out
 * @returns the part of `out` that was written
 * @throws `wav.write` where a sample is not finite, lengths differ, or `out` is too small
 */
export function encodeSamples(channels: readonly Float64Array[], format: WavFormat, out?: Uint8Array): Uint8Array {
  const frames = channels[0]?.length ?? 0;
  if (channels.some((samples) => samples.length !== frames)) throw problem('wav.write', { why: 'the channels differ in length' });
  const bytesEach = sampleBytes[format];
  const length = frames * channels.length * bytesEach;
  const bytes = out === undefined ? new Uint8Array(length) : out.subarray(0, length);
  if (bytes.length < length) throw problem('wav.write', { why: `${length} bytes do not fit into ${bytes.length}` });
  const view = new DataView(bytes.buffer, bytes.byteOffset, length);
  channels.forEach((samples, c) => {
    const bad = samples.findIndex((x) => !Number.isFinite(x));
    if (bad >= 0) throw problem('wav.write', { why: `sample ${bad} of channel ${c + 1} is ${samples[bad]}` });
    encodeChannel[format](view, c * bytesEach, channels.length * bytesEach, samples);
  });
  return bytes;
}

/** A whole small file. */
export function encodeWav(channels: readonly Float64Array[], spec: Pick<WavSpec, 'format' | 'sampleRateHz'>): Uint8Array {
  const whole = { ...spec, channels: channels.length, frames: channels[0]?.length ?? 0 };
  const header = wavHeader(whole);
  const samples = encodeSamples(channels, spec.format);
  const bytes = new Uint8Array(header.length + samples.length + wavTrailer(whole).length);
  bytes.set(header);
  bytes.set(samples, header.length);
  return bytes;
}

const encodeChannel: Readonly<Record<WavFormat, (view: DataView, offset: number, step: number, samples: Float64Array) => void>> = {
  pcm16(view, offset, step, samples) {
    for (let i = 0, p = offset; i < samples.length; i++, p += step) view.setInt16(p, toInteger(samples[i]!, 2 ** 15), true);
  },
  pcm24(view, offset, step, samples) {
    for (let i = 0, p = offset; i < samples.length; i++, p += step) {
      const value = toInteger(samples[i]!, 2 ** 23);
      view.setUint16(p, value & 0xffff, true);
      view.setInt8(p + 2, value >> 16);
    }
  },
  float32(view, offset, step, samples) {
    for (let i = 0, p = offset; i < samples.length; i++, p += step) view.setFloat32(p, samples[i]!, true);
  },
  float64(view, offset, step, samples) {
    for (let i = 0, p = offset; i < samples.length; i++, p += step) view.setFloat64(p, samples[i]!, true);
  },
};

function toInteger(sample: number, fullScale: number): number {
  const limited = Math.max(-fullScale, Math.min(fullScale - 1, sample * fullScale));
  // Adding and taking away 1.5 · 2^52 leaves no room for a fraction: IEEE 754 rounds it off, halves to even.
  return limited + 6755399441055744 - 6755399441055744;
}

function checkSpec({ format, channels, sampleRateHz, frames }: WavSpec): void {
  const within = (value: number, least: number, most: number): boolean => Number.isInteger(value) && value >= least && value <= most;
  if (!within(channels, 1, allowed.mostChannels)) throw problem('wav.write', { why: `${channels} channels` });
  if (!within(sampleRateHz, allowed.lowestRateHz, allowed.highestRateHz)) throw problem('wav.write', { why: `a sample rate of ${sampleRateHz} Hz` });
  if (!within(frames, 0, Math.floor(2 ** 52 / (channels * sampleBytes[format])))) throw problem('wav.write', { why: `${frames} frames` });
}
