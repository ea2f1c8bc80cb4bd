/**
 * What a device adds to a steady tone: its harmonics one by one, and everything that is not the tone, by three rules.
 *
 * @module
 */
import { createPsdAccumulator } from '../numerics/psd.js';
import { projectTones } from '../numerics/sine-fit.js';
import type { SineFit } from '../numerics/sine-fit.js';
import { powerReader } from './power-estimate.js';
import type { PowerEstimate } from './power-estimate.js';
import { linesOverFloor } from './spectral-lines.js';

/** Upper end of the band that distortion is read in. */
export const DISTORTION_HIGH_HZ = 20000;
/** Lower end: IEC 61606-2 4.7.3 begins at 4 Hz, AES17 at 20 Hz (from memory). */
const IEC_LOW_HZ = 4;
const AES17_LOW_HZ = 20;
/** Half-width of the band around the tone that the FFT rule leaves out, as a ratio: f0/1.5 to 1.5·f0 (IEC 61606-2 4.7.3). */
const LEFT_OUT_RATIO = 1.5;
/** Quality factor of the notch; AES17-2015 5.2.8 allows 1.2 to 3 (from memory), AES17-1998 1 to 5. */
export const NOTCH_Q = 2;

/** Magnitude of a second-order notch, an amplitude ratio: |x|/sqrt(x² + 1/Q²) with x = f/f0 − f0/f; 3 dB down at x = ±1/Q. */
export function notchGain(hz: number, notchHz: number, q: number = NOTCH_Q): number {
  if (hz <= 0) return 1;
  const x = Math.abs(hz / notchHz - notchHz / hz);
  return x / Math.sqrt(x * x + 1 / (q * q));
}

export interface HarmonicEstimate {
  /** Σ of squared harmonic amplitudes, 2nd to the highest below 20 kHz, noise taken off; may be below 0 by chance. */
  readonly harmonicSquares: number;
  /** Standard uncertainty of that sum. */
  readonly harmonicSquaresUncertainty: number;
  /** Peak amplitude per harmonic from the second, noise included. */
  readonly harmonics: readonly number[];
}

/** Mean squares of what is left of a recording when the fitted tone is taken out, full scale 1. */
export interface ResidualEstimate {
  /** 4 Hz to 20 kHz, nothing left out. */
  readonly whole: PowerEstimate;
  /** FFT rule of IEC 61606-2: 4 Hz to f0/1.5, and 1.5·f0 to 20 kHz. */
  readonly apart: PowerEstimate;
  /** Notch of AES17 with Q = {@link NOTCH_Q}: 20 Hz to 20 kHz. */
  readonly notched: PowerEstimate;
}

/** Harmonics with the noise beside each. */
export interface HarmonicsBeside extends HarmonicEstimate {
  /** Squared amplitude that noise alone shows at each, from the second. */
  readonly noiseSquares: readonly number[];
}

const HIGHEST_HARMONIC = 10;
/**
 * Beside a line the noise is read at these distances: away from its main lobe, from each other (1.5 Hz are 2.8 bins of the take's
 * tone, where Hann bins no longer share their noise), and from where multiples of 50 and 60 Hz lie beside those of 997 Hz.
 */
const BESIDE_HZ = [-17.5, -16, -11.8, -8, -6.5, 7.5, 10.5, 13.5];
/** Degrees of freedom of that noise: each square has two. */
export const BESIDE_DEGREES_OF_FREEDOM = 2 * BESIDE_HZ.length;

const squaresAt = (x: Float64Array, rate: number, frequenciesHz: readonly number[], window: Float64Array): number[] =>
  projectTones(x, rate, frequenciesHz, window).map(({ re, im }) => re * re + im * im);

const besideOf = (hz: number): number[] => BESIDE_HZ.map((d) => hz + d);
const mean = (v: readonly number[]): number => v.reduce((p, q) => p + q, 0) / v.length;

