/**
 * The difference between two outputs: a column from zero for each third-octave with its 95 % interval, or a line.
 *
 * @module
 */
import { BANDS, HIGHEST_HZ, LOWEST_HZ, type Span, spanOf } from './axis.js';
import type { ChartData, Series } from './figure.js';
import { type Frame, plotWidth } from './frame.js';
import { type ChartSpec, type Layer, across, band, drawn, endLabelOf, endLabels, extent, limits, line, sheet } from './sheet.js';

/** Least and largest height of the scale, dB. */
const LEAST_DB = 1;
const MOST_DB = 30;

/** The scale always holds zero: a difference is read from there. */
export const matchSpan = (data: ChartData): Span => {
  const values = [...extent(data)];
  const height = Math.max(LEAST_DB / 2, ...values.map(Math.abs));
  return values.length === 0 ? spanOf([0], LEAST_DB, MOST_DB) : spanOf([-Math.min(height, MOST_DB / 2) * 1.08, Math.min(height, MOST_DB / 2) * 1.08], LEAST_DB, MOST_DB);
};

/** Columns are for curves with a point per band; anything denser is a line. */
const isBanded = (series: Series): boolean => series.x.length <= BANDS.length + 6;

function columns(series: Series, frame: Frame, span: Span): Layer[] {
  const fill = `var(${series.stroke.colour})`;
  const values = series.x.flatMap((x, i) => {
    const y = series.y[i];
    if (x === null || x < LOWEST_HZ * 0.99 || x > HIGHEST_HZ * 1.01 || y === null || y === undefined) return [];
    const low = series.low?.[i] ?? y;
    const high = series.high?.[i] ?? y;
    const held = (v: number): number => Math.max(span.low, Math.min(span.high, v));
    return [{ x: Math.max(LOWEST_HZ, Math.min(HIGHEST_HZ, x)), y: held(y), zero: 0, low: held(low), high: held(high) }];
  });
  const width = Math.max(3, (plotWidth(frame) / BANDS.length) * 0.55);
  return [
    { data: { values }, mark: { type: 'rule', stroke: fill, strokeWidth: width, strokeOpacity: 0.45 }, encoding: { y2: { field: 'zero' } } },
    { data: { values: values.filter((v) => v.low < v.high) }, mark: { type: 'rule', stroke: fill, strokeWidth: 1.2 }, encoding: { y: { field: 'low', type: 'quantitative' }, y2: { field: 'high' } } },
    { data: { values }, mark: { type: 'point', filled: true, fill, opacity: 1, size: 22 } },
  ];
}

export function matchSpec(data: ChartData, frame: Frame): ChartSpec {
  const span = data.span ?? matchSpan(data);
  const bounds = limits(data.limits, frame, span);
  const lines = data.series.filter((s) => !isBanded(s) && drawn(s, frame, span).length > 0);
  const ends = endLabels([...lines.flatMap((s) => endLabelOf(s, frame, span)), ...bounds.labels], frame, span);
  return sheet(frame, span, data.unit, {
    under: [across(0, '--rule-strong', 1.2)],
    layers: [...lines.flatMap((s) => band(s, frame, span)), ...data.series.filter(isBanded).flatMap((s) => columns(s, frame, span)), ...lines.map((s) => line(s, frame, span))],
    over: [...bounds.rules, ...ends.rules],
    letters: [...bounds.letters, ...ends.letters],
  });
}
