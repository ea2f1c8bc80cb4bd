/**
 * Differences between readings in words and figures, for `compare` and `measure`.
 *
 * @module
 */
import { printable } from '../src/board/printable.js';
import type { ReadingDifference, Side } from '../src/judge/compare.js';
import type { Reading } from '../src/judge/results.js';
import { withoutBand } from '../src/report/reading-tables.js';
import { fixed, leastShown, signed } from '../src/units/format.js';
import type { Cell } from './layout.js';

/** What a reading is called, without what differs from place to place, such as the band that was worst. */
export const nameOf = ({ label }: Pick<Reading, 'label'>): string => withoutBand(label);

/** Rows of a table beneath the names of their readings, each name once, in the order in which they come. */
export function underNames<T extends Pick<Reading, 'id' | 'label' | 'source'>>(items: readonly T[], row: (item: T) => Cell[]): (Cell[] | string)[] {
  const headOf = (item: T): string => printable(`${nameOf(item)}  (${item.id})`);
  return [...new Set(items.map(headOf))].flatMap((head) => [head, ...items.filter((item) => headOf(item) === head).map(row)]);
}

/** What a person asks for; other weightings and single harmonics follow them. */
export const isHeadline = ({ id }: ReadingDifference): boolean => !/^noise\.(?:unweighted|ccir-rms|468-qpk|density-1k|hum\.h\d+)$|^hum\./.test(id);

/** Measurable, and nothing that anybody hears. */
export const isTrifle = ({ unit, difference }: ReadingDifference): boolean => /^dB/.test(unit) && difference !== null && Math.abs(difference) < 0.1;

/** What has no unit is a count. */
const isCount = (unit: string): boolean => unit === '';

/** As many decimals as two digits of the uncertainty have, at most three. */
export const digitsOf = (uncertainty: number | null): number => (uncertainty === null || !(uncertainty > 0) ? 1 : Math.max(0, Math.min(3, 1 - Math.floor(Math.log10(uncertainty)))));

/** One digit less than the difference has: enough to see which is which. */
export function sideText({ value, bound }: Side, unit: string, uncertainty: number | null): string {
  if (value === null) return '-';
  if (unit === 'sign') return value > 0 ? 'same' : 'inverted';
  return `${bound === 'upper' ? '<' : bound === 'lower' ? '>' : ''}${fixed(value, isCount(unit) ? 0 : Math.max(0, digitsOf(uncertainty) - 1))}`;
}

/** Empty for a sign, and where there is no number. */
export function differenceText({ difference, uncertainty, unit, differenceUnit }: ReadingDifference): string {
  if (unit === 'sign' || difference === null) return '';
  return isCount(unit) ? signed(difference, 0) : differenceOf(difference, uncertainty, differenceUnit);
}

/** `+1.32 ±0.10 dB` */
export function differenceOf(difference: number, uncertainty: number | null, unit: string): string {
  const digits = digitsOf(uncertainty);
  const half = uncertainty === null ? '' : ` ±${fixed(leastShown(uncertainty, digits), digits)}`;
  return `${signed(difference, digits)}${half} ${unit}`;
}
