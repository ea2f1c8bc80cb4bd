/**
 * What is played in a step, from a quiet start to the end.
 *
 * In front of a coded signal stands an approach: a tone that rises from 40 dB below the level to it in three seconds, then
 * a second and a half of rest, the signal's own lead included. A wrong patch, an amplifier left on or a gain set too high is so heard coming, and stops the sound
 * while it is quiet; and the devices settle, which takes up to 3 s. Under everything lies a noise of 1e-6 (−120 dBFS), so
 * that nothing of the recording is digital silence (see filler).
 *
 * @module
 */
import { amplitudeOfDbfs, sinTurns } from '../signals/exact.js';
import { fadeGain } from '../signals/marker.js';
import { referenceExtent, referenceFileS, renderReference } from '../signals/reference.js';
import type { ReferenceName, ReferenceSettings } from '../signals/reference.js';
import { stairsOf } from '../signals/stairs.js';
import { TONE_HZ } from '../signals/take.js';

/** How far below the level the sound begins, dB. */
export const APPROACH_DB = -40;
export const APPROACH_S = 3;
/** Between the approach and the signal, beside the signal's own lead. */
const REST_S = 0.5;
/** Peak of the noise under everything. */
export const UNDERLAY_PEAK = 1e-6;

export interface Programme {
  readonly samples: Float32Array;
  readonly lengthS: number;
  /** Highest level in it, dBFS. */
  readonly highestDbfs: number;
  /** When the signal's start marker begins. */
  readonly signalS: number;
}

/** Highest level of a signal played at a working level: the stairs rise above it. */
export const highestOf = (signal: ReferenceName, levelDbfs: number): number => (signal === 'stairs' ? Math.max(levelDbfs, stairsOf(levelDbfs).at(-1)!.levelDbfs) : levelDbfs);

/** How long such a programme is, s. */
export const programmeS = (signal: 'take' | 'stairs'): number => APPROACH_S + REST_S + referenceFileS(signal);

/** The approach and a coded signal. The steady tone has a ramp of its own, see {@link steadyLoop}. */
export function programmeOf(signal: 'take' | 'stairs', settings: ReferenceSettings): Programme {
  const { sampleRateHz, levelDbfs } = settings;
  const reference = renderReference(signal, settings);
  const approach = Math.round((APPROACH_S + REST_S) * sampleRateHz);
  const samples = new Float32Array(approach + reference.length);
  const peak = amplitudeOfDbfs(levelDbfs);
  for (let n = 0; n < APPROACH_S * sampleRateHz; n++) {
    const t = n / sampleRateHz;
    const rising = amplitudeOfDbfs(APPROACH_DB * (1 - t / APPROACH_S));
    samples[n] = peak * rising * sinTurns(TONE_HZ * t) * fadeGain(t, APPROACH_S, 0.05, 0.05);
  }
  for (let n = 0; n < reference.length; n++) samples[approach + n] = reference[n]!;
  underlay(samples);
  return { samples, lengthS: samples.length / sampleRateHz, highestDbfs: highestOf(signal, levelDbfs), signalS: approach / sampleRateHz + referenceExtent[signal].leadS };
}

/** One second of the steady tone, which loops without a seam: 997 whole periods. */
export function steadyLoop(levelDbfs: number, sampleRateHz: number): Float32Array {
  const peak = amplitudeOfDbfs(levelDbfs);
  return Float32Array.from({ length: sampleRateHz }, (_, n) => peak * sinTurns((TONE_HZ * n) / sampleRateHz));
}

/** Adds noise that follows from the frame's number alone (a mixing function with constants from memory). */
function underlay(samples: Float32Array): void {
  for (let n = 0; n < samples.length; n++) {
    let z = Math.imul(n, 0x9e3779b9) + 0x5eed998;
    z = Math.imul(z ^ (z >>> 16), 0x21f0aaad);
    z = Math.imul(z ^ (z >>> 15), 0x735a2d97);
    z ^= z >>> 15;
    // Never an exact zero: 2⁻³¹ of an odd number.
    samples[n]! += (UNDERLAY_PEAK * (z | 1)) / 2147483648;
  }
}
