/** The summary of `measure` and `signoff`, from results made by formula. */
import { describe, expect, it } from 'vitest';
import { widthOf } from '../../cli/layout.js';
import { inWords, printSummary } from '../../cli/results-summary.js';
import type { Context } from '../../cli/terminal.js';
import type { Finding, Results } from '../../src/judge/results.js';
import { isReadingId } from '../../src/judge/reading-ids.js';
import { boardResults } from '../report/fixture.js';

const base = boardResults({ loops: 3, outputs: 2, seed: 3 });
const finding: Finding = { ...base.findings[0]!, severity: 'fault', title: 'Loop x adds hum.', cause: 'noise.hum rises.', tryNext: 'Capture rest.take again.', confirm: 'Capture rest.idle again: noise.hum must fall to that of all.idle.' };
/** Noise too high in every state on every output, more so where every loop is in. */
const bad: Results = {
  ...base,
  findings: [finding],
  readings: base.readings.map((r) => (r.id === 'noise.a' ? { ...r, value: r.state === 'all' ? -60 : -70, verdict: 'fail' as const, limit: { max: -90, min: null, within: null, basis: 'for this test' } } : r)),
};

function shown(all: boolean, columns = 80): string {
  let out = '';
  const context = { out: { write: (text: string) => (out += text) }, err: { write: () => 0 }, columns: { out: columns, err: columns } } as unknown as Context;
  printSummary(context, { results: bad, changes: null, unreadable: null }, all);
  return out;
}

describe('the summary of results', () => {
  it('calls readings by what they are, and steps by their ids', () => {
    expect(inWords(finding.confirm!, bad.readings)).toBe('Capture rest.idle again: mains hum must fall to that of all.idle.');
    const sentences = shown(false).split('\nWith every loop out')[0]!;
    expect(sentences).toContain('Loop x adds hum.');
    expect([...sentences.matchAll(/[a-z]+(?:[.-][a-z0-9]+)+/g)].map(([id]) => id).filter((id) => id.includes('.') && isReadingId(id))).toEqual([]);
  });

  it('has a line for what is outside alike, the worst first, and with --all a line for each', () => {
    const failing = bad.readings.filter((r) => r.id === 'noise.a');
    expect(failing.length).toBeGreaterThan(4);
    const rows = (text: string): string[] => text.split('(noise.a)\n')[1]!.split('\n').filter((line) => line.includes('outside limits') && line.includes('≤ -90'));
    expect(rows(shown(false))).toHaveLength(1);
    expect(rows(shown(false))[0]).toMatch(/^ {2}all and \d more +A, B +-60\.0/);
    expect(rows(shown(true))).toHaveLength(failing.length);
  });

  it.each([80, 40])('fits %i columns', (columns) => {
    for (const all of [false, true]) expect(shown(all, columns).split('\n').filter((line) => widthOf(line) > columns)).toEqual([]);
  });
});
