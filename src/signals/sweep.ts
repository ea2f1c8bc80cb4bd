/**
 * The synchronised exponential sweep: x(t) = sin(2π·f1·L·e^(t/L)), instantaneous frequency f1·e^(t/L).
 *
 * With this form every harmonic of a distorting device is again the same sweep, L·ln n seconds earlier, for any
 * f1, f2 and length. L = 1 s here, so that f1·L = 10 is whole and the sweep starts at phase zero.
 *
 * Source: Novak, Lotton, Simon, "Synchronized Swept-Sine: Theory, Application, and Implementation", JAES 63 (2015) 786.
 *
 * @module
 */
import { exp, ln, sinTurns } from './exact.js';
import { fadeGain } from './marker.js';

/** First frequency. */
export const SWEEP_LOW_HZ = 10;
/** Seconds per e-fold of frequency, L. */
export const SWEEP_RATE_S = 1;
/** Fade-in: 10 to 12.8 Hz. */
export const SWEEP_FADE_IN_S = 0.25;
/** Fade-out: the last 1 % of frequency. */
export const SWEEP_FADE_OUT_S = 0.01;
/** The highest the sweep may go, at any sample rate. */
export const SWEEP_CEILING_HZ = 24000;

/** Length of a sweep from 10 Hz to `topHz`: L·ln(top/10). */
export const sweepDurationS = (topHz: number): number => SWEEP_RATE_S * ln(topHz / SWEEP_LOW_HZ);

/** Where the sweep ends at a sample rate: 0.46 of it and at most 24 kHz, rounded down to 16 Hz so that a marker can say it. */
export const sweepTopHz = (sampleRateHz: number): number => 16 * Math.floor(Math.min(0.46 * sampleRateHz, SWEEP_CEILING_HZ) / 16);

/** The sweep at time t after its start, peak 1; 0 outside. */
export function sweepAt(t: number, durationS: number): number {
  if (t < 0 || t > durationS) return 0;
  return sinTurns(SWEEP_LOW_HZ * SWEEP_RATE_S * exp(t / SWEEP_RATE_S)) * fadeGain(t, durationS, SWEEP_FADE_IN_S, SWEEP_FADE_OUT_S);
}

/** A sweep as a recorder hears it. */
export interface HeardSweep {
  /** Up to where it is heard whole. */
  readonly topHz: number;
  readonly samples: Float64Array;
}

/** Samples between which e^(t/L) is carried on by multiplication: 64 roundings move the phase at the sweep's end by 1e-9 rad. */
const STRETCH = 64;

/**
 * The sweep to `topHz` as it stands in a recording of that rate: {@link sweepAt} to 1e-9 of its peak, and faster. For what is
 * measured, not for what is played, which must be the same bits everywhere.
 *
 * Where it goes beyond half the rate the recorder's filter ends it: here between 0.46 and 0.5 of the rate, so that nothing
 * folds back from above.
 *
 * @param frames - Length of the recording.
 * @param startFrame - Where the sweep begins in it, fractional.
 * @param amplitude - Its peak.
 */
export function heardSweep(topHz: number, sampleRateHz: number, frames: number, startFrame: number, amplitude: number): HeardSweep {
  const durationS = sweepDurationS(topHz);
  const folds = topHz >= 0.5 * sampleRateHz;
  const heldHz = folds ? sweepTopHz(sampleRateHz) : topHz;
  const endS = folds ? sweepDurationS(0.5 * sampleRateHz) : durationS;
  const fadeS = endS - sweepDurationS(heldHz);
  const samples = new Float64Array(frames);
  const first = Math.max(0, Math.ceil(startFrame));
  const end = Math.min(frames, Math.floor(startFrame + endS * sampleRateHz) + 1);
  const growth = exp(1 / sampleRateHz / SWEEP_RATE_S);
  for (let from = first; from < end; from += STRETCH) {
    const to = Math.min(end, from + STRETCH);
    let turns = SWEEP_LOW_HZ * SWEEP_RATE_S * exp((from - startFrame) / sampleRateHz / SWEEP_RATE_S);
    for (let n = from; n < to; n++) {
      const t = (n - startFrame) / sampleRateHz;
      const gain = fadeGain(t, durationS, SWEEP_FADE_IN_S, SWEEP_FADE_OUT_S);
      samples[n] = amplitude * sinTurns(turns) * (folds ? gain * fadeGain(t, endS, 0, fadeS) : gain);
      turns *= growth;
    }
  }
  return { topHz: heldHz, samples };
}
