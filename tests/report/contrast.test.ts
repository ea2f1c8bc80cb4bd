import { describe, expect, it } from 'vitest';
import { palette } from '../../src/report/style.js';

/** Relative luminance and contrast ratio, WCAG 2.2. */
const luminance = (hex: string): number => {
  const [r, g, b] = [1, 3, 5].map((i) => {
    const c = parseInt(hex.slice(i, i + 2), 16) / 255;
    return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
  }) as [number, number, number];
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
};
const contrast = (a: string, b: string): number => {
  const [high, low] = [luminance(a), luminance(b)].sort((p, q) => q - p) as [number, number];
  return (high + 0.05) / (low + 0.05);
};

describe.each(Object.entries(palette))('%s', (_, colours) => {
  const text = ['--ink', '--faint', '--link', '--quiet', '--pass', '--fail', '--caution', '--undecided', '--bench', '--info', '--line-1', '--line-2', '--line-3', '--line-4', '--line-5', '--hum', '--whine', '--limit'] as const;

  it.each(text)('%s reads on the sheet (4.5:1, success criterion 1.4.3)', (name) => {
    expect(contrast(colours[name], colours['--sheet'])).toBeGreaterThanOrEqual(4.5);
  });

  it('text reads in the boxes of the drawing', () => {
    for (const name of ['--ink', '--faint'] as const) expect(contrast(colours[name], colours['--box'])).toBeGreaterThanOrEqual(4.5);
  });

  it('signs stand out inside their shapes, and outlines from the sheet (3:1, 1.4.11)', () => {
    for (const name of ['--pass', '--fail', '--caution', '--undecided', '--bench'] as const) expect(contrast(colours['--on-mark'], colours[name])).toBeGreaterThanOrEqual(3);
    expect(contrast(colours['--rule-strong'], colours['--sheet'])).toBeGreaterThanOrEqual(3);
  });
});
