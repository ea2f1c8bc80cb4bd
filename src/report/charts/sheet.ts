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
import { simplify } from './simplify.js';

export type ChartSpec = TopLevelSpec;
export type Layer = LayerSpec<Field>['layer'][number];

interface Point {
  readonly x: number;
  readonly y: number | null;
  readonly y2?: number;
}

export const colour = (name: string): string => `var(${name})`;

/** Pixels from the left and from the top of the plot. */
export const xOf = (frame: Frame, hz: number): number => (plotWidth(frame) * Math.log(hz / LOWEST_HZ)) / Math.log(HIGHEST_HZ / LOWEST_HZ);
const yOf = (frame: Frame, span: Span, y: number): number => (plotHeight(frame) * (span.high - y)) / (span.high - span.low);
const valueAt = (frame: Frame, span: Span, px: number): number => span.high - (px / plotHeight(frame)) * (span.high - span.low);

/** A straight line between two points of the sheet. */
export interface Rule {
  readonly x: number;
  readonly y: number;
  readonly x2: number;
  readonly y2: number;
  readonly stroke: string;
  readonly width: number;
}

/** A piece of text at a point of the sheet, moved by `dx` and `dy` pixels. */
export interface Lettering {
  readonly x: number;
  readonly y: number;
  readonly dx: number;
  readonly dy: number;
  readonly text: string;
  readonly fill: string;
  readonly align: 'left' | 'center' | 'right';
  readonly baseline: 'alphabetic' | 'middle' | 'bottom';
}

/** What is drawn on a sheet, from the bottom up. */
export interface Content {
  readonly under: readonly Rule[];
  readonly layers: readonly Layer[];
  readonly over: readonly Rule[];
  readonly letters: readonly Lettering[];
}

/** Size, margins and the looks of axes: what every sheet begins with. */
export const paper = (frame: Frame): Pick<ChartSpec, 'autosize' | 'padding' | 'background' | 'config'> & { readonly width: number; readonly height: number } => ({
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
});

