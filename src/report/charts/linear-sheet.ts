/**
 * A ruled sheet whose axes are both linear: levels against levels, or parts of a board against a level.
 *
 * @module
 */
import { fixed } from '../numbers.js';
import { type Span, stepsOf } from './axis.js';
import { type Frame, plotWidth } from './frame.js';
import { type ChartSpec, type Layer, type Lettering, type Rule, colour, lettering, paper, rules } from './sheet.js';

export type LinearFrame = Pick<Frame, 'width' | 'height' | 'left' | 'right' | 'top' | 'bottom' | 'fontPx'>;

export interface LinearContent {
  /** Unit beneath the horizontal axis, at its right end. */
  readonly xUnit: string;
  /** Unit over the vertical axis; null where rows have names instead of values, lowest last. */
  readonly yUnit: string | null;
  readonly layers: readonly Layer[];
  readonly over: readonly Rule[];
  readonly letters: readonly Lettering[];
}

const whole = (f: LinearFrame): Frame => ({ ...f, labelledHz: [], slices: 0, namedLines: 0 });

/** Ruled at every step of `x`, and at every step of `y`; with rows a `y` that counts downwards. */
export function linearSheet(frame: LinearFrame, x: Span, y: Span, { xUnit, yUnit, layers, over, letters }: LinearContent): ChartSpec {
  const xs = stepsOf(x);
  // A label of three digits and a sign needs 45 px; the rest of the lines stay bare.
  const apart = Math.ceil(45 / (plotWidth(whole(frame)) / Math.max(1, xs.length - 1)));
  const labelled = xs.filter((_, i) => (xs.length - 1 - i) % apart === 0);
  const ys = stepsOf(y);
  const rowed = yUnit === null;
  const ruled = (at: Pick<Rule, 'x' | 'y' | 'x2' | 'y2'>): Rule => ({ ...at, stroke: colour('--rule'), width: 1 });
  const words = (values: readonly number[], step: number): string =>
    values.reduceRight((rest, v) => `abs(datum.value - ${String(v)}) < 1e-9 ? '${fixed(v, step >= 1 ? 0 : Math.ceil(-Math.log10(step) - 1e-9))}' : ${rest}`, "''");
  const corner = { fill: 'currentColor', align: 'left', baseline: 'alphabetic' } as const;
  const foot = rowed ? y.high : y.low;
  return {
    ...paper(whole(frame)),
    encoding: {
      x: { field: 'x', type: 'quantitative', title: null, scale: { domain: [x.low, x.high], nice: false, zero: false }, axis: { values: labelled, labelPadding: 6, labelExpr: words(labelled, x.step) } },
      y: {
        field: 'y', type: 'quantitative', title: null,
        scale: { domain: rowed ? [y.high, y.low] : [y.low, y.high], nice: false, zero: false },
        axis: rowed ? null : { values: ys, labelPadding: 6, labelExpr: words(ys, y.step) },
      },
    },
    layer: [
      ...rules([...xs.map((v) => ruled({ x: v, y: y.low, x2: v, y2: y.high })), ...ys.map((v) => ruled({ x: x.low, y: v, x2: x.high, y2: v }))]),
      ...layers,
      ...rules(over),
      lettering(frame, [
        { x: x.high, y: foot, dx: 20, dy: frame.fontPx + 4, text: xUnit, ...corner },
        ...(yUnit === null ? [] : [{ x: x.low, y: y.high, dx: 2 - frame.left, dy: -10, text: yUnit, ...corner }]),
        ...letters,
      ]),
    ],
  };
}
