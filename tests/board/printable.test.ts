import { describe, expect, it } from 'vitest';
import { printable } from '../../src/board/printable.js';
import { escapeHtml } from '../../src/report/html.js';

describe('printable', () => {
  it.each([
    ['a family', '\u{1f469}\u200d\u{1f469}\u200d\u{1f467}'],
    ['a person with a tone of skin and a trade', '\u{1f469}\u{1f3fd}\u200d\u{1f3a4}'],
    ['a heart with a variation selector', '\u2764\ufe0f\u200d\u{1f525}'],
    ['a half form of Devanagari', '\u0915\u094d\u200d\u0937'],
    ['a conjunct of Malayalam kept apart', '\u0d28\u0d4d\u200c\u0d28'],
    ['a word of Persian with a gap without width', '\u0645\u06cc\u200c\u062e\u0648\u0627\u0647\u0645'],
  ])('leaves %s as it is written, on the screen and on paper', (_, name) => {
    expect(printable(name)).toBe(name);
    expect(escapeHtml(name)).toBe(name);
  });

  it.each([
    ['a joiner between Latin letters', 'ad\u200dmin', 'ad\\u{200d}min'],
    ['a joiner at the start', '\u200dx', '\\u{200d}x'],
    ['two joiners in a row', '\u{1f469}\u200d\u200d\u{1f467}', '\u{1f469}\u200d\\u{200d}\u{1f467}'],
    ['a space without width', 'a\u200bb', 'a\\u{200b}b'],
    ['an override of direction', 'a\u202eb', 'a\\u{202e}b'],
    ['an isolate', 'a\u2066b', 'a\\u{2066}b'],
    ['an escape sequence', '\u001b[2Jx', '\\u{1b}[2Jx'],
    ['half of a pair', '\ud800x', '\\u{d800}x'],
  ])('shows %s by its number', (_, text, wanted) => {
    expect(printable(text)).toBe(wanted);
  });
});
