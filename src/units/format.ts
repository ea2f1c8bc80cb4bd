/**
 * Quantities out, in engineering notation: `8.2 kΩ`, `470 pF`, `95 pF/m`, `18 dBu ± 0.1 dB`. What is written here,
 * units/quantity reads.
 *
 * @module
 */
import { kindOf } from './kinds.js';
import type { QuantityKind } from './kinds.js';
import type { Quantity } from './quantity.js';

/** Fixed decimals, and no minus before a zero: the one way to write a number on screen. Paper has report/numbers. */
export const fixed = (value: number, decimals: number): string => value.toFixed(decimals).replace(/^-(?=0(?:\.0*)?$)/, '');

/** As {@link fixed}, with the minus of print: for sentences, which stand on screen and on paper alike. */
export const inSentence = (value: number, decimals: number): string => fixed(value, decimals).replace('-', '−');

/** An expanded uncertainty as so many decimals show it: one below the last of them is rounded up, so that none is nothing (JCGM 100:2008, 7.2.6). */
export const leastShown = (uncertainty: number, decimals: number): number => Math.max(uncertainty, 10 ** -decimals);

/** As {@link fixed}, with a plus before what is above zero. */
export function signed(value: number, decimals: number): string {
  const text = fixed(value, decimals);
  return /^-|^0(?:\.0*)?$/.test(text) ? text : `+${text}`;
}

/** So many significant digits, without trailing zeros; an exponent only beyond 20 places. */
const plain = (value: number, digits: number): string => {
  const rounded = Number(value.toPrecision(digits));
  const text = rounded.toString();
  if (!text.includes('e-')) return text;
  const places = digits - 1 - Math.floor(Math.log10(Math.abs(rounded)));
  return places > 20 ? text : fixed(rounded, places).replace(/0+$/, '');
};

/** A value in the base unit of its kind, with the multiplier that leaves 1 to 999 before it where the kind has one. */
export function formatQuantity(value: number, kind: QuantityKind, digits = 4): string {
  const { unit, multipliers } = kindOf(kind);
  if (!Number.isFinite(value)) return `${value} ${unit}`;
  const steps = [['', 0] as const, ...Object.entries(multipliers)].sort((a, b) => a[1] - b[1]);
  // Rounded first: 999.96 is 1 k in four digits.
  const size = Math.abs(Number(value.toPrecision(digits)));
  const fitting = steps.filter(([, exponent]) => size >= 10 ** exponent).at(-1);
  const [letter, exponent] = size === 0 ? (['', 0] as const) : (fitting ?? steps[0]!);
  return `${plain(value / 10 ** exponent, digits)} ${letter === 'u' ? 'µ' : letter}${unit}`;
}

/** A frequency, with so many significant digits: `31.5 Hz`, `1.25 kHz`, `16 kHz`. The one way to write one in text. */
export const frequencyText = (hz: number, digits = 4): string => formatQuantity(hz, 'frequency', digits);

/** The unit of a difference of two values: decibels lose their reference. */
export const differenceUnit = (unit: string): string => (/^dB[A-Za-z]/.test(unit) ? 'dB' : unit);

/** With its tolerance: in percent, for a level in dB. */
export function formatStated({ value, tolerance }: Quantity, kind: QuantityKind, digits = 4): string {
  const text = formatQuantity(value, kind, digits);
  if (tolerance === null) return text;
  if (kindOf(kind).level) return `${text} ± ${plain(tolerance, digits)} dB`;
  return value === 0 ? `${text} ± ${formatQuantity(tolerance, kind, digits)}` : `${text} ± ${plain((100 * tolerance) / Math.abs(value), digits)} %`;
}
