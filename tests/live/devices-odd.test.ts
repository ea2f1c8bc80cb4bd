/** Takes as they come from real life: lost in an hour of tape, cut, in mono files. Made by SoX. Needs sox. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { boardproof } from '../helpers/program.js';
import type { ProgramRun } from '../helpers/program.js';
import { contentsOf, makeJob } from '../helpers/recordings.js';
import { sox, throughSox } from '../helpers/third-party.js';
import { TWO_OUT_BENCH, TWO_OUT_BOARD } from '../helpers/two-out.js';

const root = mkdtempSync(join(tmpdir(), 'boardproof-odd-'));
afterAll(() => {
  rmSync(root, { recursive: true, force: true });
});

const run = (...args: readonly string[]): Promise<ProgramRun> => boardproof(args, { cwd: root });

function newJob(name: string): string {
  makeJob(join(root, name), TWO_OUT_BOARD, TWO_OUT_BENCH);
  return name;
}

interface Filed {
  readonly step: string;
  readonly from: string;
  readonly atS: number;
  readonly clockRatioPpm: number;
}
const filedIn = ({ out }: ProgramRun): readonly Filed[] => (JSON.parse(out) as { filed: Filed[] }).filed;

beforeAll(async () => {
  newJob('first');
  expect(await run('signals', '--job', 'first', '--out', 'play')).toMatchObject({ exit: 0 });
  for (const step of ['bench.take', 'rest.take']) throughSox(root, `play/${step}.wav`, `${step}.wav`, 'gain -3', 'vol -0.6');
});

/** Frames of a take's file. */
const TAKE_FILE = 751_680;

describe('a quarter of an hour of hiss around two takes', () => {
  // An hour may take a minute. Memory does not grow with length (tests/live/long-capture.test.ts), and a larger part of a short tape are its takes.
  it('imports in under a quarter of a minute of processor time and 400 MB', async () => {
    const job = newJob('tape');
    sox(root, '-r', '48000', '-n', '-c', '2', '-b', '16', 'hiss.wav', 'synth', '450', 'whitenoise', 'gain', '-70');
    sox(root, 'hiss.wav', 'rest.take.wav', 'bench.take.wav', 'hiss.wav', '-b', '16', 'tape.wav');
    const done = await run('import', job, 'tape.wav', '--json');
    expect(done, done.err).toMatchObject({ exit: 0 });
    const filed = filedIn(done);
    expect(filed.map((f) => f.step)).toEqual(['rest.take', 'bench.take']);
    expect(filed[0]!.atS).toBeCloseTo(451, 4);
    expect(filed[1]!.atS).toBeCloseTo(451 + TAKE_FILE / 48000, 4);
    for (const f of filed) expect(Math.abs(f.clockRatioPpm)).toBeLessThan(0.5);
    process.stdout.write(`A quarter of an hour of 48 kHz stereo: ${done.cpuS.toFixed(1)} s of processor time, ${done.peakMb.toFixed(0)} MB\n`);
    expect(done.cpuS).toBeLessThan(15);
    expect(done.peakMb).toBeGreaterThan(20);
    expect(done.peakMb).toBeLessThan(400);
    rmSync(join(root, 'tape.wav'));
    rmSync(join(root, 'hiss.wav'));
  });
});

describe('samples missing', () => {
  // In the marker, the tone, the pause, the sweep at 20 Hz and at 10 kHz, the tail; a few and many.
  it.each([
    [64, 8.0],
    [64, 4.9],
    [1, 11.5],
    [480, 3.0],
    [4800, 13.2],
    [64, 4.6],
  ])('%i of them at %f s are noticed, and nothing is filed', async (frames, atS) => {
    const job = newJob(`missing ${frames} ${atS}`);
    const at = Math.round(atS * 48000);
    sox(root, 'rest.take.wav', '-b', '32', 'head.wav', 'trim', '0', `${at}s`);
    sox(root, 'rest.take.wav', '-b', '32', 'rest.wav', 'trim', `${at + frames}s`);
    sox(root, 'head.wav', 'rest.wav', '-b', '24', 'missing.wav');
    const before = contentsOf(join(root, job));
    const done = await run('import', job, 'missing.wav');
    expect([done.exit, done.out]).toEqual([3, '']);
    // In the tone the count is of what the tone's own clock makes of it; the refusal is what matters there.
    if (atS !== 3) expect(done.err).toMatch(new RegExp(`^refused {2}missing\\.wav: ${frames} samples? (is|are) missing from the take at 1\\.00 s [^\\n]*\\.\\n$`));
    else expect(done.err).toMatch(/^refused {2}missing\.wav: [^\n]*\.\n$/);
    expect(contentsOf(join(root, job))).toEqual(before);
  });
});

describe('several files', () => {
  it('takes from any of them, in any order', async () => {
    const job = newJob('files');
    const done = await run('import', job, 'rest.take.wav', 'bench.take.wav', '--json');
    expect(done, done.err).toMatchObject({ exit: 0 });
    expect(filedIn(done).map((f) => [f.step, f.from])).toEqual([['rest.take', 'rest.take.wav'], ['bench.take', 'bench.take.wav']]);
  });

  it('mono tracks per output are one recording, whatever their order', async () => {
    const job = newJob('tracks');
    sox(root, 'rest.take.wav', '-b', '24', 'track B.wav', 'remix', '2');
    sox(root, 'rest.take.wav', '-b', '24', 'track A.wav', 'remix', '1');
    const done = await run('import', job, 'track B.wav', 'track A.wav', '--outputs', 'B,A');
    expect(done, done.err).toMatchObject({ exit: 0 });
    const { out } = await run('measure', job, '--json');
    const { readings } = JSON.parse(out) as { readings: { id: string; output: string; value: number }[] };
    const value = (id: string, output: string): number => readings.find((r) => r.id === id && r.output === output)!.value;
    expect(value('level.tone', 'A')).toBeCloseTo(-20 - 3 + 18, 3);
    expect(value('level.tone', 'B')).toBeCloseTo(-20 + 20 * Math.log10(0.6) + 18, 3);
    expect(value('match.polarity', 'A:B')).toBe(-1);
  });
});
