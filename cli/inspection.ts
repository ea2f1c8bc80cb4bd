/**
 * What is asked of a recording before anything is filed, as plain data that may cross threads: which takes are in it,
 * whether one is fit to be measured, and what is worth a look while the leads still lie as they did.
 *
 * @module
 */
import type { Bench, Step } from '../src/board/model.js';
import { passesBoard } from '../src/board/states.js';
import { measureSwitching } from '../src/measure/switching.js';
import { checkIdle, checkSwap, checkSwitching, checkTake } from '../src/measure/capture-checks.js';
import type { Heard } from '../src/measure/capture-checks.js';
import { measureIdle } from '../src/measure/idle.js';
import { checkStairs } from '../src/measure/stairs-checks.js';
import { measureStairs } from '../src/measure/stairs.js';
import { isStairs } from '../src/signals/stairs.js';
import { estimateCapture } from '../src/measure/job.js';
import { checkConverted, checkIdleHum, checkIdleTone, checkLoops, checkPresses, checkTakeHum, drowns, heardIdle, heardStairs, heardSwitching, heardTake } from '../src/measure/live-checks.js';
import type { HeardOutput, TakeOfState } from '../src/measure/live-checks.js';
import { checkAgainstRest, checkJack, checkPlug } from '../src/measure/rest-checks.js';
import type { AgainstRest, PlugOfStep } from '../src/measure/rest-checks.js';
import { PASSES, watched } from '../src/measure/recording.js';
import type { HearsShare } from '../src/measure/recording.js';
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
  /** As the user knows it. */
  readonly name: string;
  readonly key: string;
}

export type Question = { readonly files: RecordingFiles; readonly bench: Bench; readonly mainsHz: number } & (
  | { readonly ask: 'takes' }
  | { readonly ask: 'take'; readonly located: LocatedTake; readonly mayBreathe: boolean; readonly earlier: EarlierTake | null; readonly rest: (RestOfTake & { /** Loops that are in, each alone. */ readonly alone: readonly EarlierTake[] }) | null; readonly plug: PlugOfTake | null; readonly into: IntoTake | null; readonly state: StateOfTake | null }
  | { readonly ask: 'idle' }
  | { readonly ask: 'switching' }
  /** Of takes that are in the job already: what speaks against them, held against rest.take. */
  | { readonly ask: 'filed'; readonly rest: EarlierTake; readonly takes: readonly RestOfTake[] }
);

/** A take (rest.take, where another is held against it), and what the step changes against rest.take. */
export interface RestOfTake {
  readonly take: EarlierTake;
  readonly wanted: AgainstRest;
}

/** The same without the source plug of a take, and what the plug should change. */
export interface PlugOfTake {
  readonly take: EarlierTake;
  readonly wanted: PlugOfStep;
}

/** The output whose jack a take is played into. */
export interface IntoTake {
  readonly step: string;
  readonly output: string;
  /** bench.take, where there is one. */
  readonly looped: EarlierTake | null;
}

/** What a take should sound like, by the others. */
export interface StateOfTake {
  readonly step: Step;
  /** Loops with an effect that the step wants in. */
  readonly effects: readonly string[];
  readonly others: readonly (EarlierTake & { readonly effects: readonly string[] })[];
}

export interface FoundTakes {
  readonly sampleRateHz: number;
  readonly frames: number;
  /** Takes and level stairs, in order of time. */
  readonly takes: readonly LocatedTake[];
  readonly fragments: readonly TakeFragment[];
}

/** A problem without its class, which does not cross threads. */
export type Said = ReturnType<Problem['toJSON']>;

export interface Answer {
  readonly found: FoundTakes | null;
  /** Why it is not to be filed; null where nothing speaks against it. */
  readonly refusal: Said | null;
  /** What is worth a look although it could be filed. */
  readonly cautions: readonly Said[];
  readonly heard: readonly HeardOutput[] | null;
}

const NOTHING: Answer = { found: null, refusal: null, cautions: [], heard: null };

/** Never throws: what cannot be read or used comes back as a refusal. `heard` hears how far it is. */
export function inspect(question: Question, heard: HearsShare = () => undefined): Answer {
  if (question.ask === 'filed') return { ...NOTHING, cautions: againstNewRest(question, heard) };
  try {
    const opened = openRecording(question.files, question.bench);
    const passes = PASSES[question.ask === 'takes' ? 'take' : question.ask];
    const open = { ...opened, heard: watched(opened.heard, passes, heard) };
    try {
      if (question.ask === 'takes') {
        const { sampleRateHz, frames } = open.recording;
        const { takes, stairs, fragments } = findTakes(open.heard);
        return { ...NOTHING, found: { sampleRateHz, frames, takes: [...takes, ...stairs].sort((a, b) => a.startFrame - b.startFrame), fragments } };
      }
      if (question.ask === 'switching') {
        const heardBy = heardOf(question, open);
        const estimates = measureSwitching(open.heard);
        return { ...NOTHING, refusal: said(checkSwitching(heardBy, estimates, open.recording.sampleRateHz) ?? checkPresses(heardBy, open.recording, estimates)), heard: heardSwitching(heardBy, estimates) };
      }
      return question.ask === 'idle' ? inspectIdle(question, open) : inspectTake(question, open);
    } finally {
      open.close();
    }
  } catch (error) {
    return { ...NOTHING, refusal: asProblem(error, question.files.shown[0]).toJSON() };
  }
}

