/**
 * What two recorder inputs hear of one take, one over the other, with what parts the inputs themselves taken out.
 *
 * @module
 */
import type { Bench } from '../board/model.js';
import { dbToAmplitude } from '../units/decibels.js';
import { calibrationPart } from './calibration.js';
import type { UncertaintyPart } from './figure.js';
import { ratio, scaled } from './response.js';
import type { ResponseEstimate, TakeEstimate } from './take.js';

export interface BetweenInputs {
  readonly between: ResponseEstimate;
  /** Of the uncertainty of its level, where calibrations were used. */
  readonly parts: readonly UncertaintyPart[];
  readonly remarks: readonly string[];
}

/** Input `b` over input `a`, both as places in bench.yaml: against the bench looped to itself; without that take, by the calibrations. */
export function betweenInputs(bench: Bench, take: readonly TakeEstimate[], benchTake: readonly TakeEstimate[] | null, a: number, b: number): BetweenInputs {
  const heard = ratio(take[b]!.response, take[a]!.response);
  if (benchTake) return { between: ratio(heard, ratio(benchTake[b]!.response, benchTake[a]!.response)), parts: [], remarks: [] };
  const [first, second] = [bench.inputs[a]!.fullScaleDbu, bench.inputs[b]!.fullScaleDbu];
  if (!first || !second) return { between: heard, parts: [], remarks: ['The recorder inputs were taken to be alike: there is neither a bench.take nor a calibration of both.'] };
  return {
    between: scaled(heard, dbToAmplitude(second.value - first.value)),
    parts: [calibrationPart('calibration of the first recorder input', first), calibrationPart('calibration of the second recorder input', second)],
    remarks: [],
  };
}
