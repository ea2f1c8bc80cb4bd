import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { type Html, escapeHtml, html } from '../../src/report/html.js';
import { cleanText, cssString, shorten, widthEm, wrapName } from '../../src/report/text.js';
import { anyText } from '../helpers/any-text.js';

describe('escapeHtml', () => {
  it('leaves nothing that could end text or a quoted attribute', () => {
    fc.assert(
      fc.property(anyText(60), (text) => {
        const escaped = escapeHtml(text);
        expect(escaped).not.toMatch(/[<>"']/);
        expect(escaped.replace(/&(?:amp|lt|gt|quot|#39);/g, '')).not.toContain('&');
      }),
      { seed: 7, numRuns: 500 },
    );
  });

  it('gives every text back that a browser would read out of it', () => {
    const entities: Readonly<Record<string, string>> = { '&amp;': '&', '&lt;': '<', '&gt;': '>', '&quot;': '"', '&#39;': "'" };
    fc.assert(
      fc.property(anyText(60), (text) => {
        expect(escapeHtml(text).replace(/&(?:amp|lt|gt|quot|#39);/g, (e) => entities[e]!)).toBe(cleanText(text));
      }),
      { seed: 8, numRuns: 300 },
    );
  });
});

describe('html', () => {
  it('escapes text, takes markup as it is, and joins lists of both', () => {
    expect(html`<p>${'<b>'}${html`<i>${'&'}</i>`}${['a', html`<br>`, ['"']]}</p>`.markup).toBe('<p>&lt;b&gt;<i>&amp;</i>a<br>&quot;</p>');
  });

  it('does not take a text that looks like markup for markup', () => {
    // @ts-expect-error: only Html, text and lists of them are parts
    const part: Html = { markup: '<script>' };
    expect(() => html`${part}`).toThrow(TypeError);
  });
});

describe('cleanText', () => {
  it.each([
    ['a right-to-left override', 'a\u202eb', 'a\ufffdb'],
    ['an isolate', 'a\u2067b\u2069', 'a\ufffdb\ufffd'],
    ['NUL and escape', 'a\u0000\u001bb', 'a\ufffd\ufffdb'],
    ['a lone high surrogate', 'a\ud800', 'a\ufffd'],
    ['a lone low surrogate', '\udc00a', '\ufffda'],
    ['line breaks and tabs', 'a\r\n\tb\u2028c', 'a b c'],
  ])('%s', (_, given, wanted) => {
    expect(cleanText(given)).toBe(wanted);
  });

  it('keeps scripts, emoji and the marks of direction that they need', () => {
    for (const text of ['لوحة\u200f ١', '🎸👨‍👩‍👧‍👦🏳️‍🌈', 'Ångström', '電子', 'हिन्दी']) expect(cleanText(text)).toBe(text);
  });

  it('cuts a stack of combining marks to six', () => {
    expect(cleanText(`Z${'\u0335'.repeat(400)}a`)).toBe(`Z${'\u0335'.repeat(6)}a`);
  });
});

describe('shorten', () => {
  it('keeps what fits and never cuts a character in two', () => {
    expect(shorten('stage amplifier', 15)).toBe('stage amplifier');
    expect(shorten('👨‍👩‍👧‍👦'.repeat(5), 3)).toBe('👨‍👩‍👧‍👦👨‍👩‍👧‍👦…');
    expect(shorten('abcdef', 4)).toBe('abc…');
  });

  it('takes a megabyte without effort', () => {
    expect(shorten('x'.repeat(1_000_000), 10)).toBe('xxxxxxxxx…');
  });
});

describe('cssString', () => {
  it('holds only letters, digits, spaces and hexadecimal escapes between its quotes', () => {
    fc.assert(
      fc.property(anyText(40), (text) => {
        expect(cssString(text)).toMatch(/^"(?:[\p{L}\p{N} ]|\\[0-9a-f]+ )*"$/u);
      }),
      { seed: 9, numRuns: 300 },
    );
    expect(cssString('</style>"')).toBe('"\\3c \\2f style\\3e \\22 "');
  });
});

describe('wrapName', () => {
  it('keeps within its lines and its width', () => {
    fc.assert(
      fc.property(anyText(80), fc.integer({ min: 4, max: 14 }), fc.integer({ min: 1, max: 3 }), (text, ems, most) => {
        const lines = wrapName(text, ems, most);
        expect(lines.length).toBeLessThanOrEqual(most);
        for (const line of lines) expect(widthEm(line), line).toBeLessThanOrEqual(ems);
      }),
      { seed: 10, numRuns: 300 },
    );
  });

  it('breaks between words, and inside a word only where it must', () => {
    expect(wrapName('equaliser set flat', 6, 2)).toEqual(['equaliser', 'set flat']);
    expect(wrapName('insert patched through', 6, 2)[1]).toMatch(/^patched.*…$|^patched$/);
    expect(wrapName('x'.repeat(30), 6, 2).join('')).toMatch(/^x+…$/);
  });
});
