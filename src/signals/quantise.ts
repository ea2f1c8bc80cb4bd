/**
 * Samples to the values that a 16 or 24-bit file can hold, with dither, the same on every machine.
 *
 * Dither is triangular, ±1 LSB (TPDF): with it the error of the rounding has the same mean (0) and power (¼ LSB²) whatever
 * the signal is, so a quiet tone gets noise and no harmonics. Source: Lipshitz, Wannamaker, Vanderkooy, "Quantization and
 * Dither: A Theoretical Survey", JAES 40 (1992) 355.
 *
 * It goes on under the silences as well. A recorder or a driver that lost samples fills the gap with zeros; in a take
 * there is no run of zeros that long, so the filling can be told from the signal. Float files are not dithered: their
 * silences are exact zeros.
 *
 * @module
 */

/** Sample formats that the reference signals come in: 16 and 24-bit integers, 32-bit float. */
export type SampleBits = '16' | '24' | '32f';
export const SAMPLE_BITS: readonly SampleBits[] = ['16', '24', '32f'];

/** Any whole number would do; it is part of what fixes the bytes. */
const SEED = 0x5eed997;

/**
 * Dither of one frame in units of 1/65536 LSB, −65535…65535: the difference of two whole numbers of 16 bits.
 *
 * It follows from the frame's number alone (a counter through a mixing function, splitmix32's with constants from memory),
 * so that any part of a signal can be quantised by itself. Whole-number arithmetic is exact in every engine.
 */
function dither(frame: number): number {
  let z = Math.imul(frame, 0x9e3779b9) + SEED;
  z = Math.imul(z ^ (z >>> 16), 0x21f0aaad);
  z = Math.imul(z ^ (z >>> 15), 0x735a2d97);
  z ^= z >>> 15;
  return (z >>> 16) - (z & 0xffff);
}

/**
 * Gain that leaves room for the dither: 1, but for a level of exactly 0 dBFS in an integer file 1 − 2 LSB (−0.0005 dB in
 * 16 bits), as its crest lies 1 LSB above the largest number already. With it nothing is ever clipped.
 */
export const ditherRoom = (levelDbfs: number, bits: SampleBits): number => (bits === '32f' || levelDbfs < 0 ? 1 : 1 - 2 / fullScale(bits));

const fullScale = (bits: '16' | '24'): number => (bits === '16' ? 32768 : 8388608);

/**
 * Rounds samples (±1 = full scale) to what the format holds: whole multiples of 2^−15 or 2^−23 with dither, or the
 * nearest float. Values are not limited; see {@link ditherRoom}.
 *
 * @param firstFrame - Number of the first of these samples in their signal, so that blocks give what the whole gives.
 * @param out - Where to write; a new array if left out.
 */
export function quantise(samples: Float64Array, bits: SampleBits, firstFrame = 0, gain = 1, out: Float64Array = new Float64Array(samples.length)): Float64Array {
  if (bits === '32f') {
    for (let n = 0; n < samples.length; n++) out[n] = Math.fround(gain * samples[n]!);
    return out;
  }
  const scale = fullScale(bits);
  for (let n = 0; n < samples.length; n++) out[n] = Math.floor(gain * samples[n]! * scale + dither(firstFrame + n) / 65536 + 0.5) / scale;
  return out;
}
