/**
 * The ruled sheet under every chart, and the marks they have in common. Vega-Lite only: pure data out of pure data.
 *
 * Colours are CSS variables, so that one drawing serves light, dark and paper.
 *
 * @module
 */
import type { TopLevelSpec } from 'vega-lite';
import type { Field } from 'vega-lite/types_unstable/channeldef.js';
import type { LayerSpec } from 'vega-lite/types_unstable/spec/index.js';
import { fixed, frequencyTick } from '../numbers.js';
import { widthEm } from '../text.js';
import { HIGHEST_HZ, LOWEST_HZ, RULED_HZ, type Span, stepsOf } from './axis.js';
import { decimate } from './decimate.js';
import type { ChartData, LimitMark, LineMark, Series } from './figure.js';
import { type Frame, plotHeight, plotWidth } from './frame.js';
import { fitting, spread } from './labels.js';

export type ChartSpec = TopLevelSpec;
export type Layer = LayerSpec<Field>['layer'][number];

interface Point {
  readonly x: number;
  readonly y: number | null;
  readonly y2?: number;
}

const colour = (name: string): string => `var(${name})`;

/** Pixels from the left and from the top of the plot. */
export const xOf = (frame: Frame, hz: number): number => (plotWidth(frame) * Math.log(hz / LOWEST_HZ)) / Math.log(HIGHEST_HZ / LOWEST_HZ);
const yOf = (frame: Frame, span: Span, y: number): number => (plotHeight(frame) * (span.high - y)) / (span.high - span.low);
const valueAt = (frame: Frame, span: Span, px: number): number => span.high - (px / plotHeight(frame)) * (span.high - span.low);

/** The whole chart: ruled axes in both directions, the unit at the top, hertz at the right. */
export function sheet(frame: Frame, span: Span, unit: string, layers: readonly Layer[]): ChartSpec {
  const steps = stepsOf(span);
  const decimals = span.step >= 1 ? 0 : Math.ceil(-Math.log10(span.step) - 1e-9);
  const expression = (pairs: readonly (readonly [number, string])[]): string =>
    pairs.reduceRight((rest, [value, text]) => `datum.value === ${String(value)} ? '${text}' : ${rest}`, "''");
  const words = (text: string, x: number, y: number): Layer => ({
    data: { values: [{}] },
    mark: { type: 'text', align: 'left', baseline: 'alphabetic', fontSize: frame.fontPx, fill: 'currentColor', text },
    encoding: { x: { value: x }, y: { value: y } },
  });
  return {
    width: plotWidth(frame),
    height: plotHeight(frame),
    autosize: 'none',
    padding: { left: frame.left, right: frame.right, top: frame.top, bottom: frame.bottom },
    background: 'transparent',
    config: {
      aria: false,
      view: { stroke: null, fill: null },
      axis: { domain: false, ticks: false, labelFontSize: frame.fontPx, labelColor: 'currentColor', labelOverlap: false, labelFlush: false, grid: false },
    },
    encoding: {
      x: {
        field: 'x', type: 'quantitative', title: null,
        scale: { type: 'log', domain: [LOWEST_HZ, HIGHEST_HZ], nice: false, zero: false },
        axis: {
          values: [...frame.labelledHz], labelPadding: 6,
          labelExpr: expression(frame.labelledHz.map((hz) => [hz, frequencyTick(hz)])),
        },
      },
      y: {
        field: 'y', type: 'quantitative', title: null,
        scale: { domain: [span.low, span.high], nice: false, zero: false },
        axis: { values: steps, labelPadding: 6, labelExpr: expression(steps.map((v) => [v, fixed(v, decimals)])) },
      },
    },
    layer: [
      ruling(RULED_HZ.filter((hz) => !frame.labelledHz.includes(hz)).flatMap((x) => upright(x, span)), 0.45),
      ruling([...frame.labelledHz.flatMap((x) => upright(x, span)), ...steps.flatMap((y) => [{ x: LOWEST_HZ, y }, { x: HIGHEST_HZ, y }, { x: HIGHEST_HZ, y: null }])], 1),
      words(unit, -frame.left + 2, -10),
      words('Hz', plotWidth(frame) + frame.fontPx * 1.3, plotHeight(frame) + frame.fontPx + 4),
      ...layers,
    ],
  };
}

const upright = (x: number, span: Span): Point[] => [{ x, y: span.low }, { x, y: span.high }, { x, y: null }];

