/**
 * From recorder samples to levels: dBu where the bench is calibrated, dBFS where it is not.
 *
 * Full scale, `fullScale` in bench.yaml, is the level of a sine that just reaches 0 dBFS: of a recorder input at its terminals, whatever feeds
 * it; of the bench output its own voltage, with nothing on it. What a load takes off the output is the load's, and comes from
 * `output.resistance` and `inputs.resistance`: with R of the output into inputs of R₁, R₂ … at once
 *
 *   what the inputs take = 20·lg(1 + R·(1/R₁ + 1/R₂ + …)) dB.
 *
 * @module
 */
import type { Bench, BenchInput, Stated } from '../board/model.js';
import { amplitudeToDb } from '../units/decibels.js';
import { part } from './figure.js';
import type { UncertaintyPart } from './figure.js';

export interface LevelScale {
  readonly unit: 'dBu' | 'dBFS';
  /** Added to a level in dBFS (AES17). */
  readonly offsetDb: number;
  readonly parts: readonly UncertaintyPart[];
}

/** A stated tolerance is a 95 % figure: half of it is the standard uncertainty (k = 2, JCGM 100). */
export const standardOf = (stated: Stated): number => (stated.tolerance ?? 0) / 2;

/** A calibration given without a tolerance is taken to be this good, dB, 95 % (a bench voltmeter's 1 %; common practice, no source). */
const ASSUMED_TOLERANCE_DB = 0.1;

export function calibrationPart(name: string, fullScale: Stated): UncertaintyPart {
  return part('calibration', name, fullScale.tolerance === null ? ASSUMED_TOLERANCE_DB / 2 : standardOf(fullScale));
}

export function levelScale(input: BenchInput): LevelScale {
  if (input.fullScaleDbu === null) return { unit: 'dBFS', offsetDb: 0, parts: [] };
  return {
    unit: 'dBu',
    offsetDb: input.fullScaleDbu.value,
    parts: [calibrationPart('calibration of the recorder input', input.fullScaleDbu)],
  };
}

/** An output of which bench.yaml does not say the resistance has this at most, Ω: a line output of the old telephone matching (common practice, no source). */
const MOST_OUTPUT_OHM = 600;
/** An input of which it does not say so has this at least, Ω: line inputs have about 10 kΩ, those for instruments a hundred times as much (common practice, no source). */
const LEAST_INPUT_OHM = 5e3;

/**
 * What the recorder inputs of a bench, all at once, take off its output, dB: between these two, which are one where all resistances are
 * stated. So the bench is patched for `calibrate` and for bench.take. A voltmeter's 10 MΩ takes 0.0005 dB off 600 Ω and is left out.
 */
export function loopLoading({ output, inputs }: Pick<Bench, 'output' | 'inputs'>): { readonly lowDb: number; readonly highDb: number } {
  const of = (outputOhm: number, unstatedSiemens: number): number =>
    amplitudeToDb(1 + outputOhm * inputs.reduce((sum, { resistanceOhm }) => sum + (resistanceOhm === null ? unstatedSiemens : 1 / resistanceOhm), 0));
  const stated = output?.resistanceOhm ?? null;
  return { lowDb: of(stated ?? 0, 0), highDb: of(stated ?? MOST_OUTPUT_OHM, 1 / LEAST_INPUT_OHM) };
}
