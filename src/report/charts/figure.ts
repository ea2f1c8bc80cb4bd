/**
 * What a chart shows, before anything is drawn: plain data that the chart makers turn into Vega-Lite.
 *
 * @module
 */

/** How a line is told from the others: by colour, by dashes, and by the label at its end. */
export interface Stroke {
  /** Name of a CSS colour variable, such as `--line-1`. */
  readonly colour: string;
  readonly dash: readonly number[];
  readonly width: number;
}

export interface Series {
  readonly label: string;
  readonly stroke: Stroke;
  readonly x: readonly (number | null)[];
  readonly y: readonly (number | null)[];
  readonly low: readonly (number | null)[] | null;
  readonly high: readonly (number | null)[] | null;
}

/** A threshold: at one frequency, or (`hz` null) across the band. */
export interface LimitMark {
  readonly hz: number | null;
  readonly value: number;
  /** The side on which a figure is inside. */
  readonly inside: 'below' | 'above';
  readonly label: string;
}

export interface LineMark {
  readonly kind: 'hum' | 'whine';
  readonly hz: number;
  /** Where it stands on the chart. */
  readonly y: number;
  /** What orders the marks when there is no room for all their names. */
  readonly level: number;
  readonly label: string;
}

export interface ChartData {
  readonly shape: 'noise' | 'response' | 'match';
  /** Unit of the vertical axis as printed. */
  readonly unit: string;
  readonly series: readonly Series[];
  readonly limits: readonly LimitMark[];
  readonly marks: readonly LineMark[];
  /** Vertical scale shared with neighbours, or null to fit its own data. */
  readonly span: { readonly low: number; readonly high: number; readonly step: number } | null;
}

const stroke = (n: number, dash: readonly number[], width = 1.8): Stroke => ({ colour: `--line-${String(n)}`, dash, width });

/** Strokes by part played; the dashes differ as well as the colours. */
export const strokes = {
  first: stroke(1, []),
  second: stroke(2, [8, 3]),
  third: stroke(3, [2, 3]),
  fourth: stroke(4, [9, 3, 2, 3]),
  fifth: stroke(5, [4, 2, 1, 2, 1, 2]),
  peak: stroke(2, [], 0.9),
  reference: { colour: '--quiet', dash: [5, 3], width: 1.2 },
} as const satisfies Record<string, Stroke>;

export const cycle: readonly Stroke[] = [strokes.first, strokes.second, strokes.third, strokes.fourth, strokes.fifth];
