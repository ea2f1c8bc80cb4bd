/**
 * Reference signals as WAV files, in pieces.
 *
 * @module
 */
import { ditherRoom, quantise } from '../src/signals/quantise.js';
import type { SampleBits } from '../src/signals/quantise.js';
import type { ReferenceSettings } from '../src/signals/reference.js';
import { encodeSamples, wavHeader, wavTrailer } from '../src/wav/write.js';
import type { WavFormat, WavSpec } from '../src/wav/write.js';

export const wavFormat: Readonly<Record<SampleBits, WavFormat>> = { '16': 'pcm16', '24': 'pcm24', '32f': 'float32' };

const BLOCK_FRAMES = 1 << 16;

/** A mono file of those samples: header, blocks, trailer. Each piece is overwritten by the next. */
export function* referenceWav(samples: Float64Array, settings: Pick<ReferenceSettings, 'sampleRateHz' | 'levelDbfs'>, bits: SampleBits): Generator<Uint8Array> {
  const format = wavFormat[bits];
  const spec: WavSpec = { format, channels: 1, sampleRateHz: settings.sampleRateHz, frames: samples.length };
  yield wavHeader(spec);
  const gain = ditherRoom(settings.levelDbfs, bits);
  const block = new Float64Array(BLOCK_FRAMES);
  const bytes = new Uint8Array(BLOCK_FRAMES * 8);
  for (let from = 0; from < samples.length; from += BLOCK_FRAMES) {
    const part = samples.subarray(from, from + BLOCK_FRAMES);
    yield encodeSamples([quantise(part, bits, from, gain, block.subarray(0, part.length))], format, bytes);
  }
  yield wavTrailer(spec);
}
