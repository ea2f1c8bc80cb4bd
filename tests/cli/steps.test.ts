import fs from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { fileCapture, openJob } from '../../cli/job.js';
import { TEST_NOW, runCli, temporaryFolder } from '../helpers/cli.js';
import { BENCH_YAML, PIT_BOARD_YAML } from '../helpers/pit-board.js';

async function jobWith(captures: readonly string[]): Promise<string> {
  const cwd = temporaryFolder();
  fs.mkdirSync(join(cwd, 'job'));
  fs.writeFileSync(join(cwd, 'job/board.yaml'), PIT_BOARD_YAML);
  fs.writeFileSync(join(cwd, 'job/bench.yaml'), BENCH_YAML);
  const job = openJob('job', { cwd, now: () => TEST_NOW });
  for (const step of captures) await fileCapture(job, step, 'RIFF', { recordedAt: null, how: 'made by a test', device: null, checks: [], remarks: [] }, TEST_NOW);
  return cwd;
}

interface Document {
  readonly steps: readonly { readonly id: string; readonly done: boolean; readonly required: boolean; readonly code: number; readonly filedAt: string | null }[];
  readonly otherCaptures: readonly string[];
}

describe('boardproof steps', () => {
  it('reads like a bench sheet: patch once, then what hangs on it', async () => {
    const { exit, out } = await runCli(['steps', 'job'], { cwd: await jobWith(['bench.idle']) });
    expect(exit).toBe(0);
    expect(out.split('\n').slice(0, 19)).toEqual([
      'Pit Board 7 on bench 1: 1 of 19 captures done, 6 min of recording left.',
      'Each is captures/<step>.wav with a channel for each recorder input.',
      '',
      ' 1. Board left out: a shorting plug (tip to sleeve) on the lead of recorder',
      '    inputs 1 and 2; bench output 1 unpatched.',
      '    [x] bench.idle  (filed 2026-11-25 12:16 UTC)',
      '',
      ' 2. Board left out: bench output 1 straight to recorder inputs 1 and 2 at once',
      '    (Y lead).',
      '    [ ] bench.take  (next)',
      '        Play the take once.',
      '    [ ] bench.stairs  (optional)',
      '        Play the level stairs once.',
      '',
      ' 3. Board left out: bench output 1 through source plug plug10k and the straight',
      '    lead to recorder inputs 1 and 2 at once (Y lead).',
      '    [ ] lead+plug10k.take',
      '        Play the take once.',
      '',
    ]);
    expect(out).toContain('    [ ] rest.switching  (optional)\n');
    expect(out.split('\n').filter((line) => line.length > 80)).toEqual([]);
  });

  it('says what to set for the captures that are done only with --all', async () => {
    const cwd = await jobWith(['bench.idle']);
    const done = /\[x\] bench\.idle {2}\(filed 2026-11-25 12:16 UTC\)\n {8}Play nothing; record 20 s or more\.\n/;
    expect((await runCli(['steps', 'job'], { cwd })).out).not.toMatch(done);
    expect((await runCli(['steps', 'job', '--all'], { cwd })).out).toMatch(done);
  });

  it('names captures that came by hand, and those that no step asks for', async () => {
    const cwd = await jobWith(['loop-gone.take']);
    fs.writeFileSync(join(cwd, 'job/captures/rest.idle.wav'), 'RIFF');
    const { out } = await runCli(['steps', 'job'], { cwd });
    expect(out).toContain('    [x] rest.idle  (put here by hand)\n');
    expect(out).toContain('\nCaptures of steps that the two files no longer ask for: loop-gone.take.\n');
  });

  it('names the next step', async () => {
    expect((await runCli(['steps', 'job'], { cwd: await jobWith([]) })).err).toBe('\nNext: bench.idle. Play and record it here, or elsewhere and file the recording:\n      boardproof capture job\n      boardproof import job <recording.wav> --step bench.idle\n');
    expect((await runCli(['steps', 'job'], { cwd: await jobWith(['bench.idle']) })).err).toBe('\nNext: bench.take. Play and record it here, or elsewhere and file the recording:\n      boardproof capture job\n      boardproof signals --job job --out <folder>\n      boardproof import job <recording.wav>\n');
  });

  it('gives the same as data, with the code that each take carries', async () => {
    const cwd = await jobWith(['rest.take', 'loop-gone.take']);
    const document = JSON.parse((await runCli(['steps', 'job', '--json'], { cwd })).out) as Document;
    expect(document).toMatchObject({ format: 'boardproof-steps/1', board: 'Pit Board 7', bench: 'bench 1' });
    expect(document.steps.filter(({ done }) => done)).toEqual([
      expect.objectContaining({ id: 'rest.take', state: 'rest', plug: null, kind: 'take', required: true, code: 0xa706, file: 'captures/rest.take.wav', filedAt: '2026-11-25T12:16:07.000Z' }),
    ]);
    expect(document.otherCaptures).toEqual(['loop-gone.take']);
  });

  it('says when all is done', async () => {
    const cwd = await jobWith([]);
    const job = openJob('job', { cwd, now: () => TEST_NOW });
    for (const { id, required } of job.steps) if (required) await fileCapture(job, id, 'RIFF', { recordedAt: null, how: '', device: null, checks: [], remarks: [] }, TEST_NOW);
    const { out, err } = await runCli(['steps', 'job'], { cwd });
    expect(out).toContain('19 of 19 captures done');
    expect(err.replace(/\s+/g, ' ')).toMatch(/^ Next: every capture that a sign-off needs is there \(\d+ optional ones are not\); measure and judge them: boardproof signoff job $/);
  });

  it('refuses a job with faults in one sentence', async () => {
    const cwd = await jobWith([]);
    fs.writeFileSync(join(cwd, 'job/board.yaml'), PIT_BOARD_YAML.replace('50 Hz', '55 Hz'));
    expect(await runCli(['steps', 'job'], { cwd })).toEqual({ exit: 2, out: '', err: 'boardproof: board.yaml:5:8: mains "55 Hz" is no mains frequency; allowed here: 50 Hz, 60 Hz.\n' });
  });
});
