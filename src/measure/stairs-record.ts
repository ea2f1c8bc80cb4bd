/**
 * The level stairs as they are stored and drawn: distortion against the level that came out.
 *
 * @module
 */
import type { Step } from '../board/model.js';
import { amplitudeToDb } from '../units/decibels.js';
import type { LevelScale } from './calibration.js';
import type { StairEstimate, StairsEstimate } from './stairs.js';

export interface StairsRecord {
  /** Step id. */
  readonly capture: string;
  readonly state: string;
  /** Per output, lowest stair first. */
  readonly levels: readonly {
    readonly output: string;
    readonly unit: string;
    readonly stairs: readonly StairRecord[];
  }[];
}

export interface StairRecord {
  /** Level of the tone at the output, in the unit of its output. */
  readonly level: number;
  /** Harmonics against the tone, dB, with the 95 % interval of their noise; null where that interval holds none. */
  readonly thdDb: number | null;
  readonly lowDb: number | null;
  readonly highDb: number;
}

const toThousandth = (db: number): number => Math.round(1000 * db) / 1000;

/**
 * THD = 10·lg(Σ harmonics² / tone²); its interval is twice the standard uncertainty of that sum on either side.
 *
 * @param inputs - An estimate and a scale for each of `outputs`.
 */
export function stairsRecord(step: Pick<Step, 'id' | 'state'>, outputs: readonly string[], inputs: readonly StairsEstimate[], scales: readonly LevelScale[]): StairsRecord {
  return {
    capture: step.id,
    state: step.state,
    levels: outputs.flatMap((output, i) => {
      const stairs = inputs[i]!.stairs.flatMap((s) => recordOf(s, scales[i]!) ?? []);
      return stairs.length === 0 ? [] : [{ output, unit: scales[i]!.unit, stairs }];
    }),
  };
}

function recordOf(stair: StairEstimate, { offsetDb }: LevelScale): StairRecord | null {
  const square = stair.harmonicSquares / stair.amplitude ** 2;
  const spread = (2 * stair.harmonicSquaresUncertainty) / stair.amplitude ** 2;
  const high = Math.max(0, square) + spread;
  if (!(high > 0)) return null;
  const db = (power: number): number => toThousandth(10 * Math.log10(power));
  const known = square > spread;
  return { level: toThousandth(offsetDb + amplitudeToDb(stair.amplitude)), thdDb: known ? db(square) : null, lowDb: known ? db(square - spread) : null, highDb: db(high) };
}
