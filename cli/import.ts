/**
 * `import`: files recordings that were made elsewhere. Takes and level stairs are found by their markers, wherever they lie;
 * anything else has nothing to be known by, so its step must be given.
 *
 * First every recording is looked through, then it is settled which part of it is which step, and only then is anything
 * checked and filed: steps given in order are never shifted by a recording that turns out to hold less than it should.
 *
 * @module
 */
import fs from 'node:fs';
import path from 'node:path';
import type { Step } from '../src/board/model.js';
import { printable } from '../src/board/printable.js';
import { stepCode, stepOfAnyBoard } from '../src/board/step-code.js';
import { isOverrulable } from '../src/measure/capture-checks.js';
import type { HearsShare } from '../src/measure/recording.js';
import type { LocatedTake, TakeFragment } from '../src/measure/take-search.js';
import { Problem, exitCode, problem } from '../src/problems.js';
import { codedTimetable } from '../src/signals/coded.js';
import type { TakeIdentity } from '../src/signals/marker.js';
import { isStairs } from '../src/signals/stairs.js';
import { fixed, signed } from '../src/units/format.js';
import { checkFiledBefore, checkPart, filePart, mayBeUnheard, problemOf } from './file-part.js';
import type { FiledPart } from './file-part.js';
import type { FoundTakes } from './inspection.js';
import { createInspector } from './inspector.js';
import type { Inspector } from './inspector.js';
import { AS_IS, AS_IS_OPTION, CAPTURES, openJob, stepOf } from './job.js';
import type { Job } from './job.js';
import { statement } from './layout.js';
import { nextCapture } from './next-step.js';
import { progress } from './progress.js';
import type { Progress } from './progress.js';
import { checkOutputs, nameOf } from './recording-files.js';
import type { RecordingFiles } from './recording-files.js';
import { asProblem } from './system-error.js';
import { paintFor, print, printJson } from './terminal.js';
import type { Context } from './terminal.js';

export interface ImportOptions {
  readonly step?: string;
  readonly outputs?: string;
  readonly asIs?: boolean;
  readonly repeat?: boolean;
  readonly json?: boolean;
}

/** What became of one capture. */
interface Filed extends FiledPart {
  readonly step: string;
  /** The sentence of a refusal that was overruled. */
  readonly warning: string | null;
  /** What is worth a look. */
  readonly cautions: readonly string[];
}

const list = (text: string): string[] => text.split(',').map((s) => s.trim()).filter((s) => s !== '');

export async function run(context: Context, args: readonly string[], options: ImportOptions): Promise<number> {
  const [jobPath, ...files] = args;
  const job = openJob(jobPath!, context);
  const steps = list(options.step ?? '').map((id) => stepOf(job, id));
  const recordings = recordingsOf(job, files, options.outputs, context);
  const before = [...job.captures.values()];
  const became: (Filed | Problem)[] = [];
  let beside: readonly Problem[] = [];
  const shown = progress(context);
  const inspector = createInspector();
  try {
    const looked = await lookThrough(job, recordings, inspector, shown);
    const parts = settle(job, looked, steps);
    for (const [i, n] of restFirst(parts).entries()) {
      const part = parts[n]!;
      const heard = (share: number): void => {
        shown.share(`Checking ${part.step instanceof Problem ? printable(nameOf(part.files)) : part.step.id}`, i + share, parts.length, 'captures');
      };
      heard(0);
      try {
        became[n] = await fileOne(context, job, part, inspector, options, heard);
      } catch (error) {
        became[n] = asProblem(error, nameOf(part.files));
      }
    }
    if (became.some((b) => !(b instanceof Problem) && b.step === REST)) {
      beside = await checkFiledBefore(job, before, inspector, (share) => {
        shown.share(`Holding the takes before it against ${REST}`, share, 1);
      });
    }
  } finally {
    shown.done();
    inspector.close();
  }
  const refused = became.filter((b) => b instanceof Problem);
  report(context, options.json === true, became.flatMap((b) => (b instanceof Problem ? [] : b)), refused, beside);
  if (refused.length === 0) nextCapture(context, job, jobPath!);
  if (refused.some((p) => p.exit === exitCode.internal)) return exitCode.internal;
  return refused.length > 0 ? exitCode.unusable : exitCode.done;
}

