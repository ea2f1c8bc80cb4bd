/**
 * The level stairs, for headroom: a 997 Hz tone that rises step by step between two coded markers.
 *
 * The tone never stops between stairs: its level moves on by a ramp while its phase goes on, so that nothing clicks and a
 * compressor is not set off by a gap. Both markers are at the working level, 19 dB below the top, so that a board
 * that clips there still passes them.
 *
 * @module
 */
import { amplitudeOfDbfs, sinTurns } from './exact.js';
import { MARKER_S, encodeWord, fadeGain, markerAt } from './marker.js';
import type { TakeIdentity } from './marker.js';
import { TONE_HZ } from './take.js';

/** A marker's word tells the stairs from a take by a sweep top that no sample rate gives (44.1 kHz, the lowest, gives 20 272 Hz). */
export const STAIRS_SWEEP_TOP_HZ = 20224;
export const isStairs = (identity: TakeIdentity): boolean => identity.sweepTopHz === STAIRS_SWEEP_TOP_HZ;

/** Rise from stair to stair. */
export const STAIR_DB = 1;
/** Length of a stair, its ramp included. */
export const STAIR_S = 0.5;
/** Ramp at the beginning of each stair; the first starts from, and the last ends in, silence in the same time. */
export const STAIR_RAMP_S = 0.02;
/** First and last stair against the working level. */
export const STAIRS_FROM_DB = -10;
export const STAIRS_TO_DB = 19;
/** No stair is above this: the last decibel of a player is not asked for. */
export const STAIRS_CEILING_DBFS = -1;

const stairsStartS = 1.5;
const mostStairs = (STAIRS_TO_DB - STAIRS_FROM_DB) / STAIR_DB + 1;
const endMarkerS = stairsStartS + mostStairs * STAIR_S + 1;

/** When what happens, in seconds from the first sample of the start marker; the same at every level. */
export const stairsTimetable = {
  startMarker: { atS: 0, lengthS: MARKER_S },
  stairs: { atS: stairsStartS, stairS: STAIR_S, longestS: mostStairs * STAIR_S, hz: TONE_HZ },
  endMarker: { atS: endMarkerS, lengthS: MARKER_S },
  lengthS: endMarkerS + MARKER_S,
} as const;

export interface Stair {
  /** From the first sample of the start marker. */
  readonly atS: number;
  readonly lengthS: number;
  readonly levelDbfs: number;
}

/** The stairs for a working level: 10 dB below it to 19 dB above it, but not above −1 dBFS. */
export function stairsOf(levelDbfs: number): Stair[] {
  const stairs: Stair[] = [];
  for (let k = 0; k < mostStairs; k++) {
    const level = levelDbfs + STAIRS_FROM_DB + k * STAIR_DB;
    if (level <= STAIRS_CEILING_DBFS) stairs.push({ atS: stairsStartS + k * STAIR_S, lengthS: STAIR_S, levelDbfs: level });
  }
  return stairs;
}

/**
 * Samples of the stairs, ±1 at full scale.
 *
 * @param identity - Its `sweepTopHz` is {@link STAIRS_SWEEP_TOP_HZ}; its level is the working level.
 * @param sampleRateHz - Samples per second of the player's clock; any positive real number.
 * @param startS - When the stairs begin, after sample 0.
 * @param frames - How many samples; by default up to the end of the stairs.
 */
export function renderStairs(
  identity: TakeIdentity,
  sampleRateHz: number,
  startS = 0,
  frames: number = Math.floor((startS + stairsTimetable.lengthS) * sampleRateHz) + 1,
): Float64Array {
  const { startMarker, endMarker } = stairsTimetable;
  const out = new Float64Array(frames);
  const render = (atS: number, lengthS: number, wave: (t: number) => number): void => {
    const first = Math.max(0, Math.ceil((startS + atS) * sampleRateHz));
    const last = Math.min(frames - 1, Math.floor((startS + atS + lengthS) * sampleRateHz));
    // Rounding may put the first sample a hair before its time.
    for (let n = first; n <= last; n++) out[n] = wave(Math.max(0, n / sampleRateHz - startS - atS));
  };
  const word = encodeWord(identity);
  const markerPeak = amplitudeOfDbfs(identity.levelDbfs);
  render(startMarker.atS, startMarker.lengthS, (t) => markerPeak * markerAt('start', word, t));
  const peaks = stairsOf(identity.levelDbfs).map((s) => amplitudeOfDbfs(s.levelDbfs));
  const totalS = peaks.length * STAIR_S;
  render(stairsStartS, totalS, (t) => sinTurns(TONE_HZ * t) * stairsPeakAt(peaks, t) * fadeGain(t, totalS, STAIR_RAMP_S));
  render(endMarker.atS, endMarker.lengthS, (t) => markerPeak * markerAt('end', word, t));
  return out;
}

/** Peak at time t after the first stair's beginning: each stair's own, after a ramp from the one before. */
function stairsPeakAt(peaks: readonly number[], t: number): number {
  const k = Math.min(peaks.length - 1, Math.floor(t / STAIR_S));
  const before = peaks[Math.max(0, k - 1)]!;
  return before + (peaks[k]! - before) * fadeGain(Math.min(t - k * STAIR_S, STAIR_RAMP_S), STAIR_S, STAIR_RAMP_S, 0);
}

/** Amplitude at time t after any stair's beginning but the first, against that stair's own: the ramp, and the stairs above. */
export function stairsRiseAt(t: number): number {
  const stair = Math.floor(t / STAIR_S);
  const peaks = Array.from({ length: stair + 2 }, (_, k) => amplitudeOfDbfs((k - 1) * STAIR_DB));
  return stairsPeakAt(peaks, t + STAIR_S);
}
