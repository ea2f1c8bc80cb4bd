/** The two demonstrations, as a user runs them: the faults that were built in are what is found, and nothing else. */
import { execFileSync } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { expect, it } from 'vitest';
import type { Results } from '../../src/judge/results.js';

const program = resolve(import.meta.dirname, '../../dist/cli/main.js');

function demo(...options: string[]): { report: string; results: Results; verdict: { word: string; missing: string[] }; findings: { id: string; severity: string }[] } {
  const folder = mkdtempSync(join(tmpdir(), 'demo-'));
  try {
    const out = execFileSync(process.execPath, [program, 'demo', '--json', '--out', join(folder, 'demo'), ...options], { encoding: 'utf8', stdio: ['ignore', 'pipe', 'inherit'], maxBuffer: 1 << 26 });
    const told = JSON.parse(out) as ReturnType<typeof demo>;
    expect(existsSync(told.report)).toBe(true);
    return { ...told, results: JSON.parse(readFileSync(join(folder, 'demo', 'results.json'), 'utf8')) as Results };
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

it('finds the four faults that were built in', () => {
  const { verdict, findings } = demo();
  expect(verdict.word).toBe('fail');
  expect(findings.filter((f) => f.severity === 'fault').map((f) => f.id).sort()).toEqual(['hum/comp', 'level/B', 'loop-inverted/eq', 'whine/1013']);
});

it('passes the same board without them, its footswitches, moved leads and headroom included', () => {
  const { verdict, findings, results } = demo('--clean');
  const of = (id: string): (number | null)[] => results.readings.filter((r) => r.id === id).map((r) => r.value);
  expect(of('click.count')).toEqual([12, 12]);
  expect([...of('flex.dropouts'), ...of('flex.crackles')]).toEqual([0, 0, 0, 0]);
  // Drivers that cut off at 3.2 V, 9.31 dBu as a sine: of a sine with 1 % of harmonics by such a cut the fundamental is 0.21 dB above it.
  for (const value of of('headroom')) expect(value).toBeCloseTo(9.52, 1);
  expect(results.stairs).toHaveLength(1);
  expect(findings.filter((f) => f.severity !== 'note')).toEqual([]);
  expect(verdict).toMatchObject({ word: 'pass', missing: [] });
});
