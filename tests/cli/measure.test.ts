import { cpSync, mkdtempSync, readFileSync, readdirSync, renameSync, rmSync, statSync, truncateSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeEach, describe, expect, it } from 'vitest';
import { isUnchanged } from '../../src/judge/changes.js';
import type { Changes } from '../../src/judge/changes.js';
import type { Results } from '../../src/judge/results.js';
import { runCli } from '../helpers/cli.js';
import type { CliRun } from '../helpers/cli.js';
import { noise } from '../helpers/random.js';
import { heard, makeJob, seconds, takeFor, writeRecording } from '../helpers/recordings.js';

const BOARD = `format: boardproof-board/1
board: One-out trial
mains: 50 Hz
limits:
  - { reading: gain.1k, states: [rest], within: [-1 dB, 1 dB], basis: for this test }
  - { reading: noise.a, states: [rest], max: -70 dBu, basis: for this test }
outputs: [{ id: A, name: only }]
`;
const BENCH = `format: boardproof-bench/1
bench: software
output: { channel: 1, fullScale: 12 dBu ± 0.1 dB, resistance: 100 }
inputs: [{ channel: 1, output: A, fullScale: 12 dBu ± 0.1 dB }]
`;

const cwd = mkdtempSync(join(tmpdir(), 'boardproof-measure-'));
const at = (...names: string[]): string => join(cwd, ...names);
afterAll(() => {
  rmSync(cwd, { recursive: true, force: true });
});

let job = '';
let jobs = 0;
beforeEach(() => {
  job = `job${++jobs}`;
  makeJob(at(job), BOARD, BENCH);
});

const run = (...argv: readonly string[]): Promise<CliRun> => runCli(argv, { cwd });

const filled = new Map<string, string>();

/** The four captures of the board, its gain in dB and noise (rms, full scale 1): filed once, the same files for every later job. */
async function fill(gainDb: number, noiseRms: number): Promise<void> {
  const before = filled.get(`${gainDb} ${noiseRms}`);
  if (before !== undefined) {
    cpSync(before, at(job, 'captures'), { recursive: true });
    return;
  }
  writeRecording(at('bench.wav'), [heard(takeFor('bench.take'), -1, 1)]);
  writeRecording(at('rest.wav'), [heard(takeFor('rest.take'), -1 + gainDb, 2)]);
  writeRecording(at('bench-idle.wav'), [noise(seconds(8), 1e-6, 3)]);
  writeRecording(at('rest-idle.wav'), [noise(seconds(8), noiseRms, 4)]);
  for (const args of [['bench.wav', 'rest.wav'], ['bench-idle.wav', 'rest-idle.wav', '--step', 'bench.idle,rest.idle']]) {
    expect(await run('import', job, ...args)).toMatchObject({ exit: 0 });
  }
  // A test may change its own.
  const kept = at(`filled ${gainDb} ${noiseRms}`);
  cpSync(at(job, 'captures'), kept, { recursive: true });
  filled.set(`${gainDb} ${noiseRms}`, kept);
}

/** What the last `measured` said of the run before it. */
let since: Changes | null = null;

async function measured(exit: number): Promise<Results> {
  const done = await run('measure', job, '--json');
  expect(done.exit, done.err).toBe(exit);
  const results = JSON.parse(done.out) as Results & { sinceLast: Changes | null };
  const { sinceLast, ...printed } = results;
  expect(JSON.parse(readFileSync(at(job, 'results.json'), 'utf8'))).toEqual(printed);
  since = sinceLast;
  return printed;
}

/** Problems that say why a capture was not used; the others say which readings have no value for it. */
const ofCaptures = ({ problems }: Results): Results['problems'] => problems.filter(({ code }) => code !== 'reading.no-value');

const valueOf = ({ readings }: Results, id: string, state = 'rest'): number | null => readings.find((r) => r.id === id && r.state === state)!.value;

