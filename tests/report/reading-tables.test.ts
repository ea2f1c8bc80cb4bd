import { describe, expect, it } from 'vitest';
import { budgetSummary, limitText, marginOf, measuredText, readingTable } from '../../src/report/reading-tables.js';
import { limit, reading, within } from './fixture.js';

const flat = (text: string | null): string | null => text?.replace(/[\u00a0\u202f]/g, ' ') ?? null;
const noise = { id: 'noise.a', label: 'Noise floor, A-weighted', state: 'rest', unit: 'dBu' };

describe('measuredText', () => {
  it.each([
    [{ value: -92.31, uncertainty: 0.4 }, '−92.31 ± 0.40 dBu'],
    [{ value: -92.314, uncertainty: 0.0123 }, '−92.314 ± 0.012 dBu'],
    [{ value: -101.2, bound: 'upper' as const }, '< −101.2 dBu'],
    [{ value: -101.23, bound: 'upper' as const, uncertainty: 0.1 }, '< −101.23 ± 0.10 dBu'],
    [{ value: 20_000, unit: 'Hz', bound: 'lower' as const, uncertainty: 0 }, '> 20 000 Hz'],
    [{ value: -0.399, unit: 'dB', uncertainty: 0.0004 }, '−0.399 ± < 0.001 dB'],
    [{ value: -1, unit: 'sign' }, 'inverted'],
    [{ value: 1, unit: 'sign', uncertainty: 0.5 }, 'same'],
    [{ value: null }, 'no figure'],
    [{ value: NaN }, 'no figure'],
    [{ value: -92.31, uncertainty: NaN }, '−92.31 dBu'],
  ])('%j', (given, wanted) => {
    expect(flat(measuredText(reading({ ...noise, ...given })))).toBe(wanted);
  });
});

describe('limitText', () => {
  it.each([
    [limit('max', -90, ''), 'dBu', '≤ −90 dBu'],
    [limit('min', 75.5, ''), 'dB', '≥ 75.5 dB'],
    [within(0.25, ''), 'dB', '± 0.25 dB'],
    [{ max: null, min: null, within: [-1, 0.5] as const, basis: '' }, 'dB', '−1 to +0.5 dB'],
    [{ max: null, min: null, within: [1, 1] as const, basis: '' }, 'sign', 'same'],
    [{ max: null, min: null, within: [-1, -1] as const, basis: '' }, 'sign', 'inverted'],
    [{ max: null, min: null, within: null, basis: '' }, 'dB', null],
    [null, 'dB', null],
  ])('%j %s', (given, unit, wanted) => {
    expect(flat(limitText(given, unit))).toBe(wanted);
  });
});

describe('marginOf', () => {
  it('is positive inside and negative outside, from the nearer limit', () => {
    const margin = (given: Partial<Parameters<typeof reading>[0]>): number | null => marginOf(reading({ ...noise, value: 0, ...given }));
    expect(margin({ value: -92, limit: limit('max', -90, '') })).toBe(2);
    expect(margin({ value: 70, limit: limit('min', 75, '') })).toBe(-5);
    expect(margin({ value: 0.3, limit: within(0.5, '') })).toBeCloseTo(0.2, 12);
    expect(margin({ value: -0.7, limit: within(0.5, '') })).toBeCloseTo(-0.2, 12);
    expect(margin({ value: null, limit: limit('max', -90, '') })).toBeNull();
  });
});

describe('readingTable', () => {
  const table = readingTable(
    ['Readings'],
    [
      {
        heading: ['rest'],
        readings: [
          reading({ ...noise, value: -92, uncertainty: 0.4, limit: limit('max', -90, 'common practice') }),
          reading({ ...noise, value: null, remarks: ['The capture is silent.'] }),
          reading({ ...noise, value: null }),
          reading({ ...noise, value: 1, unit: 'sign', uncertaintyReason: 'a sign has none' }),
          reading({ ...noise, value: -93, uncertainty: 0.4, limit: limit('max', -90, 'common practice') }),
        ],
      },
      { heading: ['empty'], readings: [] },
    ],
  );

  it('leaves out empty groups and says each note once', () => {
    expect(table.groups.map((g) => g.heading)).toEqual([['rest']]);
    expect(table.notes.map((n) => n.text)).toEqual([
      'Limit: common practice.',
      'The capture is silent.',
      'No figure, and the results give no reason.',
      'No uncertainty is stated: a sign has none.',
    ]);
    const [rows] = table.groups.map((g) => g.rows);
    expect(rows!.map((r) => [r.figureNotes, r.limitNotes])).toEqual([[[], ['a']], [['b'], []], [['c'], []], [['d'], []], [[], ['a']]]);
  });

  it('says why for every figure or uncertainty that is absent', () => {
    for (const row of table.groups[0]!.rows) if (!row.measured.includes('±')) expect(row.figureNotes.length, row.measured).toBeGreaterThan(0);
  });

  it('has letters for any number of notes', () => {
    const many = readingTable(['x'], [{ heading: ['y'], readings: Array.from({ length: 60 }, (_, i) => reading({ ...noise, value: null, remarks: [`reason ${String(i)}`] })) }]);
    const letters = many.notes.map((n) => n.letter);
    expect([letters[25], letters[26], letters[59]]).toEqual(['z', 'aa', 'bh']);
    expect(new Set(letters).size).toBe(60);
  });
});

describe('budgetSummary', () => {
  it('gathers readings of one kind into ranges', () => {
    const part = (standard: number): { name: string; standard: number; degreesOfFreedom: null } => ({ name: 'noise in the sweep', standard, degreesOfFreedom: null });
    const [row, ...more] = budgetSummary([
      reading({ ...noise, label: 'Worst band (50 Hz)', value: 1, uncertainty: 0.02, budget: [part(0.01)] }),
      reading({ ...noise, label: 'Worst band (80 Hz)', value: 1, uncertainty: 0.06, budget: [part(0.03)] }),
    ]);
    expect(more).toEqual([]);
    expect(row).toMatchObject({ label: 'Worst band', count: 2 });
    expect(flat(row!.parts[0]!.range)).toBe('0.010 to 0.030 dBu');
    expect(flat(row!.expanded)).toBe('± 0.020 to 0.060 dBu');
  });
});
