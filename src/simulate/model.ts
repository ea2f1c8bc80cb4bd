/**
 * What is true of a board and a bench that do not exist: everything that their files do not say and that a recording
 * would show. Invented data, for the demonstration and for tests only.
 *
 * @module
 */

import type { Bench, Board } from '../board/model.js';
import type { BoardBuild } from '../circuit/board-network.js';
import type { SourceNoise } from '../circuit/elements.js';
import type { Clip } from './clipping.js';
import type { Fault } from './faults.js';
import type { HumPattern } from './lines.js';

/** A hum that is always there, small on a good board. */
export interface ResidualHum {
  readonly output: string;
  readonly pattern: HumPattern;
  /** Of its strongest line, at the output. */
  readonly levelDbu: number;
}

export interface BoardTruth {
  /** Devices in the loops, output stages, their noise and impedances. */
  readonly build: BoardBuild;
  /** Delay of the device in a loop in seconds (a digital one's latency), by loop id. */
  readonly loopDelayS: Readonly<Record<string, number>>;
  readonly mainsHz: number;
  readonly residualHum: readonly ResidualHum[];
  /** What terminates the input of an idle capture without a plug. */
  readonly terminationOhm: number;
  /** Peak of the click of a footswitch at the first output, in volts. */
  readonly clickPeakV: number;
  /** Where the driver of an output comes to the end of its supply, by output id; one that is not named has no end. */
  readonly driverClips?: Readonly<Record<string, Clip>>;
}

export interface BenchTruth {
  /** How fast the clocks run against nominal: 40 means 40 ppm fast. */
  readonly playerPpm: number;
  readonly recorderPpm: number;
  /** Round-trip delay from the player to the recorder, seconds; every capture adds up to 0.1 s of its own. */
  readonly latencyS: number;
  /** First-order corners of the player and of each recorder input alike. */
  readonly highPassHz: number;
  readonly lowPassHz: number;
  /** Ripple of the recorder's converter filter: ±rippleDb with a period of ripplePeriodHz, linear phase. */
  readonly rippleDb: number;
  readonly ripplePeriodHz: number;
  /** Noise of each recorder input, V/√Hz at its terminals. */
  readonly inputNoise: SourceNoise;
  /** Noise of the player's output while it plays, V/√Hz. */
  readonly outputNoise: SourceNoise;
  /** Level of the harmonics that a recorder input adds to a full-scale sine, dB; null for none. */
  readonly secondHarmonicDb: number | null;
  readonly thirdHarmonicDb: number | null;
  /** Leakage of each recorder input into its neighbours at 1 kHz, rising with frequency; null for none. */
  readonly crosstalkDb: number | null;
  readonly inputCapacitanceF: number;
  /** By how much each recorder input reads high, by channel from 1. */
  readonly inputErrorDb: Readonly<Record<number, number>>;
  readonly bits: number;
}

export interface SimulationModel {
  readonly board: Board;
  readonly bench: Bench;
  readonly boardTruth: BoardTruth;
  readonly benchTruth: BenchTruth;
  readonly faults: readonly Fault[];
}

/** A bench without any imperfection but quantisation: for tests of one thing at a time. */
export const IDEAL_BENCH: BenchTruth = {
  playerPpm: 0,
  recorderPpm: 0,
  latencyS: 0,
  highPassHz: 0,
  lowPassHz: Infinity,
  rippleDb: 0,
  ripplePeriodHz: 5000,
  inputNoise: { densityPerRtHz: 0, cornerHz: 0 },
  outputNoise: { densityPerRtHz: 0, cornerHz: 0 },
  secondHarmonicDb: null,
  thirdHarmonicDb: null,
  crosstalkDb: null,
  inputCapacitanceF: 0,
  inputErrorDb: {},
  bits: 24,
};

/** A bench as good interfaces are: 120 dB A-weighted from full scale to floor, clocks a few ppm apart. */
export const USUAL_BENCH: BenchTruth = {
  ...IDEAL_BENCH,
  playerPpm: 6.2,
  recorderPpm: -3.7,
  latencyS: 0.0123,
  highPassHz: 1.4,
  lowPassHz: 190e3,
  rippleDb: 0.004,
  // 18 dBu full scale less 121 dB is −103 dBu(A): 55 nV/√Hz over the 12.5 kHz that A-weighting leaves of white noise.
  inputNoise: { densityPerRtHz: 50e-9, cornerHz: 30 },
  outputNoise: { densityPerRtHz: 30e-9, cornerHz: 30 },
  secondHarmonicDb: -105,
  thirdHarmonicDb: -112,
  crosstalkDb: -110,
};
