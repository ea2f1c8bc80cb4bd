/**
 * Control characters (C0, C1, DEL), line and paragraph separators, the marks that turn the direction of text around
 * (bidirectional overrides, embeddings, isolates), zero-width characters and lone surrogates: what could make a
 * terminal or a reader show something other than what the file holds.
 */
const HIDDEN = /[\p{Cc}\p{Cs}\p{Zl}\p{Zp}\u061c\u200b-\u200f\u202a-\u202e\u2060-\u2069\ufeff\ufff9-\ufffb]/gu;

/**
 * Where a joiner or non-joiner belongs to the writing itself, and leaving it out would change what is read: after a vowel sign,
 * a virama, a skin tone or a variation selector, after a pictograph that goes on in another, and between Arabic letters
 * (Unicode 15 chapters 9, 12 and 23, from memory). Elsewhere, as between Latin letters, it only hides.
 */
const BEFORE_JOINER = /[\p{M}\p{Emoji_Modifier}\p{Extended_Pictographic}\p{Script=Arabic}]$/u;
const isJoiner = (character: string): boolean => character === '\u200c' || character === '\u200d';

/** Text safe to show: each hidden character as `\u{…}`. Letters of every script stay, with the joiners that they need. */
export const printable = (text: string): string =>
  text.replace(HIDDEN, (character, at: number) =>
    isJoiner(character) && BEFORE_JOINER.test(text.slice(Math.max(0, at - 2), at)) ? character : `\\u{${character.codePointAt(0)!.toString(16)}}`,
  );
