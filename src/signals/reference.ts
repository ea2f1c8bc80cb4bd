/**
 * The reference signals: what may be asked of them, and their samples. What they hold is in reference-elements.
 *
 * - `take`: one whole pass through a state, between coded markers.
 * - `tone`: 997 Hz, steady, for setting levels, and to play while leads are moved.
 * - `stairs`: 997 Hz rising step by step, for headroom, between coded markers.
 *
 * @module
 */
import { problem } from '../problems.js';
import { amplitudeOfDbfs, sinTurns } from './exact.js';
import { fadeGain, isCodable } from './marker.js';
import { STAIRS_SWEEP_TOP_HZ, renderStairs, stairsTimetable } from './stairs.js';
import { sweepTopHz } from './sweep.js';
import { TONE_HZ, renderTake, takeTimetable } from './take.js';

export type ReferenceName = 'take' | 'tone' | 'stairs';
export const REFERENCE_NAMES: readonly ReferenceName[] = ['take', 'tone', 'stairs'];

export const LOWEST_RATE_HZ = 44100;
export const HIGHEST_RATE_HZ = 192000;
/** Markers say the level in 8 bits of a quarter decibel. */
export const LOWEST_LEVEL_DBFS = -63.75;
export const LEVEL_STEP_DB = 0.25;
export const DEFAULT_LEVEL_DBFS = -20;

/** Silence in front of and behind a coded signal: players fade in, and some drop the end of a file. */
export const LEAD_S = 1;
/** The steady tone, its fades included: a whole number of periods. */
export const STEADY_TONE_S = 30;
/** Long, so that a level set too high is heard coming. */
export const STEADY_TONE_FADE_S = 0.5;

export interface ReferenceSettings {
  /** A whole number from {@link LOWEST_RATE_HZ} to {@link HIGHEST_RATE_HZ}. */
  readonly sampleRateHz: number;
  /** Peak of everything but the stairs, as the level of a sine with that peak (AES17). */
  readonly levelDbfs: number;
  /** Step that the markers name; 0 for none in particular. */
  readonly stepCode: number;
}

/** @throws `signals.rate`, `signals.level` */
export function checkReferenceSettings({ sampleRateHz, levelDbfs }: Pick<ReferenceSettings, 'sampleRateHz' | 'levelDbfs'>): void {
  if (!Number.isInteger(sampleRateHz) || sampleRateHz < LOWEST_RATE_HZ || sampleRateHz > HIGHEST_RATE_HZ) {
    throw problem('signals.rate', { said: String(sampleRateHz), lowestHz: LOWEST_RATE_HZ, highestHz: HIGHEST_RATE_HZ });
  }
  if (!isCodable({ stepCode: 0, levelDbfs, sweepTopHz: sweepTopHz(sampleRateHz) })) {
    throw problem('signals.level', { said: String(levelDbfs), lowestDbfs: LOWEST_LEVEL_DBFS, stepDb: LEVEL_STEP_DB });
  }
}

/** Silence before and after in the file, and length without it, in seconds. */
export const referenceExtent: Readonly<Record<ReferenceName, { readonly leadS: number; readonly lengthS: number }>> = {
  take: { leadS: LEAD_S, lengthS: takeTimetable.lengthS },
  tone: { leadS: 0, lengthS: STEADY_TONE_S },
  stairs: { leadS: LEAD_S, lengthS: stairsTimetable.lengthS },
};

/** Length of the file in seconds, for people. */
export const referenceFileS = (name: ReferenceName): number => referenceExtent[name].lengthS + 2 * referenceExtent[name].leadS;

/**
 * Samples of a reference signal with its leads, ±1 at full scale, not yet quantised: the same bits in every engine.
 *
 * @throws `signals.rate`, `signals.level`
 */
export function renderReference(name: ReferenceName, settings: ReferenceSettings): Float64Array {
  checkReferenceSettings(settings);
  const { leadS } = referenceExtent[name];
  const { sampleRateHz, levelDbfs, stepCode } = settings;
  const frames = Math.round(referenceFileS(name) * sampleRateHz);
  switch (name) {
    case 'take':
      return renderTake({ stepCode, levelDbfs, sweepTopHz: sweepTopHz(sampleRateHz) }, sampleRateHz, leadS, frames);
    case 'tone':
      return steadyTone(amplitudeOfDbfs(levelDbfs), sampleRateHz, frames);
    case 'stairs':
      return renderStairs({ stepCode, levelDbfs, sweepTopHz: STAIRS_SWEEP_TOP_HZ }, sampleRateHz, leadS, frames);
  }
}

function steadyTone(peak: number, sampleRateHz: number, frames: number): Float64Array {
  const out = new Float64Array(frames);
  for (let n = 0; n < frames; n++) out[n] = peak * sinTurns((TONE_HZ * n) / sampleRateHz) * fadeGain(n / sampleRateHz, STEADY_TONE_S, STEADY_TONE_FADE_S);
  return out;
}
