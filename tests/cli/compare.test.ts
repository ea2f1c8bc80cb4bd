/** `compare`, as a person runs it, on results made by formula. */
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { widthOf } from '../../cli/layout.js';
import type { Results } from '../../src/judge/results.js';
import { runCli, temporaryFolder } from '../helpers/cli.js';
import { HOSTILE, boardResults, hostileResults } from '../report/fixture.js';

const now = boardResults({ loops: 2, outputs: 2, seed: 1 });

function folderOf(jobs: Readonly<Record<string, Results | string>>): string {
  const cwd = temporaryFolder();
  for (const [name, results] of Object.entries(jobs)) {
    mkdirSync(join(cwd, name));
    writeFileSync(join(cwd, name, 'results.json'), typeof results === 'string' ? results : JSON.stringify(results));
  }
  return cwd;
}

/** The same visit with one reading moved, in value and in verdict. */
const moved = (results: Results, id: string, state: string, by: number, verdict: 'pass' | 'fail'): Results => ({
  ...results,
  readings: results.readings.map((r) => (r.id === id && r.state === state && r.value !== null ? { ...r, value: r.value + by, verdict } : r)),
});

interface Document {
  readonly format: string;
  readonly first: { readonly state: string | null };
  readonly readings: readonly { readonly id: string; readonly difference: number | null; readonly unit: string; readonly differenceUnit: string; readonly significance: string; readonly first: { readonly state: string } }[];
  readonly curves: readonly { readonly kind: string; readonly frequencyHz: readonly number[]; readonly difference: readonly (number | null)[] }[];
}

describe('compare of two states', () => {
  it('says what differs, in 80 columns, and gives the same as one document', async () => {
    const cwd = folderOf({ job: now });
    const { exit, out, err } = await runCli(['compare', 'job', 'rest', 'all'], { cwd });
    expect({ exit, err }).toEqual({ exit: 0, err: '\nNext: put the two side by side on paper:\n      boardproof compare job rest all --report comparison.html\n' });
    const narrow = await runCli(['compare', 'job', 'rest', 'all'], { cwd, columns: { out: 40, err: 40 } });
    expect(narrow.out.split('\n').filter((line) => widthOf(line) > 40)).toEqual([]);
    expect(out).toMatch(/^Pit Board 7, measured \d{4}-\d\d-\d\d \d\d:\d\d UTC: from rest to all\n[✓✗=] /);
    expect(out).toMatch(/\d+ of \d+ readings differ by more than the uncertainty of both \(95 %\)/);
    expect(out.split('\n').filter((line) => widthOf(line) > 80)).toEqual([]);
    expect(out).not.toMatch(/NaN|undefined|null/);
    const document = JSON.parse((await runCli(['compare', 'job', 'rest', 'all', '--json'], { cwd })).out) as Document;
    // What has a name is not called by its id alone.
    expect(out.replace(/\([a-z0-9.-]+\)/g, '')).not.toMatch(/\b(noise|gain|snr|thd|droop|match|player)\.[a-z0-9]/);
    expect(document.readings.filter((r) => r.unit === 'dBu').every((r) => r.differenceUnit === 'dB')).toBe(true);
    expect(document.format).toBe('boardproof-comparison/1');
    expect(document.first.state).toBe('rest');
    const [noise] = document.readings.filter(({ id }) => id === 'noise.a');
    const of = (state: string): number => now.readings.find((r) => r.id === 'noise.a' && r.state === state)!.value!;
    expect(noise!.difference).toBeCloseTo(of('all') - of('rest'), 12);
    expect(document.curves.every(({ frequencyHz, difference }) => frequencyHz.length === difference.length)).toBe(true);
  });

  it('puts both on a page of their own, and never over a file of the job', async () => {
    const cwd = folderOf({ job: now });
    const { exit, err } = await runCli(['compare', 'job', 'rest', 'all', '--report', 'sheet.html'], { cwd });
    expect(exit).toBe(0);
    expect(err).toContain('sheet.html');
    expect(readFileSync(join(cwd, 'sheet.html'), 'utf8')).toMatch(/Comparison sheet[^]*Every loop in/);
    const before = readFileSync(join(cwd, 'job', 'results.json'), 'utf8');
    const over = await runCli(['compare', 'job', 'rest', 'all', '--report', 'job/results.json'], { cwd });
    expect({ exit: over.exit, out: over.out }).toEqual({ exit: 2, out: '' });
    expect(over.err).toContain('job/results.json');
    expect(readFileSync(join(cwd, 'job', 'results.json'), 'utf8')).toBe(before);
  });

  it('a state that is not there is refused with those that are, and the likely one', async () => {
    const { exit, out, err } = await runCli(['compare', 'job', 'rest', 'al'], { cwd: folderOf({ job: now }) });
    expect({ exit, out }).toEqual({ exit: 2, out: '' });
    expect(err).toMatch(/^boardproof: The results of job have no state "al" \(did you mean all\?\); they have .*rest.*\.\n$/);
  });

  it.each([
    ['no state', ['job']],
    ['one state', ['job', 'rest']],
    ['three', ['job', 'rest', 'all', 'bench']],
    ['states and a job', ['job', 'rest', 'all', '--against', 'job']],
  ])('%s is a usage error', async (_what, args) => {
    const { exit, err } = await runCli(['compare', ...args], { cwd: folderOf({ job: now }) });
    expect(exit).toBe(2);
    expect(err).toMatch(args.includes('--against') ? /compare takes two states, or --against with another job, not both/ : /compare takes two states, or --against with another job; the results of job have the states .*rest.*all/);
  });
});

