import { describe, expect, it } from 'vitest';
import { counted, dateInWords, decimalsFor, duration, fixed, frequency, listed, plusMinus, signed, unitText } from '../../src/report/numbers.js';

describe('fixed', () => {
  it.each([
    [-92.31, 1, '−92.3'],
    [-0.001, 2, '0.00'],
    [20_000, 0, '20\u202f000'],
    [1530, 0, '1530'],
    [1234567.891, 2, '1\u202f234\u202f567.89'],
    [NaN, 1, 'not a number'],
    [Infinity, 1, 'not a number'],
  ])('%f with %i decimals', (value, decimals, wanted) => {
    expect(fixed(value, decimals)).toBe(wanted);
  });

  it('gives a plus sign to what is above zero, after rounding', () => {
    expect([signed(0.41, 2), signed(-0.41, 2), signed(0.001, 2)]).toEqual(['+0.41', '−0.41', '0.00']);
  });
});

describe('decimalsFor', () => {
  // Two significant digits of the uncertainty (JCGM 100:2008, 7.2.6); decibels between one and three decimals.
  it.each([
    [612.3, 8.1, 'pF', 1],
    [612.3, 81, 'pF', 0],
    [5312, 46, 'Hz', 0],
    [0.0421, 0.0039, 'µs', 4],
    [12.3, 0.0996, 'pF', 2],
    [-92.3, 0.4, 'dBu', 2],
    [-92.3, 0.098, 'dBu', 2],
    [-0.402, 0.0021, 'dB', 3],
    [-97.3, 14, 'dB', 1],
    [-90, null, 'dBu', 1],
    [-90.123, null, 'dBu', 2],
    [378.86, null, 'pF', 0],
    [3, null, '', 0],
  ])('%f ± %f %s', (value, uncertainty, unit, wanted) => {
    expect(decimalsFor(value, uncertainty, unit)).toBe(wanted);
  });
});

describe('words for quantities', () => {
  it.each([
    [49.98, '50 Hz'],
    [99.94, '99.9 Hz'],
    [120, '120 Hz'],
    [999.9, '1 kHz'],
    [1021.4, '1.02 kHz'],
    [16_000, '16 kHz'],
  ])('frequency %f', (hz, wanted) => {
    expect(frequency(hz).replace('\u00a0', ' ')).toBe(wanted);
  });

  it.each([
    [4.25, '4.3 s'],
    [20, '20 s'],
    [125, '2 min 05 s'],
    [3720, '1 h 02 min'],
  ])('duration %f', (seconds, wanted) => {
    expect(duration(seconds).replaceAll('\u00a0', ' ')).toBe(wanted);
  });

  it.each([
    ['2031-05-04T14:22:31Z', '4 May 2031, 14:22 UTC'],
    ['2031-05-04T14:22:31.920+02:00', '4 May 2031, 14:22 UTC+02:00'],
    ['2031-12-24', '24 December 2031'],
    ['2031-13-24', '2031-13-24'],
    ['last Tuesday', 'last Tuesday'],
  ])('date %s', (iso, wanted) => {
    expect(dateInWords(iso).replaceAll('\u00a0', ' ')).toBe(wanted);
  });

  it('rounds an uncertainty below the last digit up', () => {
    expect([plusMinus(0.0004, 3), plusMinus(0.0016, 3), plusMinus(3, 0)].map((t) => t.replaceAll('\u00a0', ' '))).toEqual(['± 0.001', '± 0.002', '± 3']);
  });

  it('counts and lists as a sentence does', () => {
    expect([counted(0, 'loop'), counted(1, 'loop'), counted(12, 'loop'), counted(17, 'loop')]).toEqual(['no loops', 'one loop', 'twelve loops', '17 loops']);
    expect(listed(['a', 'b', 'c']).join('')).toBe('a, b and c');
    expect(listed([]).join('')).toBe('');
  });

  it('prints units as the trade does, and no endless one', () => {
    expect([unitText('us'), unitText('dBu/rtHz'), unitText('dBu')]).toEqual(['µs', 'dBu/√Hz', 'dBu']);
    expect(unitText('x'.repeat(500)).length).toBeLessThanOrEqual(12);
  });
});
