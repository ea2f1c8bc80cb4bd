/**
 * Power spectral density by Welch's method: Hann segments, half overlapped, mean removed, averaged.
 *
 * One-sided density in (full scale)²/Hz: 2·|X|² / (fs·Σw²), so that the sum over bins times the bin width is the mean
 * square, for noise and for lines alike. The same estimate as SciPy's `welch` with its defaults.
 *
 * Degrees of freedom of each bin: ν = 36K²/(19K − 1) for K half-overlapped Hann segments (Welch 1967; 1.895·K for many).
 *
 * @module
 */
import { complexForward, rfft, zeroSpectrum } from './fft.js';
import type { Spectrum } from './fft.js';
import { hann, sumOfSquares } from './window.js';

export interface Psd {
  /** Density per bin, bins 0…N/2, (full scale)²/Hz. */
  readonly density: Float64Array;
  readonly binHz: number;
  /** Segments averaged. */
  readonly segments: number;
  /** Degrees of freedom of one bin. */
  readonly degreesOfFreedom: number;
}

/** Degrees of freedom of a bin after K half-overlapped Hann segments. */
export const welchDegreesOfFreedom = (segments: number): number => (36 * segments * segments) / (19 * segments - 1);

/** Sums of powers scatter as if neighbouring Hann bins were alike over so many: 1 + 2·(4/9 + 1/36), rounded. */
export const BINS_ALIKE = 1.94;

export interface PsdAccumulator {
  /** Next block of all channels, in order. */
  push(channels: readonly Float64Array[], frames: number): void;
  /** One result per channel, or null where no whole segment was left. */
  finish(): Psd[] | null;
}

// Each loop over samples or bins is a function of its own: the engine then compiles it once, and need not guess what follows it.

function meanOf(x: Float64Array): number {
  let sum = 0;
  for (let i = 0; i < x.length; i++) sum += x[i]!;
  return sum / x.length;
}

/** Takes the mean off, applies the window, and writes to every `step`-th place from `first` on. */
function shape(x: Float64Array, window: Float64Array, out: Float64Array, first: number, step: number): void {
  const mean = meanOf(x);
  for (let i = 0, at = first; i < x.length; i++, at += step) out[at] = (x[i]! - mean) * window[i]!;
}

function addPowers({ re, im }: Spectrum, sum: Float64Array): void {
  for (let k = 0; k < sum.length; k++) sum[k]! += re[k]! * re[k]! + im[k]! * im[k]!;
}

/** Adds |A[k]|² and |B[k]|² of two real signals a and b, from the transform Z of a + jb: A = (Z[k] + Z*[−k])/2, B = (Z[k] − Z*[−k])/2j. */
function addPowersOfPair(z: Float64Array, a: Float64Array, b: Float64Array): void {
  a[0]! += z[0]! ** 2;
  b[0]! += z[1]! ** 2;
  for (let k = 1, at = 2, mirror = z.length - 2; k < a.length; k++, at += 2, mirror -= 2) {
    const sumRe = z[at]! + z[mirror]!;
    const sumIm = z[at + 1]! + z[mirror + 1]!;
    const differenceRe = z[at]! - z[mirror]!;
    const differenceIm = z[at + 1]! - z[mirror + 1]!;
    a[k]! += (sumRe * sumRe + differenceIm * differenceIm) / 4;
    b[k]! += (sumIm * sumIm + differenceRe * differenceRe) / 4;
  }
}

/**
 * Averages segments as samples come in; memory does not grow with length.
 *
 * @param use - Says of a segment, by its first frame, whether it may be averaged in (thumps and crackle are left out).
 */
