/**
 * Captures of the demonstration's board, simulated and encoded, as plain data that may cross threads.
 *
 * @module
 */
import { readBench, readBoard } from '../src/board/read.js';
import { stepsOf } from '../src/board/steps.js';
import type { Step } from '../src/board/model.js';
import { problem } from '../src/problems.js';
import { demoBenchYaml, demoBoardYaml, demoModel } from '../src/simulate/demo-board.js';
import type { SimulationModel } from '../src/simulate/model.js';
import { simulateStep } from '../src/simulate/simulate-step.js';
import { encodeSamples } from '../src/wav/write.js';
import { inThreads } from './thread-pool.js';

/** Fixes everything random in the demonstration. */
const SEED = 7;

export const SIMULATED_FORMAT = 'pcm24';

export interface SimulationRequest {
  readonly step: string;
  /** Without the faults. */
  readonly clean: boolean;
}

export interface SimulationAnswer {
  /** The samples in {@link SIMULATED_FORMAT}, without a header. */
  readonly bytes: Uint8Array;
  readonly frames: number;
  readonly channels: number;
  readonly sampleRateHz: number;
}

const models = new Map<boolean, { readonly model: SimulationModel; readonly steps: readonly Step[] }>();

/** Beyond what a sign-off needs: what the footswitches do, moved leads, and how far up the level goes. */
const SHOWN_AS_WELL = ['rest.switching', 'rest.flex', 'rest.stairs'];

/** The model, and the steps that are captured: all that its sign-off needs, and one of every other kind. */
export function demonstration(clean: boolean): { readonly model: SimulationModel; readonly steps: readonly Step[] } {
  const known = models.get(clean);
  if (known) return known;
  const board = readBoard(demoBoardYaml);
  if (!board.ok) throw problem('board.faults', { file: 'board.yaml', faults: board.faults });
  const bench = readBench(demoBenchYaml, board.outputs);
  if (!bench.ok) throw problem('board.faults', { file: 'bench.yaml', faults: bench.faults });
  const made = { model: demoModel(board.value, bench.value, clean), steps: stepsOf(board.value, bench.value).filter((s) => s.required || SHOWN_AS_WELL.includes(s.id)) };
  models.set(clean, made);
  return made;
}

export function simulate({ step, clean }: SimulationRequest): SimulationAnswer {
  const { model, steps } = demonstration(clean);
  const { channels, sampleRateHz } = simulateStep(model, steps.find(({ id }) => id === step)!, SEED);
  return { bytes: encodeSamples(channels, SIMULATED_FORMAT), frames: channels[0]!.length, channels: channels.length, sampleRateHz };
}

/** Answers in the order of the requests; see {@link inThreads}. */
export async function simulateAll(requests: readonly SimulationRequest[], answered: (done: number) => void, signal?: AbortSignal): Promise<SimulationAnswer[]> {
  return inThreads<SimulationRequest, SimulationAnswer>(new URL('./simulation-worker.js', import.meta.url), requests, answered, signal);
}
