/**
 * Text that strangers wrote (names of boards, loops, files), made fit for paper: cleaned, cut, wrapped.
 *
 * @module
 */

/**
 * Text as it may appear on paper: control characters, lone surrogates and bidirectional embeddings or overrides become
 * U+FFFD, so that something stands where something was; marks of direction stay, since right-to-left names need them.
 * Stacks of more than six combining marks are cut, so that no name paints over its neighbours.
 */
export function cleanText(text: string): string {
  return (
    text
      .replace(/[\t\n\r\v\f\u0085\u2028\u2029]+/g, ' ')
      // eslint-disable-next-line no-control-regex -- control characters are what is looked for
      .replace(/[\u0000-\u001f\u007f-\u009f\u202a-\u202e\u2066-\u2069\ufeff\ufffe\uffff]/g, '\ufffd')
      .replace(/[\ud800-\udbff](?![\udc00-\udfff])|(?<![\ud800-\udbff])[\udc00-\udfff]/g, '\ufffd')
      .replace(/(\p{M}{6})\p{M}+/gu, '$1')
  );
}

/** The text as one CSS string: everything but letters, digits and spaces as an escape. */
export function cssString(text: string): string {
  return `"${cleanText(text).replace(/[^\p{L}\p{N} ]/gu, (c) => `\\${c.codePointAt(0)!.toString(16)} `)}"`;
}

const clusters = new Intl.Segmenter('en', { granularity: 'grapheme' });

/** At most so many characters as a reader counts them; what is cut shows as an ellipsis. */
export function shorten(text: string, most: number): string {
  const clean = cleanText(text).trim();
  // A cluster is at least one code unit, so short text needs no counting.
  if (clean.length <= most) return clean;
  const kept: string[] = [];
  for (const { segment } of clusters.segment(clean.slice(0, most * 40))) {
    if (kept.length === most) return `${kept.slice(0, most - 1).join('').trimEnd()}…`;
    kept.push(segment);
  }
  return kept.join('');
}

/** Longest name printed in full; a longer one is cut on paper and whole in the results file. */
export const LONGEST_NAME = 120;

/**
 * Width of text in ems of a sans-serif font, by class of character: wide enough for layout, not for typesetting.
 */
export function widthEm(text: string): number {
  let ems = 0;
  for (const c of text) {
    const code = c.codePointAt(0)!;
    if (/\p{M}/u.test(c)) continue;
    if (code >= 0x2e80) ems += 1.05;
    else if (/[ iljI.,:;'|!()[\]]/.test(c)) ems += 0.34;
    else if (/[frtsczJ-]/.test(c)) ems += 0.48;
    else if (/[mwMW@%—…]/.test(c)) ems += 0.92;
    else if (/\p{Lu}/u.test(c)) ems += 0.7;
    else ems += 0.58;
  }
  return ems;
}

const graphemes = (text: string): string[] => Array.from(clusters.segment(text), (s) => s.segment);

/** A word in pieces that fit; one that fits stays whole. */
function pieces(word: string, mostEm: number): string[] {
  const out: string[] = [];
  let piece = '';
  for (const g of graphemes(word)) {
    if (piece !== '' && widthEm(piece + g) > mostEm) {
      out.push(piece);
      piece = '';
    }
    piece += g;
  }
  return [...out, piece];
}

/** Breaks a name into at most so many lines of so many ems, cutting what does not fit. */
export function wrapName(text: string, mostEm: number, mostLines: number): string[] {
  const words = shorten(text, LONGEST_NAME).split(/\s+/).filter((w) => w !== '').flatMap((w) => pieces(w, mostEm));
  const lines: string[] = [];
  for (const word of words) {
    const joined = lines.length === 0 ? word : `${lines[lines.length - 1]!} ${word}`;
    if (lines.length > 0 && widthEm(joined) <= mostEm) lines[lines.length - 1] = joined;
    else lines.push(word);
  }
  if (lines.length <= mostLines) return lines;
  const last = graphemes(lines[mostLines - 1]!);
  while (last.length > 1 && widthEm(`${last.join('')}…`) > mostEm) last.pop();
  return [...lines.slice(0, mostLines - 1), `${last.join('').trimEnd()}…`];
}
