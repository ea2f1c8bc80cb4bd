/** The two demonstrations, as a user runs them: the faults that were built in are what is found, and nothing else. */
import { execFileSync } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { expect, it } from 'vitest';

const program = resolve(import.meta.dirname, '../../dist/cli/main.js');

function demo(...options: string[]): { report: string; verdict: { word: string; missing: string[] }; findings: { id: string; severity: string }[] } {
  const folder = mkdtempSync(join(tmpdir(), 'demo-'));
  try {
    const out = execFileSync(process.execPath, [program, 'demo', '--json', '--out', join(folder, 'demo'), ...options], { encoding: 'utf8', stdio: ['ignore', 'pipe', 'inherit'], maxBuffer: 1 << 26 });
    const told = JSON.parse(out) as ReturnType<typeof demo>;
    expect(existsSync(told.report)).toBe(true);
    return told;
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

it('finds the four faults that were built in', () => {
  const { verdict, findings } = demo();
  expect(verdict.word).toBe('fail');
  expect(findings.filter((f) => f.severity === 'fault').map((f) => f.id).sort()).toEqual(['hum/comp', 'level/B', 'loop-inverted/eq', 'whine/1013']);
});

it('passes the same board without them', () => {
  const { verdict, findings } = demo('--clean');
  expect(findings.filter((f) => f.severity !== 'note')).toEqual([]);
  expect(verdict).toMatchObject({ word: 'pass', missing: [] });
});
