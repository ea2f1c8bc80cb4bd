/**
 * Frequency response from a recorded sweep, by division of spectra.
 *
 * H(f) = G(f)·Y(f)/X(f), with X the transform of the very sweep that was played, generated on the recorder's time base.
 * G is a smooth band-pass that is 1 over the band of interest and closes where the sweep has no energy left to divide
 * by. In the time domain the linear response then stands at lag 0 and each harmonic n of a distorting device
 * L·ln n earlier (Novak et al. 2015), so a window around lag 0 keeps the linear part, and most of the noise out.
 *
 * @module
 */
import { irfft, nextPowerOfTwo, rfft, zeroSpectrum } from './fft.js';
import type { Spectrum } from './fft.js';

/** Complex values on a list of frequencies. */
export interface ComplexCurve {
  readonly re: Float64Array;
  readonly im: Float64Array;
}

export interface SweepAnalysis {
  /** Response at the frequencies asked for. */
  readonly response: ComplexCurve;
  /** E|error|² of each value for white noise of one-sided density 1 (full scale)²/Hz at that frequency in the recording. */
  readonly noiseGain: Float64Array;
  /** Lag of the largest magnitude of the impulse response, whole samples, in seconds. */
  readonly peakLagS: number;
}

/** Window over the lag: flat from −0.25 to +0.5 s, raised-cosine sides to −0.55 (the second harmonic stands at −0.69) and +0.85 s. */
const LAG = { from: -0.55, flatFrom: -0.25, flatTo: 0.5, to: 0.85 } as const;

/** How much recording after the end of the sweep is used. */
export const SWEEP_TAIL_S = 0.9;
/** How much recording before the beginning of the sweep is used. */
export const SWEEP_LEAD_S = 0.2;

/** 0 to 1 as x goes from 0 to 1, flat outside. */
export const raisedCosine = (x: number): number => (x <= 0 ? 0 : x >= 1 ? 1 : 0.5 - 0.5 * Math.cos(Math.PI * x));

/** The band-pass G: opens from 10.5 to 17 Hz, closes within the fade-out of the sweep. */
export function bandPass(hz: number, topHz: number): number {
  return raisedCosine((hz - 10.5) / 6.5) * raisedCosine((0.998 * topHz - hz) / (0.01 * topHz));
}

/** A window value at a lag in seconds. */
function lagWindow(t: number): number {
  if (t < LAG.flatFrom) return raisedCosine((t - LAG.from) / (LAG.flatFrom - LAG.from));
  if (t > LAG.flatTo) return raisedCosine((LAG.to - t) / (LAG.to - LAG.flatTo));
  return 1;
}

export interface SweepReference {
  readonly size: number;
  readonly spectrum: Spectrum;
  /** G over |X|², what each bin of Y·X* is multiplied by. */
  readonly inverse: Float64Array;
  readonly sampleRateHz: number;
  readonly topHz: number;
  /** Room for one recording's transform and impulse response, used by each in turn. */
  readonly room: { readonly spectrum: Spectrum; readonly response: Float64Array };
}

/**
 * Prepares the division: the sweep as it would stand in the recording without a device.
 *
 * @param sweep - The sweep with its amplitude, on the recorder's time base, `sampleRateHz` samples per second of the player's clock.
 * @param frames - Length of the recordings that will be divided.
 */
export function prepareSweep(sweep: Float64Array, frames: number, sampleRateHz: number, topHz: number): SweepReference {
  // Room for the lags of the window on either side, so that nothing wraps into it.
  const size = nextPowerOfTwo(Math.max(sweep.length, frames) + LAG.to * sampleRateHz);
  const spectrum = rfft(sweep, size);
  const room = { spectrum: zeroSpectrum(size), response: new Float64Array(size) };
  return { size, spectrum, inverse: inverseOf(spectrum, sampleRateHz / size, topHz), sampleRateHz, topHz, room };
}

function inverseOf({ re, im }: Spectrum, binHz: number, topHz: number): Float64Array {
  const inverse = new Float64Array(re.length);
  for (let k = 0; k < inverse.length; k++) {
    const gain = bandPass(k * binHz, topHz);
    if (gain > 0) inverse[k] = gain / (re[k]! * re[k]! + im[k]! * im[k]!);
  }
  return inverse;
}

