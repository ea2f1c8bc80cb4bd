/**
 * The shape of results.json: the only thing a report reads. Plain data, no NaN, no Infinity; a level of no signal
 * is `null` with a remark.
 *
 * @module
 */

import type { PartsOfNoise, SourceOfNoise, SumOfNoise } from '../measure/attribution.js';
import type { Curve, DistortionCurve, NoiseBandCurve, PlayerCurve } from '../measure/curve.js';
import type { Listening } from '../measure/excerpt.js';
import type { FlexRecord } from '../measure/flex-record.js';
import type { StairsRecord } from '../measure/stairs-record.js';
import type { Repeats, UncertaintyPart } from '../measure/figure.js';
import type { Predicted } from './predicted.js';

export type { Excerpt, Listening } from '../measure/excerpt.js';
export type { FlexRecord } from '../measure/flex-record.js';
export type { StairsRecord } from '../measure/stairs-record.js';
export type { Predicted, PredictedTone } from './predicted.js';
export type { Axis, Curve, CurveKind, CurveMark, DistortionCurve, NoiseBandCurve, PlayerCurve } from '../measure/curve.js';
export type { PartKind, Repeats, UncertaintyPart } from '../measure/figure.js';

export const RESULTS_FORMAT = 'boardproof-results/1';

export type Verdict = 'pass' | 'fail' | 'undecided' | 'bench-limited' | 'info';

/** One line of the budget of a reading. Files of earlier versions have neither its kind nor how it was evaluated. */
export type BudgetPart = Pick<UncertaintyPart, 'name' | 'standard' | 'degreesOfFreedom' | 'distribution'> & Partial<UncertaintyPart>;

/** What the lines of a budget add up to (JCGM 100:2008 5.1 and annex G): the expanded uncertainty is their product. */
export interface CombinedUncertainty {
  readonly standard: number;
  /** Effective, by Welch-Satterthwaite; null: so many that it makes no difference. */
  readonly degreesOfFreedom: number | null;
  readonly coverageFactor: number;
}

export interface Reading {
  /** Stable id, such as `noise.a`. */
  readonly id: string;
  /** What it is in words, such as `Noise floor, A-weighted`. */
  readonly label: string;
  readonly state: string;
  /** Source plug, or null for the generator's own output. */
  readonly source: string | null;
  /** Output id; `A:B` for a match between two. */
  readonly output: string | null;
  readonly loop: string | null;
  readonly value: number | null;
  /** `dBu`, `dBFS`, `dB`, `%`, `Hz`, `pF`, `µs`, `sign` … */
  readonly unit: string;
  /** `upper`: the true value is at most `value`; `lower`: at least. */
  readonly bound: 'upper' | 'lower' | null;
  /** Expanded uncertainty, 95 %, same unit; null with a reason in `uncertaintyReason`. */
  readonly uncertainty: number | null;
  readonly uncertaintyReason: string | null;
  readonly budget: readonly BudgetPart[];
  /** Null where there is no uncertainty. Absent in files of earlier versions. */
  readonly combined?: CombinedUncertainty | null;
  readonly limit: { readonly max: number | null; readonly min: number | null; readonly within: readonly [number, number] | null; readonly basis: string } | null;
  readonly verdict: Verdict;
  /** Id of the method note, such as `noise.level`. */
  readonly method: string;
  /** Step ids it was read from. */
  readonly capture: readonly string[];
  /** Plain remarks, such as why a value is missing. */
  readonly remarks: readonly string[];
  /** Per step that was captured more than once: what each capture gives. Absent where none was. */
  readonly repeats?: readonly Repeats[];
}

export interface Finding {
  readonly id: string;
  readonly severity: 'fault' | 'caution' | 'note';
  /** Where: loop id, output id, or the whole board. */
  readonly where: { readonly loop: string | null; readonly output: string | null; readonly supply: string | null };
  /** One plain sentence. */
  readonly title: string;
  readonly evidence: readonly string[];
  readonly cause: string;
  /** How sure the cause is: told by the captures, or what such captures usually come from, or one of several. Absent in files of earlier versions. */
  readonly certainty?: 'measured' | 'likely' | 'possible';
  readonly tryNext: string;
  /** The one capture that would confirm it, and what it must then show. Absent in files of earlier versions. */
  readonly confirm?: string;
  readonly basis: string;
}

/** A power with its 95 % interval, as levels; `level` null where nothing of it is there, `low` null where it may be nothing at all. */
export interface LevelRange {
  readonly level: number | null;
  readonly low: number | null;
  readonly high: number | null;
}

