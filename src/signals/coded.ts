/**
 * What lies between two markers, by what they say: a take, or the level stairs.
 *
 * @module
 */
import type { TakeIdentity } from './marker.js';
import { STAIRS_FROM_DB, STAIR_DB, STAIR_RAMP_S, STAIR_S, isStairs, stairsRiseAt, stairsTimetable } from './stairs.js';
import { takeTimetable } from './take.js';

export interface CodedTimetable {
  /** All in seconds from the first sample of the start marker. */
  readonly endMarkerAtS: number;
  readonly lengthS: number;
  /** A stretch of the 997 Hz tone without its fades, to tell the clock by. */
  readonly steady: {
    readonly atS: number;
    readonly lengthS: number;
    /** Its amplitude that long after its beginning, against that at its beginning; null: steady throughout. */
    readonly riseAt: ((t: number) => number) | null;
  };
}

const MARGIN_S = 0.05;

const take: CodedTimetable = {
  endMarkerAtS: takeTimetable.endMarker.atS,
  lengthS: takeTimetable.lengthS,
  steady: { atS: takeTimetable.tone.atS + MARGIN_S, lengthS: takeTimetable.tone.lengthS - 2 * MARGIN_S, riseAt: null },
};

/** Of the stairs the four below the working level: there at every level, and far from any clipping. */
const STEADY_STAIRS = 4;
const stairs: CodedTimetable = {
  endMarkerAtS: stairsTimetable.endMarker.atS,
  lengthS: stairsTimetable.lengthS,
  steady: {
    atS: stairsTimetable.stairs.atS + (-STAIRS_FROM_DB / STAIR_DB - STEADY_STAIRS) * STAIR_S + STAIR_RAMP_S,
    lengthS: STEADY_STAIRS * STAIR_S - STAIR_RAMP_S,
    riseAt: (t) => stairsRiseAt(t + STAIR_RAMP_S),
  },
};

export const codedTimetable = (identity: TakeIdentity): CodedTimetable => (isStairs(identity) ? stairs : take);
