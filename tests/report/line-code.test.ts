import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { GAP, LETTERS, encodeLine } from '../../src/report/live/line-code.js';
import { livePage } from '../../src/report/live/page-script.js';

/** The decoder as it runs in the page, cut out of the page's own script. */
const decodeLine = ((): ((text: string, decimals: number) => (number | null)[]) => {
  const source = livePage.toString();
  const start = source.indexOf('function decodeLine');
  let depth = 0;
  let end = source.indexOf('{', start);
  do {
    if (source[end] === '{') depth++;
    if (source[end] === '}') depth--;
    end++;
  } while (depth > 0);
  return new Function(`return ${source.slice(start, end)}`)() as (text: string, decimals: number) => (number | null)[];
})();

describe('a line as text', () => {
  it('comes back as it was, to half of its last decimal, gaps and all', () => {
    fc.assert(
      fc.property(fc.array(fc.option(fc.double({ min: -1e5, max: 1e5, noNaN: true })), { maxLength: 60 }), fc.integer({ min: 0, max: 4 }), (values, decimals) => {
        const back = decodeLine(encodeLine(values, decimals), decimals);
        expect(back.length).toBe(values.length);
        values.forEach((v, i) => {
          if (v === null) expect(back[i]).toBeNull();
          else expect(Math.abs(back[i]! - v)).toBeLessThanOrEqual(0.5 * 10 ** -decimals * (1 + 1e-9) + 1e-9);
        });
      }),
      { seed: 5, numRuns: 300 },
    );
  });

  it('is letters that stand for themselves in HTML and JSON, few of them for a smooth line', () => {
    const text = encodeLine([...Array.from({ length: 485 }, (_, i) => -(i ** 2) / 1e5), null], 3);
    for (const c of text) expect(LETTERS + GAP).toContain(c);
    expect(text.length).toBeLessThan(700);
  });
});