export function createPsdAccumulator(
  channelCount: number,
  sampleRateHz: number,
  size: number,
  use: (firstFrame: number) => boolean = () => true,
): PsdAccumulator {
  const window = hann(size);
  const hop = size / 2;
  const held = Array.from({ length: channelCount }, () => new Float64Array(size));
  const sums = Array.from({ length: channelCount }, () => new Float64Array(size / 2 + 1));
  // Two channels share a complex transform, one as its real and one as its imaginary part; the last of an odd number is alone.
  const packed = new Float64Array(2 * size);
  const transform = new Float64Array(2 * size);
  const single = packed.subarray(0, size);
  const spectrum = channelCount % 2 ? zeroSpectrum(size) : null;
  let filled = 0;
  let firstFrame = 0;
  let segments = 0;

  const averageIn = (): void => {
    if (!use(firstFrame)) return;
    segments++;
    for (let c = 0; c + 1 < channelCount; c += 2) {
      shape(held[c]!, window, packed, 0, 2);
      shape(held[c + 1]!, window, packed, 1, 2);
      complexForward(packed, transform);
      addPowersOfPair(transform, sums[c]!, sums[c + 1]!);
    }
    if (!spectrum) return;
    shape(held.at(-1)!, window, single, 0, 1);
    addPowers(rfft(single, size, spectrum), sums.at(-1)!);
  };

  return {
    push(channels, frames) {
      let taken = 0;
      while (taken < frames) {
        const count = Math.min(size - filled, frames - taken);
        for (let c = 0; c < channelCount; c++) held[c]!.set(channels[c]!.subarray(taken, taken + count), filled);
        filled += count;
        taken += count;
        if (filled === size) {
          averageIn();
          for (const x of held) x.copyWithin(0, hop);
          filled = hop;
          firstFrame += hop;
        }
      }
    },
    finish() {
      if (segments === 0) return null;
      const scale = 2 / (sampleRateHz * sumOfSquares(window) * segments);
      return sums.map((sum) => {
        const density = new Float64Array(sum.length);
        for (let k = 0; k < sum.length; k++) density[k] = sum[k]! * scale;
        // DC and Nyquist have no mirror image.
        density[0]! /= 2;
        density[density.length - 1]! /= 2;
        return { density, binHz: sampleRateHz / size, segments, degreesOfFreedom: welchDegreesOfFreedom(segments) };
      });
    },
  };
}

/**
 * What each bin counts in a weighted mean square between two frequencies: W(f)²·Δf, the outermost two bins by the part of
 * them that lies inside, 0 outside.
 */
export function bandWeights({ density, binHz }: Psd, lowHz: number, highHz: number, weighting: (hz: number) => number = () => 1): Float64Array {
  const weights = new Float64Array(density.length);
  const first = Math.max(0, Math.round(lowHz / binHz));
  const last = Math.min(density.length - 1, Math.round(highHz / binHz));
  for (let k = first; k <= last; k++) {
    const inside = Math.min(highHz / binHz, k + 0.5) - Math.max(lowHz / binHz, k - 0.5);
    if (inside > 0) weights[k] = weighting(k * binHz) ** 2 * binHz * inside;
  }
  return weights;
}

/**
 * Mean square with weights from {@link bandWeights}: Σ S·w.
 *
 * @returns The power, and the equivalent degrees of freedom of that sum. Neighbouring Hann bins are correlated (ρ² = 4/9
 *   one bin apart, 1/36 two apart, for white noise), which is counted.
 */
export function weightedPower(psd: Psd, weights: Float64Array): { power: number; degreesOfFreedom: number } {
  const { density, degreesOfFreedom } = psd;
  let power = 0;
  let variance = 0;
  let before = 0;
  let beforeThat = 0;
  for (let k = 0; k < density.length; k++) {
    const p = density[k]! * weights[k]!;
    power += p;
    variance += p * (p + 2 * (4 / 9) * before + (2 / 36) * beforeThat);
    beforeThat = before;
    before = p;
  }
  return { power, degreesOfFreedom: variance > 0 ? (degreesOfFreedom * power * power) / variance : degreesOfFreedom };
}

/** Mean square between two frequencies, weighted: {@link weightedPower} with {@link bandWeights}. */
export const bandPower = (psd: Psd, lowHz: number, highHz: number, weighting?: (hz: number) => number): { power: number; degreesOfFreedom: number } =>
  weightedPower(psd, bandWeights(psd, lowHz, highHz, weighting));
