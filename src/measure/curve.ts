/**
 * Frequency data behind figures, ready to be drawn and stored.
 *
 * @module
 */
export interface Axis {
  readonly label: string;
  readonly unit: string;
  readonly values: readonly (number | null)[];
}

export type CurveKind = 'noise-density' | 'response' | 'tone-loss' | 'match-third-octave' | 'match-response';

export interface Curve {
  readonly id: string;
  readonly kind: CurveKind;
  readonly label: string;
  readonly state: string;
  readonly source: string | null;
  readonly output: string | null;
  readonly loop: string | null;
  /** Always ascending and finite. */
  readonly x: Axis;
  readonly y: Axis;
  /** 95 % band, same length as y, or null. */
  readonly low: readonly (number | null)[] | null;
  readonly high: readonly (number | null)[] | null;
  /** For noise spectra: the largest density within each point's bin, so that no line is lost. */
  readonly peak: readonly (number | null)[] | null;
  readonly marks: readonly CurveMark[];
  readonly capture: readonly string[];
}

/** What the player's instrument gives at an output, from the circuit behind the fitted input. */
export interface PlayerCurve extends Omit<Curve, 'kind'> {
  readonly kind: 'player-response';
}

/** Levels of the noise per third-octave band, at the middle of each band; `low` is null where the level is an upper bound. */
export interface NoiseBandCurve extends Omit<Curve, 'kind'> {
  readonly kind: 'noise-third-octave';
}

/** Harmonics against the frequency played, per sixth of an octave; where `y` is null they are hidden by noise, and `high` is the most they are. */
export interface DistortionCurve extends Omit<Curve, 'kind'> {
  /** `distortion`: all of them together, from the second to the fifth. */
  readonly kind: 'distortion' | 'harmonic-2' | 'harmonic-3';
}

export interface CurveMark {
  readonly kind: 'hum' | 'whine';
  readonly hz: number;
  readonly level: number;
  readonly unit: string;
  /** Such as `3 × mains` or `whine 1`. */
  readonly label: string;
}
