/** The summary of `measure` and `signoff`, from results made by formula. */
import { describe, expect, it } from 'vitest';
import { widthOf } from '../../cli/layout.js';
import { printSummary } from '../../cli/results-summary.js';
import type { Context } from '../../cli/terminal.js';
import type { Finding, Results } from '../../src/judge/results.js';
import { boardResults } from '../report/fixture.js';

const base = boardResults({ loops: 3, outputs: 2, seed: 3 });
const finding: Finding = { ...base.findings[0]!, severity: 'fault', title: 'Loop x adds hum.', cause: 'Mostly odd harmonics.', tryNext: 'Move its leads.', confirm: 'Capture rest.idle again: the mains hum must fall to that of all.idle.' };
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
  it('says of a finding what, why, what to do and what then to capture', () => {
    const said = shown(false).split('\nWith every loop out')[0]!.replace(/\s+/g, ' ');
    for (const sentence of [finding.title, finding.cause, finding.tryNext, finding.confirm!]) expect(said).toContain(sentence);
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
