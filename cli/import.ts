/**
 * `import`: files recordings that were made elsewhere. Takes are found by their markers, wherever they lie; an idle
 * capture has nothing to be known by, so its step must be given.
 *
 * @module
 */
import path from 'node:path';
import type { Step } from '../src/board/model.js';
import { stateHasEffect } from '../src/board/states.js';
import { stepCode } from '../src/board/step-code.js';
import { checkIdle, checkSwap, checkTake, isOverrulable } from '../src/measure/capture-checks.js';
import type { Heard } from '../src/measure/capture-checks.js';
import { measureIdle } from '../src/measure/idle.js';
import { selectChannels, sliceRecording } from '../src/measure/recording.js';
import type { Recording } from '../src/measure/recording.js';
import { findTakes } from '../src/measure/take-search.js';
import type { LocatedTake } from '../src/measure/take-search.js';
import { clockRatioOf, measureTake, startFrameOf } from '../src/measure/take.js';
import type { TakeEstimate } from '../src/measure/take.js';
import { estimateCapture } from '../src/measure/job.js';
import { wavRecording } from '../src/measure/wav-recording.js';
import { exitCode, problem } from '../src/problems.js';
import type { Problem } from '../src/problems.js';
import { takeTimetable } from '../src/signals/take.js';
import { readWavInfo } from '../src/wav/header.js';
import { printable } from '../src/board/printable.js';
import { encodeRecording, formatToKeep } from './encode-recording.js';
import type { KeptFormat } from './encode-recording.js';
import { fileSource } from './files.js';
import { AS_IS, fileCapture, openJob, stepOf } from './job.js';
import type { CaptureFile, CaptureStory, Job } from './job.js';
import { asProblem } from './system-error.js';
import { note, paintFor, print, printJson } from './terminal.js';
import type { Context } from './terminal.js';

export interface ImportOptions {
  readonly step?: string;
  readonly outputs?: string;
  readonly asIs?: boolean;
  readonly json?: boolean;
}

/** What became of one capture. */
interface Filed {
  readonly from: string;
  readonly atS: number;
  readonly lengthS: number;
  readonly step: string;
  readonly file: string;
  readonly clockRatioPpm: number | null;
  readonly levelDbfs: number | null;
  readonly warning: string | null;
}

/** Kept before and after a take. */
const MARGIN_S = 1;

export async function run(context: Context, args: readonly string[], options: ImportOptions): Promise<number> {
  const [jobPath, ...files] = args;
  const job = openJob(jobPath!, context);
  const filed: Filed[] = [];
  const refused: Problem[] = [];
  const steps = (options.step ?? '').split(',').filter((s) => s !== '').map((id) => stepOf(job, id));
  const given = { steps, next: 0 };
  const sources = options.outputs === undefined ? files.map((file) => [file]) : [files];
  for (const group of sources) {
    let recording: OpenRecording | null = null;
    try {
      recording = openGroup(job, group.map((f) => path.resolve(context.cwd, f)), options.outputs, context);
      await importRecording(context, job, recording, given, options.asIs === true, filed, refused);
    } catch (error) {
      const known = asProblem(error, recording?.name ?? group.join(' + '));
      // The only recording, and it cannot even be opened: an error of the whole command, with its own exit code.
      if (sources.length === 1 && recording === null) throw known;
      refused.push(known);
    } finally {
      recording?.close();
    }
  }
  report(context, options.json === true, filed, refused);
  return refused.length > 0 ? exitCode.unusable : exitCode.done;
}

interface OpenRecording {
  readonly name: string;
  readonly recording: Recording;
  /** The channels that the bench names, in its order. */
  readonly heard: Recording;
  readonly format: KeptFormat;
  readonly recordedAt: string | null;
  readonly unfinished: boolean;
  close(): void;
}

