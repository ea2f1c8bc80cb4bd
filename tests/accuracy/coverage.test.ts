/** The coverage tables are what the code does now: their first trials are run again, and every row is there to be judged. */
import { execFileSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';
import { readingIds } from '../../src/judge/reading-ids.js';
import coverage from '../../reports/coverage.json' with { type: 'json' };

const script = fileURLToPath(new URL('coverage.mjs', import.meta.url));
const rows = Object.entries(coverage.tables).flatMap(([table, readings]) => Object.entries(readings).map(([id, row]) => [`${table}: ${id}`, row] as const));

/** Readings without an interval to try, and why. */
const WITHOUT_ROW: Readonly<Record<string, string>> = {
  ...Object.fromEntries(['noise.crackle', 'noise.thump', 'noise.drop-out', 'take.dropouts', 'click.count', 'flex.dropouts', 'flex.crackles'].map((id) => [id, 'counted'])),
  ...Object.fromEntries(['polarity', 'match.polarity', 'loop.polarity', 'switch.polarity', 'switch.others'].map((id) => [id, 'a sign'])),
  'click.middle-frequency': 'a description of the spectrum, given without uncertainty',
  'loop.hum': 'a lower bound',
  'noise.over-thermal': 'noise.hiss less a computed figure, with its interval',
  'player.hiss-over-instrument': 'noise.hiss less a computed figure, with its interval',
};

describe('reports/coverage.json', () => {
  it('follows from the code: the first trials of each table come out the same', () => {
    expect(execFileSync(process.execPath, [script, '--check'], { encoding: 'utf8' })).toContain('reports/coverage.json is current');
  });

  it('has a row for every reading that has an uncertainty of its own', () => {
    const tried = new Set(Object.values(coverage.tables).flatMap((table) => Object.keys(table)));
    expect(readingIds.filter((id) => !tried.has(id) && !(id in WITHOUT_ROW))).toEqual([]);
    expect(Object.keys(WITHOUT_ROW).filter((id) => tried.has(id) || !readingIds.includes(id))).toEqual([]);
  });

  it.each(rows)('%s: 400 trials, and the interval holds the truth often enough', (_, { trials, coveragePercent }) => {
    expect(trials).toBeGreaterThanOrEqual(400);
    // 95 % of 400 scatters by 1.1 %; three of those. Too wide an interval is seen in the table, too narrow a one is an error.
    expect(coveragePercent).toBeGreaterThan(91.7);
  });
});
