/**
 * A part of a recording on its way into the job: held to the checks, then filed. The same for recordings made elsewhere and
 * for those made here.
 *
 * @module
 */
import type { Step } from '../src/board/model.js';
import { passesBoard, stateHasEffect } from '../src/board/states.js';
import { drivenInto, loopsIn } from '../src/circuit/board-network.js';
import type { HeardOutput } from '../src/measure/live-checks.js';
import { againstRest, plugOfStep } from '../src/measure/rest-checks.js';
import { sliceRecording } from '../src/measure/recording.js';
import type { HearsShare, Recording } from '../src/measure/recording.js';
import type { LocatedTake } from '../src/measure/take-search.js';
import { clockRatioOf, startFrameOf } from '../src/measure/take.js';
import { problem } from '../src/problems.js';
import type { Problem } from '../src/problems.js';
import { codedTimetable } from '../src/signals/coded.js';
import { fixed } from '../src/units/format.js';
import { encodeRecording } from './encode-recording.js';
import type { EarlierTake, IntoTake, PlugOfTake, RestOfTake, Said, StateOfTake } from './inspection.js';
import type { Inspector } from './inspector.js';
import { fileCapture, isAsIs, stepOf } from './job.js';
import type { CaptureFile, CaptureStory, Job } from './job.js';
import { openRecording } from './recording-files.js';
import type { OpenRecording, RecordingFiles } from './recording-files.js';
import type { Context } from './terminal.js';

/** A part of a recording and the step it is; without a take it is the whole. */
export interface Part {
  readonly files: RecordingFiles;
  readonly take: LocatedTake | null;
  readonly step: Step;
}

export interface FiledPart {
  readonly from: string;
  readonly atS: number;
  readonly lengthS: number;
  readonly file: string;
  readonly clockRatioPpm: number | null;
  readonly levelDbfs: number | null;
  /** Captures of the step that count together from now on, this one included. */
  readonly together: number;
}

/** How a part came about. */
export interface PartStory {
  readonly how: (name: string, fromS: number, toS: number) => string;
  readonly device: string | null;
  /** When, where the file does not say. */
  readonly recordedAt: string | null;
  readonly remarks: readonly string[];
  /** True where it counts together with the captures that the step has. */
  readonly repeat?: boolean;
  readonly roundTripS?: number | null;
  /** Beside the program's own. */
  readonly checks: CaptureStory['checks'];
}

/** A loop that lets nothing through leaves a take in which nothing is heard: that is worth filing. */
export const mayBeUnheard = ({ kind, state }: Step): boolean => kind === 'take' && (state === 'all' || state.startsWith('loop-'));

/** Kept before and after a take. */
const MARGIN_S = 1;

export const problemOf = ({ code, details }: Said): Problem => problem(code as Problem['code'], details as never);

/** A capture of the job, for the thread that looks into it; the key changes with what the file holds. */
const earlier = (job: Job, { step, file, name, sidecar }: CaptureFile): EarlierTake => ({ step: stepOf(job, step), file, name, key: `${file} ${sidecar?.sha256 ?? ''}` });

/** An earlier take of this board, to hold the outputs of a new one against. */
function earlierTake(job: Job, step: Step): EarlierTake | null {
  if (!passesBoard(step.state) || stateHasEffect(job.board, step.state)) return null;
  const id = ['rest.take', ...job.steps.map((s) => s.id)].find((s) => s !== step.id && job.captures.has(s) && /^(rest|unbuffered|lift-[^.+]+)(\+[^.]+)?\.take$/.test(s));
  return id === undefined ? null : earlier(job, job.captures.get(id)!);
}

/** rest.take of this board, to tell by whether switch and load are as the step wants them; and what is filed of the loops that are in. */
function restOf(job: Job, step: Step): (RestOfTake & { readonly alone: readonly EarlierTake[] }) | null {
  const rest = job.captures.get('rest.take');
  const wanted = againstRest(job.board, job.bench, step);
  if (rest === undefined || wanted === null) return null;
  const alone = loopsIn(job.board, step.state).flatMap((loop) => job.captures.get(`loop-${loop}.take`) ?? []);
  return { take: earlier(job, rest), wanted, alone: alone.map((capture) => earlier(job, capture)) };
}

/** The same without the source plug of the step, to tell by whether that is in. */
function plugOf(job: Job, step: Step): PlugOfTake | null {
  const wanted = plugOfStep(job.board, job.bench, step);
  const without = wanted && job.captures.get(wanted.without);
  return without ? { take: earlier(job, without), wanted } : null;
}

/**
 * Holds takes that were filed before rest.take against it, as later ones are before they are filed.
 *
 * @param filed - Captures of the job before.
 */
export async function checkFiledBefore(job: Job, filed: readonly CaptureFile[], inspector: Inspector, heardShare?: HearsShare): Promise<Problem[]> {
  const rest = job.captures.get('rest.take');
  const takes = filed.flatMap((capture): RestOfTake[] => {
    const step = stepOf(job, capture.step);
    const wanted = step.kind === 'take' && job.captures.get(step.id) === capture && !isAsIs(capture) ? againstRest(job.board, job.bench, step) : null;
    return wanted ? [{ take: earlier(job, capture), wanted }] : [];
  });
  if (rest === undefined || takes.length === 0) return [];
  const files = { files: [], shown: [], outputs: null };
  const { cautions } = await inspector.ask({ ask: 'filed', files, bench: job.bench, mainsHz: job.board.mainsHz, rest: earlier(job, rest), takes }, heardShare);
  return cautions.map(problemOf);
}

