/**
 * The fault catalogue: the committed table keeps what the project promises of it, and a few of its trials, done again, come out
 * as it has them. `node tests/catalogue/run.mjs` makes it anew.
 */
import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { describe, expect, it } from 'vitest';

const root = resolve(import.meta.dirname, '../..');
const file = join(root, 'reports/fault-catalogue.json');

interface Report {
  readonly singles: { readonly planted: number; readonly share: number };
  readonly clean: { readonly boards: number; readonly withFinding: number };
  readonly kinds: readonly { readonly kind: string; readonly planted: number; readonly right: number }[];
}
const report = JSON.parse(readFileSync(file, 'utf8')) as Report;

describe('the fault catalogue', () => {
  it('has 24 kinds of fault or more that were planted', () => {
    expect(report.kinds.filter(({ planted }) => planted > 0).length).toBeGreaterThanOrEqual(24);
  });

  it('98 % of single faults are told rightly and at the right place, and at most 1 % of clean boards have a finding', () => {
    expect(report.singles.share).toBeGreaterThanOrEqual(0.98);
    expect(report.clean.withFinding).toBeLessThanOrEqual(report.clean.boards / 100);
  });

  it('is current: some of its trials, done again, have the same outcome', () => {
    // Built by the time the tests run; the script says which trial differs.
    const out = execFileSync(process.execPath, [join(root, 'tests/catalogue/run.mjs'), '--check', file], { encoding: 'utf8' });
    expect(out).toBe('The report is current.\n');
  });
});
