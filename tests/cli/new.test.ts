import fs from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { runCli, temporaryFolder } from '../helpers/cli.js';

describe('boardproof new', () => {
  it('makes a job that check takes', async () => {
    const cwd = temporaryFolder();
    expect(await runCli(['new', 'job'], { cwd })).toEqual({
      exit: 0,
      out: 'Job job: wrote board.yaml, bench.yaml.\n',
      err: '\nNext: fill in board.yaml and bench.yaml, then check them:\n      boardproof check job\n',
    });
    expect(fs.readdirSync(join(cwd, 'job')).sort()).toEqual(['bench.yaml', 'board.yaml', 'captures']);
    expect((await runCli(['check', 'job'], { cwd })).exit).toBe(0);
  });

  it('says in JSON what it wrote', async () => {
    const cwd = temporaryFolder();
    const { out } = await runCli(['new', 'job', '--json'], { cwd });
    expect(JSON.parse(out)).toEqual({ format: 'boardproof-new/1', job: join(cwd, 'job'), written: ['board.yaml', 'bench.yaml'] });
  });

  it('names the board after the folder, whatever it is called', async () => {
    const cwd = temporaryFolder();
    const name = '# "Плата": \u202eевил';
    await runCli(['new', name], { cwd });
    const { exit, out } = await runCli(['steps', name, '--json'], { cwd });
    expect([exit, (JSON.parse(out) as { board: string }).board]).toEqual([0, name]);
    expect((await runCli(['steps', name], { cwd })).out).toContain('# "Плата": \\u{202e}евил on bench 1');
  });

  it('never overwrites', async () => {
    const cwd = temporaryFolder();
    await runCli(['new', 'job'], { cwd });
    fs.writeFileSync(join(cwd, 'job/board.yaml'), 'mine');
    const again = await runCli(['new', 'job'], { cwd });
    expect([again.exit, again.err]).toEqual([2, 'boardproof: job exists already and is not overwritten; give the new job another name.\n']);
    expect(fs.readFileSync(join(cwd, 'job/board.yaml'), 'utf8')).toBe('mine');
  });

  it('writes what is missing where it was stopped half-way, and leaves the rest', async () => {
    const cwd = temporaryFolder();
    await runCli(['new', 'job'], { cwd });
    fs.writeFileSync(join(cwd, 'job/board.yaml'), 'mine');
    fs.rmSync(join(cwd, 'job/bench.yaml'));
    expect((await runCli(['new', 'job'], { cwd })).out).toBe('Job job: wrote bench.yaml.\n');
    expect(fs.readFileSync(join(cwd, 'job/board.yaml'), 'utf8')).toBe('mine');
  });

  it('writes schemas on request, and points each file to its own', async () => {
    const cwd = temporaryFolder();
    await runCli(['new', 'job', '--schemas'], { cwd });
    for (const kind of ['board', 'bench']) {
      expect(fs.readFileSync(join(cwd, `job/${kind}.yaml`), 'utf8')).toMatch(new RegExp(`^# yaml-language-server: \\$schema=${kind}\\.schema\\.json\n`));
      expect(fs.readFileSync(join(cwd, `job/${kind}.schema.json`), 'utf8')).toBe(fs.readFileSync(new URL(`../../src/board/${kind}.schema.json`, import.meta.url), 'utf8'));
    }
    expect((await runCli(['check', 'job'], { cwd })).exit).toBe(0);
  });

  it('says so where the folder cannot be made', async () => {
    const cwd = temporaryFolder();
    fs.writeFileSync(join(cwd, 'file'), '');
    const { exit, err } = await runCli(['new', 'file/job'], { cwd });
    expect([exit, err]).toEqual([2, `boardproof: ${join(cwd, 'file/job/captures')} cannot be used: a part of its path is not a folder.\n`]);
  });
});
