/**
 * A recording as the bytes of a WAV file, block by block, in the sample format it came in.
 *
 * @module
 */
import type { HearsShare, Recording } from '../src/measure/recording.js';
import type { WavInfo } from '../src/wav/header.js';
import { encodeSamples, wavHeader, wavTrailer } from '../src/wav/write.js';
import type { WavFormat } from '../src/wav/write.js';

export type KeptFormat = WavFormat;

/** The format that keeps every bit: 32-bit integers need 64-bit float. */
export function formatToKeep(info: WavInfo): KeptFormat {
  if (info.encoding === 'float') return info.bitsPerSample === 64 ? 'float64' : 'float32';
  if (info.validBits <= 16) return 'pcm16';
  return info.validBits <= 24 ? 'pcm24' : 'float64';
}

const BLOCK_FRAMES = 65536;

/** @param heardShare - Hears how much of it is encoded. */
export function* encodeRecording(recording: Recording, format: WavFormat, heardShare: HearsShare = () => undefined): Generator<Uint8Array> {
  const spec = { format, channels: recording.channelCount, sampleRateHz: recording.sampleRateHz, frames: recording.frames };
  yield wavHeader(spec);
  for (let frame = 0; frame < recording.frames; frame += BLOCK_FRAMES) {
    yield encodeSamples(recording.read(frame, Math.min(BLOCK_FRAMES, recording.frames - frame)), format);
    heardShare(Math.min(1, (frame + BLOCK_FRAMES) / recording.frames));
  }
  yield wavTrailer(spec);
}
