/**
 * Control characters (C0, C1, DEL), line and paragraph separators, the marks that turn the direction of text around
 * (bidirectional overrides, embeddings, isolates), zero-width characters and lone surrogates: what could make a
 * terminal or a reader show something other than what the file holds.
 */
const HIDDEN = /[\p{Cc}\p{Cs}\p{Zl}\p{Zp}\u061c\u200b-\u200f\u202a-\u202e\u2060-\u2069\ufeff\ufff9-\ufffb]/gu;

/** Text safe to show: each hidden character as `\u{…}`. Letters of every script stay. */
export const printable = (text: string): string =>
  text.replace(HIDDEN, (character) => `\\u{${character.codePointAt(0)!.toString(16)}}`);
