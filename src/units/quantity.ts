/**
 * Quantities as the trade writes them: `8.2k`, `8k2`, `470p`, `95 pF/m`, `18 dBu ± 0.1 dB`, `10k ± 1 %`.
 *
 * A letter in place of the decimal point is IEC 60062. That `K` is read as kilo and `u` as micro is common practice,
 * no source. What could be read in two ways is refused with both readings named.
 *
 * @module
 */
import { problem } from '../problems.js';
import { kindOf } from './kinds.js';
import type { Kind, QuantityKind, UnitSpelling } from './kinds.js';

export type { QuantityKind } from './kinds.js';

export interface Quantity {
  /** In the base unit of its kind: Ω, F, H, m, F/m, A, V, Hz, V/√Hz, dBu, dBFS. */
  readonly value: number;
  /** Half width of what was written after `±`, same unit (dB for a level); null where nothing was. */
  readonly tolerance: number | null;
}

/** A quantity, or a clause that says what is wrong with the text and how to write it. */
export type QuantityResult = Quantity | { readonly fault: string };

/** Reads a quantity of that kind; never throws. */
export function readQuantity(text: string, kind: QuantityKind): QuantityResult {
  const spec = kindOf(kind);
  const written = normalise(text);
  const [nominal, tolerance, ...more] = written.split(/±|\+\/-|\+-/);
  if (more.length > 0) return { fault: `has more than one ±; ${howTo(spec)}` };
  const value = readNumber(nominal!, spec);
  if (typeof value !== 'number') return value;
  if (tolerance === undefined) return { value, tolerance: null };
  const width = readTolerance(tolerance.trim(), spec, value);
  return typeof width === 'number' ? { value, tolerance: width } : width;
}

/** As {@link readQuantity}. @throws Problem `units.quantity` */
export function parseQuantity(text: string, kind: QuantityKind): Quantity {
  const read = readQuantity(text, kind);
  if ('fault' in read) throw problem('units.quantity', { text, fault: read.fault });
  return read;
}

type NumberResult = number | { readonly fault: string };

const howTo = (spec: Kind): string => `write ${spec.name} as in ${spec.example}`;

/** One sign for each meaning: minus, micro, ohm; single spaces. */
const normalise = (text: string): string =>
  text.replace(/\s+/g, ' ').trim().replace(/[\u2212\u2013]/g, '-').replace(/[\u00b5\u03bc]/g, 'u').replace(/\u2126/g, 'Ω');

const NUMBER = /^([+-]?(?:\d+\.?\d*|\.\d+))(?:e([+-]?\d{1,3})(?![a-z]))?\s*(.*)$/i;

function readNumber(text: string, spec: Kind): NumberResult {
  const written = text.trim();
  if (written === '') return { fault: `has no number; ${howTo(spec)}` };
  if (/\d,\d|^,\d/.test(written)) return { fault: `has a comma in its number; write a decimal point and no thousands separator, as in ${spec.example}` };
  const lettered = readLetterPoint(written, spec);
  if (lettered !== null) return lettered;
  const match = NUMBER.exec(written);
  if (!match) return { fault: `does not begin with a number; ${howTo(spec)}` };
  const scale = readUnit(match[3]!, spec);
  if ('fault' in scale) return scale;
  return scaled(match[1]!, Number(match[2] ?? 0) + scale.exponent, scale, spec);
}

interface Scale {
  readonly exponent: number;
  readonly unit: UnitSpelling | null;
}

/** Decimal digits and a power of ten become a number at once, so that `470p` is the same double as 470e-12. */
function scaled(mantissa: string, exponent: number, { unit }: Scale, spec: Kind): NumberResult {
  const value = Number(`${mantissa}e${exponent + (unit?.exponent ?? 0)}`) * (unit?.factor ?? 1) + (unit?.offset ?? 0);
  return Number.isFinite(value) ? value : { fault: `is too large; ${howTo(spec)}` };
}

