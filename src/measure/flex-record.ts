/**
 * What happened while leads were moved, as it is stored and drawn: events in order of time, and the level of the tone.
 *
 * @module
 */
import type { Step } from '../board/model.js';
import { amplitudeToDb } from '../units/decibels.js';
import { LEVEL_STEP_S } from './flex.js';
import type { FlexEstimate, FlexEvent } from './flex.js';

export interface FlexRecord {
  /** Step id. */
  readonly capture: string;
  readonly state: string;
  readonly durationS: number;
  /** In order of time, each once, with the outputs that heard it. */
  readonly events: readonly FlexEvent[];
  /** Per output whose tone could be followed: its lowest and highest level within each `stepS`, dB against its usual one. */
  readonly levels: readonly { readonly output: string; readonly stepS: number; readonly lowDb: readonly number[]; readonly highDb: readonly number[] }[];
}

/** A tone that is gone has no level: nothing is told below. */
const LOWEST_DB = -100;
/** More steps than this say no more on paper, and make the file long. */
const MOST_STEPS = 600;

const toHundredth = (db: number): number => Math.round(100 * Math.max(LOWEST_DB, db)) / 100;

/** @param inputs - An estimate for each of `outputs`. */
export function flexRecord(step: Pick<Step, 'id' | 'state'>, outputs: readonly string[], inputs: readonly FlexEstimate[]): FlexRecord {
  const events = new Map<string, FlexEvent>();
  for (const { events: own } of inputs) {
    for (const e of own) events.set(`${e.kind} ${e.atS}`, { ...e, atS: Math.round(1e4 * e.atS) / 1e4, lengthS: Math.round(1e4 * e.lengthS) / 1e4, db: toHundredth(e.db) });
  }
  return {
    capture: step.id,
    state: step.state,
    durationS: Math.max(0, ...inputs.map((i) => i.lengthS)),
    events: [...events.values()].sort((a, b) => a.atS - b.atS),
    levels: outputs.flatMap((output, i) => {
      const { tone, lowest, highest } = inputs[i]!;
      if (tone === 0) return [];
      const together = Math.ceil(lowest.length / MOST_STEPS);
      const joined = (values: readonly number[], pick: (...v: number[]) => number): number[] =>
        Array.from({ length: Math.ceil(values.length / together) }, (_, k) => toHundredth(amplitudeToDb(pick(...values.slice(k * together, (k + 1) * together)) / tone)));
      return [{ output, stepS: together * LEVEL_STEP_S, lowDb: joined(lowest, Math.min), highDb: joined(highest, Math.max) }];
    }),
  };
}