const REST = 'rest.take';

/** The order in which parts are checked and filed: the other takes are held against rest.take, so that comes first, wherever it lies. */
function restFirst(parts: readonly Part[]): number[] {
  const isRest = ({ step }: Part): boolean => !(step instanceof Problem) && step.id === REST;
  return [...parts.keys()].sort((a, b) => Number(isRest(parts[b]!)) - Number(isRest(parts[a]!)));
}

/** One recording per file, or all files together where they are mono. */
function recordingsOf(job: Job, files: readonly string[], given: string | undefined, context: Context): RecordingFiles[] {
  for (const file of files) if (path.dirname(path.resolve(context.cwd, file)) === path.join(job.folder, CAPTURES)) throw problem('cli.in-captures', { file });
  const one = (names: readonly string[], outputs: readonly string[] | null): RecordingFiles => ({
    files: names.map((file) => path.resolve(context.cwd, file)),
    shown: names.map((file) => shortName(path.resolve(context.cwd, file), context)),
    outputs,
  });
  if (given === undefined) return files.map((file) => one([file], null));
  const outputs = list(given);
  checkOutputs(outputs, files.length, job.bench);
  return [one(files, outputs)];
}

const shortName = (file: string, context: Context): string => {
  const relative = path.relative(context.cwd, file);
  return relative.startsWith('..') ? file : relative;
};

/** A recording, and what is in it: takes, or why it cannot be read. */
interface Looked {
  readonly files: RecordingFiles;
  readonly found: FoundTakes | Problem;
}

/** For the time that is left only; what is wrong with a file is said when it is opened. */
function sizeOf(file: string): number {
  try {
    return fs.statSync(file).size;
  } catch {
    return 0;
  }
}

async function lookThrough(job: Job, recordings: readonly RecordingFiles[], inspector: Inspector, shown: Progress): Promise<Looked[]> {
  const looked: Looked[] = [];
  const sizes = recordings.map(({ files }) => files.reduce((sum, file) => sum + sizeOf(file), 0));
  const whole = sizes.reduce((sum, size) => sum + size, 0);
  let before = 0;
  for (const [i, files] of recordings.entries()) {
    const heard = (share: number): void => {
      shown.share(`Looking for takes in ${printable(nameOf(files))}`, before + share * sizes[i]!, whole);
    };
    heard(0);
    const { found, refusal } = await inspector.ask({ ask: 'takes', files, bench: job.bench, mainsHz: job.board.mainsHz }, heard);
    looked.push({ files, found: found ?? problemOf(refusal!) });
    before += sizes[i]!;
  }
  // What comes next takes a time of its own.
  shown.done();
  return looked;
}

/** A part of a recording and the step it is, or why it is none. */
interface Part {
  readonly files: RecordingFiles;
  readonly take: LocatedTake | null;
  readonly step: Step | Problem;
}

/**
 * Settles which part is which step. Without `steps`, takes say it themselves. With them, the parts take the steps in order: an
 * idle capture is one part, and so is each take.
 *
 * @throws `cli.step-count` where the steps do not go up.
 */