/** One file with all channels, or mono files that together are one recording. */
function openGroup(job: Job, files: readonly string[], outputs: string | undefined, context: Context): OpenRecording {
  const opened = files.map((file) => {
    const source = fileSource(file);
    try {
      return { source, info: readWavInfo({ ...source, name: shortName(file, context) }) };
    } catch (error) {
      source.close();
      throw error;
    }
  });
  const close = (): void => {
    for (const { source } of opened) source.close();
  };
  try {
    const [first] = opened;
    const name = files.map((f) => shortName(f, context)).join(' + ');
    const needs = Math.max(...job.bench.inputs.map((i) => i.channel));
    if (outputs === undefined) {
      const { source, info } = first!;
      if (info.channels < needs) throw problem('capture.channel-count', { file: name, has: info.channels, needs });
      const recording = wavRecording(source, info);
      return { name, recording, heard: selectChannels(recording, job.bench.inputs.map((i) => i.channel - 1)), format: formatToKeep(info), recordedAt: info.recordedAt, unfinished: info.unfinished, close };
    }
    const ids = outputs.split(',').map((s) => s.trim());
    const channelOf = ids.map((id) => job.bench.inputs.find((i) => i.output === id)?.channel ?? 0);
    if (ids.length !== files.length || channelOf.includes(0) || new Set(ids).size !== ids.length || ids.length !== job.bench.inputs.length) {
      throw problem('cli.outputs', { given: ids.join(','), files: files.length, known: job.bench.inputs.map((i) => i.output).join(',') });
    }
    for (const [i, { info }] of opened.entries()) {
      if (info.channels !== 1) throw problem('cli.not-mono', { file: shortName(files[i]!, context), channels: info.channels });
      if (info.sampleRateHz !== first!.info.sampleRateHz || info.frames !== first!.info.frames) {
        throw problem('cli.unlike-files', { first: shortName(files[0]!, context), second: shortName(files[i]!, context) });
      }
    }
    const parts = opened.map(({ source, info }) => wavRecording(source, info));
    // Channel n of the capture is what bench.yaml calls channel n; channels that it does not name stay silent.
    const recording = joinMono(parts, channelOf, needs);
    return { name, recording, heard: selectChannels(recording, job.bench.inputs.map((i) => i.channel - 1)), format: formatToKeep(first!.info), recordedAt: first!.info.recordedAt, unfinished: opened.some((o) => o.info.unfinished), close };
  } catch (error) {
    close();
    throw error;
  }
}

function joinMono(parts: readonly Recording[], channelOf: readonly number[], channelCount: number): Recording {
  const [first] = parts;
  const read = (start: number, frames: number): Float64Array[] => {
    const samples = parts.map((p) => p.read(start, frames)[0]!);
    return Array.from({ length: channelCount }, (_, c) => {
      const at = channelOf.indexOf(c + 1);
      return at < 0 ? new Float64Array(samples[0]!.length) : samples[at]!;
    });
  };
  const whole: Recording = { sampleRateHz: first!.sampleRateHz, channelCount, frames: first!.frames, read, forEachBlock: () => undefined };
  return sliceRecording(whole, 0, first!.frames);
}

const shortName = (file: string, context: Context): string => {
  const relative = path.relative(context.cwd, file);
  return relative.startsWith('..') ? file : relative;
};

async function importRecording(
  context: Context,
  job: Job,
  open: OpenRecording,
  given: { readonly steps: readonly Step[]; next: number },
  asIs: boolean,
  filed: Filed[],
  refused: Problem[],
): Promise<void> {
  const wanted = given.steps[given.next];
  const heard: Heard = { file: open.name, outputs: job.bench.inputs.map((i) => i.output) };
  if (wanted && wanted.kind !== 'take') {
    given.next++;
    filed.push(await importWhole(context, job, open, heard, wanted, asIs));
    return;
  }
  note(context, `Looking for takes in ${printable(open.name)} …`);
  const { takes, fragments } = findTakes(open.heard);
  for (const fragment of fragments) {
    if (fragment.cutShort) refused.push(problem('capture.take-cut-short', { file: open.name, atS: fragment.frame / open.recording.sampleRateHz }));
  }
  if (takes.length === 0) {
    if (!fragments.some((f) => f.cutShort)) refused.push(problem('capture.no-markers', { file: open.name }));
    return;
  }
  for (const take of takes) {
    try {
      const step = stepOfTake(job, take, open, given);
      filed.push(await importTake(context, job, open, heard, take, step, asIs));
    } catch (error) {
      refused.push(asProblem(error, open.name));
    }
  }
}

