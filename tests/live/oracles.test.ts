/**
 * The committed numbers of the outside oracles must follow from their generators, with the tools installed here.
 * Other versions of a tool may differ in the last digits; what differs by more than the tolerances of the tests is an error.
 */
import { execFileSync } from 'node:child_process';
import { cpSync, mkdtempSync, readFileSync, readdirSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { beforeAll, describe, expect, it } from 'vitest';

const outside = resolve(import.meta.dirname, '../outside');

/** Every number of a JSON document with its path; other leaves as they are. */
function leaves(value: unknown, path = ''): [string, unknown][] {
  if (value === null || typeof value !== 'object') return [[path, value]];
  return Object.entries(value).flatMap(([k, v]) => leaves(v, `${path}/${k}`));
}

/** What a generator writes into an empty copy of its folder, by file. */
function regenerated(oracle: string, script: string): Map<string, unknown> {
  const folder = mkdtempSync(join(tmpdir(), 'oracle-'));
  try {
    cpSync(join(outside, oracle), folder, { recursive: true });
    // What the generator does not write must be missed.
    for (const name of readdirSync(folder)) if (name.endsWith('.json')) rmSync(join(folder, name));
    execFileSync('/usr/bin/python3', [join(folder, script), folder], { cwd: folder, stdio: ['ignore', 'ignore', 'inherit'], env: { ...process.env, PYTHONPATH: outside } });
    return new Map(readdirSync(folder).filter((name) => name.endsWith('.json')).map((name) => [name, JSON.parse(readFileSync(join(folder, name), 'utf8'))]));
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

describe.each([
  { oracle: 'scipy', script: 'generate.py', writes: null },
  { oracle: 'ngspice', script: 'generate.py', writes: null },
  { oracle: 'numpy', script: 'reference_signals.py', writes: ['reference-signals.json'] },
  { oracle: 'numpy', script: 'hum_phases.py', writes: ['hum-phases.json'] },
  { oracle: 'wav-files', script: 'generate.py', writes: null },
  { oracle: 'sox', script: 'generate.py', writes: null },
  { oracle: 'libsndfile', script: 'generate.py', writes: null },
  { oracle: 'ffmpeg', script: 'generate.py', writes: ['loudness.json'] },
  { oracle: 'ffmpeg', script: 'levels.py', writes: ['levels.json'] },
])('$oracle, $script', ({ oracle, script, writes }) => {
  const files = writes ?? readdirSync(join(outside, oracle)).filter((f) => f.endsWith('.json') && f !== 'versions.json');
  let fresh = new Map<string, unknown>();
  beforeAll(() => {
    fresh = regenerated(oracle, script);
  });

  it('has committed numbers', () => {
    expect(files.length).toBeGreaterThan(0);
  });

  it.each(files)('%s follows from its generator', (file) => {
    const committed: unknown = JSON.parse(readFileSync(join(outside, oracle, file), 'utf8'));
    const [a, b] = [leaves(committed), leaves(fresh.get(file))];
    expect(b.map(([path]) => path)).toEqual(a.map(([path]) => path));
    expect(a.length).toBeGreaterThan(3);
    a.forEach(([path, want], i) => {
      const got = b[i]![1];
      if (/version/i.test(path)) return;
      // 1e-5 relative; below 1e-13 stand phases and sums that round to nothing, and densities of the last bin.
      if (typeof want === 'number') expect(Math.abs((got as number) - want), path).toBeLessThan(1e-5 * Math.abs(want) + (Math.abs(want) < 1e-13 ? 1e-13 : 1e-16));
      else expect(got, path).toEqual(want);
    });
  });
});
