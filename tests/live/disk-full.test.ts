/**
 * Disks that take no more, or nothing: a small disk of the test's own that is really full, is made read-only, and folders in which
 * the user may not write. Needs root, as CI has; where a disk cannot be mounted the tests fail.
 */
import { spawnSync } from 'node:child_process';
import { chmodSync, closeSync, openSync, readdirSync, renameSync, rmSync, statSync, truncateSync, writeSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { programmeOf } from '../../src/capture/programme.js';
import { TAIL_S } from '../../src/capture/record.js';
import { fakeEngine } from '../helpers/fake-audio.js';
import type { FakeEngine, FakeWorld } from '../helpers/fake-audio.js';
import { runCli, temporaryFolder } from '../helpers/cli.js';
import type { CliRun } from '../helpers/cli.js';
import { RATE, contentsOf, heard, makeJob, takeFor, writeRecording } from '../helpers/recordings.js';

const BOARD = 'format: boardproof-board/1\nboard: One\noutputs: [{ id: A }]\n';
const BENCH = 'format: boardproof-bench/1\nbench: bench 1\noutput: { channel: 1, device: interface }\nrecorder: { device: interface }\ninputs: [{ channel: 1, output: A }]\n';
const world: FakeWorld = { hear: (played) => 0.5 * played, noise: 3e-6, latencyFrames: 5000 };
/** A take of one channel is 4 MB as it is recorded and another 4 MB as it is filed. */
const DISK = '16m';
/** Blocks of the engine that a take has. */
const BLOCKS = Math.ceil(((programmeOf('take', { sampleRateHz: RATE, levelDbfs: -20, stepCode: 1 }).lengthS + TAIL_S) * RATE) / 4096);

let disk = '';
let job = '';
let filling = '';

function command(...words: readonly [string, ...string[]]): void {
  const { status, stderr } = spawnSync(words[0], words.slice(1), { encoding: 'utf8' });
  if (status !== 0) throw new Error(`${words.join(' ')}: ${stderr}`);
}

/** Writes until the disk is full, then gives some of it back. */
function fill(leaveBytes = 0): void {
  const file = openSync(filling, 'w');
  let size = 0;
  try {
    for (const piece of [new Uint8Array(1 << 18), new Uint8Array(4096)]) {
      try {
        for (;;) size += writeSync(file, piece);
      } catch {
        // Full for pieces of this size.
      }
    }
  } finally {
    closeSync(file);
  }
  truncateSync(filling, Math.max(0, size - leaveBytes));
}

const capture = (audio: FakeEngine, cwd = disk): Promise<CliRun> => runCli(['capture', 'job', '--step', 'bench.take', '--yes'], { audio, cwd });
const captures = (): string[] => readdirSync(join(job, 'captures')).sort();
/** One sentence of ours, besides what is always said before a sound. */
const lastLine = ({ err }: CliRun): string => err.trimEnd().split('\n').at(-1)!;

beforeEach(() => {
  disk = temporaryFolder();
  command('mount', '-t', 'tmpfs', '-o', `size=${DISK}`, 'tmpfs', disk);
  job = makeJob(join(disk, 'job'), BOARD, BENCH);
  filling = join(disk, 'filling');
});
afterEach(() => {
  command('umount', disk);
});

describe('a disk that is full', () => {
  it('before: nothing is played, and the sentence says how much is missing', async () => {
    fill(3_000_000);
    const before = contentsOf(job);
    const audio = fakeEngine(world);
    const run = await capture(audio);
    expect(run.exit).toBe(3);
    expect(lastLine(run)).toMatch(/^boardproof: The disk of .*job has [23] MB left, and the recording needs \d+ MB; nothing was played: make room first\.$/);
    expect(audio.opened).toEqual([]);
    expect(contentsOf(job)).toEqual(before);
  });

  it('in mid-take: the sound ends, the part is kept, the job opens, and the same command goes on once there is room', async () => {
    const audio = fakeEngine({ ...world, tick: (index) => { if (index === 60) fill(); } });
    const run = await capture(audio);
    expect(run.exit).toBe(3);
    expect(lastLine(run)).toMatch(/^boardproof: The recording stopped because captures\/bench\.take~.*-partial\.wav could not be written further: the disk is full; make room, then run the same command again\.$/);
    expect(run.err.replace(/\s+/g, ' ')).toMatch(/What was recorded of bench\.take until then is kept as captures\/bench\.take~/);
    expect(audio.peaks[0]!.length).toBeLessThan(70);
    const [part, ...more] = captures();
    expect(more).toEqual([]);
    // Sixty blocks of 4096 frames in four bytes each.
    expect(statSync(join(job, 'captures', part!)).size).toBeGreaterThan(55 * 4096 * 4);
    expect((await runCli(['steps', 'job', '--json'], { cwd: disk })).exit).toBe(0);
    rmSync(filling);
    rmSync(join(job, 'captures', part!));
    expect((await capture(fakeEngine(world))).exit).toBe(0);
    expect(captures()).toEqual(['bench.take.json', 'bench.take.wav']);
  });

  it('as it is filed: the recording is kept whole, and can be imported once there is room', async () => {
    const audio = fakeEngine({ ...world, tick: (index) => { if (index === BLOCKS - 1) fill(300_000); } });
    const run = await capture(audio);
    expect(run.exit).not.toBe(0);
    expect(lastLine(run)).toMatch(/^boardproof: .* cannot be used: the disk is full\.$/);
    expect(run.err.replace(/\s+/g, ' ')).toMatch(/The recording of bench\.take is whole, and kept as captures\/bench\.take~\S+-partial\.wav: move it out of the folder and import it, or capture the step again\./);
    // Whole, and nothing half-written beside it.
    const [part, ...more] = captures();
    expect([part, more]).toEqual([expect.stringMatching(/^bench\.take~.*-partial\.wav$/), []]);
    rmSync(filling);
    renameSync(join(job, 'captures', part!), join(disk, 'kept.wav'));
    expect(await runCli(['import', 'job', 'kept.wav'], { cwd: disk })).toMatchObject({ exit: 0 });
    expect(captures()).toEqual(['bench.take.json', 'bench.take.wav']);
  });
});

describe('a job in which nothing can be written', () => {
  const commands: readonly (readonly string[])[] = [
    ['capture', 'job', '--step', 'bench.take', '--yes'],
    ['import', 'job', 'take.wav', '--step', 'rest.take'],
    ['measure', 'job'],
    ['devices', 'job', '--play', 'interface'],
  ];

  /** Each command: one sentence with the reason, no sound, and everything as it was. */
  async function expectRefused(reason: string): Promise<void> {
    const before = contentsOf(job);
    for (const argv of commands) {
      const audio = fakeEngine(world);
      const run = await runCli(argv, { audio, cwd: disk });
      // A recording that cannot be filed is refused like any other.
      expect(run.exit, `${argv[0]!}: ${run.err}`).toBe(argv[0] === 'import' ? 3 : 2);
      expect(lastLine(run), argv[0]).toMatch(new RegExp(`^(boardproof:|refused) .* cannot be used: ${reason}\\.$`));
      expect(audio.opened).toEqual([]);
      expect(contentsOf(job)).toEqual(before);
    }
  }

  beforeEach(async () => {
    writeRecording(join(disk, 'take.wav'), [heard(takeFor('rest.take'), -3, 1)]);
    expect((await runCli(['import', 'job', 'take.wav'], { cwd: disk })).exit).toBe(0);
    // As if it had been left by another program: results that are kept when they change.
    expect([0, 1, 4]).toContain((await runCli(['measure', 'job'], { cwd: disk })).exit);
  });

  it('since the disk is read-only', async () => {
    command('mount', '-o', 'remount,ro', disk);
    await expectRefused('the disk is read-only');
  });

  it('since the user may not', async () => {
    for (const folder of [disk, job, join(job, 'captures')]) chmodSync(folder, 0o555);
    process.seteuid!(65534);
    try {
      await expectRefused('access is not allowed');
    } finally {
      process.seteuid!(0);
    }
  });
});
