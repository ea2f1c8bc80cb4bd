import { describe, expect, it } from 'vitest';
import { Notes, budgetRow, budgetSummary, hasBudget, limitRows, limitText, marginOf, measuredText, readingTables } from '../../src/report/reading-tables.js';
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
    [{ value: -0.399, unit: 'dB', uncertainty: 0.0004 }, '−0.399 ± 0.001 dB'],
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

describe('readingTables', () => {
  const notes = new Notes();
  const [table, ...more] = readingTables(
    ['Readings'],
    [
      {
        heading: ['rest'],
        readings: [
          reading({ ...noise, value: -92, uncertainty: 0.4, limit: limit('max', -90, 'common practice') }),
          reading({ ...noise, id: 'noise.hum', label: 'Mains hum', value: null, remarks: ['The capture is silent.'] }),
          reading({ ...noise, id: 'polarity', label: 'Polarity', value: 1, unit: 'sign', uncertaintyReason: 'a sign has none' }),
        ],
      },
      { heading: ['empty'], readings: [] },
      {
        heading: ['all'],
        readings: [
          reading({ ...noise, value: -80, uncertainty: 0.4, limit: limit('max', -84, 'common practice') }),
          reading({ ...noise, id: 'worst', label: 'Worst band (50 Hz) from its gain', unit: 'dB', value: 1, uncertainty: 0.1 }),
          reading({ ...noise, id: 'noise.hum', label: 'Mains hum', value: null }),
          reading({ ...noise, id: 'noise.hum', label: 'Mains hum', value: -90 }),
        ],
      },
      {
        heading: ['loop'],
        readings: [
          reading({ ...noise, value: -93, uncertainty: 0.4, limit: limit('max', -90, 'common practice') }),
          reading({ ...noise, id: 'worst', label: 'Worst band (80 Hz) from its gain', unit: 'dB', value: 1, uncertainty: 0.1 }),
        ],
      },
    ],
    notes,
  );

  it('has a column for each place that has readings, and a row for each kind, in the order of the places', () => {
    expect(more).toEqual([]);
    expect(table!.columns).toEqual([['rest'], ['all'], ['loop']]);
    expect(table!.turned).toBe(false);
    expect(table!.rows.map((r) => [r.label, r.unit, r.cells.map((c) => flat(c?.figure ?? null))])).toEqual([
      ['Noise floor, A-weighted', 'dBu', ['−92.00 ± 0.40', '−80.00 ± 0.40', '−93.00 ± 0.40']],
      ['Worst band from its gain', 'dB', [undefined, '1.00 ± 0.10', '1.00 ± 0.10'].map((v) => v ?? null)],
      ['Mains hum', 'dBu', ['no figure', 'no figure', null]],
      ['Mains hum', 'dBu', [null, '−90.0', null]],
      ['Polarity', '', ['same', null, null]],
    ]);
  });

  it('says with a figure what is its own: its limit where most have another, and what its label has in brackets', () => {
    const [floor, worst] = table!.rows;
    expect(flat(floor!.limit)).toBe('≤ −90 dBu');
    expect(floor!.cells.map((c) => [flat(c!.limit), c!.mark])).toEqual([['', 'pass'], ['≤ −84 dBu', 'fail'], ['', 'pass']]);
    expect(worst!.cells.map((c) => flat(c?.detail ?? null))).toEqual([null, '50 Hz', '80 Hz']);
    expect(worst!.limit).toBe('');
  });

  it('says why for every figure or uncertainty that is absent, each reason once', () => {
    for (const row of table!.rows) for (const c of row.cells) if (c !== null && !c.figure.includes('±')) expect(c.notes.length, c.figure).toBe(1);
    expect(notes.list).toEqual([
      { letter: 'a', text: 'The capture is silent.' },
      { letter: 'b', text: 'No figure, and the results give no reason.' },
      { letter: 'c', text: 'No uncertainty is stated.' },
      { letter: 'd', text: 'No uncertainty is stated: a sign has none.' },
    ]);
  });

  it('turns few readings at many places, divides many, and says once what all come through', () => {
    const places = (kinds: number): Parameters<typeof readingTables>[1] =>
      Array.from({ length: 9 }, (_, i) => ({ heading: [`place ${String(i)}`], readings: Array.from({ length: kinds }, (__, k) => reading({ ...noise, id: `id.${String(k)}`, label: `kind ${String(k)}`, value: k, source: 'plug10k' })) }));
    const [turned, ...none] = readingTables(['x'], places(2), new Notes());
    expect(none).toEqual([]);
    expect([turned!.turned, turned!.columns.length, turned!.rows.length]).toEqual([true, 9, 2]);
    expect(turned!.caption).toEqual(['x', ', ', 'through plug10k']);
    expect(turned!.rows.map((r) => r.qualifier)).toEqual(['', '']);
    const divided = readingTables(['x'], places(7), new Notes());
    expect(divided.map((t) => t.columns.length)).toEqual([5, 4]);
    for (const t of divided) expect(t.rows).toHaveLength(7);
    expect(readingTables(['x'], [], new Notes())).toEqual([]);
  });

  it('says when something was beside its figure, and not in a note', () => {
    const notes = new Notes();
    const [table] = readingTables(['x'], [{ heading: ['y'], readings: [reading({ id: 'click.peak', label: 'Peak', state: 'rest', unit: 'dBu', value: -68.5, remarks: ['At 1.30 s.'] })] }], notes);
    expect(table!.rows[0]!.cells[0]).toMatchObject({ detail: 'at 1.30 s' });
    expect(notes.list.map((n) => n.text).join()).not.toContain('1.30');
  });

  it('has letters for any number of notes', () => {
    const many = new Notes();
    readingTables(['x'], [{ heading: ['y'], readings: Array.from({ length: 60 }, (_, i) => reading({ ...noise, value: null, remarks: [`reason ${String(i)}`] })) }], many);
    const letters = many.list.map((n) => n.letter);
    expect([letters[25], letters[26], letters[59]]).toEqual(['z', 'aa', 'bh']);
    expect(new Set(letters).size).toBe(60);
  });
});