const heardOf = ({ bench }: Question, { name }: OpenRecording): Heard => ({ file: name, outputs: bench.inputs.map((i) => i.output) });

const said = (problem: Problem | null): Said | null => problem?.toJSON() ?? null;
const allSaid = (...problems: readonly (Problem | null)[]): Said[] => problems.flatMap((p) => p?.toJSON() ?? []);

function inspectIdle(question: Question, open: OpenRecording): Answer {
  const heard = heardOf(question, open);
  const inputs = measureIdle(open.heard, question.mainsHz, false);
  return { found: null, refusal: said(checkIdle(heard, open.heard, inputs, question.mainsHz)), cautions: allSaid(checkIdleHum(heard, inputs), checkIdleTone(heard, inputs)), heard: heardIdle(heard, inputs) };
}

function inspectTake(question: Question & { readonly ask: 'take' }, open: OpenRecording): Answer {
  const { located, mayBreathe, earlier, rest, plug, into, state, bench, mainsHz } = question;
  const heard = heardOf(question, open);
  if (isStairs(located.identity)) {
    const stairs = measureStairs(open.heard, located, bench.inputs.map((_, i) => i));
    return { ...NOTHING, refusal: said(checkStairs(heard, open.heard, located, stairs, mayBreathe)), heard: heardStairs(heard, open.heard, located, stairs) };
  }
  const inputs = measureTake(open.heard, located, bench.inputs.map((_, i) => i));
  const before = earlier && earlierEstimate(earlier, bench, mainsHz);
  const unfit = checkTake(heard, open.heard, located, inputs, mayBreathe, into?.output ?? null) ?? (before && checkSwap(heard, inputs, before, earlier.step.id));
  const atRest = rest && earlierEstimate(rest.take, bench, mainsHz);
  const alone = rest?.alone.map((take) => earlierEstimate(take, bench, mainsHz)).filter((take) => take !== null) ?? [];
  const own = atRest && checkAgainstRest(heard, inputs, atRest, rest.wanted, alone);
  const without = plug && earlierEstimate(plug.take, bench, mainsHz);
  const plugged = without ? checkPlug(heard, inputs, without, plug.wanted) : null;
  const looped = into?.looped && earlierEstimate(into.looped, bench, mainsHz);
  const jack = looped ? checkJack(heard, inputs, looped, into) : null;
  const withoutLoops = state !== null && !passesBoard(state.step.state);
  const hum = state && checkTakeHum(heard, open.heard, located, mainsHz);
  const caution = hum ?? (state && (withoutLoops ? checkConverted(heard, inputs) : checkLoops(heard, { step: state.step.id, effects: state.effects, estimates: inputs }, othersOf(state, bench, mainsHz))));
  const answer = { found: null, heard: heardTake(heard, open.heard, located, inputs) };
  // A tone that hum drowns is not quiet, and tells nothing else.
  if (hum !== null && drowns(hum, unfit)) return { ...answer, refusal: null, cautions: allSaid(hum) };
  return { ...answer, refusal: said(unfit ?? own?.refusal ?? jack), cautions: allSaid(caution, own?.caution ?? null, plugged) };
}

function againstNewRest({ bench, mainsHz, rest, takes }: Question & { readonly ask: 'filed' }, heard: HearsShare): Said[] {
  const atRest = earlierEstimate(rest, bench, mainsHz);
  const outputs = bench.inputs.map((i) => i.output);
  return takes.flatMap(({ take, wanted }, i) => {
    heard(i / takes.length);
    const now = atRest && earlierEstimate(take, bench, mainsHz);
    return now ? allSaid(checkAgainstRest({ file: take.name, outputs }, now, atRest, wanted).refusal) : [];
  });
}

function othersOf({ others }: StateOfTake, bench: Bench, mainsHz: number): TakeOfState[] {
  return others.flatMap((other) => {
    const estimates = earlierEstimate(other, bench, mainsHz);
    return estimates ? [{ step: other.step.id, effects: other.effects, estimates }] : [];
  });
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
      const estimate = estimateCapture(wavRecording(source, readWavInfo(source)), step, bench, mainsHz, false);
      return estimate?.kind === 'take' ? estimate.inputs : null;
    } finally {
      source.close();
    }
  } catch {
    // An earlier capture that cannot be read any more says nothing of the new one.
    return null;
  }
}
