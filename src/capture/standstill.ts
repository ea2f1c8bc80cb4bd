/**
 * Did the computer stand still? A device that nobody serves goes silent, and the frames of that time are never counted: the block
 * numbers go on as if nothing had been. The computer's own clock shows it.
 *
 * @module
 */
import type { AudioBlock } from './engine.js';

/** Blocks on either side that are compared. What comes late comes early next: the least lag of so many is that of the device. */
const BLOCKS = 8;
/** Buffers that grow or shrink move the lag by less, s: 8192 frames are played ahead, at 44.1 kHz 0.19 s, and the system's own. */
const LEAST_S = 0.3;

export interface Standstill {
  /** Of the recording. */
  readonly atS: number;
  readonly lostS: number;
}

/** Hears every block, and where in the recording it is; answers once for each standstill, half a second and more after it. */
export function createStandstillWatch(sampleRateHz: number): (block: AudioBlock, heardS: number) => Standstill | null {
  let seen: { readonly lagS: number; readonly heardS: number }[] = [];
  return ({ atS, frame }, heardS) => {
    if (atS === undefined) return null;
    seen = [...seen, { lagS: atS - frame / sampleRateHz, heardS }].slice(-2 * BLOCKS);
    if (seen.length < 2 * BLOCKS) return null;
    const least = (of: typeof seen): number => Math.min(...of.map((s) => s.lagS));
    const lostS = least(seen.slice(BLOCKS)) - least(seen.slice(0, BLOCKS));
    if (lostS < LEAST_S) return null;
    const found = { atS: seen[BLOCKS]!.heardS, lostS };
    seen = seen.slice(BLOCKS);
    return found;
  };
}