/** The output that a step is played into, and bench.take to tell by whether its jack is; null where it is played into none. */
function intoOf(job: Job, step: Step): IntoTake | null {
  const output = drivenInto(step.state);
  const looped = job.captures.get('bench.take');
  return output === null ? null : { step: step.id, output, looped: looped === undefined ? null : earlier(job, looped) };
}

/** Takes through the same plug in other states, to tell by which loops are in. */
function stateOf(job: Job, step: Step): StateOfTake {
  const effectsOf = (state: string): string[] => loopsIn(job.board, state).filter((id) => job.board.loops.some((l) => l.id === id && l.expect === 'effect'));
  const loads = (job.bench.loads ?? []).map(({ id }) => id);
  const others = job.steps.filter((s) => s.kind === 'take' && s.id !== step.id && s.plug === step.plug && passesBoard(s.state));
  return {
    step,
    effects: effectsOf(step.state),
    others: step.plug !== null && loads.includes(step.plug) ? [] : others.flatMap((s) => {
      const capture = job.captures.get(s.id);
      return capture ? [{ ...earlier(job, capture), effects: effectsOf(s.state) }] : [];
    }),
  };
}

export interface PartCheck {
  /** Why it is not to be filed; null where nothing speaks against it. */
  readonly refusal: Problem | null;
  /** What is worth a look while the leads still lie as they did. */
  readonly cautions: readonly Problem[];
  readonly heard: readonly HeardOutput[];
}

/** Holds a part to the checks. */
export async function checkPart(job: Job, { files, take, step }: Part, inspector: Inspector, here = false, heardShare?: HearsShare): Promise<PartCheck> {
  const common = { files, bench: job.bench, mainsHz: job.board.mainsHz };
  if (!take && step.kind !== 'idle' && step.kind !== 'switching') return { refusal: null, cautions: [], heard: [] };
  const { refusal, cautions, heard } = await inspector.ask(
    take
      ? { ...common, ask: 'take', located: take, mayBreathe: stateHasEffect(job.board, step.state), earlier: earlierTake(job, step), rest: restOf(job, step), plug: plugOf(job, step), into: intoOf(job, step), state: here ? stateOf(job, step) : null }
      : { ...common, ask: step.kind === 'switching' ? 'switching' : 'idle' },
    heardShare,
  );
  return { refusal: refusal && problemOf(refusal), cautions: cautions.map(problemOf), heard: heard ?? [] };
}

/** Files a part under its step; the job's captures know it then. */
export async function filePart(context: Context, job: Job, { files, take, step }: Part, story: PartStory, heardShare?: HearsShare): Promise<FiledPart> {
  const open = openRecording(files, job.bench);
  try {
    return take ? await fileTake(context, job, open, take, step, story) : await fileWhole(context, job, open, step, story, heardShare);
  } finally {
    open.close();
  }
}

async function fileTake(context: Context, job: Job, open: OpenRecording, take: LocatedTake, step: Step, story: PartStory): Promise<FiledPart> {
  const rate = open.recording.sampleRateHz;
  const start = startFrameOf(take, rate);
  const ratio = clockRatioOf(take);
  const from = Math.max(0, Math.floor(start - MARGIN_S * rate));
  const to = Math.min(open.recording.frames, Math.ceil(start + (codedTimetable(take.identity).lengthS * ratio + MARGIN_S) * rate));
  const part = sliceRecording(open.recording, from, to - from);
  const capture = await file(context, job, step, part, open, story, from / rate, [
    { name: 'markers', says: `start and end found, likeness ${fixed(take.likeness, 3)}` },
    { name: 'clock', says: `recorder ${fixed((ratio - 1) * 1e6, 2)} ppm fast against the player` },
    { name: 'samples', says: take.extraFrames === null ? 'no tone to count by' : `${fixed(take.extraFrames, 3)} too many between the markers` },
  ]);
  return { from: open.name, atS: start / rate, lengthS: part.frames / rate, file: capture.name, clockRatioPpm: (ratio - 1) * 1e6, levelDbfs: take.identity.levelDbfs, together: capture.repeats.length + 1 };
}

async function fileWhole(context: Context, job: Job, open: OpenRecording, step: Step, story: PartStory, heardShare?: HearsShare): Promise<FiledPart> {
  const { recording } = open;
  const capture = await file(context, job, step, recording, open, story, 0, step.kind === 'idle' ? [{ name: 'idle', says: 'steady, not clipped, not gated' }] : [], heardShare);
  return { from: open.name, atS: 0, lengthS: recording.frames / recording.sampleRateHz, file: capture.name, clockRatioPpm: null, levelDbfs: null, together: capture.repeats.length + 1 };
}

async function file(context: Context, job: Job, step: Step, recording: Recording, open: OpenRecording, story: PartStory, fromS: number, checks: CaptureStory['checks'], heardShare?: HearsShare): Promise<CaptureFile> {
  const toS = fromS + recording.frames / recording.sampleRateHz;
  const capture = await fileCapture(
    job,
    step.id,
    encodeRecording(recording, open.format, heardShare),
    {
      recordedAt: open.recordedAt ?? story.recordedAt,
      how: story.how(open.name, fromS, toS),
      device: story.device,
      repeat: story.repeat === true,
      roundTripS: story.roundTripS ?? null,
      checks: [...checks, ...story.checks],
      remarks: [...story.remarks, ...(open.unfinished ? ['The recorder did not finish the file; what is there was taken.'] : [])],
    },
    context.now(),
  );
  job.captures.set(step.id, capture);
  return capture;
}