describe('measure', () => {
  it('a board within its limits: exit code 0, figures right, results.json as printed', async () => {
    await fill(-0.3, 1e-5);
    const results = await measured(0);
    expect(results.verdict.word).toBe('pass');
    expect(valueOf(results, 'gain.1k')).toBeCloseTo(-0.3, 3);
    expect(valueOf(results, 'level.tone')).toBeCloseTo(-20 - 1.3 + 12, 3);
    // White noise of 1e-5 rms: its share of 20 Hz to 20 kHz, less 0.04 dB of the bench's power; 0.05 dB is three spreads of 8 s.
    expect(valueOf(results, 'noise.unweighted')).toBeCloseTo(20 * Math.log10(1e-5 * Math.SQRT2) + 10 * Math.log10((19980 / 24000) * 0.99) + 12, 1);
    expect(results.captures.map((c) => [c.step, c.kind, c.remarks])).toEqual([
      ['bench.idle', 'idle', []],
      ['bench.take', 'take', []],
      ['rest.idle', 'idle', []],
      ['rest.take', 'take', []],
    ]);
    expect(ofCaptures(results)).toEqual([]);
  });

  it('a step captured again: together where the captures agree, and said where they do not', async () => {
    await fill(-0.3, 1e-5);
    const once = await measured(0);
    const again = async (name: string, channel: Float64Array, ...more: string[]): Promise<CliRun> => {
      writeRecording(at(name), [channel]);
      return run('import', job, name, '--repeat', ...more);
    };
    expect((await again('rest-2.wav', heard(takeFor('rest.take'), -1.3, 22))).out).toContain('counts together with the capture before it');
    await again('idle-2.wav', noise(seconds(8), 1e-5, 24), '--step', 'rest.idle');
    const twice = await measured(0);
    const reading = (r: Results, id: string): Results['readings'][number] => r.readings.find((x) => x.id === id && x.state === 'rest')!;
    for (const id of ['noise.unweighted', 'noise.a', 'gain.1k']) {
      const [a, b] = [reading(once, id), reading(twice, id)];
      expect(Math.abs(b.value! - a.value!), id).toBeLessThan(Math.hypot(a.uncertainty!, b.uncertainty!));
      expect(b.repeats!.every(({ agree, values }) => agree && values.length === 2), id).toBe(true);
      const statistics = ({ budget }: typeof a): number => Math.hypot(...budget.filter((p) => p.kind === 'spectral statistics' || (p.kind === 'fit' && !p.name.includes('bench'))).map((p) => p.standard));
      // Two captures: the scatter is √2 smaller; beside a tone it is known from 16 degrees of freedom only, to 18 %.
      expect(Math.abs(statistics(b) / statistics(a) - Math.SQRT1_2), id).toBeLessThan(id === 'gain.1k' ? 0.25 : 0.02);
    }
    expect(twice.captures.filter((c) => c.step === 'rest.idle').map((c) => [c.file.includes('~'), c.remarks])).toEqual([
      [false, ['Counted together with another capture of this step.']],
      [true, ['Counted together with another capture of this step.']],
    ]);
    expect(twice.findings.filter((f) => f.id.startsWith('repeats-disagree'))).toEqual([]);

    // A third take, 0.1 dB lower: a bad contact.
    await again('rest-3.wav', heard(takeFor('rest.take'), -1.4, 23));
    const unlike = await measured(0);
    const gain = reading(unlike, 'gain.1k');
    expect(gain.repeats![0]!.agree).toBe(false);
    expect(gain.repeats![0]!.values.map((v) => v!.toFixed(2))).toEqual(['-0.40', '-0.30', '-0.30']);
    expect(gain.remarks.at(-1)).toBe('The 3 captures of rest.take do not agree within their uncertainty.');
    const scatter = gain.budget.find((p) => p.kind === 'repeats')!;
    // Standard deviation of −0.4, −0.3, −0.3 over √3, known with two degrees of freedom: k = 4.3.
    expect(scatter).toMatchObject({ evaluation: 'A', degreesOfFreedom: 2 });
    expect(scatter.standard).toBeCloseTo(0.1 / 3, 3);
    expect(gain.uncertainty! / scatter.standard).toBeCloseTo(4.3, 1);
    expect(reading(unlike, 'noise.a').repeats!.every(({ agree }) => agree)).toBe(true);
    const found = unlike.findings.find((f) => f.id === 'repeats-disagree/rest.take')!;
    expect(found).toMatchObject({ severity: 'caution', title: 'The 3 captures of rest.take do not agree.' });
    expect(found.evidence.join('\n')).toMatch(/Gain at 1 kHz at output A: −0\.40\d*, −0\.30\d*, −0\.30\d* dB, the newest first/);

    expect((await again('rest-3.wav', heard(takeFor('rest.take'), -1.4, 23))).err).toContain('is no repeat');
  });

  it('again gives the same figures to the last digit', async () => {
    await fill(-0.3, 1e-5);
    const first = await measured(0);
    expect(since).toBeNull();
    const second = await measured(0);
    expect(second).toEqual(first);
    expect(since && isUnchanged(since)).toBe(true);
    // Nothing new was said, so nothing is kept.
    expect(readdirSync(at(job)).sort()).toEqual(['bench.yaml', 'board.yaml', 'captures', 'results.json']);
    expect((await run('measure', job)).out).toMatch(/\nNothing has changed since the last run, 2026-11-25 12:16 UTC\.\n$/);
  });

  it('after a repair: what was captured again, what moved, which verdicts turned; the results before are kept', async () => {
    await fill(-2, 1e-5);
    const before = await measured(1);
    writeRecording(at('rest.wav'), [heard(takeFor('rest.take'), -1 - 0.3, 5)]);
    expect(await run('import', job, 'rest.wav')).toMatchObject({ exit: 0 });
    const kept = (): string[] => readdirSync(at(job)).filter((name) => /^results~.*\.json$/.test(name));
    expect(kept()).toEqual([]);
    const after = await run('measure', job);
    expect(after.exit, after.err).toBe(0);
    expect(after.out).toMatch(/\nSince the last run, 2026-11-25 12:16 UTC\n {2}verdict +Outside limits → within limits\n {2}captured again {2}rest\.take\n/);
    expect(after.out).toMatch(/\nGain at 1 kHz {2}\(gain\.1k\)\n {2}rest +A +outside limits {2}within limits\n/);
    expect(after.out).toMatch(/\nGain at 1 kHz {2}\(gain\.1k\)\n {2}rest +A +-2\.00 +-0\.30 +\+1\.7\d* ±0\.\d+ dB\n/);
    expect(kept()).toHaveLength(1);
    expect(JSON.parse(readFileSync(at(job, kept()[0]!), 'utf8'))).toEqual(before);
    // What was kept is a side of a comparison like any other.
    expect((await run('compare', job, '--against', join(job, kept()[0]!))).out).toMatch(/\(gain\.1k\)\n {2}rest +A +-2\.00 +-0\.30 +\+1\.7\d* ±0\.\d+ dB\n/);
  });

  it('results that cannot be read are kept, named, and no reason not to measure', async () => {
    await fill(-0.3, 1e-5);
    writeFileSync(at(job, 'results.json'), '{"format": "boardproof-results/1", "board": 7}');
    const done = await run('measure', job);
    expect(done.exit, done.err).toBe(0);
    expect(done.out.replaceAll('\n', ' ')).toMatch(/What has changed cannot be said: .*results\.json is damaged/);
    const [kept] = readdirSync(at(job)).filter((name) => name.startsWith('results~'));
    expect(readFileSync(at(job, kept!), 'utf8')).toBe('{"format": "boardproof-results/1", "board": 7}');
  });

  it('two takes swapped by hand are both named by what their markers say, exit code 3, and no figure comes of them', async () => {
    await fill(-2, 1e-5);
    const [a, b] = ['bench.take', 'rest.take'].map((step) => at(job, `captures/${step}.wav`)) as [string, string];
    const bytes = readFileSync(a);
    writeFileSync(a, readFileSync(b));
    writeFileSync(b, bytes);
    const results = await measured(3);
    expect(ofCaptures(results).map((p) => [p.code, p.message.split(';')[0]])).toEqual([
      ['capture.misfiled', 'captures/bench.take.wav is of rest.take, as its markers say, and not of bench.take'],
      ['capture.misfiled', 'captures/rest.take.wav is of bench.take, as its markers say, and not of rest.take'],
    ]);
    expect(results.readings.filter(({ id }) => id === 'gain.1k')).toEqual([]);
    expect(results.verdict.missing).toEqual(['bench.take', 'rest.take']);
    // Filing one may replace the other, so they are taken out first; then they find their places.
    expect(await run('import', job, join(job, 'captures/bench.take.wav'))).toMatchObject({ exit: 2, err: expect.stringContaining('lies among the captures of the job') as string });
    renameSync(a, at('one.wav'));
    renameSync(b, at('other.wav'));
    expect(await run('import', job, 'one.wav', 'other.wav')).toMatchObject({ exit: 0 });
    expect(valueOf(await measured(1), 'gain.1k')).toBeCloseTo(-2, 3);
  });

  it('outside its limits: exit code 1 and the figure in the summary', async () => {
    await fill(-2, 1e-5);
    const done = await run('measure', job);
    expect(done.exit).toBe(1);
    expect(done.out).toMatch(/\(gain\.1k\)\n {2}rest +A +-2\.000 ± 0\.0\d+ dB +±\d.* ✗ outside limits\n/);
    expect(done.err).toMatch(new RegExp(`\\nNext: try what is said under 1\\.[^]* measure again; or\\s+put it on paper as it is:\\n[^]* {6}boardproof measure ${job}\\n {6}boardproof report ${job}\\n$`));
  });

  it('with captures missing: exit code 4 and their names', async () => {
    writeRecording(at('only.wav'), [heard(takeFor('rest.take'), 0, 2)]);
    await run('import', job, 'only.wav');
    const results = await measured(4);
    expect(results.verdict.missing).toEqual(['bench.idle', 'bench.take', 'rest.idle']);
  });

  it('without captures: exit code 3, and what to do', async () => {
    const done = await run('measure', job);
    expect(done).toMatchObject({ exit: 3, out: '', err: `boardproof: ${job} has no captures yet; "boardproof steps ${job}" says what to record, and "boardproof import" files it.\n` });
    expect(readdirSync(at(job)).sort()).toEqual(['bench.yaml', 'board.yaml']);
  });

  it('a capture that was damaged after it was filed is named and counts as missing', async () => {
    await fill(-0.3, 1e-5);
    truncateSync(at(job, 'captures/rest.idle.wav'), 500_000);
    const results = await measured(3);
    expect(ofCaptures(results).map((p) => p.code)).toEqual(['wav.cut-short']);
    // Named as it stands in the job: results.json may be read on another machine.
    expect(results.problems[0]!.message).toMatch(/^captures\/rest\.idle\.wav is cut short/);
    expect(results.verdict.missing).toEqual(['rest.idle']);
    expect(valueOf(results, 'gain.1k')).toBeCloseTo(-0.3, 3);
    expect((await run('measure', job)).out).toMatch(/Not used: captures\/rest\.idle\.wav is cut short/);
  });

  it('a capture that is not the one that was filed is used, and says so', async () => {
    await fill(-0.3, 1e-5);
    const file = at(job, 'captures/rest.take.wav');
    const bytes = readFileSync(file);
    bytes[statSync(file).size - 20000]! ^= 1;
    writeFileSync(file, bytes);
    const results = await measured(0);
    expect(results.captures.find((c) => c.step === 'rest.take')!.remarks).toEqual(['The file is not the one that was filed: it has changed since.']);
  });

  it('a take under the wrong name, put there by hand, is not measured as what it is not', async () => {
    await fill(-0.3, 1e-5);
    writeFileSync(at(job, 'captures/rest.take.wav'), readFileSync(at('rest-idle.wav')));
    const results = await measured(3);
    expect(ofCaptures(results).map((p) => p.code)).toEqual(['capture.no-markers']);
  });

  it('without calibration levels are dBFS and say so, and a limit in dBu leaves the verdict open: exit code 4', async () => {
    writeFileSync(at(job, 'bench.yaml'), BENCH.replaceAll(/, fullScale: 12 dBu ± 0.1 dB/g, ''));
    await fill(-0.3, 1e-5);
    const results = await measured(4);
    expect(results.conditions.remarks[0]).toMatch(/^The bench is not calibrated: levels are in dBFS/);
    const level = results.readings.find((r) => r.id === 'level.tone' && r.state === 'rest')!;
    expect([level.unit, level.value]).toEqual(['dBFS', expect.closeTo(-21.3, 3)]);
    expect(valueOf(results, 'gain.1k')).toBeCloseTo(-0.3, 3);
    expect(results.readings.filter((r) => r.unit.startsWith('dBu'))).toEqual([]);
    expect(results.readings.find((r) => r.id === 'noise.a' && r.state === 'rest')!.verdict).not.toMatch(/pass|fail/);
  });
});
