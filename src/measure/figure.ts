/**
 * One measured figure before it is judged: its value, and the parts of its uncertainty.
 *
 * @module
 */

/** One part of an uncertainty budget. */
export interface UncertaintyPart {
  /** Such as `calibration of the recorder input`. */
  readonly name: string;
  /** Standard uncertainty, in the unit of the figure. */
  readonly standard: number;
  readonly degreesOfFreedom: number | null;
}

export interface Figure {
  readonly id: string;
  readonly label: string;
  readonly state: string;
  readonly source: string | null;
  readonly output: string | null;
  readonly loop: string | null;
  readonly value: number | null;
  readonly unit: string;
  readonly bound: 'upper' | 'lower' | null;
  /** True where the bench, not the board, sets the bound. */
  readonly benchLimited: boolean;
  /** Null where no uncertainty can be given, with the reason in `uncertaintyReason`. */
  readonly parts: readonly UncertaintyPart[] | null;
  readonly uncertaintyReason: string | null;
  readonly method: string;
  readonly capture: readonly string[];
  readonly remarks: readonly string[];
}

/** Where a figure belongs; spread into each {@link Figure} of one capture. */
export interface Place {
  readonly state: string;
  readonly source: string | null;
  readonly output: string | null;
  readonly loop: string | null;
  readonly capture: readonly string[];
}

type Given = Pick<Figure, 'id' | 'label' | 'value' | 'unit' | 'method'> & Partial<Figure>;

/** A figure with everything not given at its plain default. */
export const figure = (place: Place, given: Given): Figure => ({
  ...place,
  bound: null,
  benchLimited: false,
  parts: [],
  uncertaintyReason: null,
  remarks: [],
  ...given,
});