describe('compare of two jobs', () => {
  it('against itself nothing differs', async () => {
    const document = JSON.parse((await runCli(['compare', 'job', '--against', 'job', '--json'], { cwd: folderOf({ job: now }) })).out) as Document;
    expect(document.readings.length).toBeGreaterThan(20);
    expect(document.readings.filter(({ significance }) => significance === 'higher' || significance === 'lower' || significance === 'changed')).toEqual([]);
  });

  it('names what is outside its limit now and was not then', async () => {
    const cwd = folderOf({ delivery: moved(now, 'noise.a', 'rest', 0, 'pass'), job: moved(now, 'noise.a', 'rest', 9, 'fail') });
    const { exit, out } = await runCli(['compare', 'job', '--against', 'delivery'], { cwd });
    expect(exit).toBe(0);
    expect(out).toMatch(/^Then: [^\n]* UTC\nNow: {2}[^\n]* UTC\n✗ 2 readings are outside their limits now and were not then\.\n/);
    expect(out).toMatch(/\(noise\.a\) in rest on A and B: outside its limit/);
    expect(out).toMatch(/\nNoise floor, A-weighted {2}\(noise\.a\)\n {2}rest +A +-[\d.]+ +-[\d.]+ +\+9\.0+ ±[\d.]+ dB\n/);
    expect((await runCli(['compare', 'delivery', '--against', 'job'], { cwd })).out).toMatch(/\n✓ 2 readings are no longer outside their limits, and none is that was not\.\n[^]*\(noise\.a\) in rest on A and B: no longer outside its\s+limit/);
  });

  it('what is said to differ and to be alike names the output where it has to, and why a reading cannot be compared', async () => {
    // One figure that moves on A and stays on B.
    const at = (state: string, output: string): number => now.readings.find((r) => r.id === 'snr.a' && r.state === state && r.output === output)!.value!;
    const one = { ...now, readings: now.readings.map((r) => (r.id === 'snr.a' && r.state === 'all' && r.output !== null ? { ...r, value: at('rest', r.output) + (r.output === 'A' ? 0.05 : 0) } : r)) };
    const { out } = await runCli(['compare', 'job', 'rest', 'all'], { cwd: folderOf({ job: one }) });
    const text = out.replace(/\s+/g, ' ');
    const list = (head: string): string[] => new RegExp(`${head}[^:]*: ([^]*?)\\. (?=[A-Z]|$)`).exec(text)![1]!.split('; ');
    const [differ, alike] = [list('They differ as well'), list('Alike within their uncertainty')];
    expect(differ).toContain('Signal-to-noise ratio, A-weighted on A');
    expect(alike).toContain('Signal-to-noise ratio, A-weighted on B');
    expect(differ.filter((name) => alike.includes(name))).toEqual([]);
    expect(text).toContain('Cannot be compared, as one of them is a bound: ');
    expect(text).not.toMatch(/±0\.0+ |dBu\b/);
  });

  it('a job without results, or with damaged ones, is named', async () => {
    const cwd = folderOf({ job: now, broken: '{"format": "boardproof-results/1"}' });
    mkdirSync(join(cwd, 'empty'));
    const missing = await runCli(['compare', 'job', '--against', 'empty'], { cwd });
    expect({ exit: missing.exit, err: missing.err }).toEqual({ exit: 2, err: 'boardproof: empty has no results.json; run "boardproof measure empty" first.\n' });
    const broken = await runCli(['compare', 'broken', '--against', 'job'], { cwd });
    expect(broken.exit).toBe(2);
    expect(broken.err).toMatch(/broken\/results\.json is damaged/);
  });

  it('changes no file', async () => {
    const cwd = folderOf({ job: now });
    const before = readFileSync(join(cwd, 'job/results.json'), 'utf8');
    await runCli(['compare', 'job', '--against', 'job'], { cwd });
    expect(readFileSync(join(cwd, 'job/results.json'), 'utf8')).toBe(before);
  });
});

describe('hostile names', () => {
  it('put no control character on the screen', async () => {
    const hostile = hostileResults();
    const states = [...new Set(hostile.readings.map(({ state }) => state))];
    const { exit, out } = await runCli(['compare', 'job', '--against', 'job'], { cwd: folderOf({ job: hostile }) });
    expect(exit).toBe(0);
    expect(HOSTILE.length + states.length).toBeGreaterThan(2);
    // eslint-disable-next-line no-control-regex
    expect(out).not.toMatch(/[\u0000-\u0009\u000b-\u001f\u007f-\u009f\u202a-\u202e\u2066-\u2069]/);
  });
});
