import { describe, expect, it } from 'vitest';
import { Problem } from '../../src/problems.js';
import { readResults } from '../../src/report/read-results.js';
import { allMissingResults, boardResults, emptyResults, hostileResults } from './fixture.js';

const refusal = (content: string): Problem => {
  try {
    readResults(content, 'job/results.json');
  } catch (error) {
    if (error instanceof Problem) return error;
    throw error;
  }
  throw new Error('was not refused');
};

/** The fixture's JSON with one value replaced, by its path. */
function broken(path: readonly (string | number)[], value: unknown): string {
  const data = JSON.parse(JSON.stringify(boardResults({ loops: 1 }))) as Record<string, unknown>;
  let at: Record<string | number, unknown> = data;
  for (const key of path.slice(0, -1)) at = at[key] as Record<string | number, unknown>;
  // JSON leaves out what is undefined.
  at[path.at(-1)!] = value;
  return JSON.stringify(data);
}

describe('readResults', () => {
  it.each([
    ['a faulty board', boardResults()],
    ['nothing captured', emptyResults()],
    ['no figures', allMissingResults()],
  ])('gives back %s as it was written', (_, results) => {
    expect(readResults(JSON.stringify(results), 'results.json')).toEqual(results);
  });

  it('takes hostile text, and a byte order mark', () => {
    const results = { ...hostileResults(), curves: [] };
    expect(readResults(`\ufeff${JSON.stringify(results)}`, 'results.json')).toEqual(results);
  });

  it('leaves out keys that a later version may have added', () => {
    expect(readResults(broken(['board', 'colour'], 'red'), 'results.json')).toEqual(boardResults({ loops: 1 }));
  });

  it.each([
    ['an empty file', '', 'report.results-damaged', 'job/results.json is damaged: it is empty; run "boardproof measure" again.'],
    ['a file cut short', JSON.stringify(emptyResults()).slice(0, 400), 'report.results-damaged', 'job/results.json is damaged: it is not whole JSON; run "boardproof measure" again.'],
    ['other JSON', '[1, 2]', 'report.results-damaged', 'job/results.json is damaged: it has no "format"; run "boardproof measure" again.'],
    ['null', 'null', 'report.results-damaged', 'job/results.json is damaged: it has no "format"; run "boardproof measure" again.'],
    [
      'a later format', broken(['format'], 'boardproof-results/2'), 'report.results-format',
      'job/results.json is in the format "boardproof-results/2", but this version reads boardproof-results/1; run "boardproof measure" again, or use the version that wrote it.',
    ],
    ['a missing key', broken(['verdict', 'word'], undefined), 'report.results-damaged', /damaged: verdict\.word /],
    ['a text for a figure', broken(['readings', 3, 'value'], 'loud'), 'report.results-damaged', /damaged: readings\[3\]\.value must be a number;/],
    ['a missing figure', broken(['readings', 3, 'value'], undefined), 'report.results-damaged', /damaged: readings\[3\]\.value is missing;/],
    ['an unknown verdict', broken(['readings', 0, 'verdict'], 'maybe'), 'report.results-damaged', /readings\[0\]\.verdict must be one of "pass", "fail"/],
    ['a negative uncertainty', broken(['readings', 0, 'uncertainty'], -1), 'report.results-damaged', /readings\[0\]\.uncertainty has a value that it cannot have/],
    ['a number beyond all numbers', broken(['readings', 0, 'value'], 'HUGE').replace('"HUGE"', '1e999'), 'report.results-damaged', /readings\[0\]\.value/],
    ['a curve shorter than its axis', broken(['curves', 0, 'y', 'values'], [1, 2]), 'report.results-damaged', /curves\[0\]\.y has 2 values where x has 800/],
    ['a band shorter than its curve', broken(['curves', 0, 'peak'], []), 'report.results-damaged', /curves\[0\]\.peak has 0 values where x has 800/],
    ['frequencies out of order', broken(['curves', 0, 'x', 'values', 5], 1), 'report.results-damaged', /curves\[0\]\.x must be frequencies above zero in ascending order/],
    ['a frequency of null', broken(['curves', 0, 'x', 'values', 0], null), 'report.results-damaged', /curves\[0\]\.x must be frequencies/],
    ['a list for an object', broken(['board'], []), 'report.results-damaged', /damaged: board /],
  ] as const)('refuses %s in one sentence', (_, content, code, message) => {
    const problem = refusal(content);
    expect(problem.code).toBe(code);
    expect(problem.exit).toBe(2);
    expect(problem.message).toMatch(message);
    expect(problem.message).not.toMatch(/undefined|\n|zod|NaN/i);
  });
});
