/**
 * What board.yaml and bench.yaml mean once read: plain data in SI units. The schemas in this folder produce it;
 * every layer above reads it.
 *
 * @module
 */

/** A figure with its stated tolerance (95 %, same unit), or null where none was given. */
export interface Stated {
  readonly value: number;
  readonly tolerance: number | null;
}

/** A length of cable; total capacitance is `lengthM × capacitanceFPerM`. */
export interface Lead {
  readonly lengthM: number;
  readonly capacitanceFPerM: number;
}

export interface Instrument {
  readonly pickup: {
    readonly resistanceOhm: number;
    readonly inductanceH: number;
    readonly capacitanceF: number;
    /** Across the coil, for its eddy currents. */
    readonly lossOhm?: number;
  };
  readonly volumeOhm: number | null;
  readonly tone: { readonly resistanceOhm: number; readonly capacitorF: number } | null;
  readonly lead: Lead | null;
}

export interface InputBuffer {
  readonly inputResistanceOhm: number;
  readonly inputCapacitanceF: number;
  readonly outputResistanceOhm: number;
  /** Input voltage noise density, or null where not given. */
  readonly noiseVPerRtHz: number | null;
  /** True where the buffer can be switched out of the path. */
  readonly defeatable: boolean;
}

export interface Loop {
  readonly id: string;
  readonly name: string;
  /** `unity`: with the loop in, gain, polarity and response should be as with it out. `effect`: it may change the sound. */
  readonly expect: 'unity' | 'effect';
  /** Supply outlet as `<supply>.<outlet>`, or null where it has none. */
  readonly supply: string | null;
  readonly currentA: number | null;
  readonly wiring: Lead | null;
}

export interface Output {
  readonly id: string;
  readonly name: string;
  readonly loadOhm: number | null;
  /** Has an audio-shield ground-lift switch (never the protective earth). */
  readonly lift: boolean;
  readonly polaritySwitch: boolean;
  readonly isolated: boolean;
  readonly wiring?: Lead;
}

export interface Outlet {
  readonly id: string;
  readonly volts: number | null;
  readonly limitA: number | null;
}

export interface Supply {
  readonly id: string;
  readonly outlets: readonly Outlet[];
}

/** One threshold of a limit set. Exactly one of max, min, within is given. */
export interface LimitRow {
  /** Reading id, such as `noise.a`. */
  readonly reading: string;
  /** State ids or kinds of state it holds for (`rest`, `loop-*`), or null for every state. */
  readonly states: readonly string[] | null;
  /** `unity` or `effect`: only for loops of that kind; null for all. */
  readonly expect: 'unity' | 'effect' | null;
  readonly max: number | null;
  readonly min: number | null;
  readonly within: readonly [number, number] | null;
  readonly unit: string;
  /** What the number rests on. */
  readonly basis: string;
}

export interface LimitSet {
  readonly name: string;
  readonly rows: readonly LimitRow[];
}

/** Where the limits of a board are: a named set, a file beside board.yaml, or written out in it. */
export type LimitsReference =
  | { readonly kind: 'named'; readonly name: string }
  | { readonly kind: 'file'; readonly path: string }
  | { readonly kind: 'inline'; readonly set: LimitSet };

export interface Board {
  readonly name: string;
  readonly serial: string | null;
  readonly mainsHz: 50 | 60;
  readonly limits: LimitsReference;
  readonly instrument: Instrument | null;
  readonly input: { readonly wiring: Lead | null; readonly buffer: InputBuffer | null };
  /** Of the path itself, from the input past the loops to the outputs. */
  readonly wiring?: Lead;
  readonly loops: readonly Loop[];
  readonly outputs: readonly Output[];
  /** Pairs of outputs that must agree. */
  readonly match: readonly (readonly [string, string])[];
  readonly supplies: readonly Supply[];
  /** True where the file says that the board does not exist (demo). */
  readonly invented: boolean;
}

export interface BenchInput {
  /** Recorder channel, from 1. */
  readonly channel: number;
  /** Output id of the board that this channel hears. */
  readonly output: string;
  /** dBu of 0 dBFS, or null where the bench is not calibrated. */
  readonly fullScaleDbu: Stated | null;
  readonly resistanceOhm: number | null;
}

export interface Plug {
  readonly id: string;
  readonly resistanceOhm: Stated;
}

/** A known resistance across the recorder input that hears an output: with it and without it, the output's own shows. */
export interface LoadPlug {
  readonly id: string;
  readonly output: string;
  readonly resistanceOhm: Stated;
}

export interface BenchOutput {
  readonly channel: number;
  readonly fullScaleDbu: Stated | null;
  readonly resistanceOhm: number | null;
  /** Name of the audio device that plays; absent: not chosen. */
  readonly device?: string;
  /** What takes and tones are played at, dBFS; absent: the default of the signals. */
  readonly levelDbfs?: number;
  /** Nothing is played louder unless it is asked for, dBFS; absent: `levelDbfs`. */
  readonly ceilingDbfs?: number;
}

export interface Bench {
  readonly name: string;
  readonly sampleRateHz: number | null;
  readonly output: BenchOutput | null;
  readonly inputs: readonly BenchInput[];
  readonly plugs: readonly Plug[];
  /** Absent: none. */
  readonly loads?: readonly LoadPlug[];
  /** The straight lead of the comparison. */
  readonly lead: Lead | null;
  /** Name of the audio device that records; absent: not chosen. */
  readonly recorder?: string;
}

export type StepKind = 'idle' | 'take' | 'switching' | 'flex' | 'stairs';

/** One thing to capture. `id` is `<state>[+<plug>].<kind>`; the plug is a source plug or a load. */
export interface Step {
  readonly id: string;
  readonly state: string;
  readonly plug: string | null;
  readonly kind: StepKind;
  /** What to patch, one sentence. */
  readonly patch: string;
  /** How to set the board, one sentence. */
  readonly set: string;
  /** True where the sign-off is not complete without it. */
  readonly required: boolean;
}
