/**
 * The coded marker at both ends of a take.
 *
 * A marker is a sync chirp and 40 short data chirps. The sync (0.25 s, linear, 400–4000 Hz, rising at the start of
 * a take, falling at its end) is what times the take; the band passes any guitar board and a lead behind a volume
 * pot, and 900 cycles of bandwidth × time make it stand 29 dB above noise of its own level. A data chirp (16 ms,
 * 1–3 kHz) rises for 1 and falls for 0. The word is the same at both ends, so the start of one take is never paired
 * with the end of another.
 *
 * Word, most significant bit first: step code (16), top of the sweep (8, steps of 16 Hz from 20 224 Hz), level
 * (8, steps of −0.25 dB from 0 dBFS), CRC-8 (8). The design is the project's own.
 *
 * @module
 */
import { sinTurns } from './exact.js';

/** What a take says about itself. */
export interface TakeIdentity {
  /** Which step it was rendered for (see board/step-code); 0 for none in particular. 0…65535. */
  readonly stepCode: number;
  /** Peak level of everything in the take, as the level in dBFS of a sine with that peak: 0 to −63.75 in steps of 0.25. */
  readonly levelDbfs: number;
  /** Where the sweep ends: 20 224 to 24 304 Hz in steps of 16. */
  readonly sweepTopHz: number;
}

export const SYNC_S = 0.25;
export const SYNC_LOW_HZ = 400;
export const SYNC_HIGH_HZ = 4000;
export const SYNC_FADE_S = 0.01;
export const DATA_GAP_S = 0.02;
export const SYMBOL_S = 0.016;
export const SYMBOL_LOW_HZ = 1000;
export const SYMBOL_HIGH_HZ = 3000;
export const SYMBOL_FADE_S = 0.002;
export const WORD_BITS = 40;
/** Length of a whole marker. */
export const MARKER_S: number = SYNC_S + DATA_GAP_S + WORD_BITS * SYMBOL_S;
const TOP_BASE_HZ = 20224;
const TOP_STEP_HZ = 16;
const LEVEL_STEP_DB = 0.25;

/** CRC-8, polynomial x⁸+x²+x+1, start 0xFF (so that a word of zeros is not valid). */
function crc8(bytes: readonly number[]): number {
  let crc = 0xff;
  for (const byte of bytes) {
    crc ^= byte;
    for (let i = 0; i < 8; i++) crc = crc & 0x80 ? ((crc << 1) ^ 0x07) & 0xff : (crc << 1) & 0xff;
  }
  return crc;
}

/** True where the identity can be written into a marker exactly. */
export function isCodable({ stepCode, levelDbfs, sweepTopHz }: TakeIdentity): boolean {
  const top = (sweepTopHz - TOP_BASE_HZ) / TOP_STEP_HZ;
  const level = -levelDbfs / LEVEL_STEP_DB;
  return [stepCode / 256, top, level].every((v) => v >= 0 && v < 256) && [stepCode, top, level].every(Number.isInteger);
}

/** The bits of the word, first sent first. */
export function encodeWord(identity: TakeIdentity): Uint8Array {
  const bytes = [
    identity.stepCode >> 8,
    identity.stepCode & 0xff,
    (identity.sweepTopHz - TOP_BASE_HZ) / TOP_STEP_HZ,
    Math.abs(identity.levelDbfs) / LEVEL_STEP_DB,
  ];
  const bits = new Uint8Array(WORD_BITS);
  [...bytes, crc8(bytes)].forEach((byte, i) => {
    for (let b = 0; b < 8; b++) bits[8 * i + b] = (byte >> (7 - b)) & 1;
  });
  return bits;
}

/** The identity in a word, or null where its check does not hold. */
export function decodeWord(bits: ArrayLike<number>): TakeIdentity | null {
  const bytes = Array.from({ length: WORD_BITS / 8 }, (_, i) => {
    let byte = 0;
    for (let b = 0; b < 8; b++) byte = (byte << 1) | bits[8 * i + b]!;
    return byte;
  });
  if (crc8(bytes.slice(0, 4)) !== bytes[4]) return null;
  return {
    stepCode: bytes[0]! * 256 + bytes[1]!,
    sweepTopHz: TOP_BASE_HZ + TOP_STEP_HZ * bytes[2]!,
    levelDbfs: bytes[3] === 0 ? 0 : -LEVEL_STEP_DB * bytes[3]!,
  };
}

/** Raised-cosine fade of an element of `length` seconds: 0 at its ends, 1 from `fade` seconds inside. */
export function fadeGain(t: number, length: number, fadeIn: number, fadeOut: number = fadeIn): number {
  let gain = 1;
  // sin²(π/2·x) as (1 − cos πx)/2 with cos taken as a quarter-turn-shifted sine.
  if (t < fadeIn) gain *= 0.5 - 0.5 * sinTurns(0.25 + t / fadeIn / 2);
  if (t > length - fadeOut) gain *= 0.5 - 0.5 * sinTurns(0.25 + (length - t) / fadeOut / 2);
  return gain;
}

const chirp = (t: number, length: number, fromHz: number, toHz: number): number =>
  sinTurns(fromHz * t + ((toHz - fromHz) / length / 2) * t * t);

/** The sync chirp at time t after its start, peak 1; 0 outside. */
export function syncAt(end: 'start' | 'end', t: number): number {
  if (t < 0 || t > SYNC_S) return 0;
  const wave = end === 'start' ? chirp(t, SYNC_S, SYNC_LOW_HZ, SYNC_HIGH_HZ) : chirp(t, SYNC_S, SYNC_HIGH_HZ, SYNC_LOW_HZ);
  return wave * fadeGain(t, SYNC_S, SYNC_FADE_S);
}

/** One data chirp at time t after its start, peak 1; 0 outside. */
export function symbolAt(bit: number, t: number): number {
  if (t < 0 || t > SYMBOL_S) return 0;
  const wave = bit ? chirp(t, SYMBOL_S, SYMBOL_LOW_HZ, SYMBOL_HIGH_HZ) : chirp(t, SYMBOL_S, SYMBOL_HIGH_HZ, SYMBOL_LOW_HZ);
  return wave * fadeGain(t, SYMBOL_S, SYMBOL_FADE_S);
}

/** A whole marker at time t after its start, peak 1. */
export function markerAt(end: 'start' | 'end', word: Uint8Array, t: number): number {
  if (t <= SYNC_S) return syncAt(end, t);
  const inData = t - SYNC_S - DATA_GAP_S;
  const index = Math.floor(inData / SYMBOL_S);
  if (index < 0 || index >= WORD_BITS) return 0;
  return symbolAt(word[index]!, inData - index * SYMBOL_S);
}
