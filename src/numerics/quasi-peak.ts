/**
 * The quasi-peak meter of ITU-R BS.468-4, in the time domain.
 *
 * The signal is weighted by the 468 network's complex response and, in the same inverse transform, brought to at least
 * 176.4 kHz, so that the rectifier sees the peaks between samples and the curve is right up to 20 kHz at 44.1 kHz; a
 * digital filter at the sample rate would be warped there.
 *
 * The Recommendation describes the detector only by what it reads on tone bursts (its Tables 2 and 3). Ours is a full-wave
 * rectifier and two peak detectors in cascade, each with one time constant up and one down; the four constants were
 * fitted to the nominal values of those tables (which are from memory) by least squares in dB. Residuals: 0.15 dB
 * at most, every burst within its limits; see tests/numerics/quasi-peak.test.ts.
 *
 * @module
 */
import { complexForward, complexInverse, nextPowerOfTwo } from './fft.js';
import { itu468Response } from './weighting.js';

/** Fitted time constants, seconds. */
const FIRST_UP_S = 1.484e-3;
const FIRST_DOWN_S = 0.2914;
const SECOND_UP_S = 0.2378;
const SECOND_DOWN_S = 0.3439;

/** A block of about this length, and its transforms, stay in the processor's inner caches. */
const BLOCK_S = 0.08;
/** The network's response has died away (−200 dB) after 3 ms. */
const GUARD_S = 0.005;

/**
 * What the detector reads on a steady 1 kHz sine of rms 1 (no weighting needed there: 0 dB), so that a steady sine reads
 * its rms. Found by running the detector; the closed form is unwieldy.
 */
const steadyReading = new Map<number, number>();

/** Gains per sample of the two peak detectors. */
interface DetectorGains {
  readonly up1: number;
  readonly down1: number;
  readonly up2: number;
  readonly down2: number;
}

const gainsAt = (rateHz: number): DetectorGains => ({
  up1: 1 - Math.exp(-1 / (FIRST_UP_S * rateHz)),
  down1: Math.exp(-1 / (FIRST_DOWN_S * rateHz)),
  up2: 1 - Math.exp(-1 / (SECOND_UP_S * rateHz)),
  down2: Math.exp(-1 / (SECOND_DOWN_S * rateHz)),
});

interface Detector {
  first: number;
  second: number;
}

/**
 * Runs the detector over samples from..to of x.
 * One tight loop: it sees four samples for each one recorded.
 *
 * @returns Sum and largest of its readings.
 */
function detect(d: Detector, gains: DetectorGains, x: Float64Array, from: number, to: number): { sum: number; largest: number } {
  const { up1, down1, up2, down2 } = gains;
  let { first, second } = d;
  let sum = 0;
  let largest = 0;
  for (let i = from; i < to; i++) {
    const v = x[i]!;
    const level = v < 0 ? -v : v;
    first *= down1;
    if (level > first) first += up1 * (level - first);
    second *= down2;
    if (first > second) second += up2 * (first - second);
    if (second > largest) largest = second;
    sum += second;
  }
  d.first = first;
  d.second = second;
  return { sum, largest };
}

function steadyReadingAt(rateHz: number): number {
  let reading = steadyReading.get(rateHz);
  if (reading === undefined) {
    const detector = { first: 0, second: 0 };
    const sine = Float64Array.from({ length: Math.round(rateHz / 2) }, (_, n) => Math.SQRT2 * Math.sin((2 * Math.PI * 1000 * n) / rateHz));
    for (let halfSecond = 0; halfSecond < 8; halfSecond++) detect(detector, gainsAt(rateHz), sine, 0, sine.length);
    reading = detector.second;
    steadyReading.set(rateHz, reading);
  }
  return reading;
}

/**
 * The 468 network and a shift of each part of a sample, 0, 1/factor, …: factors for the bins of a complex transform,
 * interleaved. The inverse transforms of all of them, taken in turn, are the weighted signal at `factor` times the rate.
 */
