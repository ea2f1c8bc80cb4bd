/**
 * Levels of the parts of a board: a row for each part, a sign with its 95 % interval for each level, limits as upright lines.
 *
 * @module
 */
import { fixed } from '../numbers.js';
import { wrapName } from '../text.js';
import { spanOf } from './axis.js';
import { type LinearFrame, linearSheet } from './linear-sheet.js';
import { type ChartSpec, type Layer, type Lettering, type Rule, colour } from './sheet.js';

/** Signs differ in outline; a level that is only an upper bound is an open one with an arrow's tail towards less. */
const SIGNS = {
  hiss: { shape: 'circle', colour: '--line-1' },
  hum: { shape: 'triangle-down', colour: '--hum' },
  whine: { shape: 'diamond', colour: '--whine' },
  click: { shape: 'circle', colour: '--line-1' },
} as const;
export type Sign = keyof typeof SIGNS;

export interface Dot {
  readonly row: number;
  readonly sign: Sign;
  readonly value: number;
  /** 95 % interval; `low` null where it may be nothing at all. */
  readonly low: number | null;
  readonly high: number | null;
  /** It is at most this. */
  readonly isBound: boolean;
}

export interface DotChart {
  readonly shape: 'dots';
  readonly unit: string;
  readonly rows: readonly string[];
  readonly dots: readonly Dot[];
  readonly limits: readonly { readonly value: number; readonly label: string }[];
}

/** The horizontal scale holds this much at most, dB: what is further below the loudest counts for nothing. */
const MOST_DB = 60;
const LEAST_DB = 20;

export function dotFrame(rows: number, isNarrow: boolean): LinearFrame {
  return isNarrow
    ? { width: 340, height: 52 + rows * 26, left: 104, right: 52, top: 24, bottom: 28, fontPx: 12 }
    : { width: 700, height: 52 + rows * 30, left: 190, right: 56, top: 24, bottom: 28, fontPx: 12 };
}

export function dotSpec({ unit, rows, dots, limits }: DotChart, frame: LinearFrame): ChartSpec {
  const top = [...dots.flatMap((d) => [d.value, d.high ?? d.value]), ...limits.map((l) => l.value)];
  const x = spanOf(top, LEAST_DB, MOST_DB);
  const y = { low: 0, high: rows.length, step: 1 };
  const signs = [...new Set(dots.map((d) => d.sign))];
  const seen = dots.filter((d) => d.value >= x.low && d.value <= x.high);
  // Signs of one row stand over each other, each kind at its own height.
  const yOf = (d: Dot): number => d.row + (signs.indexOf(d.sign) + 1) / (signs.length + 1);
  const held = (v: number): number => Math.max(x.low, Math.min(x.high, v));
  const hairs: Rule[] = seen.map((d) => ({
    x: held(d.isBound ? d.value - (x.high - x.low) / 40 : (d.low ?? x.low)), x2: held(d.isBound ? d.value : (d.high ?? d.value)), y: yOf(d), y2: yOf(d), stroke: colour(SIGNS[d.sign].colour), width: 1.4,
  }));
  const layers = signs.flatMap((sign): Layer[] =>
    [false, true].flatMap((isBound): Layer[] => {
      const values = seen.filter((d) => d.sign === sign && d.isBound === isBound).map((d) => ({ x: d.value, y: yOf(d) }));
      if (values.length === 0) return [];
      const fill = colour(SIGNS[sign].colour);
      return [{ data: { values }, mark: { type: 'point', filled: !isBound, fill: isBound ? colour('--sheet') : fill, stroke: fill, strokeWidth: isBound ? 1.4 : 0, shape: SIGNS[sign].shape, size: 46, opacity: 1 } }];
    }),
  );
  const names = rows.flatMap((name, i): Lettering[] => {
    // A sixth is kept for fonts wider than most.
    const lines = wrapName(name, (0.84 * (frame.left - 10)) / frame.fontPx, 2);
    return lines.map((text, k) => ({ x: x.low, y: i + 0.5, dx: -8, dy: (k - (lines.length - 1) / 2) * (frame.fontPx + 1), text, fill: 'currentColor', align: 'right', baseline: 'middle' }));
  });
  // The highest of each row is named with its level.
  const named = rows.flatMap((_, i): Lettering[] => {
    const highest = seen.filter((d) => d.row === i && !d.isBound).sort((a, b) => b.value - a.value)[0];
    if (highest === undefined) return [];
    const right = highest.high ?? highest.value;
    const fits = (right - x.low) / (x.high - x.low) < 0.72;
    return [
      {
        x: held(fits ? right : (highest.low ?? highest.value)), y: yOf(highest), dx: fits ? 8 : -8, dy: 0, text: `${signs.length > 1 ? `${highest.sign} ` : ''}${fixed(highest.value, 1)}`,
        fill: colour(SIGNS[highest.sign].colour), align: fits ? 'left' : 'right', baseline: 'middle',
      },
    ];
  });
  return linearSheet(frame, x, y, {
    xUnit: unit,
    yUnit: null,
    layers,
    over: [...hairs, ...limits.map((l) => ({ x: l.value, x2: l.value, y: y.low, y2: y.high, stroke: colour('--limit'), width: 1.6 }))],
    letters: [...names, ...named, ...limits.map((l): Lettering => ({ x: l.value, y: 0, dx: 0, dy: -8, text: l.label, fill: colour('--limit'), align: 'center', baseline: 'alphabetic' }))],
  });
}
