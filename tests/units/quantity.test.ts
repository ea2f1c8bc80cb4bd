import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { anyText } from '../helpers/any-text.js';
import { Problem } from '../../src/problems.js';
import { formatQuantity, formatStated } from '../../src/units/format.js';
import { kinds } from '../../src/units/kinds.js';
import { parseQuantity, readQuantity } from '../../src/units/quantity.js';
import type { QuantityKind } from '../../src/units/quantity.js';

const faultOf = (text: string, kind: QuantityKind): string => {
  const read = readQuantity(text, kind);
  if (!('fault' in read)) throw new Error(`"${text}" was read as ${read.value}`);
  return read.fault;
};

describe('readQuantity', () => {
  // Values are exact: decimal digits and the power of ten are converted together.
  const good: (readonly [text: string, kind: QuantityKind, value: number, tolerance?: number])[] = [
    ['8.2k', 'resistance', 8200],
    ['8k2', 'resistance', 8200],
    ['8K2', 'resistance', 8200],
    ['10K', 'resistance', 10e3],
    ['220', 'resistance', 220],
    ['220R', 'resistance', 220],
    ['4R7', 'resistance', 4.7],
    ['R47', 'resistance', 0.47],
    ['0R1', 'resistance', 0.1],
    ['1M', 'resistance', 1e6],
    ['2M2', 'resistance', 2.2e6],
    ['1 meg', 'resistance', 1e6],
    ['1 MΩ', 'resistance', 1e6],
    ['1 M\u2126', 'resistance', 1e6],
    ['8.2 kohm', 'resistance', 8200],
    ['10k ± 1 %', 'resistance', 10e3, 100],
    ['10k±1%', 'resistance', 10e3, 100],
    ['10k +- 1 %', 'resistance', 10e3, 100],
    ['10k +/- 0.1k', 'resistance', 10e3, 100],
    ['470p', 'capacitance', 470e-12],
    ['4n7', 'capacitance', 4.7e-9],
    ['4n7F', 'capacitance', 4.7e-9],
    ['22 nF', 'capacitance', 22e-9],
    ['47PF', 'capacitance', 47e-12],
    ['2u2', 'capacitance', 2.2e-6],
    ['2.2 \u00b5F', 'capacitance', 2.2e-6],
    ['2.2 \u03bcF', 'capacitance', 2.2e-6],
    ['3.1 H', 'inductance', 3.1],
    ['450 mH', 'inductance', 0.45],
    ['0.4 m', 'length', 0.4],
    ['40 cm', 'length', 0.4],
    ['15 ft', 'length', 4.572],
    ['95 pF/m', 'capacitancePerLength', 95e-12],
    ['95 pf / m', 'capacitancePerLength', 95e-12],
    ['100 mA', 'current', 0.1],
    ['1.5A', 'current', 1.5],
    ['9', 'voltage', 9],
    ['775 mV', 'voltage', 0.775],
    ['50 Hz', 'frequency', 50],
    ['48 kHz', 'frequency', 48e3],
    ['48000', 'frequency', 48e3],
    ['9 nV/rtHz', 'noiseDensity', 9e-9],
    ['9 nV/√Hz', 'noiseDensity', 9e-9],
    ['18 dBu', 'level', 18],
    ['18 dBu ± 0.1 dB', 'level', 18, 0.1],
    ['\u22122.2 dBu', 'level', -2.2],
    ['-12 dBFS', 'levelFs', -12],
    ['  8.2k\u00a0', 'resistance', 8200],
  ];
  it.each(good.map(([text, kind, value, tolerance = null]) => ({ text, kind, value, tolerance })))('reads $text as a $kind', ({ text, kind, value, tolerance }) => {
    expect(readQuantity(text, kind)).toEqual({ value, tolerance });
  });

  it('reads feet and dBV by their definitions', () => {
    // 1 ft = 0.3048 m exactly; 0 dBV = 1 V = 20·lg(1/√0.6) dBu.
    expect((readQuantity('30 pF/ft', 'capacitancePerLength') as { value: number }).value).toBeCloseTo(30e-12 / 0.3048, 22);
    expect((readQuantity('0 dBV', 'level') as { value: number }).value).toBeCloseTo(2.218487, 6);
  });

  it.each([
    ['1m', 'resistance', /may be mistaken.*1M for a megohm/],
    ['3M', 'capacitance', /may be mistaken.*22 uF/],
    ['22 mF', 'capacitance', /may be mistaken.*micro/],
    ['100 MA', 'current', /may be mistaken.*100 mA/],
    ['3 MH', 'inductance', /may be mistaken.*450 mH/],
    ['8,2k', 'resistance', /comma.*decimal point/],
    ['1,000', 'resistance', /comma/],
    ['470', 'capacitance', /has no unit.*470p/],
    ['5', 'length', /has no unit.*0.4 m/],
    ['100', 'current', /has no unit.*100 mA/],
    ['18', 'level', /has no unit.*18 dBu/],
    ['3.1 H', 'resistance', /has the unit "H".*8\.2k/],
    ['8.2k', 'capacitance', /multiplier|unit/],
    ['2kF', 'capacitance', /multiplier "k"/],
    ['10k 1 %', 'resistance', /without ±/],
    ['10k ± 1 % ± 2 %', 'resistance', /more than one ±/],
    ['10k ± -1 %', 'resistance', /negative tolerance/],
    ['18 dBu ± 1 %', 'level', /not in dB/],
    ['5 m ± 0.1', 'length', /has no unit/],
    ['', 'resistance', /no number/],
    ['± 1 %', 'resistance', /no number/],
    ['lots', 'resistance', /begin with a number/],
    ['8l2', 'resistance', /"l" for a decimal point/],
    ['8 k 2', 'resistance', /unit "k 2"/],
    ['1e999', 'resistance', /too large/],
    ['Infinity', 'resistance', /begin with a number/],
    ['NaN', 'resistance', /begin with a number/],
    ['0x10', 'resistance', /unit "x10"|for a decimal point/],
  ] as const)('refuses %s as a %s', (text, kind, says) => {
    expect(faultOf(text, kind)).toMatch(says);
  });

  it('throws a problem with the whole sentence where asked to', () => {
    expect(() => parseQuantity('8,2k', 'resistance')).toThrow(Problem);
    expect(() => parseQuantity('8,2k', 'resistance')).toThrow(/^"8,2k" has a comma .*\.$/);
    expect(parseQuantity('8k2', 'resistance').value).toBe(8200);
  });

  const kindNames = Object.keys(kinds) as QuantityKind[];

  it('never throws and never gives a number that is not finite, whatever the text', () => {
    const mixed = fc.array(fc.constantFrom('1', '8.2', ' ', 'k', 'M', 'm', '±', '+-', '%', 'dBu', 'dB', 'F', '/m', 'Ω', 'e', '9', '-', ',', '.', 'R', 'V/√Hz'), { maxLength: 8 }).map((parts) => parts.join(''));
    fc.assert(
      fc.property(fc.oneof(anyText(40), mixed), fc.constantFrom(...kindNames), (text, kind) => {
        const read = readQuantity(text, kind);
        if ('fault' in read) expect(read.fault).toMatch(/^(has|does|is|may) /);
        else expect([read.value, read.tolerance ?? 0].every(Number.isFinite)).toBe(true);
      }),
      { seed: 1, numRuns: 3000 },
    );
  });

  it('reads back what formatQuantity writes', () => {
    fc.assert(
      fc.property(fc.double({ min: -14, max: 12, noNaN: true }), fc.integer({ min: 2, max: 9 }), fc.constantFrom(...kindNames), (power, digits, kind) => {
        const value = kinds[kind].level ? 10 * power : 10 ** power;
        const text = formatQuantity(value, kind, digits);
        const read = readQuantity(text, kind);
        if ('fault' in read) throw new Error(`${value} was written as ${text}, which ${read.fault}`);
        // Half a unit in the last digit that is written.
        expect(Math.abs(read.value - value)).toBeLessThanOrEqual(Math.abs(value) * 0.51 * 10 ** (1 - digits));
      }),
      { seed: 2, numRuns: 2000 },
    );
  });

  it('reads back what formatStated writes', () => {
    fc.assert(
      fc.property(fc.double({ min: 1, max: 999_000, noNaN: true }), fc.double({ min: 0.01, max: 20, noNaN: true }), (value, percent) => {
        const text = formatStated({ value, tolerance: (value * percent) / 100 }, 'resistance', 9);
        const read = readQuantity(text, 'resistance');
        if ('fault' in read) throw new Error(`${text} ${read.fault}`);
        // Both are written with nine digits.
        expect(read.tolerance! / read.value).toBeCloseTo(percent / 100, 8);
      }),
      { seed: 3, numRuns: 300 },
    );
  });

  it('takes a multiplied number and a point letter for the same', () => {
    fc.assert(
      fc.property(fc.integer({ min: 0, max: 999 }), fc.integer({ min: 0, max: 99 }), fc.constantFrom('p', 'n', 'u'), (whole, fraction, letter) => {
        expect(readQuantity(`${whole}${letter}${fraction}`, 'capacitance')).toEqual(readQuantity(`${whole}.${fraction}${letter}F`, 'capacitance'));
      }),
      { seed: 4, numRuns: 300 },
    );
  });
});
