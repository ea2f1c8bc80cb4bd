/**
 * The take: one whole pass of the test signals, and its timetable.
 *
 * Coded start marker, silence, 997 Hz tone, synchronised exponential sweep, silence for the tail, coded end marker.
 * Everything has the same peak, so one level describes it. Times are in seconds of the player's clock and the same
 * at every sample rate; only the top of the sweep depends on the rate.
 *
 * @module
 */
import { amplitudeOfDbfs, sinTurns } from './exact.js';
import { MARKER_S, encodeWord, fadeGain, markerAt } from './marker.js';
import type { TakeIdentity } from './marker.js';
import { SWEEP_CEILING_HZ, sweepAt, sweepDurationS } from './sweep.js';

export type { TakeIdentity } from './marker.js';

/** 997 Hz: shares no small factor with the usual sample rates, so that every code of a converter is used (AES17). */
export const TONE_HZ = 997;
export const TONE_FADE_S = 0.01;

const toneStartS = 1.5;
const toneS = 2;
const sweepStartS = 3.75;
const endMarkerS = 12.75;

/** When what happens, in seconds from the first sample of the start marker. */
export const takeTimetable = {
  startMarker: { atS: 0, lengthS: MARKER_S },
  tone: { atS: toneStartS, lengthS: toneS, hz: TONE_HZ },
  /** `longestS` is that of a sweep to 24 kHz; lower tops end earlier within it. */
  sweep: { atS: sweepStartS, longestS: sweepDurationS(SWEEP_CEILING_HZ) },
  endMarker: { atS: endMarkerS, lengthS: MARKER_S },
  lengthS: endMarkerS + MARKER_S,
} as const;

/** A 997 Hz tone at time t after its start, peak 1, faded at both ends; 0 outside. */
export function toneAt(t: number, lengthS: number): number {
  if (t < 0 || t > lengthS) return 0;
  return sinTurns(TONE_HZ * t) * fadeGain(t, lengthS, TONE_FADE_S);
}

/**
 * Samples of a take, ±1 at full scale.
 *
 * @param sampleRateHz - Samples per second of the player's clock; any positive real number, so that a recording by
 *   another clock can be generated on its own time base.
 * @param startS - When the take begins, after sample 0.
 * @param frames - How many samples; by default up to the end of the take.
 */
export function renderTake(
  identity: TakeIdentity,
  sampleRateHz: number,
  startS = 0,
  frames: number = Math.floor((startS + takeTimetable.lengthS) * sampleRateHz) + 1,
): Float64Array {
  const { startMarker, tone, sweep, endMarker } = takeTimetable;
  const amplitude = amplitudeOfDbfs(identity.levelDbfs);
  const word = encodeWord(identity);
  const durationS = sweepDurationS(identity.sweepTopHz);
  const out = new Float64Array(frames);
  const render = (atS: number, lengthS: number, wave: (t: number) => number): void => {
    const first = Math.max(0, Math.ceil((startS + atS) * sampleRateHz));
    const last = Math.min(frames - 1, Math.floor((startS + atS + lengthS) * sampleRateHz));
    for (let n = first; n <= last; n++) out[n] = amplitude * wave(n / sampleRateHz - startS - atS);
  };
  render(startMarker.atS, startMarker.lengthS, (t) => markerAt('start', word, t));
  render(tone.atS, tone.lengthS, (t) => toneAt(t, tone.lengthS));
  render(sweep.atS, durationS, (t) => sweepAt(t, durationS));
  render(endMarker.atS, endMarker.lengthS, (t) => markerAt('end', word, t));
  return out;
}
