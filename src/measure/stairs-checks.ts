/**
 * Are the level stairs of a recording fit to be measured? A board may clip in them; the recorder may not.
 *
 * @module
 */
import { problem } from '../problems.js';
import type { Problem } from '../problems.js';
import { SILENCE_DBFS, amplitudeToDb } from '../units/decibels.js';
import { sumOfSquares } from '../numerics/window.js';
import { codedTimetable } from '../signals/coded.js';
import { MARKER_S, SYNC_S } from '../signals/marker.js';
import { STAIRS_FROM_DB, STAIR_DB, stairsTimetable } from '../signals/stairs.js';
import { LEAST_TONE_OVER_NOISE_DB, QUIETEST_DBFS, clippedAt, steadySlackDb, zerosAt } from './capture-checks.js';
import type { Heard } from './capture-checks.js';
import type { Recording } from './recording.js';
import type { StairsEstimate } from './stairs.js';
import { timingOf } from './take.js';
import type { LocatedTake } from './take-search.js';

const rms = (x: Float64Array): number => Math.sqrt(sumOfSquares(x) / Math.max(1, x.length));

/** Checks level stairs; as {@link checkTake} for a take. */
export function checkStairs(heard: Heard, recording: Recording, located: LocatedTake, estimates: readonly StairsEstimate[], mayBreathe: boolean): Problem | null {
  const { file, outputs } = heard;
  const rate = recording.sampleRateHz;
  const { frameAt } = timingOf(recording, located);
  const at = (s: number): number => Math.round(frameAt(s));
  const { lengthS, endMarkerAtS } = codedTimetable(located.identity);
  if (located.extraFrames !== null && Math.abs(located.extraFrames) >= 0.5) {
    return problem('capture.samples-lost', { file, frames: Math.round(located.extraFrames), atS: at(0) / rate, jumpS: null });
  }
  const first = Math.max(0, at(0));
  const whole = recording.read(first, at(lengthS) - first);
  const stretch = (x: Float64Array, fromS: number, toS: number): Float64Array => x.subarray(Math.max(0, at(fromS) - first), at(toS) - first);
  const { stairs } = stairsTimetable;
  for (const [c, x] of whole.entries()) {
    const clipped = clippedAt(x);
    if (clipped !== null) return problem('capture.clipped', { file, output: outputs[c]!, frame: first + clipped, atS: (first + clipped) / rate });
    const lasting = estimates[c]!.stairs.length * stairs.stairS;
    const hole = zerosAt(stretch(x, stairs.atS + 0.05, stairs.atS + lasting - 0.05), Math.max(16, Math.round(0.0004 * rate)));
    if (hole && hole.frames < 0.9 * lasting * rate) {
      const frame = at(stairs.atS + 0.05) + hole.frame;
      return problem('capture.hole', { file, output: outputs[c]!, frames: hole.frames, atS: frame / rate });
    }
  }
  for (const [c, x] of whole.entries()) {
    const output = outputs[c]!;
    if (x.every((v) => v === 0)) return problem('capture.silent', { file, output });
    const working = estimates[c]!.stairs.find((s) => s.levelDbfs >= located.identity.levelDbfs - STAIR_DB / 2) ?? estimates[c]!.stairs.at(-1);
    const levelDbfs = working ? amplitudeToDb(working.amplitude) : -Infinity;
    const silence = rms(stretch(x, MARKER_S + 0.1, stairs.atS - 0.02));
    const noiseDbfs = amplitudeToDb(Math.max(1e-15, Math.SQRT2 * silence));
    if (levelDbfs < QUIETEST_DBFS || levelDbfs - noiseDbfs < LEAST_TONE_OVER_NOISE_DB + STAIRS_FROM_DB) {
      return problem('capture.too-quiet', { file, output, levelDbfs: Math.max(levelDbfs, SILENCE_DBFS), noiseDbfs });
    }
    // A recorder that turns its gain down for the loud stairs hears the second marker lower than the first.
    const words = [0, endMarkerAtS].map((s) => rms(stretch(x, s + SYNC_S, s + MARKER_S)));
    const db = Math.abs(amplitudeToDb(words[1]! / words[0]!));
    if (db > steadySlackDb(mayBreathe, silence, words[0]!)) return problem('capture.level-not-steady', { file, output, db });
  }
  for (let a = 0; a < whole.length; a++) {
    for (let b = a + 1; b < whole.length; b++) {
      if (whole[a]!.every((v, n) => v === whole[b]![n])) return problem('capture.mono-summed', { file, first: outputs[a]!, second: outputs[b]! });
    }
  }
  return null;
}
