import fs from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { runCli, temporaryFolder } from '../helpers/cli.js';
import { BENCH_YAML, PIT_BOARD_YAML } from '../helpers/pit-board.js';

function jobOf(board: string, bench: string = BENCH_YAML): string {
  const cwd = temporaryFolder();
  fs.mkdirSync(join(cwd, 'job'));
  fs.writeFileSync(join(cwd, 'job/board.yaml'), board);
  fs.writeFileSync(join(cwd, 'job/bench.yaml'), bench);
  return cwd;
}

describe('boardproof check', () => {
  it('suggests the job whose name is most like the one that is not there', async () => {
    const cwd = jobOf(PIT_BOARD_YAML);
    expect((await runCli(['check', 'jbo'], { cwd })).err).toContain('jbo is no job folder: it has no board.yaml (did you mean job?); name a job folder');
    expect((await runCli(['check', 'elsewhere'], { cwd })).err).toContain('elsewhere is no job folder: it has no board.yaml; name a job folder');
  });

  it('sums up a good job, with its supply budget', async () => {
    const { exit, out, err } = await runCli(['check', 'job'], { cwd: jobOf(PIT_BOARD_YAML) });
    expect(exit).toBe(0);
    expect(out).toBe(
      [
        'Board  Pit Board 7, serial PB-007: 3 loops, 2 outputs; mains 50 Hz; limits',
        '       studio-quiet.',
        'Bench  bench 1: 2 recorder inputs, 1 source plug.',
        'Steps  19 captures for a complete sign-off, 15 optional.',
        '',
        'Supply budget',
        '  outlet  volts  drawn  gives   budget  loops',
        '  S1.1    9 V    80 mA  100 mA  within  comp',
        '  Without an outlet here: loop eq, insert.',
        '',
      ].join('\n'),
    );
    expect(err).toBe('\nNext: see what to capture, in order:\n      boardproof steps job\n');
  });

  it('lists every fault of both files and ends with 2', async () => {
    const board = PIT_BOARD_YAML.replace('mains: 50 Hz', 'mians: 50 Hz').replace('8.2k', '8,2k');
    const { exit, out, err } = await runCli(['check', 'job'], { cwd: jobOf(board, BENCH_YAML.replace('channel: 2', 'channel: 1')) });
    expect([exit, err]).toEqual([2, '']);
    expect(out.split('\n')).toEqual([
      'fault    board.yaml:5:1: "mians" is no key of this file; did you mean "mains"? allowed here: format, board, serial, mains, limits, instrument, input, wiring, loops, outputs, match, supplies, invented.',
      'fault    board.yaml:8:27: "2k" is no key of instrument.pickup (a comma begins a new key: write numbers with a decimal point, as in 8.2k); allowed here: resistance, inductance, capacitance, loss.',
      'fault    bench.yaml:8:16: two inputs are on channel "1"; give each its own.',
      '',
      '3 faults; nothing can be measured until they are put right.',
      '',
    ]);
  });

  it('finds outputs that no input hears though another part of the board is wrong', async () => {
    const board = PIT_BOARD_YAML.replace('50 Hz', '55 Hz').replace('outputs:\n', 'outputs:\n  - { id: C }\n');
    expect((await runCli(['check', 'job'], { cwd: jobOf(board) })).out).toMatch(/bench\.yaml:6:1: no input hears the output "C" of the board|bench\.yaml:7:3: no input hears the output "C"/);
  });

  it('cautions over an outlet that gives too little or feeds two loops, and still takes the job', async () => {
    const board = PIT_BOARD_YAML.replace('expect: unity, wiring', 'expect: unity, supply: S1.1, current: 30 mA, wiring');
    const { exit, out } = await runCli(['check', 'job'], { cwd: jobOf(board) });
    expect(exit).toBe(0);
    expect(out).toContain('  S1.1    9 V    110 mA  100 mA  over    comp, eq\n');
    expect(out).toContain('caution  Outlet S1.1 is asked for 110 mA but gives 100 mA: move a loop to an\n         outlet that gives more.\n');
    expect(out).toContain('caution  Outlet S1.1 feeds loops comp, eq together');
  });

  it('says what the bench leaves out', async () => {
    const bench = 'format: boardproof-bench/1\nbench: b\ninputs: [{ channel: 1, output: A }, { channel: 2, output: B }]\n';
    const { exit, out } = await runCli(['check', 'job'], { cwd: jobOf(PIT_BOARD_YAML, bench) });
    expect(exit).toBe(0);
    expect(out).toMatch(/^caution {2}bench\.yaml names no source plug/m);
    expect(out).toMatch(/^caution {2}Recorder inputs 1 and 2 have no "fullScale"/m);
  });

  it('gives the same as data', async () => {
    const good = JSON.parse((await runCli(['check', 'job', '--json'], { cwd: jobOf(PIT_BOARD_YAML) })).out) as Record<string, unknown>;
    expect(good).toMatchObject({
      format: 'boardproof-check/1',
      valid: true,
      faults: [],
      cautions: [],
      board: { name: 'Pit Board 7', mainsHz: 50, limits: 'studio-quiet', loops: 3, outputs: 2 },
      supplyBudget: { outlets: [{ outlet: 'S1.1', drawnA: 0.08, limitA: 0.1, state: 'within' }], unfed: ['eq', 'insert'] },
    });
    const bad = await runCli(['check', 'job', '--json'], { cwd: jobOf(PIT_BOARD_YAML.replace('mains', 'mians')) });
    expect(bad.exit).toBe(2);
    expect(JSON.parse(bad.out)).toMatchObject({ valid: false, board: null, faults: [{ file: 'board.yaml', line: 5, column: 1, key: 'mians', nearest: 'mains', severity: 'fault' }] });
  });

  it('names the folder that is no job', async () => {
    const cwd = temporaryFolder();
    expect(await runCli(['check', 'nope'], { cwd })).toEqual({
      exit: 2,
      out: '',
      err: 'boardproof: nope is no job folder: it has no board.yaml; name a job folder, or make one with "boardproof new".\n',
    });
  });

  it('refuses a board.yaml that is a folder, or far too large', async () => {
    const cwd = jobOf(PIT_BOARD_YAML);
    fs.rmSync(join(cwd, 'job/board.yaml'));
    fs.mkdirSync(join(cwd, 'job/board.yaml'));
    expect((await runCli(['check', 'job'], { cwd })).err).toMatch(/board\.yaml cannot be used: it is a folder\.\n$/);
    fs.rmdirSync(join(cwd, 'job/board.yaml'));
    fs.writeFileSync(join(cwd, 'job/board.yaml'), '');
    fs.truncateSync(join(cwd, 'job/board.yaml'), 2 ** 33);
    expect(await runCli(['check', 'job'], { cwd })).toMatchObject({ exit: 2, err: expect.stringMatching(/more than the \d+ that such a file may have\.\n$/) as string });
  });
});
