/**
 * Differences between readings in words and figures, for `compare` and `measure`.
 *
 * @module
 */
import type { ReadingDifference, Side } from '../src/judge/compare.js';
import { fixed, leastShown, signed } from '../src/units/format.js';

/** What a person asks for; other weightings and single harmonics follow them. */
export const isHeadline = ({ id }: ReadingDifference): boolean => !/^noise\.(?:unweighted|ccir-rms|468-qpk|density-1k|hum\.h\d+)$|^hum\./.test(id);

/** Measurable, and nothing that anybody hears. */
export const isTrifle = ({ unit, difference }: ReadingDifference): boolean => /^dB/.test(unit) && difference !== null && Math.abs(difference) < 0.1;

/** As many decimals as two digits of the uncertainty have, at most three. */
export const digitsOf = (uncertainty: number | null): number => (uncertainty === null || !(uncertainty > 0) ? 1 : Math.max(0, Math.min(3, 1 - Math.floor(Math.log10(uncertainty)))));

/** One digit less than the difference has: enough to see which is which. */
export function sideText({ value, bound }: Side, unit: string, uncertainty: number | null): string {
  if (value === null) return '-';
  if (unit === 'sign') return value > 0 ? 'same' : 'inverted';
  return `${bound === 'upper' ? '<' : bound === 'lower' ? '>' : ''}${fixed(value, Math.max(0, digitsOf(uncertainty) - 1))}`;
}

/** Empty for a sign, and where there is no number. */
export function differenceText({ difference, uncertainty, unit }: ReadingDifference): string {
  return unit === 'sign' || difference === null ? '' : differenceOf(difference, uncertainty, unit);
}

/** `+1.32 ±0.10 dB`. Of two levels the difference is in decibels. */
export function differenceOf(difference: number, uncertainty: number | null, unit: string): string {
  const digits = digitsOf(uncertainty);
  const half = uncertainty === null ? '' : ` ±${fixed(leastShown(uncertainty, digits), digits)}`;
  return `${signed(difference, digits)}${half} ${unit.startsWith('dB') ? 'dB' : unit}`;
}
