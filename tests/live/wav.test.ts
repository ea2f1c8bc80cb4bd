/** Needs python3-soundfile, python3-numpy, sox, ffmpeg and sndfile-programs. */
import { execFileSync } from 'node:child_process';
import { closeSync, mkdtempSync, openSync, readdirSync, readFileSync, rmSync, statSync, truncateSync, writeFileSync, writeSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, describe, expect, test } from 'vitest';
import { bytesSource } from '../../src/wav/byte-source.js';
import { readWavInfo } from '../../src/wav/header.js';
import { readFrames } from '../../src/wav/read.js';
import { encodeSamples, encodeWav, sampleBytes, wavHeader, wavTrailer, type WavFormat, type WavSpec } from '../../src/wav/write.js';
import { lcg } from '../helpers/lcg.js';
import { sha256OfInterleaved } from '../wav/interleaved.js';

const folder = mkdtempSync(join(tmpdir(), 'boardproof-wav-'));
afterAll(() => {
  rmSync(folder, { recursive: true });
});

const here = (name: string): string => fileURLToPath(new URL(name, import.meta.url));
const python = (...args: string[]): string => execFileSync('/usr/bin/python3', args, { encoding: 'utf8', maxBuffer: 2 ** 28 });

interface Found {
  format: string;
  subtype: string;
  rate: number;
  frames: number;
  samples: number[][];
}
const libsndfile = (file: string, ...stretch: number[]): Found => JSON.parse(python(here('read-wav.py'), file, ...stretch.map(String))) as Found;

test('what the tools installed here write has the committed samples, and is read exactly', () => {
  const committed = here('../outside/wav-files');
  const again = mkdtempSync(join(folder, 'again-'));
  python(join(committed, 'generate.py'), again);
  const truth = (from: string): { file: string; sha256: string }[] => JSON.parse(readFileSync(join(from, 'truth.json'), 'utf8')) as { file: string; sha256: string }[];
  expect(truth(again)).toEqual(truth(committed));
  expect(readdirSync(again).sort()).toEqual(readdirSync(committed).filter((name) => name !== 'generate.py').sort());
  for (const { file, sha256 } of truth(again)) {
    const source = bytesSource(file, readFileSync(join(again, file)));
    const info = readWavInfo(source);
    expect(sha256OfInterleaved(readFrames(source, info, 0, info.frames)), file).toBe(sha256);
  }
});

const subtypes: Readonly<Record<WavFormat, string>> = { pcm16: 'PCM_16', pcm24: 'PCM_24', float32: 'FLOAT', float64: 'DOUBLE' };

describe.each(Object.keys(subtypes) as WavFormat[])('our %s', (format) => {
  test.each([1, 2, 5])('in %i channels is read alike by libsndfile, FFmpeg and SoX, without a complaint about sizes', (channels) => {
    const samples = Array.from({ length: channels }, (_, c) => lcg(101, c + 1));
    const spec: WavSpec = { format, channels, sampleRateHz: 96000, frames: 101 };
    const data = Buffer.concat([encodeSamples(samples, format), wavTrailer(spec)]);
    const plain = encodeWav(samples, spec);
    const grown = Buffer.concat([wavHeader({ ...spec, growing: true }), data]);
    for (const bytes of [plain, grown]) {
      const file = join(folder, 'ours.wav');
      writeFileSync(file, bytes);
      const source = bytesSource('ours.wav', bytes);
      const own = readFrames(source, readWavInfo(source), 0, 101).map((s) => [...s]);
      const found = libsndfile(file);
      expect(found).toMatchObject({ subtype: subtypes[format], rate: 96000, frames: 101 });
      expect(found.samples).toEqual(own);
      expect(execFileSync('sndfile-info', [file], { encoding: 'utf8' })).not.toMatch(/RIFF.*should be|fact.*should be|should have|error/i);

      const interleaved = Buffer.from(encodeSamples(own.map((s) => Float64Array.from(s)), 'float64'));
      const raw = join(folder, 'ours.raw');
      const complaints = execFileSync('ffmpeg', ['-v', 'warning', '-y', '-guess_layout_max', '0', '-i', file, '-f', 'f64le', '-c:a', 'pcm_f64le', raw], { encoding: 'utf8' });
      expect(complaints).toBe('');
      expect(readFileSync(raw).equals(interleaved), 'FFmpeg').toBe(true);

      // SoX computes in 32-bit integers, so it is asked for 24 bits, which every format but float64 holds after rounding.
      if (format === 'pcm16' || format === 'pcm24') {
        const words = execFileSync('sox', [file, '-t', 'raw', '-e', 'signed', '-b', '24', '-']);
        expect(words.equals(Buffer.from(encodeSamples(own.map((s) => Float64Array.from(s)), 'pcm24'))), 'SoX').toBe(true);
      }
    }
  });
});

test('our RF64 of 5 GB is read by libsndfile to its last frame', () => {
  const format = 'pcm24';
  const spec: WavSpec = { format, channels: 2, sampleRateHz: 96000, frames: 900_000_000 };
  const header = wavHeader(spec);
  const bytes = header.length + spec.frames * 2 * sampleBytes[format];
  const file = join(folder, 'long.wav');
  writeFileSync(file, header);
  truncateSync(file, bytes); // all but the ends stays a hole in the disk
  const end = [lcg(10, 3), lcg(10, 4)];
  const handle = openSync(file, 'r+');
  writeSync(handle, encodeSamples(end, format), 0, 60, bytes - 60);
  closeSync(handle);
  expect(statSync(file).size).toBeGreaterThan(2 ** 32);
  const found = libsndfile(file, spec.frames - 10, 10);
  expect(found).toMatchObject({ format: 'RF64', frames: spec.frames });
  const scaled = end.map((s) => [...s].map((x) => Math.round(x * 2 ** 23) / 2 ** 23));
  expect(found.samples).toEqual(scaled);
});
