import { execFileSync } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync, readdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { runCli, temporaryFolder } from '../helpers/cli.js';
import { boardResults, emptyResults } from '../report/fixture.js';

function job(results: string | null): string {
  const cwd = temporaryFolder();
  mkdirSync(join(cwd, 'job'));
  if (results !== null) writeFileSync(join(cwd, 'job', 'results.json'), results);
  return cwd;
}

describe('report', () => {
  it('writes report.html into the job from results.json alone, and prints its path', async () => {
    const cwd = job(JSON.stringify(boardResults({ loops: 1 })));
    const { exit, out, err } = await runCli(['report', 'job'], { cwd });
    const file = join(cwd, 'job', 'report.html');
    expect({ exit, out, err }).toEqual({ exit: 0, out: `${file}\n`, err: '\nNext: open it in any browser; print it, sign it, hand it over with the board.\n' });
    expect(readFileSync(file, 'utf8')).toMatch(/^<!DOCTYPE html>[^]*Pit Board 7[^]*<\/html>\n$/);
    // Nothing half-written is left beside it.
    expect(readdirSync(join(cwd, 'job')).sort()).toEqual(['report.html', 'results.json']);
  });

  it('exits 0 whatever the verdict, and overwrites its own report', async () => {
    const cwd = job(JSON.stringify(emptyResults()));
    writeFileSync(join(cwd, 'job', 'report.html'), '<!DOCTYPE html>old');
    expect((await runCli(['report', 'job'], { cwd })).exit).toBe(0);
    expect(readFileSync(join(cwd, 'job', 'report.html'), 'utf8')).toContain('Not complete');
  });

  it('writes where --out says, and says so as JSON', async () => {
    const cwd = job(JSON.stringify(emptyResults()));
    const { exit, out } = await runCli(['report', 'job', '--out', 'handover.html', '--json'], { cwd });
    expect(exit).toBe(0);
    expect(JSON.parse(out)).toEqual({ format: 'boardproof-report/1', file: join(cwd, 'handover.html'), board: 'Pit Board 7', verdict: 'not complete' });
    expect(existsSync(join(cwd, 'handover.html'))).toBe(true);
    expect(existsSync(join(cwd, 'job', 'report.html'))).toBe(false);
  });

  it('writes all readings, curves and stairs as tables with --format csv, beside results.json or where --out says', async () => {
    const cwd = job(JSON.stringify(boardResults({ loops: 1 })));
    const { exit, out } = await runCli(['report', 'job', '--format', 'csv'], { cwd });
    expect([exit, out]).toEqual([0, `${join(cwd, 'job/readings.csv')}\n${join(cwd, 'job/curves.csv')}\n${join(cwd, 'job/stairs.csv')}\n`]);
    // The same again takes their place, and says what comes next.
    expect(await runCli(['report', 'job', '--format', 'csv'], { cwd })).toMatchObject({ exit: 0, err: expect.stringContaining('boardproof report job\n') as string });
    expect(readFileSync(join(cwd, 'job/readings.csv'), 'utf8')).toMatch(/^id,label,state,[^]*\r\nnoise\.a,"Noise floor, A-weighted",/);
    mkdirSync(join(cwd, 'tables'));
    const { out: json } = await runCli(['report', 'job', '--format', 'csv', '--out', 'tables', '--json'], { cwd });
    expect((JSON.parse(json) as { files: string[] }).files).toEqual(['readings.csv', 'curves.csv', 'stairs.csv'].map((name) => join(cwd, 'tables', name)));
    expect(readdirSync(join(cwd, 'tables')).sort()).toEqual(['curves.csv', 'readings.csv', 'stairs.csv']);
    expect(await runCli(['report', 'job', '--format', 'cvs'], { cwd })).toMatchObject({ exit: 2, out: '' });
  });

  it.each([
    ['no results', null, 'boardproof: job has no results.json; run "boardproof measure job" first.\n'],
    ['an empty file', '', 'boardproof: job/results.json is damaged: it is empty; run "boardproof measure" again.\n'],
    ['half a file', JSON.stringify(emptyResults()).slice(0, 300), 'boardproof: job/results.json is damaged: it is not whole JSON; run "boardproof measure" again.\n'],
    [
      'another format', JSON.stringify({ ...emptyResults(), format: 'boardproof-results/9' }),
      'boardproof: job/results.json is in the format "boardproof-results/9", but this version reads boardproof-results/1; run "boardproof measure" again, or use the version that wrote it.\n',
    ],
    ['a hole in it', JSON.stringify({ ...emptyResults(), bench: {} }), 'boardproof: job/results.json is damaged: bench.name is missing; run "boardproof measure" again.\n'],
  ])('refuses %s in one sentence, exit 2, and writes nothing', async (_, results, sentence) => {
    const cwd = job(results);
    const before = readdirSync(join(cwd, 'job'));
    expect(await runCli(['report', 'job'], { cwd })).toEqual({ exit: 2, out: '', err: sentence });
    expect(readdirSync(join(cwd, 'job'))).toEqual(before);
  });

  it('names a job that is not there', async () => {
    expect(await runCli(['report', 'nowhere'], { cwd: job(null) })).toMatchObject({ exit: 2, err: 'boardproof: nowhere is no job folder: it has no results.json; name a job folder, or make one with "boardproof new".\n' });
    expect((await runCli(['report', 'jbo'], { cwd: job(null) })).err).not.toContain('did you mean');
  });

  it('takes the place of an earlier report only: of no file of the job, no capture, no letter, no folder, no device', async () => {
    const results = JSON.stringify(emptyResults());
    const cwd = job(results);
    for (const name of ['rest.idle.wav', 'results~2026.json', 'letter.txt', 'curves.csv']) writeFileSync(join(cwd, 'job', name), 'kept');
    execFileSync('mkfifo', [join(cwd, 'job', 'pipe')]);
    const before = readdirSync(join(cwd, 'job'));
    for (const name of ['results.json', 'rest.idle.wav', 'results~2026.json', 'letter.txt', 'curves.csv', 'none.wav', 'board.yaml']) {
      const over = await runCli(['report', 'job', '--out', `job/${name}`], { cwd });
      expect(over).toEqual({ exit: 2, out: '', err: `boardproof: The report would take the place of job/${name}, which is no report; nothing was written: give it another name.\n` });
    }
    expect((await runCli(['report', 'job', '--format', 'csv'], { cwd })).err).toBe('boardproof: The table would take the place of job/curves.csv, which is no table; nothing was written: give it another name.\n');
    expect((await runCli(['report', 'job', '--out', 'job/pipe'], { cwd })).err).toBe(`boardproof: ${join(cwd, 'job/pipe')} cannot be used: it is no regular file.\n`);
    expect((await runCli(['report', 'job', '--out', 'nowhere/r.html'], { cwd })).err).toBe(`boardproof: ${join(cwd, 'nowhere')} cannot be used: it does not exist.\n`);
    expect(readdirSync(join(cwd, 'job'))).toEqual(before);
    expect(readFileSync(join(cwd, 'job', 'results.json'), 'utf8')).toBe(results);
    const folder = await runCli(['report', 'job', '--out', 'job'], { cwd });
    expect(folder.exit).toBe(2);
    expect(folder.err).toMatch(/^boardproof: .*\n$/);
    expect(readdirSync(cwd)).toEqual(['job']);
  });
});
