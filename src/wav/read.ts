/**
 * Samples of a WAV file, block after block: memory does not grow with its length.
 *
 * @module
 */
import { problem } from '../problems.js';
import { readFully, type ByteSource } from './byte-source.js';
import { blockConverter, type BlockConverter } from './convert.js';
import type { WavInfo } from './header.js';

/** A stretch of a file. The arrays are the same for every block: copy what has to last. */
export interface WavBlock {
  /** Number of its first frame, counted from the start of the file. */
  readonly frame: number;
  readonly frames: number;
  /** One array of `frames` samples per channel; ±1 is full scale. */
  readonly channels: readonly Float64Array[];
}

export interface Stretch {
  /** First frame; 0 if left out. */
  readonly startFrame?: number;
  /** Number of frames; up to the end if left out. */
  readonly frames?: number;
  /** Frames per block; the last block may be shorter. About 65 536 samples over all channels if left out. */
  readonly blockFrames?: number;
}

/**
 * Visits a stretch in order, in blocks.
 *
 * @throws `wav.not-finite` where a float sample is no number, `wav.read-short` where the source ends before the samples do,
 *   `wav.range` for a stretch that is not in the file, `wav.block-frames` for blocks of no or of half frames
 */
export function forEachBlock(source: ByteSource, info: WavInfo, stretch: Stretch, visit: (block: WavBlock) => void): void {
  const { startFrame = 0, blockFrames = Math.max(1, Math.floor(65_536 / info.channels)) } = stretch;
  const { frames = info.frames - startFrame } = stretch;
  checkRange(source, info, startFrame, frames);
  if (!(Number.isSafeInteger(blockFrames) && blockFrames > 0)) throw problem('wav.block-frames', { blockFrames });
  const size = Math.min(blockFrames, frames);
  const converter = converterFor(info, size);
  let channels: readonly Float64Array[] = Array.from({ length: info.channels }, () => new Float64Array(size));
  const end = startFrame + frames;
  for (let frame = startFrame; frame < end; frame += size) {
    const count = Math.min(size, end - frame);
    if (count < size) channels = channels.map((samples) => samples.subarray(0, count));
    fill(source, info, converter, frame, channels);
    visit({ frame, frames: count, channels });
  }
}

/**
 * A stretch in memory: one new array per channel. Asking for no frames is allowed anywhere.
 *
 * @throws as {@link forEachBlock}
 */
export function readFrames(source: ByteSource, info: WavInfo, startFrame: number, frames: number): Float64Array[] {
  if (frames !== 0) checkRange(source, info, startFrame, frames);
  const channels = Array.from({ length: info.channels }, () => new Float64Array(frames));
  if (frames > 0) fill(source, info, converterFor(info, frames), startFrame, channels);
  return channels;
}

// Bytes and numbers of 8192 samples stay in the processor's inner caches; larger pieces halve the speed.
function converterFor(info: WavInfo, frames: number): BlockConverter {
  return blockConverter(info, Math.max(1, Math.min(frames, Math.ceil(8192 / info.channels))));
}

/** Fills the arrays, which have one length, with the samples from `startFrame` on. */
function fill(source: ByteSource, info: WavInfo, converter: BlockConverter, startFrame: number, into: readonly Float64Array[]): void {
  const frameBytes = (info.channels * info.bitsPerSample) / 8;
  const frames = into[0]!.length;
  for (let done = 0; done < frames; done += converter.mostFrames) {
    const count = Math.min(converter.mostFrames, frames - done);
    const bytes = converter.bytes.subarray(0, count * frameBytes);
    const position = info.dataOffset + (startFrame + done) * frameBytes;
    const got = readFully(source, position, bytes);
    if (got < bytes.length) throw problem('wav.read-short', { file: source.name, position: position + got });
    converter.convert(count, into, done);
    if (info.encoding === 'float') checkFinite(source.name, into, done, done + count, startFrame);
  }
}

function checkFinite(file: string, channels: readonly Float64Array[], from: number, to: number, startFrame: number): void {
  channels.forEach((samples, channel) => {
    let sum = 0;
    for (let i = from; i < to; i++) sum += 0 * samples[i]!; // 0 unless a sample is infinite or NaN
    if (sum === 0) return;
    const at = samples.findIndex((x) => !Number.isFinite(x)); // the first: what was filled before has passed
    throw problem('wav.not-finite', { file, frame: startFrame + at, channel: channel + 1, value: samples[at]! });
  });
}

function checkRange(source: ByteSource, info: WavInfo, startFrame: number, frames: number): void {
  const whole = Number.isSafeInteger(startFrame) && Number.isSafeInteger(frames);
  if (whole && startFrame >= 0 && frames >= 0 && startFrame + frames <= info.frames) return;
  throw problem('wav.range', { file: source.name, startFrame, frames, inFile: info.frames });
}