function shiftedResponses(size: number, sampleRateHz: number, factor: number, weighted: boolean): Float64Array[] {
  return Array.from({ length: factor }, (_, p) => {
    const response = new Float64Array(2 * size);
    for (let k = 0; k <= size / 2; k++) {
      const { re, im } = weighted ? itu468Response((k * sampleRateHz) / size) : { re: 1, im: 0 };
      const c = Math.cos((2 * Math.PI * k * p) / (factor * size));
      const s = Math.sin((2 * Math.PI * k * p) / (factor * size));
      const mirror = 2 * ((size - k) % size);
      response[2 * k] = response[mirror] = re * c - im * s;
      response[2 * k + 1] = re * s + im * c;
      response[mirror + 1] = -response[2 * k + 1]!;
    }
    // Nyquist stands for both of its sides, whose imaginary parts cancel.
    response[size + 1] = 0;
    return response;
  });
}

// Each loop over samples is a function of its own: the engine then compiles it once, and need not guess what follows it.

/** Two stretches of a signal, `apart` samples from each other, as real and imaginary parts. */
function pack(x: Float64Array, apart: number, packed: Float64Array): void {
  for (let i = 0, to = 0; to < packed.length; i++, to += 2) {
    packed[to] = x[i]!;
    packed[to + 1] = x[i + apart]!;
  }
}

/** Product of complex numbers, interleaved. */
function multiply(a: Float64Array, b: Float64Array, product: Float64Array): void {
  for (let k = 0; k < product.length; k += 2) {
    const re = a[k]!;
    const im = a[k + 1]!;
    const hr = b[k]!;
    const hi = b[k + 1]!;
    product[k] = re * hr - im * hi;
    product[k + 1] = re * hi + im * hr;
  }
}

/** Every second number from `from` on, to every `step`-th place from `first` on. */
function spread(numbers: Float64Array, from: number, out: Float64Array, first: number, step: number): void {
  for (let to = first, at = from; to < out.length; to += step, at += 2) out[to] = numbers[at]!;
}

/**
 * Scatter of the mean over a 2 s part of Gaussian noise, relative. Of the constants above, linearised:
 *
 * With s the rms of the weighted noise, the first detector hovers at l·s where what the rectifier pushes up is what runs off,
 * E(|x| − l)₊/up₁ = l/down₁: l = 2.16. It returns there at the rate P(|x| > l)/up₁ + 1/down₁, in 41 ms; the second, which the
 * first never falls below, at 1/up₂ + 1/down₂, in 141 ms. The push has the spectral density S = ∫cov(g(x₀), g(xᵤ))du at
 * frequency 0, g = (|x| − l)₊, by Hermite's series in the autocorrelation of the weighted noise. So S/(up₁·rate·l)² is that of the relative
 * reading, and a mean over 2 s has half of it, less 7.5 % for what the two detectors hold over its ends.
 *
 * 0.0047 for white noise, at any sample rate from 44.1 kHz on, and for pink, since the 468 network makes them alike; 0.0053 where power
 * falls with the square of frequency. Simulated, 750 parts each: 0.0047, 0.0044 and 0.0048 of white noise at 44.1, 48 and 96 kHz, 0.0047 of pink, 0.0052 of the last, each to 2.6 %. How well that is known of any one board's noise, a
 * quarter, is worth 8 degrees of freedom, ½·(u/Δu)² (JCGM 100 G.4.2).
 */
const EXPECTED_SCATTER = 0.005;
const EXPECTED_DEGREES_OF_FREEDOM = 8;

export interface QuasiPeakMeter {
  /** Next samples, in order. */
  push(samples: Float64Array, frames?: number): void;
  /**
   * End of the samples; readings as rms of the equal steady sine, full scale 1. `relativeUncertainty` is the standard
   * uncertainty of the mean, from the scatter of its 2 s parts, which the meter's memory (0.35 s) leaves nearly independent,
   * with so many degrees of freedom.
   */
  finish(): { readonly largest: number; readonly mean: number; readonly relativeUncertainty: number; readonly degreesOfFreedom: number };
}

/**
 * @param settleS - Readings count from here on: the meter needs about a second to come up to a steady noise.
 * @param weighted - False leaves the 468 network out (for tests of the detector alone).
 */