/** Ruled lines as one path: a third of the bytes of an axis grid. */
const ruling = (points: readonly Point[], opacity: number): Layer => ({
  data: { values: points.map((p, i) => ({ ...p, i })) },
  mark: { type: 'line', stroke: colour('--rule'), strokeWidth: 1, strokeOpacity: opacity },
  encoding: { order: { field: 'i', type: 'quantitative' } },
});

const inside = (span: Span, y: number | null | undefined): number | null =>
  y === null || y === undefined || y < span.low || y > span.high ? null : y;

/** The points of a line that are drawn; what leaves the sheet is a gap. */
export function drawn(series: Series, frame: Frame, span: Span): Point[] {
  return decimate(series.x, series.y, frame.slices).map((i) => ({ x: round(series.x[i]!), y: inside(span, series.y[i]) }));
}

const round = (v: number): number => Number(v.toPrecision(6));

/** A line in its own colour and dashes. */
export function line(series: Series, frame: Frame, span: Span): Layer {
  const { stroke } = series;
  return {
    data: { values: drawn(series, frame, span) },
    mark: { type: 'line', stroke: colour(stroke.colour), strokeWidth: stroke.width, strokeDash: [...stroke.dash], strokeJoin: 'round' },
  };
}

/** The 95 % band around a line, cut at the edge of the sheet; none where the series has no band. */
export function band(series: Series, frame: Frame, span: Span): Layer[] {
  const { low, high } = series;
  if (low === null || high === null) return [];
  const values = decimate(series.x, series.y, frame.slices).flatMap((i): Point[] => {
    const bottom = low[i];
    const top = high[i];
    if (bottom === null || bottom === undefined || top === null || top === undefined || top < span.low || bottom > span.high) return [];
    return [{ x: round(series.x[i]!), y: Math.max(span.low, bottom), y2: Math.min(span.high, top) }];
  });
  return [{ data: { values }, mark: { type: 'area', fill: colour(series.stroke.colour), fillOpacity: 0.18 }, encoding: { y2: { field: 'y2' } } }];
}

/** A rule across the sheet at one value. */
export const across = (value: number, stroke: string, width: number): Layer => ({
  data: { values: [{ x: LOWEST_HZ, x2: HIGHEST_HZ, y: value }] },
  mark: { type: 'rule', stroke: colour(stroke), strokeWidth: width },
  encoding: { x2: { field: 'x2' } },
});

/** Text over lines stands on a strip of paper; the style sheet paints it under the letters. */
const HALO = { stroke: colour('--sheet'), strokeWidth: 5 } as const;

interface EndLabel {
  readonly text: string;
  readonly colour: string;
  /** Value at which the line ends. */
  readonly y: number;
}

/** Labels to the right of the plot, each beside the end of its line or tied to it by a hair. */
export function endLabels(labels: readonly EndLabel[], frame: Frame, span: Span): Layer[] {
  const places = spread(labels.map((l) => yOf(frame, span, l.y)), frame.fontPx * 1.25, 4, plotHeight(frame) - 4);
  return labels.flatMap((label, i): Layer[] => {
    const at = valueAt(frame, span, places[i]!);
    const end = HIGHEST_HZ * 1.002;
    return [
      {
        data: { values: [{ x: end, y: label.y, x2: HIGHEST_HZ * (HIGHEST_HZ / LOWEST_HZ) ** (9 / plotWidth(frame)), y2: at }] },
        mark: { type: 'rule', stroke: label.colour, strokeWidth: 0.8 },
        encoding: { x2: { field: 'x2' }, y2: { field: 'y2' } },
      },
      {
        data: { values: [{ x: HIGHEST_HZ, y: at }] },
        mark: { type: 'text', align: 'left', baseline: 'middle', dx: 12, fontSize: frame.fontPx, fill: label.colour, text: label.text },
      },
    ];
  });
}

/** The label of a line, at its last point on the sheet. */
export function endLabelOf(series: Series, frame: Frame, span: Span): EndLabel[] {
  const last = drawn(series, frame, span).filter((p) => p.y !== null).at(-1);
  return last === undefined ? [] : [{ text: series.label, colour: colour(series.stroke.colour), y: last.y! }];
}

