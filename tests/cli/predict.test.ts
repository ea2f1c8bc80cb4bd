/** `predict`, as a person runs it. */
import { createHash } from 'node:crypto';
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { widthOf } from '../../cli/layout.js';
import type { Results } from '../../src/judge/results.js';
import { runCli, temporaryFolder } from '../helpers/cli.js';
import { BENCH_YAML, PIT_BOARD_YAML } from '../helpers/pit-board.js';
import { emptyResults, reading } from '../report/fixture.js';

const without = (yaml: string, key: string): string => yaml.replace(new RegExp(`^${key}:.*\\n(?:[ ]+.*\\n)*`, 'm'), '');

function jobOf(board = PIT_BOARD_YAML, bench = BENCH_YAML): string {
  const folder = temporaryFolder();
  mkdirSync(join(folder, 'job'));
  writeFileSync(join(folder, 'job/board.yaml'), board);
  writeFileSync(join(folder, 'job/bench.yaml'), bench);
  return folder;
}

describe('predict', () => {
  it('says in sentences what the player loses, in 80 columns, and where that comes from', async () => {
    const { exit, out, err } = await runCli(['predict', 'job'], { cwd: jobOf() });
    expect(exit).toBe(0);
    expect(err).toMatch(/^\nNext: bench\.idle\. .*\n {6}boardproof capture job\n/);
    expect((await runCli(['predict', 'job', '--quiet'], { cwd: jobOf() })).err).toBe('');
    expect(out).toMatch(/With the buffer in the player loses [\d.]+ dB in 2-5 kHz/);
    expect(out.replace(/\s+/g, ' ')).toMatch(/With the buffer out the player loses 0\.\d\d dB .* the resonance moves from 3\.60 kHz to 3\.\d\d kHz\. Most of it: the input resistance, 500 kΩ/);
    expect(out.replace(/\s+/g, ' ')).toMatch(/The treble is limited by the pickup’s 3\.1 H with 6\d\d pF across it: 475 pF the player’s lead, 110 pF the pickup’s own and \d+ pF the board’s; a lead one metre shorter would gain 0\.\d\d dB in 2-5 kHz and lift the resonance by \d\d\d Hz\./);
    for (const part of ['input wiring', 'driver input of output A', 'One metre of lead more', 'volume 7, buffer out', 'dBu(A)', 'Assumed', 'isolation transformer']) expect(out).toContain(part);
    expect(out.split('\n').filter((line) => widthOf(line) > 80)).toEqual([]);
    expect(out).not.toMatch(/NaN|undefined|Infinity|-0\.00/);
  });

  it('becomes blocks on a narrow terminal, and every line fits', async () => {
    for (const columns of [60, 40]) {
      const { out } = await runCli(['predict', 'job'], { cwd: jobOf(), columns: { out: columns, err: columns } });
      expect(out.split('\n').filter((line) => widthOf(line) > columns)).toEqual([]);
      expect(out).toMatch(/\n {2}volume 10, buffer out\n {4}loss in dB at 2-5 kHz {2}0\.\d\d\n/);
    }
  });

  it('gives the same as one document with units', async () => {
    const cwd = jobOf();
    const { exit, out, err } = await runCli(['predict', 'job', '--json'], { cwd });
    expect({ exit, err }).toEqual({ exit: 0, err: '' });
    const document = JSON.parse(out) as { format: string; player: { route: string; volume: number; output: string | null; loss: { band2to5kDb: number } | null; noise: { aWeightedDbu: number }; curve: { frequencyHz: number[]; levelDb: number[] } }[]; plugs: unknown[]; problems: unknown[]; assumed: string[] };
    expect(document.format).toBe('boardproof-prediction/1');
    expect(document.player.map(({ route, volume, output }) => `${route} ${output ?? '-'} ${volume}`)).toEqual(
      [10, 7].flatMap((v) => [`straight-lead - ${v}`, `buffer-in A ${v}`, `buffer-in B ${v}`, `buffer-out A ${v}`, `buffer-out B ${v}`]),
    );
    expect(document.problems).toEqual([]);
    const { curve } = document.player[0]!;
    expect(curve.levelDb).toHaveLength(curve.frequencyHz.length);
    const shown = (await runCli(['predict', 'job'], { cwd })).out;
    expect(shown).toContain(document.player.find((p) => p.route === 'buffer-out')!.loss!.band2to5kDb.toFixed(2));
  });

  it('without an instrument says so in one sentence, and what can still be said', async () => {
    const cwd = jobOf(without(PIT_BOARD_YAML, 'instrument'));
    const { exit, out } = await runCli(['predict', 'job'], { cwd });
    expect(exit).toBe(0);
    expect(out.replace(/\s+/g, ' ')).toContain('board.yaml has no "instrument", so what the player will hear cannot be said: add its pickup, pots and lead.');
    expect(out).toContain('plug10k, buffer out');
    expect(out).not.toContain('the player loses');
    const document = JSON.parse((await runCli(['predict', 'job', '--json'], { cwd })).out) as { player: unknown[]; problems: { code: string }[] };
    expect(document.player).toEqual([]);
    expect(document.problems.map(({ code }) => code)).toEqual(['no-instrument']);
  });

  it('nF written for pF is predicted as written, with a caution that names the likely meaning', async () => {
    const { exit, err } = await runCli(['predict', 'job'], { cwd: jobOf(PIT_BOARD_YAML.replace('110 pF', '110 nF')) });
    expect(exit).toBe(0);
    expect(err).toMatch(/caution {2}board\.yaml:\d+:\d+: instrument\.pickup\.capacitance is 110 nF; .*did you mean "110 pF"\?/);
  });

  it.each([
    ['a pickup without inductance', PIT_BOARD_YAML.replace(' inductance: 3.1 H,', ''), /inductance/],
    ['a resistance of zero', PIT_BOARD_YAML.replace('resistance: 8.2k', 'resistance: 0'), /board\.yaml:\d+:\d+: .*resistance/],
    ['a negative capacitance', PIT_BOARD_YAML.replace('110 pF', '-110 pF'), /board\.yaml:\d+:\d+: .*capacitance/],
    ['henries for farads', PIT_BOARD_YAML.replace('110 pF', '110 mH'), /capacitance/],
  ])('%s is refused with file, line and key', async (_what, yaml, says) => {
    const { exit, out, err } = await runCli(['predict', 'job'], { cwd: jobOf(yaml) });
    expect(exit).toBe(2);
    expect(out).toBe('');
    expect(err).toMatch(says);
    expect(err.trim().split('\n')).toHaveLength(1);
  });

  describe('beside what was measured', () => {
    const place = { state: 'unbuffered', source: 'plug10k', output: 'A' };
    const measured = (boardSha256: string): Results => ({
      ...emptyResults(),
      board: { ...emptyResults().board, sha256: boardSha256 },
      readings: [
        reading({ id: 'player.loss-2-5k', label: '', ...place, unit: 'dB', value: 0.993, uncertainty: 0.018 }),
        reading({ id: 'capacitance', label: '', ...place, unit: 'pF', value: 220, uncertainty: 2 }),
        reading({ id: 'capacitance.over-design', label: '', ...place, unit: 'pF', value: 140, uncertainty: 2, remarks: ['220 pF measured, 80 pF by board.yaml: 1.4 m of lead more at 100 pF/m.'] }),
        reading({ id: 'noise.hiss', label: '', state: 'unbuffered', output: 'A', unit: 'dBu', value: -95.2, uncertainty: 0.1 }),
      ],
    });
    const jobWith = (results: string): string => {
      const cwd = jobOf();
      writeFileSync(join(cwd, 'job/results.json'), results);
      return cwd;
    };
    const sha256 = createHash('sha256').update(PIT_BOARD_YAML).digest('hex');

    it('says whose the wiring is, and puts the two side by side', async () => {
      const cwd = jobWith(JSON.stringify(measured(sha256)));
      const { exit, out } = await runCli(['predict', 'job'], { cwd });
      expect(exit).toBe(0);
      expect(out.replace(/\s+/g, ' ')).toContain('Measured, with the buffer out: 0.99 dB lost in 2-5 kHz, and 140 pF more than board.yaml has, 1.4 m of lead. That is the board’s wiring, not the player’s lead.');
      expect(out).toMatch(/ {2}buffer out, A +0\.\d\d +0\.99 +80 +220 +-129 +-95\n/);
      // No resonance was measured, so it has no columns.
      expect(out).not.toContain('resonance, kHz');
      expect(out).not.toContain('has changed since');
      expect(out.split('\n').filter((line) => widthOf(line) > 80)).toEqual([]);
      const document = JSON.parse((await runCli(['predict', 'job', '--json'], { cwd })).out) as { measured: { sameBoardFile: boolean; routes: { route: string; output: string; beyondDesignPf: unknown }[] } };
      expect(document.measured.sameBoardFile).toBe(true);
      expect(document.measured.routes.find((r) => r.route === 'buffer-out' && r.output === 'A')!.beyondDesignPf).toEqual({ value: 140, uncertainty: 2 });
    });

    it('says where board.yaml has changed since, and goes on without results that cannot be read', async () => {
      expect((await runCli(['predict', 'job'], { cwd: jobWith(JSON.stringify(measured('another'))) })).out.replace(/\s+/g, ' ')).toContain('board.yaml has changed since');
      const broken = await runCli(['predict', 'job'], { cwd: jobWith('{') });
      expect(broken.exit).toBe(0);
      expect(broken.out).toContain('nothing here is measured');
      expect(broken.err).toMatch(/caution {2}.*results\.json is damaged/);
    });
  });

  it('a board of one bare output', async () => {
    const yaml = 'format: boardproof-board/1\nboard: bare\noutputs: [{ id: A }]\n';
    const bench = 'format: boardproof-bench/1\nbench: bare\ninputs: [{ channel: 1, output: A }]\n';
    const { exit, out } = await runCli(['predict', 'job'], { cwd: jobOf(yaml, bench) });
    expect(exit).toBe(0);
    expect(out).toContain('no buffer');
    expect(out).toContain('Output A: a load of 1 MΩ.');
  });
});
