/**
 * A noise spectrum: mean density and the peak of each bin, with hum and whine marked.
 *
 * @module
 */
import { type Span, spanOf } from './axis.js';
import type { ChartData } from './figure.js';
import type { Frame } from './frame.js';
import { type ChartSpec, endLabelOf, endLabels, extent, limits, line, lineMarks, sheet } from './sheet.js';

/** Least and largest height of the scale, dB. */
const LEAST_DB = 30;
const MOST_DB = 120;

/** The vertical scale, with room above the highest peak for its mark. */
export function noiseSpan(charts: readonly ChartData[]): Span {
  const values = charts.flatMap((c) => [...extent(c)]);
  const top = values.reduce((a, b) => Math.max(a, b), -Infinity);
  const bottom = values.reduce((a, b) => Math.min(a, b), Infinity);
  const room = charts.some((c) => c.marks.length > 0) ? 0.14 * Math.max(LEAST_DB, top - bottom) : 0;
  return spanOf(values.length === 0 ? [] : [...values, top + room], LEAST_DB, MOST_DB);
}

export function noiseSpec(data: ChartData, frame: Frame): ChartSpec {
  const span = data.span ?? noiseSpan([data]);
  const bounds = limits(data.limits, frame, span);
  const lines = lineMarks(data.marks, frame, span);
  const ends = endLabels([...data.series.flatMap((s) => endLabelOf(s, frame, span)), ...bounds.labels], frame, span);
  return sheet(frame, span, data.unit, {
    under: [],
    layers: [...data.series.map((s) => line(s, frame, span)), ...lines.layers],
    over: [...bounds.rules, ...ends.rules],
    letters: [...lines.letters, ...bounds.letters, ...ends.letters],
  });
}
