/**
 * Responses and tone loss: one line for each state with its 95 % band.
 *
 * @module
 */
import { type Span, spanOf } from './axis.js';
import type { ChartData } from './figure.js';
import type { Frame } from './frame.js';
import { type ChartSpec, across, band, endLabelOf, endLabels, extent, limits, line, sheet } from './sheet.js';

/** Least and largest height of the scale, dB: 2 dB keeps hundredths from looking like a fault; below 30 dB down nothing is heard of it. */
const LEAST_DB = 2;
const MOST_DB = 30;

export const responseSpan = (charts: readonly ChartData[]): Span => spanOf(charts.flatMap((c) => [...extent(c)]), LEAST_DB, MOST_DB);

export function responseSpec(data: ChartData, frame: Frame): ChartSpec {
  const span = data.span ?? responseSpan([data]);
  const bounds = limits(data.limits, frame, span);
  const ends = endLabels([...data.series.flatMap((s) => endLabelOf(s, frame, span)), ...bounds.labels], frame, span);
  return sheet(frame, span, data.unit, {
    under: span.low < 0 && span.high > 0 ? [across(0, '--rule-strong', 1)] : [],
    layers: [...data.series.flatMap((s) => band(s, frame, span)), ...data.series.map((s) => line(s, frame, span))],
    over: [...bounds.rules, ...ends.rules],
    letters: [...bounds.letters, ...ends.letters],
  });
}
