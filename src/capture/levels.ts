/**
 * Levels as they come in, for a view while a knob is turned.
 *
 * @module
 */
import { AT_FULL_SCALE, SILENCE_DBFS, amplitudeToDb, meanSquareToDbfs } from '../units/decibels.js';

export interface ChannelLevel {
  /** Of a sine with that rms (AES17); −200 for silence. */
  readonly dbfs: number;
  /** Largest magnitude, as a level in dBFS; −200 for silence. */
  readonly peakDbfs: number;
  /** Three samples in a row at full scale. */
  readonly clips: boolean;
}

/** Levels of block after block, per channel: samples at full scale are counted on from one block to the next. */
export function createLevels(): (channels: readonly Float32Array[]) => ChannelLevel[] {
  /** Samples at full scale in a row with which the block before ended. */
  const runs: number[] = [];
  return (channels) =>
    channels.map((x, c) => {
      const { run, ...level } = levelOf(x, runs[c] ?? 0);
      runs[c] = run;
      return level;
    });
}

function levelOf(x: Float32Array, before: number): ChannelLevel & { readonly run: number } {
  let squares = 0;
  let sum = 0;
  let peak = 0;
  let run = before;
  let clips = false;
  for (const v of x) {
    const magnitude = Math.abs(v);
    sum += v;
    squares += v * v;
    if (magnitude > peak) peak = magnitude;
    run = magnitude >= AT_FULL_SCALE ? run + 1 : 0;
    if (run >= 3) clips = true;
  }
  const mean = sum / Math.max(1, x.length);
  const power = Math.max(0, squares / Math.max(1, x.length) - mean * mean);
  return { dbfs: Math.max(SILENCE_DBFS, meanSquareToDbfs(power)), peakDbfs: Math.max(SILENCE_DBFS, amplitudeToDb(peak)), clips, run };
}
