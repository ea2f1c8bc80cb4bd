/**
 * A recording on its way to the disk: 32-bit float, block by block, under a name of its own beside the captures. Whatever
 * ends the program, what was written can be read: a file whose header was not filled in is read as an unfinished one.
 *
 * @module
 */
import fs from 'node:fs';
import path from 'node:path';
import { problem } from '../src/problems.js';
import { encodeSamples, wavHeader } from '../src/wav/write.js';
import { errorCode, makeFolder, syncFolder } from './files.js';
import { CAPTURES } from './job.js';
import { systemReason } from './system-error.js';

export interface GrowingWav {
  /** Absolute. */
  readonly file: string;
  readonly frames: number;
  /** @throws Problem `capture.disk` */
  write(channels: readonly Float32Array[]): void;
  /** Fills in the header. */
  close(): void;
}

/** `captures/<step>~<time>-partial.wav`; the ~ keeps it from being taken for a capture. */
export function createGrowingWav(jobFolder: string, step: string, channels: number, sampleRateHz: number, now: Date): GrowingWav {
  const folder = path.join(jobFolder, CAPTURES);
  makeFolder(folder);
  const stem = path.join(folder, `${step}~${now.toISOString().replace(/\.\d+Z$/, 'Z').replaceAll(':', '-')}`);
  const spec = { format: 'float32', channels, sampleRateHz, growing: true } as const;
  const { file, descriptor } = openNew(stem);
  const name = `${CAPTURES}/${path.basename(file)}`;
  let frames = 0;
  const put = (bytes: Uint8Array, position: number | null): void => {
    try {
      for (let done = 0; done < bytes.length; ) done += fs.writeSync(descriptor, bytes, done, bytes.length - done, position === null ? null : position + done);
    } catch (error) {
      throw problem('capture.disk', { file: name, reason: systemReason(errorCode(error) ?? 'of no reason') });
    }
  };
  put(wavHeader({ ...spec, frames: 0 }), null);
  return {
    file,
    get frames() {
      return frames;
    },
    write(block) {
      put(encodeSamples(block.map((c) => Float64Array.from(c)), 'float32'), null);
      frames += block[0]!.length;
    },
    close() {
      try {
        put(wavHeader({ ...spec, frames }), 0);
        fs.fsyncSync(descriptor);
      } finally {
        fs.closeSync(descriptor);
      }
      syncFolder(folder);
    },
  };
}

function openNew(stem: string): { file: string; descriptor: number } {
  for (let count = 1; ; count++) {
    const file = `${stem}${count === 1 ? '' : `-${count}`}-partial.wav`;
    try {
      return { file, descriptor: fs.openSync(file, 'wx') };
    } catch (error) {
      if (errorCode(error) !== 'EEXIST') throw error;
    }
  }
}

/** Gives what was recorded but not filed a name that says so. @returns the new path */
export function setAside(file: string, why: 'refused' | 'partial'): string {
  const kept = file.replace(/-partial\.wav$/, `-${why}.wav`);
  if (kept !== file) fs.renameSync(file, kept);
  return kept;
}

/** Refuses before anything plays where the disk has no room for the recording and its filed copy. @throws `capture.disk-room` */
export function checkRoom(jobFolder: string, seconds: number, channels: number, sampleRateHz: number): void {
  const needs = 2.1 * 4 * seconds * channels * sampleRateHz;
  const { bavail, bsize } = fs.statfsSync(jobFolder);
  const free = bavail * bsize;
  if (free < needs) throw problem('capture.disk-room', { folder: jobFolder, needsMb: Math.ceil(needs / 1e6), freeMb: Math.floor(free / 1e6) });
}
