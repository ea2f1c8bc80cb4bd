/**
 * Holds the reader to libsndfile, sample for sample, over files that SoX, FFmpeg and libsndfile wrote
 * (tests/outside/wav-files/generate.py). Equality is exact: every format's samples are doubles.
 */
import { readdirSync, readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { bytesSource, type ByteSource } from '../../src/wav/byte-source.js';
import { readWavInfo } from '../../src/wav/header.js';
import { forEachBlock, readFrames } from '../../src/wav/read.js';
import { sha256OfInterleaved } from './interleaved.js';

interface Truth {
  readonly file: string;
  readonly sampleRateHz: number;
  readonly channels: number;
  readonly frames: number;
  readonly container?: string;
  readonly unfinished?: boolean;
  readonly recordedAt?: string;
  readonly validBits?: number;
  readonly firstFrames: readonly (readonly number[])[];
  readonly sha256: string;
}

const folder = new URL('../outside/wav-files/', import.meta.url);
const truths = JSON.parse(readFileSync(new URL('truth.json', folder), 'utf8')) as readonly Truth[];

const open = (name: string): ByteSource => bytesSource(name, readFileSync(new URL(name, folder)));

/** All samples, gathered from blocks. */
function inBlocks(source: ByteSource, blockFrames: number): Float64Array[] {
  const info = readWavInfo(source);
  const whole = Array.from({ length: info.channels }, () => new Float64Array(info.frames));
  let next = 0;
  forEachBlock(source, info, { blockFrames }, (block) => {
    expect(block.frame).toBe(next);
    block.channels.forEach((samples, c) => {
      expect(samples.length).toBe(block.frames);
      whole[c]!.set(samples, block.frame);
    });
    next += block.frames;
  });
  expect(next).toBe(info.frames);
  return whole;
}

/** Gives bytes in small and uneven portions, as a slow device may. */
const stuttering = (source: ByteSource): ByteSource => ({
  ...source,
  read: (position, into) => source.read(position, into.subarray(0, 1 + (position % 7))),
});

test('every WAV file in the folder has its truth', () => {
  const files = readdirSync(folder).filter((name) => name.endsWith('.wav'));
  expect(truths.map((t) => t.file).sort()).toEqual(files.sort());
});

test('the files cover what the reader promises', () => {
  const infos = truths.map((t) => readWavInfo(open(t.file)));
  const seen = (what: (info: (typeof infos)[number]) => unknown): unknown[] => [...new Set(infos.map(what))];
  expect(seen((i) => `${i.encoding} ${i.bitsPerSample}`)).toEqual(expect.arrayContaining(['pcm 16', 'pcm 24', 'pcm 32', 'float 32', 'float 64']));
  expect(seen((i) => i.container)).toEqual(expect.arrayContaining(['RIFF', 'RF64', 'BW64']));
  expect(seen((i) => i.channels)).toEqual(expect.arrayContaining([1, 2, 8, 32]));
  expect(seen((i) => i.sampleRateHz)).toEqual(expect.arrayContaining([44100, 48000, 88200, 96000, 176400, 192000]));
  expect(seen((i) => i.formatLabel)).toEqual(
    expect.arrayContaining(['24-bit PCM', '24-bit PCM, extensible', '24-bit PCM in 32, extensible', '64-bit float, extensible, RF64', '24-bit PCM, extensible, BW64']),
  );
});

describe.each(truths)('$file', (truth) => {
  const source = open(truth.file);

  test('header', () => {
    const info = readWavInfo(source);
    expect(info).toMatchObject({
      sampleRateHz: truth.sampleRateHz,
      channels: truth.channels,
      frames: truth.frames,
      container: truth.container ?? 'RIFF',
      unfinished: truth.unfinished ?? false,
      recordedAt: truth.recordedAt ?? null,
      validBits: truth.validBits ?? info.bitsPerSample,
    });
  });

  test('samples equal libsndfile’s', () => {
    const whole = readFrames(source, readWavInfo(source), 0, truth.frames);
    truth.firstFrames.forEach((frame, i) => {
      expect(whole.slice(0, 4).map((samples) => samples[i]!), `frame ${i}`).toEqual(frame);
    });
    expect(sha256OfInterleaved(whole)).toBe(truth.sha256);
  });

  test('blocks of any size, stretches and short reads give the same samples', () => {
    for (const blockFrames of [1, 7, truth.frames, truth.frames + 1]) expect(sha256OfInterleaved(inBlocks(source, blockFrames)), `blocks of ${blockFrames}`).toBe(truth.sha256);
    expect(sha256OfInterleaved(inBlocks(stuttering(source), 13)), 'short reads').toBe(truth.sha256);
    const info = readWavInfo(source);
    const whole = readFrames(source, info, 0, truth.frames);
    expect(readFrames(source, info, 11, 17)).toEqual(whole.map((samples) => samples.slice(11, 28)));
  });
});