export type NoiseParts = PartsOfNoise<LevelRange>;
export type NoiseSource = SourceOfNoise<LevelRange>;
export type NoiseSum = SumOfNoise<LevelRange>;

/** Where the noise at one output comes from: powers of the sources by non-negative least squares over the idle captures. */
export interface NoiseAttribution {
  readonly output: string;
  readonly unit: 'dBu' | 'dBFS';
  /** Nominal mid-frequencies of the third-octave bands, Hz. */
  readonly bandsHz: readonly number[];
  readonly sources: readonly NoiseSource[];
  /** Every loop in, and every loop but one; empty where a loop was not captured. */
  readonly sums: readonly NoiseSum[];
  readonly remarks: readonly string[];
}

export interface CaptureRecord {
  readonly step: string;
  readonly state: string;
  readonly plug: string | null;
  readonly kind: string;
  readonly file: string;
  readonly sha256: string;
  readonly sampleRateHz: number;
  readonly channels: number;
  readonly format: string;
  readonly durationS: number;
  readonly recordedAt: string | null;
  readonly filedAt: string | null;
  readonly how: string | null;
  /** For takes and level stairs: recorder clock against player clock, ppm; level of the take in dBFS. */
  readonly take: { readonly clockRatioPpm: number; readonly levelDbfs: number; readonly startS: number } | null;
  readonly remarks: readonly string[];
}

export interface MethodNote {
  readonly id: string;
  readonly title: string;
  /** How the figure is computed, in plain words with its formula. */
  readonly text: string;
  /** Standard or derivation. */
  readonly source: string;
  /** What it was held to, and by how much it differed. Absent in files of earlier versions. */
  readonly checked?: readonly string[];
}

export type OverallWord = 'pass' | 'fail' | 'undecided' | 'not complete';

export interface Results {
  readonly format: typeof RESULTS_FORMAT;
  readonly tool: { readonly name: string; readonly version: string };
  readonly board: {
    readonly name: string;
    readonly serial: string | null;
    readonly mainsHz: number;
    readonly invented: boolean;
    readonly buffer: { readonly defeatable: boolean } | null;
    readonly loops: readonly { readonly id: string; readonly name: string; readonly expect: string; readonly supply: string | null }[];
    readonly outputs: readonly { readonly id: string; readonly name: string }[];
    readonly match: readonly (readonly [string, string])[];
    readonly sha256: string;
  };
  readonly bench: {
    readonly name: string;
    readonly calibrated: boolean;
    readonly inputs: readonly { readonly channel: number; readonly output: string; readonly fullScale: string | null }[];
    readonly plugs: readonly { readonly id: string; readonly resistance: string }[];
    readonly sha256: string;
    /** From playing to recording, looped to itself, s; null where it is not known. Absent in files of earlier versions. */
    readonly roundTripS?: number | null;
  };
  readonly conditions: {
    readonly measuredAt: string;
    readonly limits: string;
    readonly coverage: string;
    readonly decisionRule: string;
    readonly remarks: readonly string[];
  };
  readonly captures: readonly CaptureRecord[];
  readonly readings: readonly Reading[];
  readonly curves: readonly Curve[];
  /** What the player's instrument gives behind each fitted input. Absent in files of earlier versions. */
  readonly playerCurves?: readonly PlayerCurve[];
  /** Noise per third-octave band of each idle capture. Absent in files of earlier versions. */
  readonly noiseBands?: readonly NoiseBandCurve[];
  /** Harmonics against frequency, of takes with every loop out and every loop in. Absent in files of earlier versions. */
  readonly distortion?: readonly DistortionCurve[];
  /** What each part adds to the noise, per output. Absent in files of earlier versions. */
  readonly attribution?: readonly NoiseAttribution[];
  /** What the board file alone says of tone and noise. Absent in files of earlier versions. */
  readonly predicted?: Predicted;
  /** Stretches of the noise to listen to. Absent in files of earlier versions, null where no idle capture has one. */
  readonly listening?: Listening | null;
  /** Distortion against level, per capture of the level stairs. Absent in files of earlier versions. */
  readonly stairs?: readonly StairsRecord[];
  /** What happened while leads were moved, per flex capture. Absent in files of earlier versions. */
  readonly flex?: readonly FlexRecord[];
  readonly findings: readonly Finding[];
  readonly methods: readonly MethodNote[];
  readonly verdict: {
    readonly word: OverallWord;
    /** One plain sentence. */
    readonly sentence: string;
    readonly passed: number;
    readonly failed: number;
    readonly undecided: number;
    /** Required steps that were not captured. */
    readonly missing: readonly string[];
  };
  readonly problems: readonly { readonly code: string; readonly message: string }[];
}