/** Squared amplitude that noise alone shows beside a line. */
export const squareBeside = (x: Float64Array, rate: number, hz: number, window: Float64Array): number => mean(squaresAt(x, rate, besideOf(hz), window));

/** The recording with the fitted tone and its offset taken out. */
export function withoutTone(x: Float64Array, rate: number, fit: SineFit): Float64Array {
  const omega = (2 * Math.PI * fit.frequencyHz) / rate;
  const { offset, amplitude, phaseRad } = fit;
  const left = new Float64Array(x.length);
  for (let n = 0; n < x.length; n++) left[n] = x[n]! - offset - amplitude * Math.cos(omega * n + phaseRad);
  return left;
}

/**
 * Variance of a squared amplitude read among noise, that noise taken off: |A + n|² has variance 2A²N + N², and the noise, a mean of several
 * such squares, N² over their number.
 */
export const squareVariance = (found: number, noise: number): number => 2 * Math.max(0, found - noise) * noise + (1 + 1 / BESIDE_HZ.length) * noise * noise;

/**
 * Second to tenth harmonic of a tone, as far as they lie below 20 kHz, each by projection.
 *
 * @param left - The recording with the harmonics taken out, for the noise beside them: of a short one they reach as far as that.
 */
export function measureHarmonics(x: Float64Array, rate: number, toneHz: number, window: Float64Array, left = x): HarmonicsBeside {
  const harmonics: number[] = [];
  const noiseSquares: number[] = [];
  let squares = 0;
  let variance = 0;
  const frequencies: number[] = [];
  for (let n = 2; n <= HIGHEST_HARMONIC && n * toneHz < Math.min(DISTORTION_HIGH_HZ, 0.46 * rate); n++) frequencies.push(n * toneHz);
  const read = squaresAt(x, rate, frequencies, window);
  const beside = squaresAt(left, rate, frequencies.flatMap(besideOf), window);
  read.forEach((found, k) => {
    const noise = mean(beside.slice(k * BESIDE_HZ.length, (k + 1) * BESIDE_HZ.length));
    harmonics.push(Math.sqrt(found));
    noiseSquares.push(noise);
    squares += found - noise;
    variance += squareVariance(found, noise);
  });
  return { harmonicSquares: squares, harmonicSquaresUncertainty: Math.sqrt(variance), harmonics, noiseSquares };
}

/**
 * Everything that is not the tone. With the tone taken out beforehand no window has to hold its skirts back, and a residual of −150 dB
 * is read as well as one of −20 dB.
 *
 * @param left - From {@link withoutTone}.
 * @param highHz - Upper end of the band.
 * @returns null where the recording is too short for a spectrum.
 */
export function measureResidual(left: Float64Array, rate: number, toneHz: number, highHz = DISTORTION_HIGH_HZ): ResidualEstimate | null {
  // Half overlapped segments of less than half the length: at least three are averaged.
  const size = 2 ** Math.floor(Math.log2(left.length / 2));
  const accumulator = createPsdAccumulator(1, rate, Math.max(8, size));
  accumulator.push([left], left.length);
  const [psd] = accumulator.finish() ?? [];
  if (!psd) return null;
  // Lines count in the scatter of these sums alone, and their skirts change it by 0.3 % at most.
  const read = powerReader(psd, linesOverFloor(psd, IEC_LOW_HZ, highHz));
  const [below, above] = [read(IEC_LOW_HZ, toneHz / LEFT_OUT_RATIO), read(LEFT_OUT_RATIO * toneHz, highHz)];
  const power = below.power + above.power;
  return {
    whole: read(IEC_LOW_HZ, highHz),
    apart: { power, relativeUncertainty: power > 0 ? Math.hypot(below.power * below.relativeUncertainty, above.power * above.relativeUncertainty) / power : 0 },
    notched: read(AES17_LOW_HZ, highHz, (hz) => notchGain(hz, toneHz)),
  };
}
