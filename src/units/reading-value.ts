/**
 * Values of readings, as limits state them: `-85 dBu`, `0.5 dB`, `1 %`, `600 pF`, `20 us`, `900k`. Each comes out in the unit
 * in which its readings are.
 *
 * @module
 */

interface ReadingUnit {
  readonly unit: string;
  readonly exponent: number;
}

/** As written → unit of the reading and power of ten. */
const readingUnits: Readonly<Record<string, ReadingUnit>> = {
  dBu: { unit: 'dBu', exponent: 0 },
  dBFS: { unit: 'dBFS', exponent: 0 },
  dB: { unit: 'dB', exponent: 0 },
  '%': { unit: '%', exponent: 0 },
  Hz: { unit: 'Hz', exponent: 0 },
  kHz: { unit: 'Hz', exponent: 3 },
  pF: { unit: 'pF', exponent: 0 },
  nF: { unit: 'pF', exponent: 3 },
  us: { unit: 'µs', exponent: 0 },
  ms: { unit: 'µs', exponent: 3 },
  k: { unit: 'kΩ', exponent: 0 },
  kohm: { unit: 'kΩ', exponent: 0 },
  ohm: { unit: 'Ω', exponent: 0 },
  sign: { unit: 'sign', exponent: 0 },
  times: { unit: '', exponent: 0 },
};

export const readingUnitNames: readonly string[] = Object.keys(readingUnits);

/** Reads such a value; never throws. */
export function readReadingValue(text: string): { readonly value: number; readonly unit: string } | { readonly fault: string } {
  const written = text.trim().replace(/[\u2212\u2013]/g, '-').replace(/[\u00b5\u03bc]/g, 'u').replace(/[Ω\u2126]/g, 'ohm');
  const [, number = '', unitText = ''] = /^([+-]?(?:\d+\.?\d*|\.\d+))\s*(.*)$/.exec(written) ?? [];
  if (/\d,\d/.test(written)) return { fault: 'has a comma in its number; write a decimal point, as in -85.5 dBu' };
  if (number === '') return { fault: 'does not begin with a number; write it as in -85 dBu or 0.5 dB' };
  const known = Object.entries(readingUnits).find(([name]) => name.toLowerCase() === unitText.trim().toLowerCase())?.[1];
  if (!known) return { fault: `${unitText === '' ? 'has no unit' : `has the unit "${unitText}", which no reading has`}; write one of ${readingUnitNames.join(', ')}` };
  return { value: Number(`${number}e${known.exponent}`), unit: known.unit };
}
