/** Killed at any moment, a job opens again and goes on where it was. The compiled program, in processes of its own. */
import { createHash } from 'node:crypto';
import { existsSync, mkdtempSync, openSync, readFileSync, readdirSync, rmSync, statSync, utimesSync, writeSync, closeSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { encodeSamples, wavHeader } from '../../src/wav/write.js';
import { boardproof } from '../helpers/program.js';
import type { ProgramRun, ProgramSettings } from '../helpers/program.js';
import { noise, seeded } from '../helpers/random.js';
import { RATE, heard, makeJob, seconds, takeFor, writeRecording } from '../helpers/recordings.js';

const BOARD = `format: boardproof-board/1
board: One-out trial
outputs: [{ id: A, name: only }]
`;
const BENCH = `format: boardproof-bench/1
bench: software
inputs: [{ channel: 1, output: A, fullScale: 12 dBu ± 0.1 dB }]
`;

const root = mkdtempSync(join(tmpdir(), 'boardproof-kill-'));
const job = join(root, 'job');
const captures = join(job, 'captures');
afterAll(() => {
  rmSync(root, { recursive: true, force: true });
});

const run = (args: readonly string[], end?: ProgramSettings['end']): Promise<ProgramRun> => boardproof(args, { cwd: root, ...(end ? { end } : {}) });
const sha256 = (file: string): string => createHash('sha256').update(readFileSync(file)).digest('hex');
const temporaries = (): string[] => [job, captures].flatMap((f) => (existsSync(f) ? readdirSync(f).filter((n) => n.endsWith('.tmp')).map((n) => join(f, n)) : []));
const wavs = (): string[] => (existsSync(captures) ? readdirSync(captures).filter((name) => name.endsWith('.wav')) : []);
const contents = (): Set<string> => new Set(wavs().map((name) => sha256(join(captures, name))));

/** Two takes and two idle captures; each version a tenth of a decibel lower, so that every content is known again. */
function record(version: number): void {
  const db = -1 - version / 10;
  writeRecording(join(root, 'takes.wav'), [Float64Array.from([...heard(takeFor('bench.take'), db, 2 * version + 1), ...heard(takeFor('rest.take'), db, 2 * version + 2)])]);
  for (const [i, name] of ['idle.wav', 'bench.wav'].entries()) writeRecording(join(root, name), [noise(seconds(6), 1e-5 * 10 ** (db / 20), 2 * version + 100 + i)]);
}

const IMPORT = ['import', 'job', 'takes.wav', 'idle.wav', '--step', 'bench.take,rest.take,rest.idle'];
/** Files come and go as in the other, with little to compute between. */
const IMPORT_IDLE = ['import', 'job', 'idle.wav', 'bench.wav', '--step', 'rest.idle,bench.idle'];

/** What must hold after any end: the job opens, nothing that was there is gone, and every sidecar is of its file. */
async function expectWhole(before: ReadonlySet<string>, where: string): Promise<void> {
  const steps = await run(['steps', 'job', '--json']);
  expect(steps.exit, `${where}: ${steps.err}`).toBe(0);
  // There is no moment at which a step that had a capture has none.
  expect(wavs(), where).toEqual(expect.arrayContaining(['bench.take.wav', 'rest.idle.wav', 'rest.take.wav']));
  const now = contents();
  for (const content of before) expect(now.has(content), `${where}: a capture is gone`).toBe(true);
  for (const name of wavs()) {
    // Whole: the header says how long it is.
    const bytes = readFileSync(join(captures, name));
    expect(bytes.readUInt32LE(4) + 8, `${where}: ${name}`).toBe(bytes.length);
    const sidecar = join(captures, name.replace(/\.wav$/, '.json'));
    if (!existsSync(sidecar)) continue;
    const said = JSON.parse(readFileSync(sidecar, 'utf8')) as { sha256: string; bytes: number };
    // Between the capture and its sidecar there is a moment; then the sidecar is not of this file, and must not seem to be.
    if (said.bytes === bytes.length && said.sha256 !== sha256(join(captures, name))) {
      expect.fail(`${where}: ${name} has the sidecar of another file`);
    }
  }
}

/** Temporary files of processes that are gone are swept when they are a minute old: here their age is made up. */
async function expectSwept(where: string): Promise<void> {
  const old = new Date(Date.now() - 3_600_000);
  for (const file of temporaries()) utimesSync(file, old, old);
  await run(['steps', 'job', '--quiet']);
  expect(temporaries(), where).toEqual([]);
}

let importMs = 0;
let measureMs = 0;

beforeAll(async () => {
  makeJob(job, BOARD, BENCH);
  record(0);
  let began = performance.now();
  expect(await run(IMPORT)).toMatchObject({ exit: 0 });
  importMs = performance.now() - began;
  began = performance.now();
  expect([0, 1, 4]).toContain((await run(['measure', 'job'])).exit);
  measureMs = performance.now() - began;
});

describe('import', () => {
  it.each([
    // Most of the time is computing.
    ['at 6 times', 6, IMPORT, (random: number) => ({ afterMs: Math.round(importMs * (0.1 + random)) })],
    // Where files appear, grow and get their names; a filed capture makes some ten changes.
    ['at 12 changes of the folder', 12, IMPORT_IDLE, (random: number) => ({ folder: captures, atChange: 1 + Math.floor(18 * random) })],
  ] as const)('killed %s: opens, loses nothing, and goes on', { timeout: 900_000 }, async (_what, count, command, when) => {
    const { uniform } = seeded(20261125 + count);
    let killed = 0;
    for (let i = 1; i <= count; i++) {
      record(count + i);
      const before = contents();
      const moment = when(uniform());
      const where = `killed at ${JSON.stringify(moment)}`;
      const done = await run(command, { signal: 'SIGKILL', ...moment });
      if (done.signal === 'SIGKILL') killed++;
      await expectWhole(before, where);
      await expectSwept(where);
    }
    expect(killed).toBeGreaterThan(count / 2);
    const before = contents();
    expect(await run(command)).toMatchObject({ exit: 0 });
    await expectWhole(before, 'in the end');
    expect([0, 1, 4]).toContain((await run(['measure', 'job'])).exit);
  });

  it('interrupted at 6 moments: exit code 130, nothing left behind', { timeout: 600_000 }, async () => {
    const { uniform } = seeded(7);
    let interrupted = 0;
    for (let i = 0; i < 6; i++) {
      record(50 + i);
      const before = contents();
      const afterMs = Math.round(importMs * (0.2 + 0.6 * uniform()));
      const done = await run(IMPORT, { signal: 'SIGINT', afterMs });
      expect(done.signal).toBeNull();
      if (done.exit === 130) interrupted++;
      else expect(done.exit).toBe(0);
      expect(temporaries(), `interrupted after ${afterMs} ms`).toEqual([]);
      await expectWhole(before, `interrupted after ${afterMs} ms`);
    }
    expect(interrupted).toBeGreaterThan(2);
  });

  it('of half an hour hears Ctrl-C while it computes', { timeout: 300_000 }, async () => {
    const frames = 1800 * RATE;
    const file = openSync(join(root, 'long.wav'), 'w');
    writeSync(file, wavHeader({ format: 'pcm16', channels: 1, sampleRateHz: RATE, frames }));
    const second = encodeSamples([noise(RATE, 1e-3, 1)], 'pcm16');
    for (let s = 0; s < 1800; s++) writeSync(file, second);
    closeSync(file);
    const before = contents();
    const done = await run(['import', 'job', 'long.wav', '--step', 'rest.idle'], { signal: 'SIGINT', afterMs: 1500 });
    expect([done.exit, done.out]).toEqual([130, '']);
    // Far less than the computing would take; a busy machine needs some of it to start and end a process.
    expect(done.afterSignalMs!).toBeLessThan(2000);
    expect(contents()).toEqual(before);
    expect(temporaries()).toEqual([]);
    rmSync(join(root, 'long.wav'));
  });
});

describe('measure', () => {
  it('killed or interrupted at 10 moments: results.json is the old or the new, whole', { timeout: 600_000 }, async () => {
    const { uniform } = seeded(99);
    const before = contents();
    const whole = (): string => (JSON.parse(readFileSync(join(job, 'results.json'), 'utf8')) as { format: string }).format;
    for (let i = 0; i < 10; i++) {
      const signal = i % 2 === 0 ? 'SIGKILL' : 'SIGINT';
      const afterMs = Math.round(150 + measureMs * uniform());
      const done = await run(['measure', 'job'], { signal, afterMs });
      if (signal === 'SIGINT') {
        expect([0, 1, 4, 130], `interrupted after ${afterMs} ms`).toContain(done.exit);
        expect(temporaries().filter((f) => f.includes('results'))).toEqual([]);
      }
      expect(whole()).toBe('boardproof-results/1');
      await expectWhole(before, `measure ended by ${signal} after ${afterMs} ms`);
      await expectSwept(`measure ended by ${signal} after ${afterMs} ms`);
    }
    const done = await run(['measure', 'job', '--json']);
    expect([0, 1, 4]).toContain(done.exit);
    const { sinceLast, ...printed } = JSON.parse(done.out) as Record<string, unknown>;
    expect(sinceLast).toBeDefined();
    expect(printed).toEqual(JSON.parse(readFileSync(join(job, 'results.json'), 'utf8')));
    expect(statSync(join(job, 'results.json')).size).toBeGreaterThan(1000);
  });
});