/** Which step a take is: what its markers say, or, for a general take, the next of --step. */
function stepOfTake(job: Job, take: LocatedTake, open: OpenRecording, given: { readonly steps: readonly Step[]; next: number }): Step {
  const atS = take.startFrame / open.recording.sampleRateHz;
  const code = take.identity.stepCode;
  const said = code === 0 ? undefined : job.steps.find((s) => s.kind === 'take' && stepCode(s.id) === code);
  const wanted = given.steps[given.next];
  if (wanted) {
    given.next++;
    if (said && said.id !== wanted.id) throw problem('capture.step-mismatch', { file: open.name, atS, said: said.id, given: wanted.id });
    if (wanted.kind !== 'take') throw problem('capture.take-in-idle', { file: open.name, step: wanted.id, atS });
    return wanted;
  }
  if (!said) throw problem('capture.unknown-take', { file: open.name, atS, code });
  return said;
}

interface EarlierTake {
  readonly name: string;
  readonly inputs: readonly TakeEstimate[];
}

/** Estimates of earlier takes, by the SHA-256 of their file: many takes of one recording are held against the same. */
const earlierTakes = new Map<string, EarlierTake>();

/** An earlier take of this board, to hold the outputs of a new one against. */
function earlierTake(job: Job, step: Step): EarlierTake | null {
  if (step.state === 'bench' || step.state === 'lead' || stateHasEffect(job.board, step.state)) return null;
  const id = ['rest.take', ...job.steps.map((s) => s.id)].find((s) => s !== step.id && job.captures.has(s) && /^(rest|unbuffered|lift-[^.+]+)(\+[^.]+)?\.take$/.test(s));
  if (id === undefined) return null;
  const capture = job.captures.get(id)!;
  const key = `${capture.file} ${capture.sidecar?.sha256 ?? ''}`;
  const known = earlierTakes.get(key);
  if (known) return known;
  const source = fileSource(capture.file);
  try {
    const estimate = estimateCapture(wavRecording(source, readWavInfo(source)), stepOf(job, id), job.bench, job.board.mainsHz);
    if (estimate?.kind !== 'take') return null;
    const earlier = { name: id, inputs: estimate.inputs };
    earlierTakes.set(key, earlier);
    return earlier;
  } catch {
    // An earlier capture that cannot be read any more says nothing of the new one.
    return null;
  } finally {
    source.close();
  }
}

async function importTake(context: Context, job: Job, open: OpenRecording, heard: Heard, take: LocatedTake, step: Step, asIs: boolean): Promise<Filed> {
  const rate = open.recording.sampleRateHz;
  const inputs = measureTake(open.heard, take, job.bench.inputs.map((_, i) => i));
  const earlier = earlierTake(job, step);
  const refusal = checkTake(heard, open.heard, take, inputs, stateHasEffect(job.board, step.state)) ?? (earlier ? checkSwap(heard, inputs, earlier.inputs, earlier.name) : null);
  const warning = overrule(refusal, asIs);
  const start = startFrameOf(take, rate);
  const ratio = clockRatioOf(take);
  const from = Math.max(0, Math.floor(start - MARGIN_S * rate));
  const to = Math.min(open.recording.frames, Math.ceil(start + (takeTimetable.lengthS * ratio + MARGIN_S) * rate));
  const part = sliceRecording(open.recording, from, to - from);
  const capture = await file(context, job, step, part, open, warning, from / rate, [
    { name: 'markers', says: `start and end found, likeness ${take.likeness.toFixed(3)}` },
    { name: 'clock', says: `recorder ${((ratio - 1) * 1e6).toFixed(2)} ppm fast against the player` },
    { name: 'samples', says: take.extraFrames === null ? 'no tone to count by' : `${take.extraFrames.toFixed(3)} too many between the markers` },
  ]);
  return { from: open.name, atS: start / rate, lengthS: part.frames / rate, step: step.id, file: capture.name, clockRatioPpm: (ratio - 1) * 1e6, levelDbfs: take.identity.levelDbfs, warning };
}