/** Limits: a bar at its frequency, named at its left; or a rule across the sheet, named at its end. */
export function limits(marks: readonly LimitMark[], frame: Frame, span: Span): { layers: Layer[]; labels: EndLabel[] } {
  const seen = marks.filter((m) => m.value >= span.low && m.value <= span.high);
  const reach = 1.16;
  const points = seen.flatMap((m) => (m.hz === null ? [] : [{ ...m, hz: m.hz }]));
  const places = spread(points.map((m) => yOf(frame, span, m.value)), frame.fontPx * 1.15, 4, plotHeight(frame) - 4);
  const layers = points.flatMap((m, i): Layer[] => {
    const left = Math.max(LOWEST_HZ, m.hz / reach);
    // Bars at other frequencies do not push each other's names.
    const crowded = points.some((p, k) => k !== i && p.hz === m.hz);
    return [
      {
        data: { values: [{ x: left, x2: Math.min(HIGHEST_HZ, m.hz * reach), y: m.value }] },
        mark: { type: 'rule', stroke: colour('--limit'), strokeWidth: 2.4 },
        encoding: { x2: { field: 'x2' } },
      },
      {
        data: { values: [{ x: left, y: crowded ? valueAt(frame, span, places[i]!) : m.value }] },
        mark: { type: 'text', text: m.label, fill: colour('--limit'), ...HALO, fontSize: frame.fontPx, dx: -5, baseline: 'middle', align: 'right' },
      },
    ];
  });
  const rules = seen.filter((m) => m.hz === null);
  return {
    layers: [...layers, ...rules.map((m) => across(m.value, '--limit', 1.4))],
    labels: rules.map((m) => ({ text: m.label, colour: colour('--limit'), y: m.value })),
  };
}

/** Hum as filled triangles, whine as open diamonds, above the peaks that they mark; the strongest carry their frequency. */
export function lineMarks(marks: readonly LineMark[], frame: Frame, span: Span): Layer[] {
  const seen = marks.filter((m) => inside(span, m.y) !== null && m.hz >= LOWEST_HZ && m.hz <= HIGHEST_HZ);
  const symbols = (kind: LineMark['kind']): Layer[] => {
    const values = seen.filter((m) => m.kind === kind).map((m) => ({ x: round(m.hz), y: m.y }));
    if (values.length === 0) return [];
    return [
      {
        data: { values },
        mark: {
          type: 'point', yOffset: -7, size: kind === 'hum' ? 34 : 44, opacity: 1,
          shape: kind === 'hum' ? 'triangle-down' : 'diamond',
          filled: kind === 'hum',
          fill: kind === 'hum' ? colour('--hum') : colour('--sheet'),
          stroke: colour(kind === 'hum' ? '--hum' : '--whine'),
          strokeWidth: kind === 'hum' ? 0 : 1.5,
        },
      },
    ];
  };
  const kinds = new Set<string>();
  const byLevel = [...seen].sort((a, b) => b.level - a.level);
  const first = byLevel.filter((m) => !kinds.has(m.kind) && kinds.add(m.kind));
  const named = fitting(
    seen.map((m) => ({
      x: xOf(frame, m.hz),
      y: yOf(frame, span, m.y),
      width: (widthEm(m.label) + 0.8) * frame.fontPx,
      height: frame.fontPx * 1.7,
      // The strongest of each kind is named before any other.
      weight: m.level + (first.includes(m) ? 1000 : 0),
    })),
    frame.namedLines,
  );
  const texts = named.map((i): Layer => {
    const m = seen[i]!;
    return {
      data: { values: [{ x: round(m.hz), y: m.y }] },
      mark: {
        type: 'text', text: m.label, align: xOf(frame, m.hz) < 30 ? 'left' : 'center', baseline: 'bottom', yOffset: -13,
        fontSize: frame.fontPx, fill: colour(m.kind === 'hum' ? '--hum' : '--whine'), ...HALO,
      },
    };
  });
  return [...symbols('hum'), ...symbols('whine'), ...texts];
}

/** Every value that a scale must hold. */
export function* extent(data: ChartData): Generator<number> {
  for (const s of data.series) {
    for (const list of [s.y, s.low, s.high]) {
      if (list === null) continue;
      for (let i = 0; i < list.length; i++) {
        const hz = s.x[i];
        const y = list[i];
        if (hz === null || hz === undefined || hz < LOWEST_HZ || hz > HIGHEST_HZ || y === null || y === undefined) continue;
        yield y;
      }
    }
  }
  for (const m of data.limits) yield m.value;
}