describe('limitRows', () => {
  it('says each limit once, with how many figures it is for and what it rests on', () => {
    const rows = limitRows([
      reading({ ...noise, value: -92, limit: limit('max', -90, 'common practice, no source') }),
      reading({ ...noise, state: 'all', value: -92, limit: limit('max', -84, 'effects add noise') }),
      reading({ ...noise, state: 'loop-eq', value: -92, limit: limit('max', -90, 'common practice, no source') }),
      reading({ ...noise, value: -92 }),
    ]);
    expect(rows.map((r) => ({ ...r, limit: flat(r.limit) }))).toEqual([
      { label: 'Noise floor, A-weighted', limit: '≤ −90 dBu', count: 2, basis: 'Common practice, no source.' },
      { label: 'Noise floor, A-weighted', limit: '≤ −84 dBu', count: 1, basis: 'Effects add noise.' },
    ]);
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
    expect(flat(row!.parts[0]!.range)).toBe('0.010 to 0.030 dB');
    expect(flat(row!.expanded)).toBe('± 0.020 to 0.060 dB');
    // Results of an earlier version say neither kind nor evaluation.
    expect(row).toMatchObject({ captures: 1, parts: [{ how: '' }] });
  });

  it('prints no row of zeros: a bound that holds its uncertainty has no budget, and a part of nothing is none', () => {
    const nothing = { name: 'noise in the sweep', standard: 0, degreesOfFreedom: null };
    const bound = reading({ ...noise, label: '−3 dB corner', unit: 'Hz', value: 20_000, bound: 'lower', uncertainty: 0, budget: [nothing] });
    expect(hasBudget(bound)).toBe(false);
    const read = { ...bound, bound: null, value: 10_400, uncertainty: 46, budget: [{ ...nothing, standard: 23 }, { ...nothing, name: 'other' }] };
    expect([hasBudget(read), budgetRow(read, ['here']).parts.length, budgetSummary([read])[0]!.parts.length]).toEqual([true, 1, 1]);
  });

  it('says of each part its kind, how it was evaluated, and how many captures count together', () => {
    const budget = [
      { kind: 'fit' as const, evaluation: 'A' as const, name: 'noise in the sweep', standard: 0.01, degreesOfFreedom: 11.2 },
      { kind: 'calibration' as const, evaluation: 'B' as const, name: 'calibration of the recorder input', standard: 0.05, degreesOfFreedom: null },
    ];
    const repeated = reading({ ...noise, value: 1, uncertainty: 0.1, budget, repeats: [{ step: 'rest.take', values: [1, 1.1, 0.9], agree: false }] });
    expect(budgetSummary([repeated])[0]).toMatchObject({ captures: 3, parts: [{ how: 'fit, A' }, { how: 'B' }] });
    const row = budgetRow({ ...repeated, budget: [...budget, { kind: 'method', evaluation: 'B', name: 'phase of two lines', standard: 2e-10, degreesOfFreedom: null }] }, ['here']);
    expect(row.parts.map((p) => flat(p.standard))).toEqual(['0.010 dB', '0.050 dB', 'under 0.0001 dB']);
    expect(row.parts.map((p) => flat(p.how))).toEqual(['fit, A, ν 11', 'B', 'method, B']);
    expect(row.repeats).toBe('3 captures of rest.take together, which do not agree');
  });
});