async function importWhole(context: Context, job: Job, open: OpenRecording, heard: Heard, step: Step, asIs: boolean): Promise<Filed> {
  let refusal: Problem | null = null;
  if (step.kind === 'idle') {
    const [take] = findTakes(open.heard).takes;
    if (take) throw problem('capture.take-in-idle', { file: open.name, step: step.id, atS: take.startFrame / open.recording.sampleRateHz });
    refusal = checkIdle(heard, open.heard, measureIdle(open.heard, job.board.mainsHz, false), job.board.mainsHz);
  }
  const warning = overrule(refusal, asIs);
  const capture = await file(context, job, step, open.recording, open, warning, 0, step.kind === 'idle' ? [{ name: 'idle', says: 'steady, not clipped, not gated' }] : []);
  return { from: open.name, atS: 0, lengthS: open.recording.frames / open.recording.sampleRateHz, step: step.id, file: capture.name, clockRatioPpm: null, levelDbfs: null, warning };
}

/** The sentence of a refusal that the user overrules, or throws it. */
function overrule(refusal: Problem | null, asIs: boolean): string | null {
  if (!refusal) return null;
  if (asIs && isOverrulable(refusal)) return refusal.message;
  throw refusal;
}

async function file(
  context: Context,
  job: Job,
  step: Step,
  recording: Recording,
  open: OpenRecording,
  warning: string | null,
  fromS: number,
  checks: CaptureStory['checks'],
): Promise<CaptureFile> {
  const toS = fromS + recording.frames / recording.sampleRateHz;
  const capture = await fileCapture(
    job,
    step.id,
    encodeRecording(recording, open.format),
    {
      recordedAt: open.recordedAt,
      how: `imported from ${printable(path.basename(open.name))}, ${fromS.toFixed(2)} s to ${toS.toFixed(2)} s`,
      device: null,
      checks,
      remarks: [...(warning ? [`${AS_IS} ${warning}`] : []), ...(open.unfinished ? ['The recorder did not finish the file; what is there was taken.'] : [])],
    },
    context.now(),
  );
  (job.captures as Map<string, CaptureFile>).set(step.id, capture);
  return capture;
}

function report(context: Context, json: boolean, filed: readonly Filed[], refused: readonly Problem[]): void {
  if (json) {
    printJson(context, { format: 'boardproof-import/1', filed, refused: refused.map((p) => p.toJSON()) });
  } else {
    const paint = paintFor(context, 'out');
    for (const f of filed) {
      const clock = f.clockRatioPpm === null ? '' : `, clocks ${f.clockRatioPpm >= 0 ? '+' : ''}${f.clockRatioPpm.toFixed(1)} ppm`;
      print(context, `${paint('green', 'filed')}    ${f.step}  ← ${printable(f.from)} at ${f.atS.toFixed(2)} s (${f.lengthS.toFixed(1)} s${clock})`);
      if (f.warning !== null) print(context, `         as it is, although: ${printable(f.warning)}`);
    }
  }
  const paint = paintFor(context, 'err');
  for (const p of refused) context.err.write(`${paint('red', 'refused')}  ${printable(p.message)}\n`);
}
