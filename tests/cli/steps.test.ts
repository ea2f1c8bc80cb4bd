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
    expect(out.split('\n').slice(0, 44)).toEqual([
      'Pit Board 7 on bench 1: 1 of 19 needed captures done, 15 optional, 6 min of',
      'recording left.',
      'Unless a line says otherwise: every loop out; buffer in; no ground lift engaged;',
      'polarity normal.',
      '[ ] needed, ( ) optional, x done. Each is captures/<step>.wav with a channel for',
      'each recorder input; --all says when it was filed.',
      '',
      ' 1. Board left out: a shorting plug (tip to sleeve) on the lead of recorder',
      '    inputs 1 and 2; bench output 1 unpatched.',
      '    [x] bench.idle  Play nothing; record 20 s or more.',
      '',
      ' 2. Board left out: bench output 1 straight to recorder inputs 1 and 2 at once',
      '    (Y lead).',
      '    [ ] bench.take (next)  Play the take once.',
      '    ( ) bench.stairs  Play the level stairs once.',
      '    Words: A Y lead joins one plug to several. The take is the test signal: a',
      '           tone and a sweep between two coded markers. The level stairs are the',
      '           tone in steps, each louder: they show where the board clips.',
      '',
      ' 3. Board left out: bench output 1 through source plug plug10k and the straight',
      '    lead to recorder inputs 1 and 2 at once (Y lead).',
      '    [ ] lead+plug10k.take  Play the take once.',
      '    Words: The straight lead is the short plain one, "lead" in bench.yaml, that',
      '           the board is compared with. A source plug is a resistor in series,',
      '           "plugs" in bench.yaml: it makes the bench look like an instrument.',
      '',
      ' 4. A shorting plug (tip to sleeve) in the board’s input; bench output 1',
      '    unpatched; output A (stage amplifier) to recorder input 1, B (pit DI) to 2.',
      '    Play nothing; record 20 s or more.',
      '    [ ] rest.idle         as at rest',
      '    [ ] unbuffered.idle   buffer defeated',
      '    [ ] loop-comp.idle    only loop comp (compressor) in',
      '    [ ] loop-eq.idle      only loop eq (equaliser set flat) in',
      '    [ ] loop-insert.idle  only loop insert (insert patched through) in',
      '    [ ] all.idle          every loop in',
      '    [ ] lift-A.idle       ground lift of output A (stage amplifier) engaged (its',
      '                          switch for the audio shield; protective earth stays',
      '                          connected)',
      '    ( ) rest.switching  Play nothing; press the footswitch of each loop in and',
      '                        out again, in the order of the loops, with a second',
      '                        between.',
      '    Play nothing; press the footswitch of this loop out and in again, five',
      '    times, with a second between.',
      '    ( ) loop-comp.switching    ( ) loop-eq.switching',
    ]);
    expect(out.split('\n').filter((line) => line.length > 80)).toEqual([]);
    expect(out.split('\n').length).toBeLessThan(78);
  });

  it('names every step once, and what each needs set before it', async () => {
    const cwd = await jobWith([]);
    const { out } = await runCli(['steps', 'job'], { cwd });
    const { steps } = JSON.parse((await runCli(['steps', 'job', '--json'], { cwd })).out) as Document;
    const boxes = [...out.matchAll(/([[(])[ x][\])] (\S+\.(?:idle|take|switching|flex|stairs))/g)].map(([, box, id]) => [id, box === '[']);
    expect(boxes).toEqual(steps.map(({ id, required }) => [id, required]));
    const narrow = (await runCli(['steps', 'job'], { cwd, columns: { out: 40, err: 40 } })).out;
    expect(narrow.split('\n').filter((line) => line.length > 40)).toEqual([]);
    expect(narrow).toContain('    [ ] loop-comp.idle\n        only loop comp (compressor) in\n');
  });

  it('says what to set for the captures that are done only with --all', async () => {
    const cwd = await jobWith(['rest.idle', 'unbuffered.idle']);
    const all = /\[x\] rest\.idle {9}as at rest; filed 2026-11-25 12:16 UTC\n {4}\[x\] unbuffered\.idle {3}buffer defeated; filed/;
    const few = /\[x\] rest\.idle {9}\[x\] unbuffered\.idle\n/;
    expect((await runCli(['steps', 'job'], { cwd })).out).toMatch(few);
    expect((await runCli(['steps', 'job', '--all'], { cwd })).out).toMatch(all);
  });

  it('explains a word of the bench once, and to nobody who has captured it', async () => {
    const straight = /The straight lead is/g;
    const steps = async (...done: string[]): Promise<number> => ((await runCli(['steps', 'job'], { cwd: await jobWith(done) })).out.match(straight) ?? []).length;
    expect([await steps(), await steps('lead+plug10k.take')]).toEqual([1, 0]);
  });

  it('names captures that came by hand, and those that no step asks for', async () => {
    const cwd = await jobWith(['loop-gone.take']);
    fs.writeFileSync(join(cwd, 'job/captures/rest.idle.wav'), 'RIFF');
    const { out } = await runCli(['steps', 'job'], { cwd });
    expect(out).toContain('    [x] rest.idle         put here by hand\n');
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
    expect(out).toContain('19 of 19 needed captures done');
    expect(err.replace(/\s+/g, ' ')).toMatch(/^ Next: every capture that a sign-off needs is there \(\d+ optional ones are not\); measure and judge them: boardproof signoff job $/);
  });

  it('refuses a job with faults in one sentence', async () => {
    const cwd = await jobWith([]);
    fs.writeFileSync(join(cwd, 'job/board.yaml'), PIT_BOARD_YAML.replace('50 Hz', '55 Hz'));
    expect(await runCli(['steps', 'job'], { cwd })).toEqual({ exit: 2, out: '', err: 'boardproof: board.yaml:5:8: mains "55 Hz" is no mains frequency; allowed here: 50 Hz, 60 Hz.\n' });
  });
});
