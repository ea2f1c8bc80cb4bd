/**
 * The sheets that charts are drawn on. Sizes are in CSS pixels; margins are set by hand, so that the layout does not hang
 * on the width of a font that the machine may not have.
 *
 * @module
 */
export interface Frame {
  readonly width: number;
  readonly height: number;
  readonly left: number;
  readonly right: number;
  readonly top: number;
  readonly bottom: number;
  readonly fontPx: number;
  /** Frequencies that carry a label. */
  readonly labelledHz: readonly number[];
  /** Slices of the frequency axis that a dense line is thinned to. */
  readonly slices: number;
  /** Lines of a spectrum that carry their frequency as text, at most. */
  readonly namedLines: number;
}

/** Across the page. */
export const wide: Frame = {
  width: 700, height: 288, left: 46, right: 96, top: 26, bottom: 24, fontPx: 12,
  labelledHz: [20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000], slices: 280, namedLines: 8,
};

/** Across a telephone. */
export const narrow: Frame = {
  width: 340, height: 244, left: 38, right: 94, top: 26, bottom: 24, fontPx: 12,
  labelledHz: [20, 100, 1000, 10_000], slices: 110, namedLines: 3,
};

/** One of several beside each other. */
export const small: Frame = {
  width: 304, height: 172, left: 38, right: 74, top: 24, bottom: 22, fontPx: 12,
  labelledHz: [20, 100, 1000, 10_000], slices: 90, namedLines: 2,
};

export const plotWidth = (f: Frame): number => f.width - f.left - f.right;
export const plotHeight = (f: Frame): number => f.height - f.top - f.bottom;
