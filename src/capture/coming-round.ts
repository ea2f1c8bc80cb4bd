/**
 * Does what is played come round? Told while it plays, so that what is not heard need not be played to its end.
 *
 * @module
 */
import { projectTones } from '../numerics/sine-fit.js';
import { hann } from '../numerics/window.js';
import { MARKER_S } from '../signals/marker.js';
import { TONE_HZ } from '../signals/take.js';
import { SILENCE_DBFS, amplitudeToDb } from '../units/decibels.js';
import type { ChannelLevel } from './levels.js';
import { APPROACH_S } from './programme.js';
import type { Programme } from './programme.js';

/**
 * What is heard stands over the quietest by this much at least, dB (chosen: blocks of 4096 frames, a period of the mains and more up to
 * 192 kHz, move by tenths of a decibel in hiss and hum). An effect may turn the tone into anything, so what is heard may be anything that rises.
 */
const LEAST_RISE_DB = 6;
/**
 * Hiss and hum drown a rise where the tone is less than 11 dB above them. Then the tone itself must rise over the quietest at its
 * frequency by this much, dB: by chance hiss does so in three takes of a thousand, and a tone 5 dB below hiss still does. (Of n pairs of
 * blocks the quietest lies below x of the mean with n·x², of five blocks all above 100·x with exp(−500·x): hiss has a power there that
 * is distributed exponentially.)
 */
const TONE_RISE_DB = 20;
/** It is heard where it lasts so long, s: a thump, or a device that wakes up, is over sooner. */
const LASTS_S = 0.25;
/** The quietest is that of two blocks in a row: the first that a device gives may begin with zeros. */
const CALM_BLOCKS = 2;
/** The marker is waited for so much longer than it lasts, s: after a longer way round the end of the approach is heard in its place. */
const WAY_ROUND_S = 1.5;
/** When the approach must have come round; of a way round of up to 3 s enough of it has by then. */
const APPROACH_BY_S = APPROACH_S + 1.5;

export interface Hearing {
  /** The next block: when it ends, how long it is, what each input hears, and its level. @returns what must have been heard by then, and was not on any input. */
  hears(atS: number, blockS: number, inputs: readonly Float32Array[], levels: readonly ChannelLevel[]): 'approach' | 'marker' | null;
}

export function hearingOf({ signalS }: Pick<Programme, 'signalS'>): Hearing {
  const anything = riseBeyond(LEAST_RISE_DB);
  const tone = riseBeyond(TONE_RISE_DB);
  let isApproachDue = true;
  let isMarkerDue = true;
  let isSignalOn = false;
  return {
    hears(atS, blockS, inputs, levels) {
      // A sound may begin and end within a block.
      const lasts = Math.ceil(LASTS_S / blockS) + 2;
      if (!isSignalOn && atS - lasts * blockS >= signalS) {
        isSignalOn = true;
        anything.forget();
      }
      anything.hears(levels.map(({ dbfs }) => dbfs), lasts);
      if (isApproachDue) tone.hears(inputs.map((x) => toneDbfs(x, x.length / blockS)), lasts);
      if (isApproachDue && atS >= APPROACH_BY_S) {
        isApproachDue = false;
        if (!anything.isHeard()) {
          if (!tone.isHeard()) return 'approach';
          // What noise hides is played to its end: the take's own checks say what hides it.
          isMarkerDue = false;
        }
      }
      if (isMarkerDue && atS >= signalS + MARKER_S + WAY_ROUND_S) {
        isMarkerDue = false;
        if (!anything.isHeard()) return 'marker';
      }
      return null;
    },
  };
}

/** Level at the tone's frequency. */
function toneDbfs(x: Float32Array, sampleRateHz: number): number {
  const [{ re, im }] = projectTones(Float64Array.from(x), sampleRateHz, [TONE_HZ], hann(x.length)) as [{ re: number; im: number }];
  return Math.max(SILENCE_DBFS, amplitudeToDb(Math.hypot(re, im)));
}

interface Rise {
  /** Levels of the inputs in the next block; so many blocks in a row count. */
  hears(dbfs: readonly number[], lasts: number): void;
  /** Something lasted on an input, over the quietest that was there. */
  isHeard(): boolean;
  /** Only what comes from now on may be heard. */
  forget(): void;
}

function riseBeyond(leastDb: number): Rise {
  const recent: number[][] = [];
  const quietest: number[] = [];
  let loudest: number[] = [];
  return {
    hears(dbfs, lasts) {
      dbfs.forEach((level, i) => {
        // Digital silence is no level, and what follows it begins anew.
        const last = (recent[i] = level > SILENCE_DBFS ? [...(recent[i] ?? []), level].slice(-lasts) : []);
        if (last.length >= CALM_BLOCKS) quietest[i] = Math.min(quietest[i] ?? Infinity, Math.max(...last.slice(-CALM_BLOCKS)));
        if (last.length === lasts) loudest[i] = Math.max(loudest[i] ?? -Infinity, Math.min(...last));
      });
    },
    isHeard: () => loudest.some((level, i) => level - (quietest[i] ?? level) > leastDb),
    forget() {
      loudest = [];
    },
  };
}
