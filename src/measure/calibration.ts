/**
 * From recorder samples to levels: dBu where the bench is calibrated, dBFS where it is not.
 *
 * @module
 */
import type { BenchInput, Stated } from '../board/model.js';
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