/** The whole chart: ruled axes in both directions, the unit at the top, hertz at the right. */
export function sheet(frame: Frame, span: Span, unit: string, { under, layers, over, letters }: Content): ChartSpec {
  const steps = stepsOf(span);
  const decimals = span.step >= 1 ? 0 : Math.ceil(-Math.log10(span.step) - 1e-9);
  const expression = (pairs: readonly (readonly [number, string])[]): string =>
    pairs.reduceRight((rest, [value, text]) => `datum.value === ${String(value)} ? '${text}' : ${rest}`, "''");
  const corner = { fill: 'currentColor', align: 'left', baseline: 'alphabetic' } as const;
  return {
    ...paper(frame),
    encoding: {
      x: {
        field: 'x', type: 'quantitative', title: null,
        scale: { type: 'log', domain: [LOWEST_HZ, HIGHEST_HZ], nice: false },
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
      ...rules(under),
      ...layers,
      ...rules(over),
      lettering(frame, [
        { x: LOWEST_HZ, y: span.high, dx: 2 - frame.left, dy: -10, text: unit, ...corner },
        { x: HIGHEST_HZ, y: span.low, dx: frame.fontPx * 1.3, dy: frame.fontPx + 4, text: 'Hz', ...corner },
        ...letters,
      ]),
    ],
  };
}

// One layer for all rules and one for all text: a layer costs Vega-Lite milliseconds.
export const rules = (list: readonly Rule[]): Layer[] =>
  list.length === 0
    ? []
    : [
        {
          data: { values: list.map((r) => ({ ...r })) },
          mark: { type: 'rule', stroke: { expr: 'datum.stroke' }, strokeWidth: { expr: 'datum.width' } },
          encoding: { x2: { field: 'x2' }, y2: { field: 'y2' } },
        },
      ];

export const lettering = (frame: Pick<Frame, 'fontPx'>, list: readonly Lettering[]): Layer => ({
  data: { values: list.map((l) => ({ ...l })) },
  mark: {
    type: 'text', fontSize: frame.fontPx,
    fill: { expr: 'datum.fill' }, align: { expr: 'datum.align' }, baseline: { expr: 'datum.baseline' }, dx: { expr: 'datum.dx' }, dy: { expr: 'datum.dy' },
    // Text over lines stands on a strip of paper; the style sheet paints it under the letters.
    stroke: colour('--sheet'), strokeWidth: 4,
  },
  encoding: { text: { field: 'text', type: 'nominal' } },
});

const upright = (x: number, span: Span): Point[] => [{ x, y: span.low }, { x, y: span.high }, { x, y: null }];

/** Ruled lines as one path: a third of the bytes of an axis grid. */
const ruling = (points: readonly Point[], opacity: number): Layer => ({
  data: { values: points.map((p, i) => ({ ...p, i })) },
  mark: { type: 'line', stroke: colour('--rule'), strokeWidth: 1, strokeOpacity: opacity },
  encoding: { order: { field: 'i', type: 'quantitative' } },
});

const inside = (span: Span, y: number | null | undefined): number | null =>
  y === null || y === undefined || y < span.low || y > span.high ? null : y;

/** How far a drawn line may be from the curve, pixels. */
const HAIR = 0.15;

/** Indices of a series to draw: its extremes, and of its smooth stretches what a hair's breadth needs. A gap keeps its null. */
function shown(series: Series, y: readonly (number | null)[], frame: Frame, span: Span): number[] {
  const out: number[] = [];
  let run: number[] = [];
  const close = (): void => {
    const kept = simplify(run.map((i) => xOf(frame, series.x[i]!)), run.map((i) => yOf(frame, span, y[i]!)), HAIR);
    out.push(...kept.map((k) => run[k]!));
    run = [];
  };
  for (const i of decimate(series.x, y, frame.slices)) {
    if (y[i] !== null && y[i] !== undefined) run.push(i);
    else {
      close();
      out.push(i);
    }
  }
  close();
  return out;
}

/** The points of a line that are drawn; what leaves the sheet is a gap. */
export function drawn(series: Series, frame: Frame, span: Span): Point[] {
  return shown(series, series.y, frame, span).map((i) => ({ x: round(series.x[i]!), y: inside(span, series.y[i]) }));
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
  const edges = new Set([...shown(series, low, frame, span), ...shown(series, high, frame, span)]);
  const values = [...edges].sort((a, b) => a - b).flatMap((i): Point[] => {
    const bottom = low[i];
    const top = high[i];
    if (bottom === null || bottom === undefined || top === null || top === undefined || top < span.low || bottom > span.high) return [];
    return [{ x: round(series.x[i]!), y: Math.max(span.low, bottom), y2: Math.min(span.high, top) }];
  });
  return [{ data: { values }, mark: { type: 'area', fill: colour(series.stroke.colour), fillOpacity: 0.18 }, encoding: { y2: { field: 'y2' } } }];
}

/** A rule across the sheet at one value. */
export const across = (value: number, stroke: string, width: number): Rule => ({ x: LOWEST_HZ, x2: HIGHEST_HZ, y: value, y2: value, stroke: colour(stroke), width });

export interface EndLabel {
  readonly text: string;
  readonly colour: string;
  /** Where the line ends. */
  readonly x: number;
  readonly y: number;
}

/** Labels to the right of the plot, each tied to the end of its line by a hair. */
export function endLabels(labels: readonly EndLabel[], frame: Frame, span: Span): { rules: Rule[]; letters: Lettering[] } {
  const places = spread(labels.map((l) => yOf(frame, span, l.y)), frame.fontPx * 1.25, 4, plotHeight(frame) - 4);
  const at = places.map((px) => valueAt(frame, span, px));
  return {
    rules: labels.map((l, i) => ({
      x: l.x * 1.002, y: l.y, x2: HIGHEST_HZ * (HIGHEST_HZ / LOWEST_HZ) ** (9 / plotWidth(frame)), y2: at[i]!, stroke: l.colour, width: 0.8,
    })),
    letters: labels.map((l, i) => ({ x: HIGHEST_HZ, y: at[i]!, dx: 12, dy: 0, text: l.text, fill: l.colour, align: 'left', baseline: 'middle' })),
  };
}

/** The label of a line, at its last point on the sheet. */
export function endLabelOf(series: Series, frame: Frame, span: Span): EndLabel[] {
  const last = drawn(series, frame, span).filter((p) => p.y !== null).at(-1);
  return last === undefined ? [] : [{ text: series.label, colour: colour(series.stroke.colour), x: last.x, y: last.y! }];
}

/** Limits: a bar at its frequency, named at its left; or a rule across the sheet, named at its end. */
export function limits(marks: readonly LimitMark[], frame: Frame, span: Span): { rules: Rule[]; letters: Lettering[]; labels: EndLabel[] } {
  const seen = marks.filter((m) => m.value >= span.low && m.value <= span.high);
  const reach = 1.16;
  const points = seen.flatMap((m) => (m.hz === null ? [] : [{ ...m, hz: m.hz }]));
  const places = spread(points.map((m) => yOf(frame, span, m.value)), frame.fontPx * 1.15, 4, plotHeight(frame) - 4);
  const left = (hz: number): number => Math.max(LOWEST_HZ, hz / reach);
  const bands = seen.filter((m) => m.hz === null);
  return {
    rules: [
      ...points.map((m) => ({ x: left(m.hz), x2: Math.min(HIGHEST_HZ, m.hz * reach), y: m.value, y2: m.value, stroke: colour('--limit'), width: 2.4 })),
      ...bands.map((m) => across(m.value, '--limit', 1.4)),
    ],
    letters: points.map((m, i) => {
      // Bars at other frequencies do not push each other's names.
      const crowded = points.some((p, k) => k !== i && p.hz === m.hz);
      const y = crowded ? valueAt(frame, span, places[i]!) : m.value;
      return { x: left(m.hz), y, dx: -5, dy: 0, text: m.label, fill: colour('--limit'), align: 'right', baseline: 'middle' };
    }),
    labels: bands.map((m) => ({ text: m.label, colour: colour('--limit'), x: HIGHEST_HZ, y: m.value })),
  };
}

/** Hum as filled triangles, whine as open diamonds, above the peaks that they mark; the strongest carry their frequency. */
export function lineMarks(marks: readonly LineMark[], frame: Frame, span: Span): { layers: Layer[]; letters: Lettering[] } {
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
  // A name at the left edge starts there, instead of standing across the axis.
  const atEdge = (m: LineMark): boolean => xOf(frame, m.hz) < 30;
  const boxes = seen.map((m) => {
    const width = (widthEm(m.label) + 0.8) * frame.fontPx;
    return { x: xOf(frame, m.hz) + (atEdge(m) ? width / 2 : 0), y: yOf(frame, span, m.y) - 13 - frame.fontPx / 2, width, height: frame.fontPx * 1.1 };
  });
  const named = fitting(
    // The strongest of each kind is named before any other.
    boxes.map((box, i) => ({ ...box, weight: seen[i]!.level + (first.includes(seen[i]!) ? 1000 : 0) })),
    frame.namedLines,
    seen.map((m) => ({ x: xOf(frame, m.hz), y: yOf(frame, span, m.y) - 7, width: 7, height: 7 })),
  );
  return {
    layers: [...symbols('hum'), ...symbols('whine')],
    letters: named.map((i) => {
      const m = seen[i]!;
      return {
        x: round(m.hz), y: m.y, dx: 0, dy: -13, text: m.label, fill: colour(m.kind === 'hum' ? '--hum' : '--whine'), align: atEdge(m) ? 'left' : 'center', baseline: 'bottom',
      };
    }),
  };
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
