/**
 * All readings, all curves and the level stairs as tables for other programs: comma-separated values by RFC 4180 (lines end in CR LF, the
 * first line names the columns), UTF-8 without a mark at its beginning, numbers with a decimal point and all their digits.
 * A value that is not there is an empty field.
 *
 * @module
 */
import type { Curve, DistortionCurve, NoiseBandCurve, PlayerCurve, Reading, Results } from '../judge/results.js';

type Field = string | number | null;

/** One line for each reading. */
export function readingsCsv({ readings }: Results): string {
  const columns: readonly (readonly [head: string, of: (r: Reading) => Field])[] = [
    ['id', (r) => r.id],
    ['label', (r) => r.label],
    ['state', (r) => r.state],
    ['source', (r) => r.source],
    ['output', (r) => r.output],
    ['loop', (r) => r.loop],
    ['value', (r) => r.value],
    ['unit', (r) => r.unit],
    ['bound', (r) => r.bound],
    ['uncertainty', (r) => r.uncertainty],
    ['uncertainty_reason', (r) => r.uncertaintyReason],
    ['limit_min', (r) => r.limit?.within?.[0] ?? r.limit?.min ?? null],
    ['limit_max', (r) => r.limit?.within?.[1] ?? r.limit?.max ?? null],
    ['limit_basis', (r) => r.limit?.basis ?? null],
    ['verdict', (r) => r.verdict],
    ['method', (r) => r.method],
    ['captures', (r) => r.capture.join(' ')],
    ['remarks', (r) => r.remarks.join(' ')],
  ];
  return csvOf(columns.map(([head]) => head), readings.map((r) => columns.map(([, of]) => of(r))));
}

/** One line for each point of each curve. */
export function curvesCsv({ curves, playerCurves = [], noiseBands = [], distortion = [] }: Results): string {
  const heads = ['id', 'label', 'kind', 'state', 'source', 'output', 'x', 'x_unit', 'y', 'y_unit', 'low', 'high'];
  const rows = [...curves, ...playerCurves, ...noiseBands, ...distortion].flatMap((c: Curve | PlayerCurve | NoiseBandCurve | DistortionCurve) =>
    c.x.values.map((x, i): Field[] => [c.id, c.label, c.kind, c.state, c.source, c.output, x, c.x.unit, c.y.values[i] ?? null, c.y.unit, c.low?.[i] ?? null, c.high?.[i] ?? null]),
  );
  return csvOf(heads, rows);
}

/** One line for each stair of the level stairs; harmonics against the tone, empty where there is none above their noise. */
export function stairsCsv({ stairs = [] }: Results): string {
  const heads = ['capture', 'state', 'output', 'level', 'level_unit', 'harmonics_db', 'low_db', 'high_db'];
  const rows = stairs.flatMap(({ capture, state, levels }) => levels.flatMap(({ output, unit, stairs: own }) => own.map((s): Field[] => [capture, state, output, s.level, unit, s.thdDb, s.lowDb, s.highDb])));
  return csvOf(heads, rows);
}

const csvOf = (heads: readonly string[], rows: readonly (readonly Field[])[]): string => [heads, ...rows].map((row) => `${row.map(fieldOf).join(',')}\r\n`).join('');

function fieldOf(field: Field): string {
  if (field === null) return '';
  if (typeof field === 'number') return String(field);
  // A spreadsheet would take text that begins so for a formula, and run it: an apostrophe makes it text.
  const text = /^[=+\-@\t\r]/.test(field) ? `'${field}` : field;
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}
