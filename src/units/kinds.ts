/**
 * The kinds of quantity that a board or bench file holds, and how the trade writes each: its units, the multipliers
 * that make sense for it, and what is too easily mistaken to be taken.
 *
 * @module
 */
import { DBU_MINUS_DBV } from './decibels.js';

export interface UnitSpelling {
  /** As written, compared without regard to case after multipliers are taken off. */
  readonly spelling: string;
  /** Added to the power of ten of the multiplier. */
  readonly exponent?: number;
  /** Where a unit is no power of ten of the base unit. */
  readonly factor?: number;
  /** Added to the value: for levels. */
  readonly offset?: number;
  /** False where the unit takes no multiplier. */
  readonly plain?: boolean;
}

export interface Kind {
  /** In a sentence: `a resistance`. */
  readonly name: string;
  /** In a sentence: how to write it. */
  readonly example: string;
  /** Unit of the parsed value, as printed. */
  readonly unit: string;
  readonly units: readonly UnitSpelling[];
  /** Multipliers by letter; a letter in the other case is taken for it unless it is in `mistaken`. */
  readonly multipliers: Readonly<Record<string, number>>;
  /** Letters that are refused, each with the reason. */
  readonly mistaken: Readonly<Record<string, string>>;
  /** A number without unit or multiplier is in the base unit. */
  readonly bare: boolean;
  /** A multiplier without a unit is enough (`470p`). */
  readonly multiplierAlone: boolean;
  /** The letter may stand for the decimal point (IEC 60062: `8k2`). */
  readonly letterPoint: readonly string[];
  /** Tolerances are in percent or this unit; in this unit only where the kind is a level. */
  readonly level: boolean;
}

const linear = {
  bare: false,
  multiplierAlone: false,
  letterPoint: [],
  mistaken: {},
  level: false,
} as const;

const milliOrMega = (letter: 'm' | 'M', milli = 'milli', mega = 'mega'): string => `"${letter}" could mean ${milli} or ${mega} here`;

export const kinds = {
  resistance: {
    ...linear,
    name: 'a resistance',
    example: '8.2k, 8k2, 1M or 220',
    unit: 'Ω',
    units: [
      ...['Ω', 'ohm', 'ohms', 'R'].map((spelling) => ({ spelling })),
      ...['meg', 'megohm'].map((spelling) => ({ spelling, exponent: 6, plain: true })),
    ],
    multipliers: { k: 3, M: 6, G: 9 },
    mistaken: { m: `${milliOrMega('m', 'a thousandth of an ohm', 'a million ohms')}; write 1M for a megohm, 0.001 for a milliohm` },
    bare: true,
    multiplierAlone: true,
    letterPoint: ['R', 'k', 'M', 'G'],
  },
  capacitance: {
    ...linear,
    name: 'a capacitance',
    example: '470p, 4n7 or 22 nF',
    unit: 'F',
    units: [{ spelling: 'F' }],
    multipliers: { p: -12, n: -9, u: -6 },
    mistaken: {
      m: '"m" could mean milli or, on old drawings, micro here; write u for a millionth, as in 22 uF',
      M: '"M" could mean mega or, on old drawings, micro here; write u for a millionth, as in 22 uF',
    },
    multiplierAlone: true,
    letterPoint: ['p', 'n', 'u'],
  },
  inductance: {
    ...linear,
    name: 'an inductance',
    example: '3.1 H or 450 mH',
    unit: 'H',
    units: [{ spelling: 'H' }],
    multipliers: { u: -6, m: -3 },
    mistaken: { M: `${milliOrMega('M')}; write 450 mH for thousandths of a henry` },
  },
  length: {
    ...linear,
    name: 'a length',
    example: '0.4 m, 40 cm or 15 ft',
    unit: 'm',
    units: [
      { spelling: 'm', plain: true },
      { spelling: 'cm', exponent: -2, plain: true },
      { spelling: 'mm', exponent: -3, plain: true },
      { spelling: 'ft', factor: 0.3048, plain: true },
      { spelling: 'in', factor: 0.0254, plain: true },
    ],
    multipliers: {},
  },
  capacitancePerLength: {
    ...linear,
    name: 'a capacitance per length',
    example: '95 pF/m or 29 pF/ft',
    unit: 'F/m',
    units: [{ spelling: 'F/m' }, { spelling: 'F/ft', factor: 1 / 0.3048 }],
    multipliers: { p: -12, n: -9 },
    mistaken: {},
  },
  current: {
    ...linear,
    name: 'a current',
    example: '100 mA or 1.5 A',
    unit: 'A',
    units: [{ spelling: 'A' }],
    multipliers: { u: -6, m: -3 },
    mistaken: { M: `${milliOrMega('M')}; write 100 mA for thousandths of an ampere` },
  },
  voltage: {
    ...linear,
    name: 'a voltage',
    example: '9, 9 V or 775 mV',
    unit: 'V',
    units: [{ spelling: 'V' }],
    multipliers: { u: -6, m: -3, k: 3 },
    mistaken: { M: `${milliOrMega('M')}; write 775 mV for thousandths of a volt` },
    bare: true,
  },
  frequency: {
    ...linear,
    name: 'a frequency',
    example: '50 Hz, 48 kHz or 48000',
    unit: 'Hz',
    units: [{ spelling: 'Hz' }],
    multipliers: { k: 3, M: 6 },
    mistaken: { m: `${milliOrMega('m')}; write MHz for millions of hertz` },
    bare: true,
  },
  noiseDensity: {
    ...linear,
    name: 'a noise density',
    example: '9 nV/rtHz',
    unit: 'V/√Hz',
    units: ['V/√Hz', 'V/rtHz', 'V/sqrtHz', 'V/sqrt(Hz)'].map((spelling) => ({ spelling })),
    multipliers: { p: -12, n: -9, u: -6 },
    mistaken: {},
  },
  level: {
    ...linear,
    name: 'a level in dBu',
    example: '18 dBu or 18 dBu ± 0.1 dB',
    unit: 'dBu',
    units: [
      { spelling: 'dBu', plain: true },
      { spelling: 'dBV', offset: DBU_MINUS_DBV, plain: true },
    ],
    multipliers: {},
    level: true,
  },
  levelFs: {
    ...linear,
    name: 'a level in dBFS',
    example: '-12 dBFS',
    unit: 'dBFS',
    units: [{ spelling: 'dBFS', plain: true }],
    multipliers: {},
    level: true,
  },
} satisfies Record<string, Kind>;

export type QuantityKind = keyof typeof kinds;

export const kindOf = (kind: QuantityKind): Kind => kinds[kind];
