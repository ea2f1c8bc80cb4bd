/**
 * The accuracy page is what the code does now: everything on it is computed again. `npm run accuracy` writes it.
 */
import { readFileSync, writeFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { methods } from '../../src/judge/methods.js';
import { gather } from './gather.js';
import type { Accuracy } from './gather.js';
import { methodChecksSource } from './method-checks.js';
import { accuracyPage } from './page.js';

const at = (name: string): URL => new URL(`../../reports/${name}`, import.meta.url);
/** What the method notes of a report say of it. */
const CHECKS = new URL('../../src/judge/method-checks.ts', import.meta.url);
const now = gather();
if (process.env['npm_lifecycle_event'] === 'accuracy') {
  writeFileSync(at('accuracy.json'), `${JSON.stringify(now, null, 1)}\n`);
  writeFileSync(at('accuracy.html'), accuracyPage(now));
  writeFileSync(CHECKS, methodChecksSource(now));
}
const page = JSON.parse(readFileSync(at('accuracy.json'), 'utf8')) as Accuracy;

describe('every figure on the accuracy page', () => {
  it.each(now.checks.map((c) => [`${c.figure} against ${c.oracle}`, c] as const))('%s: within what is allowed', (_, c) => {
    expect(c.cases).toBeGreaterThan(0);
    expect(Math.abs(c.largest), `${c.worst}: ${c.largest} ${c.unit}`).toBeLessThanOrEqual(c.tolerance);
  });

  it('rests on method notes that there are', () => {
    const ids = new Set(methods.map(({ id }) => id));
    for (const { figure, methods: used } of now.checks) for (const id of used) expect(ids.has(id), `${figure}: ${id}`).toBe(true);
  });

  it('the rule errs in at most 2.5 of 100, wherever the truth lies', () => {
    // 2.5 % of 100 000 is known to 0.05 %; four of those.
    for (const { truth, passPercent, failPercent } of now.decisions) {
      if (truth >= 0) expect(passPercent).toBeLessThan(2.7);
      if (truth <= 0) expect(failPercent).toBeLessThan(2.7);
    }
  });
});

describe('reports/accuracy.json and accuracy.html are current (else: npm run accuracy)', () => {
  it('the same checks, found the same', () => {
    const words = ({ checks }: Accuracy): unknown => checks.map(({ figure, domain, oracle, version, unit, tolerance, because, methods: rests, cases }) => [figure, domain, oracle, version, unit, tolerance, because, rests, cases]);
    expect(words(page)).toEqual(words(now));
    page.checks.forEach((c, i) => {
      // Another machine rounds its last digits otherwise: what is found may move by a fiftieth, or by what is rounding beside the tolerance.
      const slack = (v: number): number => Math.max(0.02 * Math.abs(v), 1e-3 * c.tolerance, 1e-9);
      expect(Math.abs(c.largest - now.checks[i]!.largest), c.figure).toBeLessThanOrEqual(slack(c.largest));
      expect(Math.abs(c.rms - now.checks[i]!.rms), c.figure).toBeLessThanOrEqual(slack(c.rms));
    });
  });

  it('the same risks, coverage and losses', () => {
    const rest = ({ decisions, populations, coverage, losses }: Accuracy): unknown => ({ decisions, populations, coverage, losses });
    expect(rest(page)).toEqual(rest(now));
  });

  it('the page shows what the data says', () => {
    expect(readFileSync(at('accuracy.html'), 'utf8')).toBe(accuracyPage(page));
  });

  it('the method notes say the same', () => {
    expect(readFileSync(CHECKS, 'utf8')).toBe(methodChecksSource(page));
  });
});
