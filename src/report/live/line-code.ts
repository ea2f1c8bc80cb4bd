/**
 * Curves as short text for the page's script: whole steps of a thousandth (or a hundredth) of the unit, each as its difference
 * from the one before, in as few letters as it needs. A curve of 485 points takes half a kilobyte.
 *
 * @module
 */

/** 64 letters that stand for themselves in JSON and in HTML. */
export const LETTERS = 'ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789_-';
/** Stands where a curve has no point. */
export const GAP = '.';

/**
 * Codes values, rounded to `10^-decimals`. A difference d is sent as 2d, or −2d − 1 below zero, five bits to a letter, the
 * lowest first; a letter of 32 or more says that another follows. `decodeLine` in the page's script turns it back.
 */
export function encodeLine(values: readonly (number | null)[], decimals: number): string {
  const scale = 10 ** decimals;
  let before = 0;
  let text = '';
  for (const value of values) {
    if (value === null) {
      text += GAP;
      continue;
    }
    const now = Math.round(value * scale);
    const d = now - before;
    before = now;
    let rest = d < 0 ? -2 * d - 1 : 2 * d;
    while (rest >= 32) {
      text += LETTERS[32 + (rest % 32)]!;
      rest = Math.floor(rest / 32);
    }
    text += LETTERS[rest]!;
  }
  return text;
}
