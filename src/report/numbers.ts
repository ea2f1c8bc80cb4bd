/**
 * Numbers as they stand on paper: a true minus sign, as many digits as the uncertainty carries, a unit after a space
 * that does not break, and words where there is no figure.
 *
 * @module
 */

import { leastShown } from '../units/format.js';
import { shorten } from './text.js';

const MINUS = '\u2212';
export const NBSP = '\u00a0';
const THIN = '\u202f';

/** Fixed decimals, a true minus sign, thin spaces between thousands from 10 000 on. */
export function fixed(value: number, decimals: number): string {
  if (!Number.isFinite(value)) return 'not a number';
  const text = Math.abs(value).toFixed(decimals);
  const [whole, fraction] = text.split('.') as [string, string | undefined];
  const grouped = whole.length > 4 ? whole.replace(/\B(?=(\d{3})+$)/g, THIN) : whole;
  const sign = value < 0 && Number(text) !== 0 ? MINUS : '';
  return `${sign}${grouped}${fraction === undefined ? '' : `.${fraction}`}`;
}

/** As `fixed`, with a plus sign for what is above zero. */
export const signed = (value: number, decimals: number): string =>
  Number(value.toFixed(decimals)) > 0 ? `+${fixed(value, decimals)}` : fixed(value, decimals);

/** Decimals that show so many significant digits of a magnitude. */
const decimalsOf = (magnitude: number, digits: number): number =>
  magnitude === 0 || !Number.isFinite(magnitude) ? 0 : Math.max(0, Math.min(9, digits - 1 - Math.floor(Math.log10(Math.abs(magnitude)))));

/**
 * Decimals for a value and its uncertainty: two significant digits of the uncertainty, and the value to match
 * (JCGM 100:2008, 7.2.6). Decibels show one to three decimals.
 */
export function decimalsFor(value: number, uncertainty: number | null, unit: string): number {
  if (uncertainty !== null && uncertainty > 0 && Number.isFinite(uncertainty)) {
    // 0.0996 rounds up to 0.10: count the digits after rounding.
    const decimals = decimalsOf(Number(uncertainty.toPrecision(2)), 2);
    if (!unit.startsWith('dB')) return decimals;
    // A third decimal of a decibel is earned below 0.02 dB only.
    return Math.max(1, Math.min(uncertainty < 0.0195 ? 3 : 2, decimals));
  }
  if (unit.startsWith('dB')) return Number.isInteger(value * 10) ? 1 : 2;
  return Number.isInteger(value) ? 0 : decimalsOf(value, 3);
}

export const plusMinus = (uncertainty: number, decimals: number): string => `±${NBSP}${fixed(leastShown(uncertainty, decimals), decimals)}`;

const UNITS: Readonly<Record<string, string>> = {
  us: 'µs', ohm: 'Ω', Ohm: 'Ω', kohm: 'kΩ', kOhm: 'kΩ', uV: 'µV', uF: 'µF',
  'dBu/rtHz': 'dBu/√Hz', 'dBFS/rtHz': 'dBFS/√Hz', 'nV/rtHz': 'nV/√Hz', 'V/rtHz': 'V/√Hz',
};

/** A unit as it is printed; no unit is longer than a dozen characters. */
export const unitText = (unit: string): string => UNITS[unit] ?? shorten(unit, 12);

/** A number and its unit, kept together. */
export const withUnit = (number: string, unit: string): string =>
  unit === '' || unit === '1' ? number : `${number}${NBSP}${unitText(unit)}`;

/** A value by its own size, where no uncertainty says how many digits it deserves. */
export const quantity = (value: number, unit: string): string => withUnit(fixed(value, decimalsFor(value, null, unit)), unit);

/** A polarity, stored as +1 or −1. */
export const isPolarity = (unit: string): boolean => unit === 'sign';
export const polarityWord = (value: number): string => (value < 0 ? 'inverted' : 'same');

/** A frequency to three digits: `49.9 Hz`, `120 Hz`, `1.02 kHz`, `16 kHz`. */
export function frequency(hz: number): string {
  const unit = hz >= 999.5 ? 'kHz' : 'Hz';
  const scaled = unit === 'kHz' ? hz / 1000 : hz;
  const decimals = Math.min(2, decimalsOf(Number(scaled.toPrecision(3)), 3));
  const text = fixed(scaled, decimals);
  return withUnit(text.includes('.') ? text.replace(/\.?0+$/, '') : text, unit);
}

/** A tick on a frequency axis: `20`, `500`, `2k`. */
export const frequencyTick = (hz: number): string => (hz >= 1000 ? `${String(hz / 1000)}k` : String(hz));

const MONTHS = ['January', 'February', 'March', 'April', 'May', 'June', 'July', 'August', 'September', 'October', 'November', 'December'];

/** An ISO date and time in words, with the offset that it was written with; anything else as it stands. */
export function dateInWords(iso: string): string {
  const match = /^(\d{4})-(\d{2})-(\d{2})(?:[T ](\d{2}:\d{2})(?::\d{2}(?:\.\d+)?)?\s*(Z|[+-]\d{2}:?\d{2})?)?$/.exec(iso.trim());
  const month = match === null ? undefined : MONTHS[Number(match[2]) - 1];
  if (match === null || month === undefined) return iso;
  const day = `${String(Number(match[3]))}${NBSP}${month}${NBSP}${match[1]!}`;
  if (match[4] === undefined) return day;
  const zone = match[5] === undefined ? '' : match[5] === 'Z' ? `${NBSP}UTC` : `${NBSP}UTC${match[5].replace('-', MINUS)}`;
  return `${day}, ${match[4]}${zone}`;
}

/** A duration: `20 s`, `2 min 05 s`, `1 h 02 min`. */
export function duration(seconds: number): string {
  if (seconds < 120) return withUnit(fixed(seconds, seconds < 10 ? 1 : 0), 's');
  const whole = Math.round(seconds);
  const two = (n: number): string => String(n).padStart(2, '0');
  if (whole < 3600) return `${String(Math.floor(whole / 60))}${NBSP}min${NBSP}${two(whole % 60)}${NBSP}s`;
  return `${String(Math.floor(whole / 3600))}${NBSP}h${NBSP}${two(Math.floor((whole % 3600) / 60))}${NBSP}min`;
}

const COUNT_WORDS = ['no', 'one', 'two', 'three', 'four', 'five', 'six', 'seven', 'eight', 'nine', 'ten', 'eleven', 'twelve'];

/** `no`, `one`, `twelve`, `13`. */
export const numberWord = (n: number): string => COUNT_WORDS[n] ?? String(n);

/** `one loop`, `three loops`, `17 loops`. */
export const counted = (n: number, one: string, many: string = `${one}s`): string => `${numberWord(n)} ${n === 1 ? one : many}`;

/** As for a reader who wants the size, not the last digit: two decimals below one, one above. */
export const rounded = (value: number, uncertainty: number | null, unit: string): string =>
  fixed(value, Math.min(decimalsFor(value, uncertainty, unit), Math.abs(value) < 0.995 && unit.startsWith('dB') ? 2 : 1));

/** First letter large. */
export const sentenceCase = (text: string): string => text.charAt(0).toUpperCase() + text.slice(1);

/** `a`, `a and b`, `a, b and c` over any kind of item. */
export function listed<T>(items: readonly T[]): (T | string)[] {
  const out: (T | string)[] = [];
  items.forEach((item, i) => {
    if (i > 0) out.push(i === items.length - 1 ? ' and ' : ', ');
    out.push(item);
  });
  return out;
}
