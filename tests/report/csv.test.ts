import { describe, expect, it } from 'vitest';
import { curvesCsv, readingsCsv, stairsCsv } from '../../src/report/csv.js';
import { boardResults, hostileResults } from './fixture.js';

const results = boardResults();
const hostile = hostileResults();

/** RFC 4180, read strictly: a quote where none may be is an error. */
function parse(text: string): string[][] {
  expect(text.endsWith('\r\n')).toBe(true);
  const rows: string[][] = [];
  const field = /("(?:[^"]|"")*"|[^",\r\n]*)(,|\r\n)/y;
  let row: string[] = [];
  while (field.lastIndex < text.length) {
    const match = field.exec(text);
    if (!match) throw new Error('no field');
    const [, raw = '', end] = match;
    row.push(raw.startsWith('"') ? raw.slice(1, -1).replaceAll('""', '"') : raw);
    if (end === '\r\n') {
      rows.push(row);
      row = [];
    }
  }
  return rows;
}

const table = (text: string): Record<string, string>[] => {
  const [heads, ...rows] = parse(text);
  expect(rows.filter((row) => row.length !== heads!.length)).toEqual([]);
  return rows.map((row) => Object.fromEntries(heads!.map((head, i) => [head, row[i]!])));
};

describe('csv', () => {
  it('has every reading with all its digits', () => {
    const rows = table(readingsCsv(results));
    expect(rows).toHaveLength(results.readings.length);
    rows.forEach((row, i) => {
      const r = results.readings[i]!;
      expect([row['id'], row['state'], row['output'], row['unit'], row['verdict']]).toEqual([r.id, r.state, r.output ?? '', r.unit, r.verdict]);
      expect(row['value'] === '' ? null : Number(row['value'])).toBe(r.value);
      expect(row['uncertainty'] === '' ? null : Number(row['uncertainty'])).toBe(r.uncertainty);
      const [low, high] = [row['limit_min'], row['limit_max']].map((text) => (text === '' ? null : Number(text)));
      expect([low, high]).toEqual(r.limit?.within ?? [r.limit?.min ?? null, r.limit?.max ?? null]);
    });
  });

  it('has every point of every curve', () => {
    const rows = table(curvesCsv(results));
    expect(rows).toHaveLength([...results.curves, ...(results.playerCurves ?? [])].reduce((sum, c) => sum + c.x.values.length, 0));
    const [curve] = results.curves;
    const own = rows.filter((row) => row['id'] === curve!.id);
    expect(own.map((row) => (row['y'] === '' ? null : Number(row['y'])))).toEqual(curve!.y.values);
    expect(new Set(own.map((row) => row['y_unit']))).toEqual(new Set([curve!.y.unit]));
  });

  it('has every stair with its interval, and an empty field where no harmonic stands out', () => {
    const rows = table(stairsCsv(results));
    const told = results.stairs!.flatMap(({ capture, levels }) => levels.flatMap(({ output, unit, stairs }) => stairs.map((s) => ({ capture, output, unit, ...s }))));
    expect(rows.map((r) => [r['capture'], r['output'], Number(r['level']), r['level_unit'], r['harmonics_db'], r['low_db'], Number(r['high_db'])])).toEqual(
      told.map((s) => [s.capture, s.output, s.level, s.unit, s.thdDb === null ? '' : String(s.thdDb), s.lowDb === null ? '' : String(s.lowDb), s.highDb]),
    );
    expect(told.some((s) => s.thdDb === null) && told.some((s) => s.thdDb !== null)).toBe(true);
    expect(table(stairsCsv({ ...results, stairs: [] }))).toEqual([]);
  });

  it('keeps names that strangers chose out of the spreadsheet’s formulas, and numbers numbers', () => {
    const [first] = results.readings;
    const text = readingsCsv({ ...results, readings: ['=1+1', '+1', '-1', '@x', '\t=1', 'a,"b"\r\nc'].map((label) => ({ ...first!, label, value: -80.5 })) });
    const rows = table(text);
    expect(rows.map((row) => row['label'])).toEqual(["'=1+1", "'+1", "'-1", "'@x", "'\t=1", 'a,"b"\r\nc']);
    expect(rows.map((row) => row['value'])).toEqual(Array.from({ length: 6 }, () => '-80.5'));
    expect(table(readingsCsv(hostile))).toHaveLength(hostile.readings.length);
  });
});
