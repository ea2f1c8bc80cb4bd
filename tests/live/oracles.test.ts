/**
 * The committed numbers of the outside oracles must follow from their generators, with the tools installed here.
 * Other versions of a tool may differ in the last digits; what differs by more than the tolerances of the tests is an error.
 */
import { execFileSync } from 'node:child_process';
import { cpSync, mkdtempSync, readFileSync, readdirSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { describe, expect, it } from 'vitest';

const outside = resolve(import.meta.dirname, '../outside');

/** Every number of a JSON document with its path; other leaves as they are. */
function leaves(value: unknown, path = ''): [string, unknown][] {
  if (value === null || typeof value !== 'object') return [[path, value]];
  return Object.entries(value).flatMap(([k, v]) => leaves(v, `${path}/${k}`));
}

function regenerated(oracle: string, script: string, file: string): { committed: unknown; fresh: unknown } {
  const folder = mkdtempSync(join(tmpdir(), 'oracle-'));
  try {
    cpSync(join(outside, oracle), folder, { recursive: true });
    // What the generator does not write must be missed.
    for (const name of readdirSync(folder)) if (name.endsWith('.json')) rmSync(join(folder, name));
    execFileSync('/usr/bin/python3', [join(folder, script), folder], { cwd: folder, stdio: ['ignore', 'ignore', 'inherit'] });
    const read = (from: string): unknown => JSON.parse(readFileSync(join(from, file), 'utf8'));
    return { committed: read(join(outside, oracle)), fresh: read(folder) };
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

describe.each([
  { oracle: 'scipy', script: 'generate.py' },
  { oracle: 'ngspice', script: 'generate.py' },
  { oracle: 'numpy', script: 'reference_signals.py' },
  { oracle: 'wav-files', script: 'generate.py' },
])('$oracle', ({ oracle, script }) => {
  const files = readdirSync(join(outside, oracle)).filter((f) => f.endsWith('.json') && f !== 'versions.json');

  it('has committed numbers', () => {
    expect(files.length).toBeGreaterThan(0);
  });

  it.each(files)('%s follows from its generator', (file) => {
    const { committed, fresh } = regenerated(oracle, script, file);
    const [a, b] = [leaves(committed), leaves(fresh)];
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
