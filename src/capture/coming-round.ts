/**
 * Does what is played come round? Told while it plays, so that what is not heard need not be played to its end.
 *
 * @module
 */
import { MARKER_S } from '../signals/marker.js';
import type { ChannelLevel } from './levels.js';
import { APPROACH_S } from './programme.js';
import type { Programme } from './programme.js';

/**
 * What is heard stands over the quietest by this much at least, dB. A take that can be measured stands 20 dB and more over its noise
 * (LEAST_TONE_OVER_NOISE_DB of capture-checks), so none is lost; blocks of 4096 frames, a period of the mains and more up to 192 kHz, move
 * by tenths of a decibel in hiss and hum. The tone itself is not looked for: an effect may turn it into anything.
 */
const LEAST_RISE_DB = 6;
/** It is heard where it lasts so long, s: a thump, or a device that wakes up, is over sooner. */
const LASTS_S = 0.25;
/** The quietest is that of two blocks in a row: the first that a device gives may begin with zeros. */
const CALM_BLOCKS = 2;
/** The way round takes less than this, s; where it takes more nothing is broken off. */
const WAY_ROUND_S = 2;
/** When the approach must have come round. */
const APPROACH_BY_S = APPROACH_S + 1.5;

export interface Hearing {
  /** The next block: when it ends, and what each input hears. @returns what must have been heard by then, and was not on any input. */
  hears(atS: number, blockS: number, levels: readonly ChannelLevel[]): 'approach' | 'marker' | null;
}

export function hearingOf({ signalS }: Pick<Programme, 'signalS'>): Hearing {
  const recent: number[][] = [];
  const quietest: number[] = [];
  const loudest = { approach: [] as number[], marker: [] as number[] };
  const isHeard = (of: readonly number[]): boolean => of.some((dbfs, i) => dbfs - (quietest[i] ?? dbfs) > LEAST_RISE_DB);
  let isMarkerDue = true;
  let isApproachDue = true;
  return {
    hears(atS, blockS, levels) {
      // A sound may begin and end within a block.
      const lasts = Math.ceil(LASTS_S / blockS) + 2;
      levels.forEach(({ dbfs }, i) => {
        // Digital silence is no level, and what follows it begins anew.
        const last = (recent[i] = dbfs > -200 ? [...(recent[i] ?? []), dbfs].slice(-lasts) : []);
        if (last.length >= CALM_BLOCKS) quietest[i] = Math.min(quietest[i] ?? Infinity, Math.max(...last.slice(-CALM_BLOCKS)));
        if (last.length < lasts) return;
        const held = Math.min(...last);
        loudest.approach[i] = Math.max(loudest.approach[i] ?? -Infinity, held);
        if (atS - lasts * blockS >= signalS) loudest.marker[i] = Math.max(loudest.marker[i] ?? -Infinity, held);
      });
      if (isApproachDue && atS >= APPROACH_BY_S) {
        isApproachDue = false;
        if (!isHeard(loudest.approach)) return 'approach';
      }
      if (isMarkerDue && atS >= signalS + MARKER_S + WAY_ROUND_S) {
        isMarkerDue = false;
        if (!isHeard(loudest.marker)) return 'marker';
      }
      return null;
    },
  };
}
