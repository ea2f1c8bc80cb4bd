/**
 * A recording as the measures see it: channels of samples, ±1 at full scale, read in pieces.
 *
 * @module
 */
/** Channels of one block; the arrays are reused for the next. */
export interface Block {
  readonly frame: number;
  readonly frames: number;
  readonly channels: readonly Float64Array[];
}

export interface Recording {
  readonly sampleRateHz: number;
  readonly channelCount: number;
  readonly frames: number;
  /** All channels of a stretch; what lies outside the recording is left out. */
  read(startFrame: number, frames: number): Float64Array[];
  /** The whole recording, block after block, in order. */
  forEachBlock(visit: (block: Block) => void): void;
}

/** A recording that is in memory already. */
export function memoryRecording(channels: readonly Float64Array[], sampleRateHz: number, blockFrames = 65536): Recording {
  const frames = channels[0]?.length ?? 0;
  return {
    sampleRateHz,
    channelCount: channels.length,
    frames,
    read: (startFrame, count) => channels.map((c) => c.slice(Math.max(0, startFrame), Math.max(0, Math.min(frames, startFrame + count)))),
    forEachBlock(visit) {
      for (let frame = 0; frame < frames; frame += blockFrames) {
        const end = Math.min(frames, frame + blockFrames);
        visit({ frame, frames: end - frame, channels: channels.map((c) => c.subarray(frame, end)) });
      }
    },
  };
}

/** One channel set of a recording in another order; channel numbers from 0. */
export function selectChannels(recording: Recording, channels: readonly number[]): Recording {
  return {
    ...recording,
    channelCount: channels.length,
    read: (startFrame, frames) => {
      const all = recording.read(startFrame, frames);
      return channels.map((c) => all[c]!);
    },
    forEachBlock: (visit) => {
      recording.forEachBlock((block) => {
        visit({ ...block, channels: channels.map((c) => block.channels[c]!) });
      });
    },
  };
}

/** Hears how much of some work is done, 0 to 1. */
export type HearsShare = (share: number) => void;

/**
 * The same recording, which says after each block how far work is that goes over all of it.
 *
 * @param passes - How often the work calls `forEachBlock`.
 */
export function watched(recording: Recording, passes: number, heard: HearsShare): Recording {
  let frames = 0;
  return {
    ...recording,
    forEachBlock: (visit) => {
      recording.forEachBlock((block) => {
        visit(block);
        frames += block.frames;
        heard(Math.min(1, frames / (passes * recording.frames)));
      });
    },
  };
}

/** Passes over a recording that the estimate of a capture of each kind makes. */
export const PASSES = { idle: 2, take: 1, stairs: 1, switching: 1, flex: 1 } as const;

/** A stretch of a recording as a recording of its own. */
export function sliceRecording(recording: Recording, startFrame: number, frames: number, blockFrames = 65536): Recording {
  return {
    ...recording,
    frames,
    read: (start, count) => {
      const first = Math.max(0, start);
      const last = Math.min(frames, start + count);
      return recording.read(startFrame + first, Math.max(0, last - first));
    },
    forEachBlock: (visit) => {
      for (let frame = 0; frame < frames; frame += blockFrames) {
        const count = Math.min(blockFrames, frames - frame);
        visit({ frame, frames: count, channels: recording.read(startFrame + frame, count) });
      }
    },
  };
}