/** `8k2`, `4n7F`, `R47`, `4R7`; null where the text is not of that form. */
function readLetterPoint(text: string, spec: Kind): NumberResult | null {
  const match = /^([+-]?\d*)([A-Za-z])(\d+)\s*(.*)$/.exec(text);
  if (!match || spec.letterPoint.length === 0 || /e/i.test(match[2]!)) return null;
  const [, whole = '', letter = '', fraction = '', unitText = ''] = match;
  const multiplier = multiplierOf(letter, spec);
  const isPoint = spec.letterPoint.includes('R') && /r/i.test(letter);
  if (!isPoint && typeof multiplier !== 'number') return multiplier ?? { fault: `has "${letter}" for a decimal point, which is no multiplier of ${spec.name}; ${howTo(spec)}` };
  if (unitText !== '' && unitOf(unitText, spec) === null) return { fault: `has the unit "${unitText}", which is not that of ${spec.name}; ${howTo(spec)}` };
  return scaled(`${whole}.${fraction}`.replace(/^([+-]?)\./, '$10.'), isPoint ? 0 : (multiplier as number), { exponent: 0, unit: null }, spec);
}

/** Power of ten of a letter, a fault where it may be mistaken, null where it is no multiplier of that kind. */
function multiplierOf(letter: string, spec: Kind): NumberResult | null {
  const mistaken = spec.mistaken[letter];
  if (mistaken !== undefined) return { fault: `may be mistaken: ${mistaken}` };
  for (const spelling of [letter, letter.toLowerCase(), letter.toUpperCase()]) {
    if (Object.hasOwn(spec.multipliers, spelling)) return spec.multipliers[spelling]!;
  }
  return null;
}

const squeeze = (text: string): string => text.replace(/ /g, '').toLowerCase();

const unitOf = (text: string, spec: Kind): UnitSpelling | null => spec.units.find((u) => squeeze(u.spelling) === squeeze(text)) ?? null;

function readUnit(text: string, spec: Kind): Scale | { readonly fault: string } {
  const written = text.trim();
  if (written === '') return spec.bare ? { exponent: 0, unit: null } : { fault: `has no unit; ${howTo(spec)}` };
  const whole = unitOf(written, spec);
  if (whole) return { exponent: 0, unit: whole };
  const letter = written.charAt(0);
  const rest = written.slice(1).trim();
  const unit = rest === '' ? null : unitOf(rest, spec);
  if ((rest === '' && spec.multiplierAlone) || (unit && !unit.plain)) {
    const multiplier = multiplierOf(letter, spec);
    if (typeof multiplier === 'number') return { exponent: multiplier, unit };
    if (multiplier !== null) return multiplier;
    if (unit) return { fault: `has the multiplier "${letter}", which ${spec.name} does not take; ${howTo(spec)}` };
  }
  if (/%/.test(written)) return { fault: `has a tolerance without ±; write it as in 10k ± 1 %` };
  return { fault: `has the unit "${written}", which is not that of ${spec.name}; ${howTo(spec)}` };
}

function readTolerance(text: string, spec: Kind, value: number): NumberResult {
  const amount = toleranceAmount(text, spec, value);
  if (typeof amount === 'number' && amount < 0) return { fault: 'has a negative tolerance; write it without a sign after ±' };
  return amount;
}

const DECIBELS: Kind = { ...kindOf('level'), name: 'a tolerance in dB', example: '± 0.1 dB', units: [{ spelling: 'dB', plain: true }], bare: true };
const PERCENT: Kind = { ...kindOf('length'), name: 'a tolerance', example: '± 1 %', units: [{ spelling: '%', plain: true }] };

function toleranceAmount(text: string, spec: Kind, value: number): NumberResult {
  if (spec.level) {
    const decibels = readNumber(text, DECIBELS);
    return typeof decibels === 'number' ? decibels : { fault: 'has a tolerance that is not in dB; write it as in 18 dBu ± 0.1 dB' };
  }
  if (!text.endsWith('%')) return readNumber(text, spec);
  const percent = readNumber(text, PERCENT);
  return typeof percent === 'number' ? (Math.abs(value) * percent) / 100 : percent;
}
