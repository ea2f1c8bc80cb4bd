/**
 * What `import` asks of a recording before anything is filed, as plain data that may cross threads: which takes are in
 * it, and whether one is fit to be measured.
 *
 * @module
 */
import type { Bench, Step } from '../src/board/model.js';
import { checkIdle, checkSwap, checkTake } from '../src/measure/capture-checks.js';
import type { Heard } from '../src/measure/capture-checks.js';
import { measureIdle } from '../src/measure/idle.js';
import { estimateCapture } from '../src/measure/job.js';
import { findTakes } from '../src/measure/take-search.js';
import type { LocatedTake, TakeFragment } from '../src/measure/take-search.js';
import { measureTake } from '../src/measure/take.js';
import type { TakeEstimate } from '../src/measure/take.js';
import { wavRecording } from '../src/measure/wav-recording.js';
import type { Problem } from '../src/problems.js';
import { readWavInfo } from '../src/wav/header.js';
import { fileSource } from './files.js';
import { openRecording } from './recording-files.js';
import type { OpenRecording, RecordingFiles } from './recording-files.js';
import { asProblem } from './system-error.js';

/** A capture that is in the job already; `key` changes with its content. */
export interface EarlierTake {
  readonly step: Step;
  readonly file: string;
  readonly key: string;
}

export type Question = { readonly files: RecordingFiles; readonly bench: Bench; readonly mainsHz: number } & (
  | { readonly ask: 'takes' }
  | { readonly ask: 'take'; readonly located: LocatedTake; readonly mayBreathe: boolean; readonly earlier: EarlierTake | null }
  | { readonly ask: 'idle' }
);

export interface FoundTakes {
  readonly sampleRateHz: number;
  readonly frames: number;
  readonly takes: readonly LocatedTake[];
  readonly fragments: readonly TakeFragment[];
}

/** A problem without its class, which does not cross threads. */
export type Said = ReturnType<Problem['toJSON']>;

export interface Answer {
  readonly found: FoundTakes | null;
  /** Why it is not to be filed; null where nothing speaks against it. */
  readonly refusal: Said | null;
}

/** Never throws: what cannot be read or used comes back as a refusal. */
export function inspect(question: Question): Answer {
  try {
    const open = openRecording(question.files, question.bench);
    try {
      if (question.ask === 'takes') {
        const { sampleRateHz, frames } = open.recording;
        return { found: { sampleRateHz, frames, ...findTakes(open.heard) }, refusal: null };
      }
      return { found: null, refusal: (question.ask === 'idle' ? idleRefusal(question, open) : takeRefusal(question, open))?.toJSON() ?? null };
    } finally {
      open.close();
    }
  } catch (error) {
    return { found: null, refusal: asProblem(error, question.files.shown[0]).toJSON() };
  }
}

const heardOf = ({ bench }: Question, { name }: OpenRecording): Heard => ({ file: name, outputs: bench.inputs.map((i) => i.output) });

function idleRefusal(question: Question, open: OpenRecording): Problem | null {
  return checkIdle(heardOf(question, open), open.heard, measureIdle(open.heard, question.mainsHz, false), question.mainsHz);
}

function takeRefusal(question: Question & { readonly ask: 'take' }, open: OpenRecording): Problem | null {
  const { located, mayBreathe, earlier, bench, mainsHz } = question;
  const heard = heardOf(question, open);
  const inputs = measureTake(open.heard, located, bench.inputs.map((_, i) => i));
  const refusal = checkTake(heard, open.heard, located, inputs, mayBreathe);
  if (refusal || !earlier) return refusal;
  const before = earlierEstimate(earlier, bench, mainsHz);
  return before && checkSwap(heard, inputs, before, earlier.step.id);
}

/** Estimates of earlier takes: many takes of one recording are held against the same. */
const known = new Map<string, readonly TakeEstimate[] | null>();

function earlierEstimate({ step, file, key }: EarlierTake, bench: Bench, mainsHz: number): readonly TakeEstimate[] | null {
  if (!known.has(key)) known.set(key, estimated(step, file, bench, mainsHz));
  return known.get(key)!;
}

function estimated(step: Step, file: string, bench: Bench, mainsHz: number): readonly TakeEstimate[] | null {
  try {
    const source = fileSource(file);
    try {
      const estimate = estimateCapture(wavRecording(source, readWavInfo(source)), step, bench, mainsHz);
      return estimate?.kind === 'take' ? estimate.inputs : null;
    } finally {
      source.close();
    }
  } catch {
    // An earlier capture that cannot be read any more says nothing of the new one.
    return null;
  }
}
