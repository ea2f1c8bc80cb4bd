/**
 * A table of words and figures that are no judged readings.
 *
 * @module
 */
import type { Phrase } from './words.js';

export interface PlainTable {
  readonly caption: Phrase;
  readonly head: readonly string[];
  readonly rows: readonly { readonly head: Phrase; readonly cells: readonly string[] }[];
  /** What the figures mean, beneath; empty where nothing needs saying. */
  readonly note: string;
}

/** Stands in a cell that has no figure. */
export const NO_FIGURE = '–';
