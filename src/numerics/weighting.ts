/**
 * Frequency weightings as analytic curves: magnitudes for spectra, and the complex 468 network for the time domain.
 *
 * A and C: IEC 61672-1:2013 5.5 and Annex E. 468: ITU-R BS.468-4, the passive network of its Fig. 1a.
 *
 * No reading is C-weighted: on hiss it says what the unweighted level says (3.45 dB less on white noise), and what it shows beyond A,
 * energy at low frequencies, is read as hum, line by line. Levels are averaged over whole captures and bursts read by
 * the quasi-peak meter, so no F or S time weighting is used, and IEC 61672-1 Table 4 does not apply.
 *
 * @module
 */
import { dbToAmplitude } from '../units/decibels.js';

// The poles follow from the standard's construction: corners where C and A are 3 dB down, see Annex E.
const fL = 10 ** 1.5;
const fH = 10 ** 3.9;
const fA = 10 ** 2.45;
const D = Math.SQRT1_2;
const b = (1 / (1 - D)) * (1e6 + (fL ** 2 * fH ** 2) / 1e6 - D * (fL ** 2 + fH ** 2));
const c = fL ** 2 * fH ** 2;
const f1Squared = (-b - Math.sqrt(b * b - 4 * c)) / 2;
const f4Squared = (-b + Math.sqrt(b * b - 4 * c)) / 2;
const f2 = (fA * (3 - Math.sqrt(5))) / 2;
const f3 = (fA * (3 + Math.sqrt(5))) / 2;

const cRaw = (s: number): number => (f4Squared * s) / ((s + f1Squared) * (s + f4Squared));
const aRaw = (s: number): number => (f4Squared * s * s) / ((s + f1Squared) * Math.sqrt((s + f2 ** 2) * (s + f3 ** 2)) * (s + f4Squared));
// The construction gives b negative for f1² and f4² as the roots of x² + bx + c with both positive.
const aAt1k = aRaw(1e6);
const cAt1k = cRaw(1e6);

/** A-weighting as an amplitude ratio, 1 at 1 kHz. */
export const aWeighting = (hz: number): number => aRaw(hz * hz) / aAt1k;

/** C-weighting as an amplitude ratio, 1 at 1 kHz. */
export const cWeighting = (hz: number): number => cRaw(hz * hz) / cAt1k;

/** Amplitude at 1 kHz of the 468 network before normalisation: −18.238675 dB. */
const NORMALISER_468 = dbToAmplitude(18.238675);

// The network's denominator with p = jf: even powers are real, odd powers imaginary.
const even468 = (f2: number): number => 1 - 1.363894795463638e-7 * f2 + 2.043828333606125e-15 * f2 * f2 - 4.737338981378384e-24 * f2 * f2 * f2;
const odd468 = (hz: number, f2: number): number => hz * (5.559488023498642e-4 - 2.118150887518656e-11 * f2 + 1.306612257412824e-19 * f2 * f2);
const numerator468 = (hz: number): number => NORMALISER_468 * 1.246332637532143e-4 * hz;

/** Complex response of the 468 network at f, normalised to magnitude 1 at 1 kHz. H(p) with p = jf. */
export function itu468Response(hz: number): { re: number; im: number } {
  const even = even468(hz * hz);
  const odd = odd468(hz, hz * hz);
  const gain = numerator468(hz) / (even * even + odd * odd);
  // j·f / (even + j·odd) = f·(odd + j·even) / (even² + odd²)
  return { re: gain * odd, im: gain * even };
}

/** 468 weighting as an amplitude ratio, 1 at 1 kHz. */
export function itu468Weighting(hz: number): number {
  const even = even468(hz * hz);
  const odd = odd468(hz, hz * hz);
  return numerator468(hz) / Math.sqrt(even * even + odd * odd);
}

/**
 * CCIR-RMS of AES17: the 468 curve lowered by 5.63 dB so that it is 0 dB at 2 kHz, for a true-rms reading.
 * AES17-2015 5.2.7 (at second hand); the network's own gain at 2 kHz is +5.629 dB.
 */
export const ccirRmsWeighting = (hz: number): number => itu468Weighting(hz) * dbToAmplitude(-5.63);
