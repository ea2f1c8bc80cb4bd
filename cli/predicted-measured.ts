/**
 * What was predicted beside what was measured, where the job has been.
 *
 * @module
 */
import type { Prediction, Route } from '../src/circuit/prediction.js';
import type { Reading, Results } from '../src/judge/results.js';
import { Problem } from '../src/problems.js';
import { fixed } from '../src/units/format.js';
import type { Job } from './job.js';
import { readJobResults } from './results-file.js';

export interface Measured {
  readonly value: number;
  /** Expanded, 95 %; null where there is none. */
  readonly uncertainty: number | null;
}

/** One figure, predicted and measured; null where it was not. */
export interface Pair {
  readonly predicted: number | null;
  readonly measured: Measured | null;
}

export interface RouteMeasured {
  readonly route: Route;
  readonly state: string;
  readonly output: string;
  readonly loss2to5kDb: Pair;
  readonly resonanceHz: Pair;
  readonly inputCapacitancePf: Pair;
  /** What no wiring of board.yaml accounts for. */
  readonly beyondDesignPf: Measured | null;
  readonly beyondDesignWords: string | null;
  readonly hissDbu: Pair;
}

export interface MeasuredBeside {
  readonly measuredAt: string;
  /** False where board.yaml has changed since. */
  readonly sameBoardFile: boolean;
  readonly routes: readonly RouteMeasured[];
}

/** Null where the job has not been measured, or its results cannot be read; `remark` says which. */
export async function measuredBeside(job: Job, jobPath: string, prediction: Prediction): Promise<{ measured: MeasuredBeside | null; remark: string | null }> {
  let results: Results;
  try {
    results = await readJobResults(job.folder, jobPath);
  } catch (error) {
    if (!(error instanceof Problem)) throw error;
    return { measured: null, remark: error.code === 'report.no-results' ? null : error.message };
  }
  const routes = prediction.terminated.map(({ route, state, output, noise }): RouteMeasured => {
    // The last of a kind is of all plugs together, which is the firmest.
    const reading = (id: string): Reading | null => results.readings.findLast((r) => r.id === id && r.state === state && r.output === output && r.value !== null && r.bound === null) ?? null;
    const measured = (id: string): Measured | null => {
      const r = reading(id);
      return r === null ? null : { value: r.value!, uncertainty: r.uncertainty };
    };
    const player = prediction.player.find((p) => p.route === route && p.output === output && p.volume === 10) ?? null;
    const whole = measured('capacitance');
    const beyond = measured('capacitance.over-design');
    const designed = prediction.input.find((i) => i.route === route)!.shunt.capacitanceF * 1e12;
    const hiss = reading('noise.hiss');
    return {
      route,
      state,
      output,
      loss2to5kDb: { predicted: player?.loss?.band2to5kDb ?? null, measured: measured('player.loss-2-5k') },
      resonanceHz: { predicted: player?.tone.resonance?.frequencyHz ?? null, measured: measured('player.resonance') },
      // As the measurement has it, the recorder's own input in it.
      inputCapacitancePf: { predicted: whole && beyond ? whole.value - beyond.value : designed, measured: whole },
      beyondDesignPf: beyond,
      beyondDesignWords: reading('capacitance.over-design')?.remarks[0] ?? null,
      hissDbu: { predicted: noise.unweightedDbu, measured: hiss?.unit === 'dBu' ? { value: hiss.value!, uncertainty: hiss.uncertainty } : null },
    };
  });
  const any = routes.some((r) => [r.loss2to5kDb, r.inputCapacitancePf, r.hissDbu].some((pair) => pair.measured !== null));
  if (!any) return { measured: null, remark: null };
  return { measured: { measuredAt: results.conditions.measuredAt, sameBoardFile: results.board.sha256 === job.boardSha256, routes }, remark: null };
}

/** From here on an excess is worth a sentence, pF: a metre of lead. */
const WORTH_PF = 100;

const HOW: Readonly<Record<Route, string>> = { 'straight-lead': '', 'buffer-in': 'with the buffer in', 'buffer-out': 'with the buffer out', 'no-buffer': 'through the board' };

/** One sentence per way whose wiring is not that of board.yaml: what it costs, and whose it is. */
export function beyondSentences({ routes }: MeasuredBeside): string[] {
  const said = new Map<Route, RouteMeasured>();
  for (const r of routes) if (r.beyondDesignPf && r.beyondDesignPf.value - (r.beyondDesignPf.uncertainty ?? 0) > WORTH_PF && !said.has(r.route)) said.set(r.route, r);
  return [...said.values()].map(({ route, beyondDesignPf, beyondDesignWords, loss2to5kDb }) => {
    const metres = /([\d.]+ m of lead)/.exec(beyondDesignWords ?? '')?.[1];
    const loss = loss2to5kDb.measured;
    const lost = loss === null ? '' : ` ${fixed(loss.value, 2)} dB ${loss.value < 0 ? '(a gain) ' : ''}lost in 2-5 kHz, and`;
    return `Measured, ${HOW[route]}:${lost} ${fixed(beyondDesignPf!.value, 0)} pF more than board.yaml has${metres ? `, ${metres}` : ''}. That is the board’s wiring, not the player’s lead.`;
  });
}
