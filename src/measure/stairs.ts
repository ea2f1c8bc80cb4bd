/**
 * The level stairs on one channel: of each stair its level, its harmonics and the shape that they give the wave.
 *
 * @module
 */
import { fitSine, projectTones } from '../numerics/sine-fit.js';
import { hann } from '../numerics/window.js';
import { STAIR_RAMP_S, stairsOf } from '../signals/stairs.js';
import { TONE_HZ } from '../signals/take.js';
import { DISTORTION_HIGH_HZ, measureHarmonics, squareBeside, withoutTone } from './distortion.js';
import type { HarmonicsBeside } from './distortion.js';
import type { Recording } from './recording.js';
import type { LocatedTake } from './take-search.js';
import { clockRatioOf, timingOf } from './take.js';

export interface StairEstimate extends HarmonicsBeside {
  /** As played, dBFS. */
  readonly levelDbfs: number;
  /** Peak amplitude of the tone, full scale 1, and its relative standard uncertainty. */
  readonly amplitude: number;
  readonly relativeUncertainty: number;
  /**
   * The wave over one turn of the tone as Σ shape[n]·cos(n·θ), n from 0 (left at 0: a recorder passes no DC) to the 20th
   * harmonic: what a device without memory makes of cos θ.
   */
  readonly shape: readonly number[];
}

export interface StairsEstimate {
  readonly located: LocatedTake;
  /** Lowest first; stairs without a tone are left out. */
  readonly stairs: readonly StairEstimate[];
}

const SHAPE_HARMONICS = 20;
/** Left out after the ramp and before the next: a loop that delays unevenly has settled. */
const SETTLE_S = 0.01;

/** Measures the stairs on the channels asked for (from 0), which share their timing. */
export function measureStairs(recording: Recording, located: LocatedTake, channels: readonly number[]): StairsEstimate[] {
  const { playerRate, frameAt } = timingOf(recording, located);
  const stairs = stairsOf(located.identity.levelDbfs).map(({ atS, lengthS, levelDbfs }) => {
    const samples = recording.read(Math.ceil(frameAt(atS + STAIR_RAMP_S + SETTLE_S)), Math.floor((lengthS - 2 * (STAIR_RAMP_S + SETTLE_S)) * playerRate));
    return { levelDbfs, samples };
  });
  return channels.map((c) => ({
    located,
    stairs: stairs.flatMap(({ levelDbfs, samples }) => measureStair(samples[c]!, recording.sampleRateHz, TONE_HZ / clockRatioOf(located), levelDbfs) ?? []),
  }));
}

/** The recording less re·cos ωn − im·sin ωn of every line. */
function withoutLines(x: Float64Array, rate: number, lines: readonly { readonly hz: number; readonly re: number; readonly im: number }[]): Float64Array {
  const left = x.slice();
  for (const { hz, re, im } of lines) {
    const omega = (2 * Math.PI * hz) / rate;
    const twice = 2 * Math.cos(omega);
    let [before, now] = [re * Math.cos(omega) + im * Math.sin(omega), re];
    for (let n = 0; n < left.length; n++) {
      left[n]! -= now;
      [before, now] = [now, twice * now - before];
    }
  }
  return left;
}

/** One stair without its ramp. Null where there is no tone. */
export function measureStair(x: Float64Array, rate: number, expectedHz: number, levelDbfs: number): StairEstimate | null {
  const window = hann(x.length);
  const fit = fitSine(x, rate, expectedHz, window);
  if (!fit || !(fit.amplitude > 0)) return null;
  const { amplitude, frequencyHz: hz } = fit;
  const left = withoutTone(x, rate, fit);
  const orders = Array.from({ length: SHAPE_HARMONICS - 1 }, (_, i) => i + 2).filter((n) => n * hz < Math.min(DISTORTION_HIGH_HZ, 0.46 * rate));
  const shape = [0, amplitude];
  // Turned to the tone's own phase, the harmonics of a wave without memory are real. A filter behind turns them a little, so their
  // size is that of the whole, and only the sign that of the real part.
  const harmonics = projectTones(x, rate, orders.map((n) => n * hz), window);
  harmonics.forEach(({ re, im }, i) => {
    const phase = Math.atan2(im, re) - orders[i]! * fit.phaseRad;
    shape.push(Math.hypot(re, im) * Math.sign(Math.cos(phase)));
  });
  return {
    levelDbfs,
    amplitude,
    relativeUncertainty: Math.sqrt(squareBeside(left, rate, hz, window) / 2) / amplitude,
    ...measureHarmonics(x, rate, hz, window, withoutLines(x, rate, orders.map((n, i) => ({ hz: n * hz, ...harmonics[i]! })))),
    shape,
  };
}
