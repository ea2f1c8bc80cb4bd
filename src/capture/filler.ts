/**
 * Frames that the audio library put in where its queue ran empty: 128 exact zeros, or a multiple of that, in every channel
 * at once. They are no part of the recording; cut out, what was played fits again sample for sample.
 *
 * Digital silence cannot be told from filler, so something must always be heard: takes are played on a noise of 1e-6, and
 * an analogue input has a noise of its own.
 *
 * @module
 */

/** The library fills by whole render quanta. */
export const FILL_FRAMES = 128;
/** A run of zeros this long is silence and no filler, in seconds. */
const LONGEST_FILL_S = 0.5;

export interface FillerCutOut {
  readonly atFrame: number;
  readonly frames: number;
}

export interface FillerCut {
  /** Takes the next frames and gives back those that are certain; the arrays are new. */
  push(channels: readonly Float32Array[]): Float32Array[];
  /** What was held back at the end. */
  finish(): Float32Array[];
  /** What was cut out so far, each before a frame of what was given back. */
  readonly cuts: readonly FillerCutOut[];
  /** Zero frames at the end of what was pushed so far, in every channel. */
  readonly zeroRun: number;
}

export function createFillerCut(channelCount: number, sampleRateHz: number): FillerCut {
  const longest = Math.round(LONGEST_FILL_S * sampleRateHz);
  /** Zeros that may be filler and were not given back. */
  let held = 0;
  let run = 0;
  let given = 0;
  const cuts: FillerCutOut[] = [];
  let heardAny = false;

  const isZero = (channels: readonly Float32Array[], n: number): boolean => channels.every((c) => c[n] === 0);

  return {
    cuts,
    get zeroRun() {
      return run;
    },
    push(channels) {
      const frames = channels[0]?.length ?? 0;
      const out = Array.from({ length: channelCount }, () => new Float32Array(held + frames));
      let used = 0;
      for (let n = 0; n < frames; n++) {
        if (isZero(channels, n)) {
          run++;
          held++;
          // Too long for filler, or nothing was heard yet: it stays.
          if (run > longest || !heardAny) {
            used += held;
            held = 0;
          }
          continue;
        }
        if (held > 0) {
          if (held === run && run % FILL_FRAMES === 0) cuts.push({ atFrame: given + used, frames: held });
          else used += held;
          held = 0;
        }
        heardAny = true;
        run = 0;
        for (let c = 0; c < channelCount; c++) out[c]![used] = channels[c]![n]!;
        used++;
      }
      given += used;
      return out.map((c) => c.subarray(0, used));
    },
    finish() {
      const rest = Array.from({ length: channelCount }, () => new Float32Array(held));
      held = 0;
      return rest;
    },
  };
}
