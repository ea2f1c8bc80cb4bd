/**
 * What the page's script is given: the figures' own values, each curve once.
 *
 * @module
 */
import type { Span } from '../charts/axis.js';
import { type Frame, narrow, small, wide } from '../charts/frame.js';
import type { ChartData } from '../charts/figure.js';
import { spanFor } from '../charts/svg.js';
import { encodeLine } from './line-code.js';

export interface LiveSeries {
  readonly label: string;
  readonly colour: string;
  readonly dash: string;
  readonly width: number;
  /** Index into `grids`. */
  readonly grid: number;
  /** Indices into `lines`; null without a band. */
  readonly y: number;
  readonly low: number | null;
  readonly high: number | null;
}

export interface LiveFigure {
  readonly shape: ChartData['shape'];
  readonly unit: string;
  readonly decimals: number;
  readonly span: Span;
  readonly series: readonly LiveSeries[];
  readonly marks: readonly { readonly kind: 'hum' | 'whine'; readonly hz: number; readonly y: number; readonly label: string }[];
  readonly limits: readonly { readonly hz: number | null; readonly value: number; readonly label: string }[];
}

export interface LiveData {
  /** The sheets that the drawings are made on, by class. */
  readonly frames: Readonly<Record<string, Pick<Frame, 'width' | 'height' | 'left' | 'right' | 'top' | 'bottom' | 'fontPx'>>>;
  readonly grids: readonly string[];
  /** Decimals of the grids' frequencies. */
  readonly gridDecimals: number;
  readonly lines: readonly string[];
  readonly figures: readonly LiveFigure[];
}

/** What is shown and stored of a decibel: a noise density wanders by more than a hundredth from one bin to the next. */
const decimalsFor = (shape: ChartData['shape']): number => (shape === 'noise' ? 2 : 3);
const GRID_DECIMALS = 3;

export function liveData(charts: readonly ChartData[]): LiveData {
  const grids: string[] = [];
  const lines: string[] = [];
  const known = new Map<string, number>();
  const place = (list: string[], text: string): number => {
    const key = `${list === grids ? 'x' : 'y'}${text}`;
    let at = known.get(key);
    if (at === undefined) {
      at = list.push(text) - 1;
      known.set(key, at);
    }
    return at;
  };
  const figures = charts.map((data): LiveFigure => {
    const decimals = decimalsFor(data.shape);
    const code = (values: readonly (number | null)[] | null): number | null => (values === null ? null : place(lines, encodeLine(values, decimals)));
    return {
      shape: data.shape,
      unit: data.unit,
      decimals,
      span: spanFor(data),
      series: data.series.map(({ label, stroke, x, y, low, high }) => ({
        label, colour: `var(${stroke.colour})`, dash: stroke.dash.join(' '), width: stroke.width,
        grid: place(grids, encodeLine(x, GRID_DECIMALS)), y: code(y)!, low: code(high === null ? null : low), high: code(low === null ? null : high),
      })),
      marks: data.marks.map(({ kind, hz, y, label }) => ({ kind, hz, y, label })),
      limits: data.limits.map(({ hz, value, label }) => ({ hz, value, label })),
    };
  });
  const frame = ({ width, height, left, right, top, bottom, fontPx }: Frame): LiveData['frames'][string] => ({ width, height, left, right, top, bottom, fontPx });
  return { frames: { wide: frame(wide), narrow: frame(narrow), 'tile-chart': frame(small) }, grids, gridDecimals: GRID_DECIMALS, lines, figures };
}

/** JSON that may stand in a script element: nothing in it can end the element or begin a comment. */
export const scriptJson = (data: unknown): string => JSON.stringify(data).replace(/[<>&\u2028\u2029]/g, (c) => `\\u${c.charCodeAt(0).toString(16).padStart(4, '0')}`);
