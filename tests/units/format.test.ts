import { describe, expect, it } from 'vitest';
import { fixed, formatQuantity, formatStated, signed } from '../../src/units/format.js';

describe('fixed and signed', () => {
  it.each([
    [-0.04, 1, '0.0', '0.0'],
    [0.04, 1, '0.0', '0.0'],
    [-0, 0, '0', '0'],
    [-0.05, 1, '-0.1', '-0.1'],
    [0.06, 1, '0.1', '+0.1'],
    [-10.4, 0, '-10', '-10'],
    [10, 2, '10.00', '+10.00'],
  ])('%d with %d decimals is %s, %s', (value, decimals, plain, withSign) => {
    expect(fixed(value, decimals)).toBe(plain);
    expect(signed(value, decimals)).toBe(withSign);
  });
});

describe('formatQuantity', () => {
  it.each([
    [8200, 'resistance', '8.2 kΩ'],
    [220, 'resistance', '220 Ω'],
    [0.47, 'resistance', '0.47 Ω'],
    [999.96, 'resistance', '1 kΩ'],
    [999.94, 'resistance', '999.9 Ω'],
    [0, 'resistance', '0 Ω'],
    [4.7e-10, 'capacitance', '470 pF'],
    [2.2e-6, 'capacitance', '2.2 µF'],
    [95e-12, 'capacitancePerLength', '95 pF/m'],
    [0.4, 'length', '0.4 m'],
    [0.1, 'current', '100 mA'],
    [9e-9, 'noiseDensity', '9 nV/√Hz'],
    [-2.25, 'level', '-2.25 dBu'],
    [1e-15, 'capacitance', '0.001 pF'],
    [2.5e12, 'resistance', '2500 GΩ'],
  ] as const)('writes %d as a %s: %s', (value, kind, text) => {
    expect(formatQuantity(value, kind)).toBe(text);
  });
});

describe('formatStated', () => {
  it.each([
    [{ value: 10e3, tolerance: 100 }, 'resistance', '10 kΩ ± 1 %'],
    [{ value: 18, tolerance: 0.1 }, 'level', '18 dBu ± 0.1 dB'],
    [{ value: 18, tolerance: null }, 'level', '18 dBu'],
    [{ value: 0, tolerance: 0.1 }, 'length', '0 m ± 0.1 m'],
  ] as const)('writes %o as a %s: %s', (stated, kind, text) => {
    expect(formatStated(stated, kind)).toBe(text);
  });
});
