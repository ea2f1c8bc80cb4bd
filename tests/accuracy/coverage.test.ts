/** The coverage tables are what the code does now: their first trials are run again, and every row is there to be judged. */
import { execFileSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';
import coverage from '../../reports/coverage.json' with { type: 'json' };

const script = fileURLToPath(new URL('coverage.mjs', import.meta.url));
const rows = Object.entries(coverage.tables).flatMap(([table, readings]) => Object.entries(readings).map(([id, row]) => [`${table}: ${id}`, row] as const));

describe('reports/coverage.json', () => {
  it('follows from the code: the first trials of each table come out the same', () => {
    expect(execFileSync(process.execPath, [script, '--check'], { encoding: 'utf8' })).toContain('reports/coverage.json is current');
  });

  it.each(rows)('%s: 400 trials, and the interval holds the truth often enough', (_, { trials, coveragePercent }) => {
    expect(trials).toBeGreaterThanOrEqual(400);
    // 95 % of 400 scatters by 1.1 %; three of those. Too wide an interval is seen in the table, too narrow a one is an error.
    expect(coveragePercent).toBeGreaterThan(91.7);
  });
});
