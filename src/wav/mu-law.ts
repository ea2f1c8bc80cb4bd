/**
 * Samples as an 8-bit µ-law WAV file: what a browser plays, at a quarter of the bytes of 32 bits, its own noise 38 dB below
 * whatever is playing.
 *
 * @module
 */

const BIAS = 132;
const LARGEST = 32635;

/** A sample of ±1 full scale as a µ-law code (ITU-T G.711: sign, three bits of exponent, four of mantissa, all inverted). */
export function muLawCode(sample: number): number {
  const linear = Math.min(LARGEST, Math.round(Math.abs(sample) * 32768)) + BIAS;
  const exponent = Math.floor(Math.log2(linear)) - 7;
  const mantissa = (linear >> (exponent + 3)) & 0x0f;
  return ~((sample < 0 ? 0x80 : 0) | (exponent << 4) | mantissa) & 0xff;
}

/** A code back as a sample of ±1: the middle of what the code stands for. */
export function muLawSample(code: number): number {
  const bits = ~code & 0xff;
  const magnitude = (((bits & 0x0f) << 3) + BIAS) * 2 ** ((bits >> 4) & 0x07) - BIAS;
  return (bits & 0x80 ? -magnitude : magnitude) / 32768;
}

/** Bytes before the samples: RIFF, `fmt ` of 18 bytes, `fact`, `data`. */
export const HEADER_BYTES = 58;
const MU_LAW_FORMAT = 7;

/** A mono WAV file of µ-law samples. */
export function muLawWav(samples: ArrayLike<number>, sampleRateHz: number): Uint8Array {
  const { length } = samples;
  const padded = length + (length % 2);
  const bytes = new Uint8Array(HEADER_BYTES + padded);
  const view = new DataView(bytes.buffer);
  const tag = (at: number, text: string): void => {
    for (let i = 0; i < 4; i++) bytes[at + i] = text.charCodeAt(i);
  };
  tag(0, 'RIFF');
  view.setUint32(4, HEADER_BYTES - 8 + padded, true);
  tag(8, 'WAVE');
  tag(12, 'fmt ');
  view.setUint32(16, 18, true);
  view.setUint16(20, MU_LAW_FORMAT, true);
  view.setUint16(22, 1, true);
  view.setUint32(24, sampleRateHz, true);
  view.setUint32(28, sampleRateHz, true);
  view.setUint16(32, 1, true);
  view.setUint16(34, 8, true);
  tag(38, 'fact');
  view.setUint32(42, 4, true);
  view.setUint32(46, length, true);
  tag(50, 'data');
  view.setUint32(54, length, true);
  for (let i = 0; i < length; i++) bytes[HEADER_BYTES + i] = muLawCode(samples[i]!);
  return bytes;
}
