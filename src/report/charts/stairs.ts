/**
 * Distortion against the level that comes out: a line for each state with the 95 % interval of each stair, and the 1 % line.
 *
 * @module
 */
import { spanOf } from './axis.js';
import type { Stroke } from './figure.js';
import { spread } from './labels.js';
import { type LinearFrame, linearSheet } from './linear-sheet.js';
import { type ChartSpec, type Layer, type Lettering, type Rule, colour } from './sheet.js';

export interface StairPoint {
  readonly level: number;
  /** Null where no harmonic stands out; `high` is then the most that could hide. */
  readonly thdDb: number | null;
  readonly low: number | null;
  readonly high: number;
}

export interface StairsChart {
  readonly shape: 'stairs';
  readonly unit: string;
  readonly lines: readonly { readonly label: string; readonly stroke: Stroke; readonly points: readonly StairPoint[] }[];
  readonly limits: readonly { readonly level: number; readonly label: string }[];
}

/** 1 % of harmonics, dB. */
export const ONE_PERCENT_DB = -40;

export const stairsFrame = (isNarrow: boolean): LinearFrame =>
  isNarrow ? { width: 340, height: 250, left: 38, right: 92, top: 26, bottom: 28, fontPx: 12 } : { width: 700, height: 280, left: 46, right: 110, top: 26, bottom: 28, fontPx: 12 };

export function stairsSpec({ unit, lines, limits }: StairsChart, frame: LinearFrame): ChartSpec {
  const points = lines.flatMap((l) => l.points);
  const x = spanOf([...points.map((p) => p.level), ...limits.map((l) => l.level)], 10, 80);
  const y = spanOf([ONE_PERCENT_DB + 10, ...points.map((p) => p.thdDb ?? p.high)], 40, 140);
  const height = frame.height - frame.top - frame.bottom;
  const held = (v: number): number => Math.max(y.low, Math.min(y.high, v));
  const layers = lines.flatMap((l): Layer[] => {
    const stroke = colour(l.stroke.colour);
    const known = l.points.filter((p) => p.thdDb !== null).map((p) => ({ x: p.level, y: held(p.thdDb!) }));
    const hidden = l.points.filter((p) => p.thdDb === null).map((p) => ({ x: p.level, y: held(p.high) }));
    return [
      ...(known.length === 0 ? [] : [{ data: { values: known }, mark: { type: 'line' as const, stroke, strokeWidth: l.stroke.width, strokeDash: [...l.stroke.dash], strokeJoin: 'round' as const } }, { data: { values: known }, mark: { type: 'point' as const, filled: true, fill: stroke, opacity: 1, size: 26 } }]),
      ...(hidden.length === 0 ? [] : [{ data: { values: hidden }, mark: { type: 'point' as const, shape: 'triangle-down', filled: false, fill: colour('--sheet'), stroke, strokeWidth: 1.3, opacity: 1, size: 34 } }]),
    ];
  });
  const hairs = lines.flatMap((l): Rule[] => l.points.filter((p) => p.thdDb !== null).map((p) => ({ x: p.level, x2: p.level, y: held(p.low ?? p.high), y2: held(p.high), stroke: colour(l.stroke.colour), width: 1.2 })));
  const ends = lines.flatMap((l) => l.points.slice(-1).map((p) => ({ text: l.label, fill: colour(l.stroke.colour), x: p.level, y: held(p.thdDb ?? p.high) })));
  const wanted = [...ends, { text: '1 %', fill: colour('--limit'), x: x.high, y: ONE_PERCENT_DB }];
  const pixels = spread(wanted.map((e) => (height * (y.high - e.y)) / (y.high - y.low)), frame.fontPx * 1.25, 4, height - 4);
  const at = pixels.map((px) => y.high - (px / height) * (y.high - y.low));
  const width = frame.width - frame.left - frame.right;
  return linearSheet(frame, x, y, {
    xUnit: unit,
    yUnit: 'dB',
    layers,
    over: [
      ...hairs,
      { x: x.low, x2: x.high, y: ONE_PERCENT_DB, y2: ONE_PERCENT_DB, stroke: colour('--limit'), width: 1.4 },
      ...limits.map((l) => ({ x: l.level, x2: l.level, y: y.low, y2: y.high, stroke: colour('--limit'), width: 1.4 })),
      ...wanted.map((e, i) => ({ x: e.x, y: e.y, x2: x.high + ((x.high - x.low) * 9) / width, y2: at[i]!, stroke: e.fill, width: 0.8 })),
    ],
    letters: [
      ...wanted.map((e, i): Lettering => ({ x: x.high, y: at[i]!, dx: 12, dy: 0, text: e.text, fill: e.fill, align: 'left', baseline: 'middle' })),
      ...limits.map((l): Lettering => ({ x: l.level, y: y.high, dx: 0, dy: -8, text: l.label, fill: colour('--limit'), align: 'center', baseline: 'alphabetic' })),
    ],
  });
}
