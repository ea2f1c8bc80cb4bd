/**
 * One measured figure before it is judged: its value, and the parts of its uncertainty.
 *
 * @module
 */
import { DB_PER_RELATIVE } from '../units/decibels.js';

/** What a part of an uncertainty comes from. */
export type PartKind = 'spectral statistics' | 'fit' | 'repeats' | 'drift' | 'bench floor' | 'calibration' | 'stated tolerance' | 'method';

/** One part of an uncertainty budget (JCGM 100:2008 clause 4): a standard uncertainty of its own, independent of the others. */
export interface UncertaintyPart {
  readonly kind: PartKind;
  /** Such as `calibration of the recorder input`. */
  readonly name: string;
  /** Standard uncertainty, in the unit of the figure: what it does to the figure, sensitivity included. */
  readonly standard: number;
  /** Null: so many that it makes no difference, or, for B, taken as known (JCGM 100 G.4.3). */
  readonly degreesOfFreedom: number | null;
  /** A: from the scatter of what was recorded. B: from a statement or a derivation (JCGM 100 4.2, 4.3). */
  readonly evaluation: 'A' | 'B';
  /** Absent: normal. `arcsine`: a phase that may be any; `rectangular`: anywhere between two ends, all alike (JCGM 100 4.3.7, 4.4). */
  readonly distribution?: 'arcsine' | 'rectangular';
}

const EVALUATION: Readonly<Record<PartKind, 'A' | 'B'>> = {
  'spectral statistics': 'A',
  fit: 'A',
  repeats: 'A',
  drift: 'B',
  'bench floor': 'A',
  calibration: 'B',
  'stated tolerance': 'B',
  method: 'B',
};

/** A part with many degrees of freedom, evaluated as parts of its kind are. */
export const part = (kind: PartKind, name: string, standard: number, more: Partial<Pick<UncertaintyPart, 'degreesOfFreedom' | 'evaluation' | 'distribution'>> = {}): UncertaintyPart => ({
  kind,
  name,
  standard,
  degreesOfFreedom: null,
  evaluation: EVALUATION[kind],
  ...more,
});

/** Relative uncertainty of a power from which a phase that may be any is no longer a straight matter: its two ends lie unlike far in decibels. */
const STRAIGHT = 0.2;

/**
 * What a bench's tone does to the board's, met at a phase that may be any: `relative` is the standard uncertainty of the power, √2·b/a.
 * Where it is large the coverage of a normal part, wider than its two ends, makes up for their being unlike far.
 */
export const phasePart = (name: string, relative: number): UncertaintyPart =>
  part('bench floor', name, DB_PER_RELATIVE * relative, { evaluation: 'B', ...(relative < STRAIGHT ? { distribution: 'arcsine' as const } : {}) });

/** What each of several captures of one step gives, the newest first. */
export interface Repeats {
  readonly step: string;
  readonly values: readonly (number | null)[];
  /** False where they scatter by more than their noise explains. */
  readonly agree: boolean;
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
  /** Absent where every step that it was read from was captured once. */
  readonly repeats?: readonly Repeats[];
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