function settle(job: Job, looked: readonly Looked[], steps: readonly Step[]): Part[] {
  let next = 0;
  const parts = looked.flatMap(({ files, found }): Part[] => {
    const file = nameOf(files);
    const given = steps[next];
    if (found instanceof Problem) {
      next++;
      return [{ files, take: null, step: found }];
    }
    const { takes, fragments, sampleRateHz } = found;
    if (given && !hasMarkers(given)) {
      next++;
      const [take] = takes;
      const odd = take ? { frame: take.startFrame, identity: take.identity } : given.kind === 'idle' ? fragments.find((f) => isOurs(job, f)) : undefined;
      return [{ files, take: null, step: odd === undefined ? given : problem('capture.take-in-idle', { file, step: given.id, atS: odd.frame / sampleRateHz, what: whatIs(odd.identity) }) }];
    }
    const inOrder = [...takes.map((take) => ({ frame: take.startFrame, take, broken: null })), ...brokenTakes(job, file, found)].sort((a, b) => a.frame - b.frame);
    if (inOrder.length === 0) {
      next++;
      return [{ files, take: null, step: given && mayBeUnheard(given) ? given : problem('capture.no-markers', { file }) }];
    }
    return inOrder.map(({ take, broken }): Part => {
      const own = steps[next++] ?? null;
      return { files, take, step: broken ?? stepOfTake(job, file, sampleRateHz, take, own) };
    });
  });
  if (steps.length > 0 && next !== steps.length) throw problem('cli.step-count', { given: steps.length, found: next });
  return parts;
}

/** Markers whose other end is not there. One that names no step of this job may be chance, where there is more than one. */
function brokenTakes(job: Job, file: string, { takes, fragments, sampleRateHz }: FoundTakes): { frame: number; take: null; broken: Problem }[] {
  const known = fragments.filter((f) => isOurs(job, f));
  const taken = takes.length === 0 && known.length === 0 ? fragments.slice(0, 1) : known;
  return taken.flatMap((f) => {
    // One that nothing names is taken for a take.
    const lengthFrames = (f.identity ? codedTimetable(f.identity).endMarkerAtS : 0) * sampleRateHz;
    const atS = f.frame / sampleRateHz;
    const same = (s: TakeFragment): boolean => s.identity?.stepCode === f.identity?.stepCode;
    const otherEnd = taken.find((s) => s.end !== f.end && same(s) && (f.end === 'start' ? s.frame > f.frame : s.frame < f.frame) && Math.abs(s.frame - f.frame) < 3 * lengthFrames);
    // Both ends, but not at their distance: said once, of the start.
    if (f.end === 'end' && otherEnd) return [];
    const broken =
      f.cutShort && !otherEnd
        ? problem('capture.take-cut-short', { file, atS })
        : f.end === 'end' && f.frame < lengthFrames
          ? problem('capture.take-begun-late', { file, atS })
          : problem('capture.take-broken', { file, atS, end: f.end });
    return [{ frame: f.frame, take: null, broken }];
  });
}

const isOurs = (job: Job, { identity }: TakeFragment): boolean => identity !== null && (identity.stepCode === 0 || job.steps.some((s) => stepCode(s.id) === identity.stepCode));

/** True for steps whose signal says by its markers which step it is. */
const hasMarkers = ({ kind }: Step): boolean => kind === 'take' || kind === 'stairs';

const whatIs = (identity: TakeIdentity | null): 'a take' | 'level stairs' => (identity && isStairs(identity) ? 'level stairs' : 'a take');

/** Which step a take is: what its markers say, or, for a general take, the one given. */
function stepOfTake(job: Job, file: string, sampleRateHz: number, take: LocatedTake, given: Step | null): Step | Problem {
  const atS = take.startFrame / sampleRateHz;
  const code = take.identity.stepCode;
  const kind = isStairs(take.identity) ? 'stairs' : 'take';
  const said = code === 0 ? undefined : job.steps.find((s) => s.kind === kind && stepCode(s.id) === code);
  if (given === null) return said ?? problem('capture.unknown-take', { file, atS, code, step: code === 0 ? null : stepOfAnyBoard(code, kind, job.board, job.bench) });
  if (said && said.id !== given.id) return problem('capture.step-mismatch', { file, atS, said: said.id, given: given.id });
  return given.kind === kind ? given : problem('capture.take-in-idle', { file, step: given.id, atS, what: whatIs(take.identity) });
}

/** Of the time that a part takes, what its checks take; the rest is filing. */
const CHECKS = 0.7;

