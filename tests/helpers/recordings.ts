/** Jobs and recordings for tests of the command line: real files, made of the real signals. */
import { createHash } from 'node:crypto';
import { mkdirSync, readFileSync, readdirSync, statSync, writeFileSync } from 'node:fs';
import { join, relative } from 'node:path';
import { stepCode } from '../../src/board/step-code.js';
import { renderReference } from '../../src/signals/reference.js';
import { encodeWav } from '../../src/wav/write.js';
import type { WavFormat } from '../../src/wav/write.js';
import { noise } from './random.js';

export const RATE = 48000;

const rendered = new Map<string, Float64Array>();

/** The take that was rendered for a step, with a second of silence at both ends; '' for a take of no step. Do not write to it. */
export function takeFor(step: string, rate = RATE): Float64Array {
  const key = `${step} ${rate}`;
  let take = rendered.get(key);
  if (!take) {
    take = renderReference('take', { sampleRateHz: rate, levelDbfs: -20, stepCode: step === '' ? 0 : stepCode(step) });
    rendered.set(key, take);
  }
  return take;
}

/** A channel as a recorder hears it: through a gain, on a floor of its own (rms, full scale 1). */
export function heard(x: Float64Array, db: number, seed: number, floor = 3e-6): Float64Array {
  const gain = 10 ** (db / 20);
  const hiss = noise(x.length, floor, seed);
  return x.map((v, n) => gain * v + hiss[n]!);
}

export const seconds = (s: number, rate = RATE): number => Math.round(s * rate);

export function writeRecording(file: string, channels: readonly Float64Array[], format: WavFormat = 'pcm24', sampleRateHz = RATE): string {
  writeFileSync(file, encodeWav(channels, { format, sampleRateHz }));
  return file;
}

/** Makes a job folder of two files. */
export function makeJob(folder: string, board: string, bench: string): string {
  mkdirSync(folder, { recursive: true });
  writeFileSync(join(folder, 'board.yaml'), board);
  writeFileSync(join(folder, 'bench.yaml'), bench);
  return folder;
}

/** Every file of a folder with the SHA-256 of its bytes, folders included. */
export function contentsOf(folder: string): Record<string, string> {
  const entries = readdirSync(folder, { recursive: true, withFileTypes: true }).map((e) => join(e.parentPath, e.name));
  return Object.fromEntries(
    entries.sort().map((path) => [relative(folder, path), statSync(path).isDirectory() ? 'folder' : createHash('sha256').update(readFileSync(path)).digest('hex')]),
  );
}
