import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { anyText } from '../helpers/any-text.js';
import { readReadingValue } from '../../src/units/reading-value.js';

describe('readReadingValue', () => {
  it.each([
    ['-85 dBu', -85, 'dBu'],
    ['−85.5dBu', -85.5, 'dBu'],
    ['0.5 dB', 0.5, 'dB'],
    ['1 %', 1, '%'],
    ['0.6 nF', 600, 'pF'],
    ['20 us', 20, 'µs'],
    ['0.02 ms', 20, 'µs'],
    ['1 sign', 1, 'sign'],
    ['900k', 900, 'kΩ'],
    ['900 kΩ', 900, 'kΩ'],
    ['20 kHz', 20000, 'Hz'],
  ])('reads %s', (text, value, unit) => {
    expect(readReadingValue(text)).toEqual({ value, unit });
  });

  it.each([
    ['-85', /has no unit/],
    ['-85,5 dBu', /comma/],
    ['quiet', /begin with a number/],
    ['3 furlongs', /"furlongs", which no reading has/],
  ])('refuses %s', (text, says) => {
    expect((readReadingValue(text) as { fault: string }).fault).toMatch(says);
  });

  it('never throws', () => {
    fc.assert(fc.property(anyText(30), (text) => void readReadingValue(text)), { seed: 5, numRuns: 500 });
  });
});