/** Files a part. @throws Problem where it is refused. */
async function fileOne(context: Context, job: Job, { files, take, step }: Part, inspector: Inspector, options: ImportOptions, heard: HearsShare): Promise<Filed> {
  if (step instanceof Problem) throw step;
  const part = { files, take, step };
  const unheard = take === null && mayBeUnheard(step) ? problem('capture.take-unheard', { file: nameOf(files), step: step.id }) : null;
  const checked = unheard ? { refusal: unheard, cautions: [] } : await checkPart(job, part, inspector, false, (share) => void heard(CHECKS * share));
  const warning = checked.refusal && overruled(checked.refusal, options.asIs === true);
  const cautions = [...checked.cautions, ...ofOtherJob(job, files)].map(({ message }) => message);
  const filed = await filePart(context, job, part, {
    how: (name, fromS, toS) => `imported from ${printable(path.basename(name))}, ${fixed(fromS, 2)} s to ${fixed(toS, 2)} s`,
    device: null,
    recordedAt: null,
    repeat: options.repeat === true,
    remarks: [...(warning === null ? [] : [`${AS_IS} ${warning}`]), ...cautions.map((c) => `${LOOK} ${c}`)],
    checks: [],
  }, (share) => {
    heard(CHECKS + (1 - CHECKS) * share);
  });
  return { ...filed, step: step.id, warning, cautions };
}

/** A remark that begins so was said when the capture was filed. */
const LOOK = 'Said when it was filed:';

/** The folders above a file in which a job may lie: its own, and that above a folder of captures. */
const ABOVE = 2;

/** A recording that lies in the folder of another job is likely of another board: the markers of a take name the step, and no board. */
function ofOtherJob(job: Job, { files, shown }: RecordingFiles): Problem[] {
  return files.flatMap((file, i) => {
    let folder = path.dirname(real(file));
    for (let n = 0; n < ABOVE; n++, folder = path.dirname(folder)) {
      if (folder === real(job.folder)) return [];
      if (fs.existsSync(path.join(folder, 'board.yaml'))) return [problem('capture.of-other-job', { file: shown[i]!, job: path.basename(folder) })];
    }
    return [];
  });
}

/** Without links; what cannot be followed stays as it is. */
function real(file: string): string {
  try {
    return fs.realpathSync(file);
  } catch {
    return file;
  }
}

/** The sentence of a refusal that the user overrules, or throws it. */
function overruled(refusal: Problem, asIs: boolean): string {
  if (asIs && isOverrulable(refusal)) return refusal.message;
  throw refusal;
}

/** What is worth a look, and is filed all the same. */
function look(context: Context, sentence: string): void {
  statement(context, 'out', printable(sentence), '         ', `${paintFor(context, 'out')('yellow', 'look')}     `);
}

function report(context: Context, json: boolean, filed: readonly Filed[], refused: readonly Problem[], beside: readonly Problem[]): void {
  if (json) {
    printJson(context, { format: 'boardproof-import/1', filed, refused: refused.map((p) => p.toJSON()), filedBefore: beside.map((p) => p.toJSON()) });
  } else {
    const paint = paintFor(context, 'out');
    for (const f of filed) {
      const clock = f.clockRatioPpm === null ? '' : `, clocks ${signed(f.clockRatioPpm, 1)} ppm`;
      statement(context, 'out', `${f.step}  ← ${printable(f.from)} at ${fixed(f.atS, 2)} s (${fixed(f.lengthS, 1)} s${clock})`, '         ', `${paint('green', 'filed')}    `);
      if (f.together > 1) print(context, `         counts together with ${f.together - 1 === 1 ? 'the capture' : `the ${f.together - 1} captures`} before it`);
      if (f.warning !== null) print(context, `         as it is, although: ${printable(f.warning)}`);
      for (const caution of f.cautions) look(context, caution);
    }
    for (const { message } of beside) look(context, `filed before: ${message}`);
  }
  const paint = paintFor(context, 'err');
  for (const p of refused) statement(context, 'err', printable(isOverrulable(p) ? `${p.message.replace(/\.$/, '')} (${AS_IS_OPTION}).` : p.message), '         ', `${paint('red', 'refused')}  `);
}