/**
 * Impulse response over lag (circular: negative lags at the end), before any window. It stands in the reference's room: the next
 * call overwrites it.
 */
export function impulseResponse(recording: Float64Array, reference: SweepReference): Float64Array {
  const { spectrum, response } = reference.room;
  rfft(recording, reference.size, spectrum);
  divide(spectrum, reference);
  return irfft(spectrum, response);
}

/** Y becomes Y·X*·G/|X|². */
function divide({ re, im }: Spectrum, { spectrum: x, inverse }: SweepReference): void {
  for (let k = 0; k < inverse.length; k++) {
    const scale = inverse[k]!;
    const yr = re[k]!;
    const yi = im[k]!;
    const xr = x.re[k]!;
    const xi = x.im[k]!;
    re[k] = (yr * xr + yi * xi) * scale;
    im[k] = (yi * xr - yr * xi) * scale;
  }
}

/**
 * A spectrum between its bins, by the cubic through four of them. What stands at a lag of t seconds is off by 3/128·(2πtΔ)⁴
 * of itself at most, Δ the width of a bin.
 */
export function betweenBins(values: Float64Array, at: number): number {
  const k = Math.floor(at);
  const w = at - k;
  return (
    (-w * (w - 1) * (w - 2) * values[k - 1]!) / 6 +
    ((w + 1) * (w - 1) * (w - 2) * values[k]!) / 2 -
    ((w + 1) * w * (w - 2) * values[k + 1]!) / 2 +
    ((w + 1) * w * (w - 1) * values[k + 2]!) / 6
  );
}

/** What the lag window keeps of an impulse response. It is short, so a short transform holds it; circular as h is. */
function cutOut(h: Float64Array, sampleRateHz: number): { kept: Float64Array; windowEnergy: number; peakLag: number } {
  const from = Math.ceil(LAG.from * sampleRateHz);
  const to = Math.floor(LAG.to * sampleRateHz);
  const kept = new Float64Array(nextPowerOfTwo((to - from) * 1.5));
  let windowEnergy = 0;
  let peakLag = 0;
  let peak = -1;
  for (let n = from; n <= to; n++) {
    const w = lagWindow(n / sampleRateHz);
    windowEnergy += w * w;
    const value = h[n < 0 ? n + h.length : n]! * w;
    kept[n < 0 ? n + kept.length : n] = value;
    if (Math.abs(value) > peak) {
      peak = Math.abs(value);
      peakLag = n;
    }
  }
  return { kept, windowEnergy, peakLag };
}

/**
 * Response at the given frequencies (Hz of the player's clock).
 *
 * @param recording - Begins where `sweep` of the reference began.
 * @param frequencies - Between 20 Hz and 0.988 of the sweep's top; NaN comes back outside what the sweep covers.
 */
export const sweepResponse = (recording: Float64Array, reference: SweepReference, frequencies: Float64Array): SweepAnalysis => linearResponse(impulseResponse(recording, reference), reference, frequencies);

/** The same of an {@link impulseResponse}. */
export function linearResponse(h: Float64Array, reference: SweepReference, frequencies: Float64Array): SweepAnalysis {
  const { size, spectrum: x, sampleRateHz, topHz } = reference;
  const { kept, windowEnergy, peakLag } = cutOut(h, sampleRateHz);
  const spectrum = rfft(kept);
  const response = { re: new Float64Array(frequencies.length), im: new Float64Array(frequencies.length) };
  const noiseGain = new Float64Array(frequencies.length);
  frequencies.forEach((hz, i) => {
    const gain = bandPass(hz, topHz);
    if (gain < 0.999 || hz >= sampleRateHz / 2) {
      response.re[i] = response.im[i] = noiseGain[i] = NaN;
      return;
    }
    const at = (hz * kept.length) / sampleRateHz;
    response.re[i] = betweenBins(spectrum.re, at);
    response.im[i] = betweenBins(spectrum.im, at);
    const k = Math.floor((hz * size) / sampleRateHz);
    // White noise of density D has E|Y[k]|² = N·fs·D/2; divided by X it is, per sample of lag, fs·D/(2|X|²), and the
    // window adds up Σw² of those.
    noiseGain[i] = (windowEnergy * sampleRateHz) / 2 / (x.re[k]! ** 2 + x.im[k]! ** 2);
  });
  return { response, noiseGain, peakLagS: peakLag / sampleRateHz };
}
