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
import { complexForward, complexInverse } from './fft.js';
import { itu468Response } from './weighting.js';

/** Fitted time constants, seconds. */
const FIRST_UP_S = 1.484e-3;
const FIRST_DOWN_S = 0.2914;
const SECOND_UP_S = 0.2378;
const SECOND_DOWN_S = 0.3439;

const BLOCK = 32768;
/** The network's response has died away (−200 dB) after 3 ms; 1024 samples are 5 ms at 192 kHz. */
const GUARD = 1024;

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
 * Runs the detector over samples from..to (step `stride`) of x and leaves its reading after each in `readings`.
 * One tight loop: it sees four samples for each one recorded.
 */
function detect(d: Detector, gains: DetectorGains, x: Float64Array, from: number, count: number, stride: number, readings: Float64Array): void {
  const { up1, down1, up2, down2 } = gains;
  let { first, second } = d;
  for (let i = 0, at = from; i < count; i++, at += stride) {
    const v = x[at]!;
    const level = v < 0 ? -v : v;
    first *= down1;
    if (level > first) first += up1 * (level - first);
    second *= down2;
    if (first > second) second += up2 * (first - second);
    readings[i] = second;
  }
  d.first = first;
  d.second = second;
}

function steadyReadingAt(rateHz: number): number {
  let reading = steadyReading.get(rateHz);
  if (reading === undefined) {
    const detector = { first: 0, second: 0 };
    const sine = Float64Array.from({ length: Math.round(rateHz / 2) }, (_, n) => Math.SQRT2 * Math.sin((2 * Math.PI * 1000 * n) / rateHz));
    const readings = new Float64Array(sine.length);
    for (let halfSecond = 0; halfSecond < 8; halfSecond++) detect(detector, gainsAt(rateHz), sine, 0, sine.length, 1, readings);
    reading = readings.at(-1)!;
    steadyReading.set(rateHz, reading);
  }
  return reading;
}

export interface QuasiPeakMeter {
  /** Next samples, in order. */
  push(samples: Float64Array, frames?: number): void;
  /**
   * End of the samples; readings as rms of the equal steady sine, full scale 1. `relativeUncertainty` is the standard
   * uncertainty of the mean, from the scatter of its 2 s parts, which the meter's memory (0.35 s) leaves nearly independent.
   */
  finish(): { readonly largest: number; readonly mean: number; readonly relativeUncertainty: number };
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
  const size = BLOCK;
  const hop = size - 2 * GUARD;
  // Two half blocks of one real signal, packed as re and im of one complex transform: the response multiplies both alike
  // because a real impulse response keeps real and imaginary parts apart.
  const response = new Float64Array(2 * (size / 2 + 1));
  for (let k = 0; k <= size / 2; k++) {
    const { re, im } = weighted ? itu468Response((k * sampleRateHz) / size) : { re: 1, im: 0 };
    response[2 * k] = re * factor;
    response[2 * k + 1] = im * factor;
  }
  const held = new Float64Array(GUARD + 2 * hop + GUARD);
  let filled = GUARD; // silence before the first sample
  const packed = new Float64Array(2 * size);
  const spectrum = new Float64Array(2 * size);
  const raised = new Float64Array(2 * size * factor);
  const out = new Float64Array(2 * size * factor);
  const readings = new Float64Array(hop * factor);
  let skipped = 0;
  const settle = Math.round(settleS * rateHz);
  let largest = 0;
  let sum = 0;
  let count = 0;
  const partFrames = Math.round(2 * rateHz);
  let partSum = 0;
  let partCount = 0;
  const parts = { count: 0, sum: 0, squares: 0 };

  const run = (framesOut: number): void => {
    for (let i = 0; i < size; i++) {
      packed[2 * i] = held[i]!;
      packed[2 * i + 1] = held[i + hop]!;
    }
    complexForward(packed, spectrum);
    raised.fill(0);
    const top = 2 * size * factor;
    for (let k = 0; k <= size / 2; k++) {
      const hr = response[2 * k]!;
      const hi = response[2 * k + 1]!;
      // Nyquist is split between the two sides.
      const half = k === size / 2 ? 0.5 : 1;
      raised[2 * k] = half * (spectrum[2 * k]! * hr - spectrum[2 * k + 1]! * hi);
      raised[2 * k + 1] = half * (spectrum[2 * k]! * hi + spectrum[2 * k + 1]! * hr);
      if (k === 0) continue;
      const m = 2 * (size - k);
      raised[top - 2 * k] = half * (spectrum[m]! * hr + spectrum[m + 1]! * hi);
      raised[top - 2 * k + 1] = half * (spectrum[m + 1]! * hr - spectrum[m]! * hi);
    }
    complexInverse(raised, out);
    for (const part of [0, 1]) {
      const frames = Math.min(hop, framesOut - part * hop) * factor;
      if (frames <= 0) continue;
      detect(detector, gains, out, 2 * GUARD * factor + part, frames, 2, readings);
      const first = Math.min(frames, settle - skipped);
      skipped += first;
      for (let i = first; i < frames; i++) {
        const v = readings[i]!;
        if (v > largest) largest = v;
        sum += v;
        partSum += v;
        if (++partCount === partFrames) {
          const mean = partSum / partFrames;
          parts.count++;
          parts.sum += mean;
          parts.squares += mean * mean;
          partSum = partCount = 0;
        }
      }
      count += frames - first;
    }
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
          filled = 2 * GUARD;
        }
      }
    },
    finish() {
      held.fill(0, filled);
      const left = filled - GUARD;
      if (left > 0) run(Math.min(left, 2 * hop));
      const unit = steadyReadingAt(rateHz);
      const partMean = parts.count > 0 ? parts.sum / parts.count : 0;
      const variance = parts.count > 1 ? Math.max(0, parts.squares - parts.count * partMean * partMean) / (parts.count - 1) : 0;
      return {
        largest: largest / unit,
        mean: count > 0 ? sum / count / unit : 0,
        // Too short for parts: the scatter of a 2 s part of white noise, 1.5 % (from simulation), serves.
        relativeUncertainty: partMean > 0 && parts.count > 1 ? Math.sqrt(variance / parts.count) / partMean : 0.015,
      };
    },
  };
}