export function createQuasiPeakMeter(sampleRateHz: number, settleS: number, weighted = true): QuasiPeakMeter {
  let factor = 1;
  while (factor * sampleRateHz < 176400) factor *= 2;
  const rateHz = factor * sampleRateHz;
  const gains = gainsAt(rateHz);
  const detector = { first: 0, second: 0 };
  const size = nextPowerOfTwo(BLOCK_S * sampleRateHz);
  const guard = Math.ceil(GUARD_S * sampleRateHz);
  const hop = size - 2 * guard;
  const responses = shiftedResponses(size, sampleRateHz, factor, weighted);
  // Two blocks of one real signal, packed as re and im of one complex transform: a response multiplies both alike
  // because a real impulse response keeps real and imaginary parts apart.
  const held = new Float64Array(guard + 2 * hop + guard);
  let filled = guard; // silence before the first sample
  const packed = new Float64Array(2 * size);
  const spectrum = new Float64Array(2 * size);
  const shifted = new Float64Array(2 * size);
  const raised = [new Float64Array(hop * factor), new Float64Array(hop * factor)] as const;
  let toSettle = Math.round(settleS * rateHz);
  let largest = 0;
  let sum = 0;
  let count = 0;
  const partFrames = Math.round(2 * rateHz);
  let partSum = 0;
  let partCount = 0;
  const parts = { count: 0, sum: 0, squares: 0 };

  const read = (x: Float64Array, frames: number): void => {
    const settling = Math.min(frames, toSettle);
    detect(detector, gains, x, 0, settling);
    toSettle -= settling;
    for (let from = settling; from < frames; ) {
      const to = Math.min(frames, from + partFrames - partCount);
      const readings = detect(detector, gains, x, from, to);
      largest = Math.max(largest, readings.largest);
      sum += readings.sum;
      count += to - from;
      partSum += readings.sum;
      partCount += to - from;
      if (partCount === partFrames) {
        const mean = partSum / partFrames;
        parts.count++;
        parts.sum += mean;
        parts.squares += mean * mean;
        partSum = partCount = 0;
      }
      from = to;
    }
  };

  const run = (framesOut: number): void => {
    pack(held, hop, packed);
    complexForward(packed, spectrum);
    responses.forEach((response, p) => {
      multiply(spectrum, response, packed);
      complexInverse(packed, shifted);
      spread(shifted, 2 * guard, raised[0], p, factor);
      spread(shifted, 2 * guard + 1, raised[1], p, factor);
    });
    read(raised[0], Math.min(hop, framesOut) * factor);
    if (framesOut > hop) read(raised[1], (framesOut - hop) * factor);
  };

  return {
    push(samples, frames = samples.length) {
      let taken = 0;
      while (taken < frames) {
        const n = Math.min(held.length - filled, frames - taken);
        held.set(samples.subarray(taken, taken + n), filled);
        filled += n;
        taken += n;
        if (filled === held.length) {
          run(2 * hop);
          held.copyWithin(0, 2 * hop);
          filled = 2 * guard;
        }
      }
    },
    finish() {
      held.fill(0, filled);
      const left = filled - guard;
      if (left > 0) run(Math.min(left, 2 * hop));
      const unit = steadyReadingAt(rateHz);
      const partMean = parts.count > 0 ? parts.sum / parts.count : 0;
      // A short capture has few parts: what is known of noise counts beside them (a scaled inverse chi-square prior).
      const squares = parts.count > 1 ? Math.max(0, parts.squares - parts.count * partMean * partMean) : 0;
      const degreesOfFreedom = EXPECTED_DEGREES_OF_FREEDOM + Math.max(0, parts.count - 1);
      const relativeVariance = (EXPECTED_DEGREES_OF_FREEDOM * EXPECTED_SCATTER ** 2 + (partMean > 0 ? squares / (partMean * partMean) : 0)) / degreesOfFreedom;
      return {
        largest: largest / unit,
        mean: count > 0 ? sum / count / unit : 0,
        relativeUncertainty: Math.sqrt(relativeVariance / Math.max(1, parts.count)),
        degreesOfFreedom,
      };
    },
  };
}
