/**
 * A capture file → its estimate, as plain data that may cross threads.
 *
 * @module
 */
import type { Bench, Step } from '../src/board/model.js';
import { stepCode } from '../src/board/step-code.js';
import { drivenInto } from '../src/circuit/board-network.js';
import { checkIdle, checkSwitching, checkTake, isOverrulable } from '../src/measure/capture-checks.js';
import { checkStairs } from '../src/measure/stairs-checks.js';
import { estimateCapture } from '../src/measure/job.js';
import type { CaptureEstimate } from '../src/measure/job.js';
import { PASSES, selectChannels, watched } from '../src/measure/recording.js';
import type { HearsShare, Recording } from '../src/measure/recording.js';
import type { LocatedTake } from '../src/measure/take-search.js';
import { wavRecording } from '../src/measure/wav-recording.js';
import { problem } from '../src/problems.js';
import type { Problem } from '../src/problems.js';
import { readWavInfo } from '../src/wav/header.js';
import { fileSource, sha256File } from './files.js';
import { asProblem } from './system-error.js';

export interface EstimateRequest {
  readonly file: string;
  /** The file as messages name it, within the job. */
  readonly name: string;
  readonly step: Pick<Step, 'id' | 'state' | 'plug' | 'kind'>;
  readonly bench: Bench;
  readonly mainsHz: number;
  /** True where an effect may change the level within a take. */
  readonly mayBreathe: boolean;
  /** True where what a check says was overruled when the capture was filed. */
  readonly asIs: boolean;
  /** Ids of all steps of the job whose signals have markers. */
  readonly coded: readonly string[];
}

export interface FileFacts {
  readonly sampleRateHz: number;
  readonly channels: number;
  readonly frames: number;
  readonly formatLabel: string;
  readonly recordedAt: string | null;
  readonly sha256: string;
}

export type EstimateAnswer =
  | { readonly step: string; readonly facts: FileFacts; readonly estimate: CaptureEstimate | null }
  | { readonly step: string; readonly code: string; readonly message: string; readonly exit: number };

/** Never throws: what cannot be read or used comes back as a sentence. `heard` hears how far it is. */
export function estimateFile({ file, name, step, bench, mainsHz, mayBreathe, asIs, coded }: EstimateRequest, heard: HearsShare = () => undefined): EstimateAnswer {
  try {
    const source = fileSource(file);
    try {
      const named = { ...source, name };
      const info = readWavInfo(named);
      const needs = Math.max(...bench.inputs.map((i) => i.channel));
      if (info.channels < needs) throw problem('capture.channel-count', { file: name, has: info.channels, needs });
      const recording = watched(wavRecording(named, info), PASSES[step.kind], heard);
      // What may breathe bends as it breathes: its harmonics against frequency are not drawn.
      const estimate = estimateCapture(recording, step, bench, mainsHz, !mayBreathe);
      if (estimate === null && (step.kind === 'take' || step.kind === 'stairs')) throw problem(asIs ? 'take.unheard' : 'capture.no-markers', { file: name });
      if (estimate?.kind === 'take' || estimate?.kind === 'stairs') checkMarkers(estimate.inputs[0]!.located, step.id, coded, name);
      const refusal = estimate && refusalOf(recording, estimate, name, bench, mainsHz, mayBreathe);
      if (refusal && !(asIs && isOverrulable(refusal))) throw refusal;
      const { sampleRateHz, channels, frames, formatLabel, recordedAt } = info;
      return { step: step.id, facts: { sampleRateHz, channels, frames, formatLabel, recordedAt, sha256: sha256File(file) }, estimate: estimate?.kind === 'switching' && asIs ? { ...estimate, pressedSilently: true } : estimate };
    } finally {
      source.close();
    }
  } catch (error) {
    const known = asProblem(error, name);
    return { step: step.id, code: known.code, message: known.message, exit: known.exit };
  }
}

/** @throws `capture.misfiled` where the markers say that it is of another step. A code that no step has says nothing. */
function checkMarkers({ identity }: LocatedTake, step: string, coded: readonly string[], file: string): void {
  const said = identity.stepCode === 0 || identity.stepCode === stepCode(step) ? undefined : coded.find((id) => stepCode(id) === identity.stepCode);
  if (said !== undefined) throw problem('capture.misfiled', { file, said, step });
}

/** The checks of `import` again: a file may have been changed, or put into the folder by hand. */
function refusalOf(recording: Recording, estimate: CaptureEstimate, file: string, bench: Bench, mainsHz: number, mayBreathe: boolean): Problem | null {
  const heard = { file, outputs: bench.inputs.map((i) => i.output) };
  const channels = selectChannels(recording, bench.inputs.map((i) => i.channel - 1));
  if (estimate.kind === 'idle') return checkIdle(heard, channels, estimate.inputs, mainsHz);
  if (estimate.kind === 'flex') return null;
  if (estimate.kind === 'switching') return checkSwitching(heard, estimate.inputs, recording.sampleRateHz);
  const { located } = estimate.inputs[0]!;
  return estimate.kind === 'stairs' ? checkStairs(heard, channels, located, estimate.inputs, mayBreathe) : checkTake(heard, channels, located, estimate.inputs, mayBreathe, drivenInto(estimate.step.state));
}
