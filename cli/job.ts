/**
 * A job: one folder with board.yaml, bench.yaml, captures, results and report.
 *
 * Whatever kills the program, the folder opens again: files appear whole, and a new capture takes its step's name only
 * after the old one has a name of its own.
 *
 * @module
 */
import { createHash } from 'node:crypto';
import fs from 'node:fs';
import path from 'node:path';
import type { Fault } from '../src/board/fault.js';
import type { Bench, Board, LimitSet, Step } from '../src/board/model.js';
import { nearest } from '../src/board/nearest.js';
import { readBench, readBoard, readLimits } from '../src/board/read.js';
import { stepCodeCollisions } from '../src/board/step-code.js';
import { parseStepId } from '../src/board/states.js';
import { stepsOf } from '../src/board/steps.js';
import { limitSets } from '../src/judge/limit-sets.js';
import { limitableReadings } from '../src/judge/reading-ids.js';
import { problem } from '../src/problems.js';
import { linkOrRename, makeFolder, readSmallFile, sweepTemporaries, syncFolder, writeFileAtomic, writePending } from './files.js';
import type { Chunks } from './files.js';
import { nearestJob } from './nearest-job.js';
import { toJson } from './terminal.js';
import type { Context } from './terminal.js';

export const CAPTURES = 'captures';

export interface Job {
  /** Absolute. */
  readonly folder: string;
  readonly board: Board;
  readonly bench: Bench;
  readonly limits: LimitSet;
  /** SHA-256 of the two files as they were read. */
  readonly boardSha256: string;
  readonly benchSha256: string;
  /** What to look at in the files, though they can be used. */
  readonly cautions: readonly Fault[];
  readonly steps: readonly Step[];
  /** Captures there are, by step id: those of `steps` in their order, then any other; what is filed meanwhile is added. */
  readonly captures: Map<string, CaptureFile>;
  /** Where results.json belongs. */
  readonly resultsFile: string;
}

export interface CaptureFile {
  readonly step: string;
  /** Absolute path of the WAV file. */
  readonly file: string;
  /** Within the job, with forward slashes: `captures/rest.idle.wav`. */
  readonly name: string;
  readonly bytes: number;
  /** What is known of it; null where its `.json` is missing, unreadable or of another file. */
  readonly sidecar: Sidecar | null;
  /** Earlier captures of the step that count together with it, the newest first. */
  readonly repeats: readonly CaptureFile[];
  /** Names of earlier captures that would count, but are no longer there. */
  readonly gone: readonly string[];
}

export const CAPTURE_FORMAT = 'boardproof-capture/1';

/** A remark of a sidecar that begins so says that a check was overruled when the capture was filed. */
export const AS_IS = 'Filed as it is, although:';

/** What a command line says of a refusal that may be overruled; in the guide it is a key. */
export const AS_IS_OPTION = 'to file it anyway: --as-is';

/** True where a check was overruled when it was filed. */
export const isAsIs = ({ sidecar }: Pick<CaptureFile, 'sidecar'>): boolean => sidecar?.remarks.some((r) => r.startsWith(AS_IS)) === true;

/** What stands in `<step>.json` beside a capture. */
export interface Sidecar {
  readonly format: typeof CAPTURE_FORMAT;
  readonly step: string;
  readonly bytes: number;
  readonly sha256: string;
  /** When it was recorded, where that is known (ISO 8601). */
  readonly recordedAt: string | null;
  /** When it came into the job (ISO 8601). */
  readonly filedAt: string;
  /** One phrase, such as `imported from "pit take 3.wav", 12.4 s to 26.1 s`. */
  readonly how: string;
  readonly device: string | null;
  /** What was looked at when it was filed, and what was seen. */
  readonly checks: readonly { readonly name: string; readonly says: string }[];
  readonly remarks: readonly string[];
  /**
   * Kept captures of the step that count together with this one, the newest first: names within `captures`. Empty where this one took
   * the place of what was there. Absent in files of earlier versions.
   */
  readonly repeats?: readonly string[];
  /** How long after it was played the take stood in the recording, s; null where it was not played here. Absent in files of earlier versions. */
  readonly roundTripS?: number | null;
}

/** Text files of a job are small; more is another file. */
const LARGEST_TEXT = 1 << 20;

/** The two files as read, with all their faults. */
export interface JobFiles {
  readonly folder: string;
  /** Null where a file has faults. */
  readonly board: Board | null;
  readonly bench: Bench | null;
  readonly limits: LimitSet | null;
  readonly boardSha256: string;
  readonly benchSha256: string;
  /** Faults and cautions of board.yaml, then bench.yaml, then a file of limits. */
  readonly faults: readonly Fault[];
}

const sha256 = (bytes: Uint8Array): string => createHash('sha256').update(bytes).digest('hex');

/** Reads both files and a file of limits. @throws Problem `cli.no-job` where one of the two is not there. */
export function readJobFiles(jobPath: string, cwd: string): JobFiles {
  const folder = path.resolve(cwd, jobPath);
  const bytesOf = (name: string): Uint8Array => {
    const file = path.join(folder, name);
    if (!fs.existsSync(file)) throw problem('cli.no-job', { folder: jobPath, missing: name, nearest: nearestJob(folder, jobPath) });
    return readSmallFile(file, LARGEST_TEXT);
  };
  const boardBytes = bytesOf('board.yaml');
  const benchBytes = bytesOf('bench.yaml');
  const board = readBoard(boardBytes, 'board.yaml', {
    limitSets: Object.keys(limitSets),
    readings: limitableReadings,
    limitFileExists: (name) => fs.existsSync(path.resolve(folder, name)),
  });
  const bench = readBench(benchBytes, board.outputs, 'bench.yaml');
  const limits = board.ok ? limitsOf(board.value, folder) : null;
  return {
    folder,
    board: board.ok ? board.value : null,
    bench: bench.ok ? bench.value : null,
    limits: limits?.set ?? null,
    boardSha256: sha256(boardBytes),
    benchSha256: sha256(benchBytes),
    faults: [
      ...(board.ok ? board.cautions : board.faults),
      ...(bench.ok ? bench.cautions : bench.faults),
      ...(limits?.faults ?? []),
      ...(board.ok && bench.ok ? collisions(stepsOf(board.value, bench.value)) : []),
    ],
  };
}

function limitsOf({ limits }: Board, folder: string): { readonly set: LimitSet | null; readonly faults: readonly Fault[] } {
  if (limits.kind === 'inline') return { set: limits.set, faults: [] };
  if (limits.kind === 'named') return { set: limitSets[limits.name] ?? null, faults: [] };
  const reading = readLimits(readSmallFile(path.resolve(folder, limits.path), LARGEST_TEXT), limits.path, { readings: limitableReadings });
  return reading.ok ? { set: reading.value, faults: reading.cautions } : { set: null, faults: reading.faults };
}

/** Two takes with one code in their markers could not be told apart, so one of the ids must change. */
const collisions = (steps: readonly Step[]): Fault[] => {
  const among = (kind: Step['kind']): (readonly [string, string])[] => stepCodeCollisions(steps.filter((s) => s.kind === kind).map(({ id }) => id));
  // States that collide in their takes do so in their stairs as well, which need not be said again.
  const takes = among('take');
  return (takes.length > 0 ? takes : among('stairs')).map(([a, b]) => ({
    file: 'board.yaml',
    line: 1,
    column: 1,
    key: '',
    severity: 'fault',
    message: `board.yaml: the steps ${a} and ${b} have the same code in the markers of their takes; give a loop, an output or a plug another id.`,
    allowed: null,
    nearest: null,
  }));
};

/**
 * Opens a job.
 *
 * @throws Problem `cli.no-job`, `board.faults`.
 */
export function openJob(jobPath: string, context: Pick<Context, 'cwd' | 'now'>): Job {
  const files = readJobFiles(jobPath, context.cwd);
  const { folder, board, bench, limits, boardSha256, benchSha256, faults } = files;
  const bad = faults.filter(({ severity }) => severity === 'fault');
  if (bad.length > 0 || !board || !bench || !limits) throw problem('board.faults', { file: jobPath, faults: bad });
  const steps = stepsOf(board, bench);
  for (const used of [folder, path.join(folder, CAPTURES)]) if (fs.existsSync(used)) sweepTemporaries(used, context.now());
  return {
    folder,
    board,
    bench,
    limits,
    boardSha256,
    benchSha256,
    cautions: faults,
    steps,
    captures: capturesIn(folder, steps),
    resultsFile: path.join(folder, 'results.json'),
  };
}

/** The step of that id. @throws Problem `cli.unknown-step` with the likely one. */
export function stepOf(job: Job, id: string): Step {
  const step = job.steps.find((s) => s.id === id);
  if (step) return step;
  throw problem('cli.unknown-step', { step: id, nearest: nearest(id, job.steps.map((s) => s.id)) });
}

/** Files in `captures` whose names are step ids; kept ones have `~` in their names and are none. */
function capturesIn(folder: string, steps: readonly Step[]): Map<string, CaptureFile> {
  const captures = path.join(folder, CAPTURES);
  const names = fs.existsSync(captures) ? fs.readdirSync(captures) : [];
  const ids = names.filter((name) => name.endsWith('.wav')).map((name) => name.slice(0, -'.wav'.length));
  const order = new Map(steps.map(({ id }, i) => [id, i]));
  const rank = (id: string): number => order.get(id) ?? steps.length;
  return new Map(
    ids
      .filter((id) => parseStepId(id) !== null)
      .sort((a, b) => rank(a) - rank(b) || (a < b ? -1 : 1))
      .map((id) => [id, captureFile(folder, id)]),
  );
}

/** What a step has on the disk now: another program may have filed since the job was opened. */
export const filedNow = ({ folder }: Job, step: string): CaptureFile | null => (fs.existsSync(path.join(folder, CAPTURES, `${step}.wav`)) ? captureFile(folder, step) : null);

function captureFile(folder: string, step: string): CaptureFile {
  const capture = oneFile(folder, step, step);
  const listed = [capture.sidecar?.repeats ?? []].flat().filter((name) => isKeptName(name, step));
  const there = (name: string): boolean => fs.statSync(path.join(folder, CAPTURES, name), { throwIfNoEntry: false })?.isFile() === true;
  return {
    ...capture,
    repeats: listed.filter(there).map((name) => oneFile(folder, step, name.slice(0, -'.wav'.length))),
    gone: listed.filter((name) => !there(name)),
  };
}

/** Only a kept capture of the same step can be one of its repeats: whatever else stands in a sidecar leads nowhere. */
const isKeptName = (name: unknown, step: string): name is string => typeof name === 'string' && name.startsWith(`${step}~`) && /^[^/\\]+\.wav$/.test(name);

/** @param stem - name of the file without `.wav`. */
function oneFile(folder: string, step: string, stem: string): CaptureFile {
  const file = path.join(folder, CAPTURES, `${stem}.wav`);
  const { size } = fs.statSync(file);
  return { step, file, name: `${CAPTURES}/${stem}.wav`, bytes: size, sidecar: readSidecar(folder, step, stem, size), repeats: [], gone: [] };
}

/** A sidecar that is broken, or of a file of another size, is as good as none. */
function readSidecar(folder: string, step: string, stem: string, bytes: number): Sidecar | null {
  try {
    const text = new TextDecoder().decode(readSmallFile(path.join(folder, CAPTURES, `${stem}.json`), LARGEST_TEXT));
    const read = JSON.parse(text) as Partial<Sidecar> | null;
    const fits = read?.format === CAPTURE_FORMAT && read.step === step && read.bytes === bytes && typeof read.sha256 === 'string' && typeof read.filedAt === 'string';
    if (!fits) return null;
    return { ...emptySidecar, ...read } as Sidecar;
  } catch {
    return null;
  }
}

const emptySidecar = { recordedAt: null, how: '', device: null, checks: [], remarks: [], repeats: [] } as const;

export interface CaptureStory extends Pick<Sidecar, 'recordedAt' | 'how' | 'device' | 'checks' | 'remarks' | 'roundTripS'> {
  /** True: the captures that count for the step go on counting, together with this one. False or absent: this one takes their place. */
  readonly repeat?: boolean;
}

/** Round trip of the bench looped to itself, s; null where it was not played and recorded here. */
export function benchRoundTripS({ captures }: Job): number | null {
  const told: unknown = captures.get('bench.take')?.sidecar?.roundTripS;
  return typeof told === 'number' && Number.isFinite(told) && told > 0 ? told : null;
}

/**
 * Files a capture under its step. The one that was there is kept with its time in its name; there is no moment at
 * which the step has neither.
 *
 * Which captures count is said by the newest one's sidecar alone: whatever happens between, no half of a change is seen.
 */
export async function fileCapture(job: Job, step: string, wav: Chunks, story: CaptureStory, now: Date): Promise<CaptureFile> {
  const folder = path.join(job.folder, CAPTURES);
  makeFolder(folder);
  const file = path.join(folder, `${step}.wav`);
  const pending = await writePending(file, wav);
  const before = story.repeat === true ? (job.captures.get(step) ?? null) : null;
  const same = before && [before, ...before.repeats].find((c) => c.bytes === pending.bytes && c.sidecar?.sha256 === pending.sha256);
  if (same) {
    pending.discard();
    // Counted twice, one recording would seem surer than it is.
    throw problem('capture.not-a-repeat', { step, file: same.name });
  }
  let repeats: string[] = [];
  try {
    const kept = keepOld(job.folder, step);
    if (before && kept !== null) repeats = [kept, ...before.repeats.map((r) => path.basename(r.file))];
  } catch (error) {
    pending.discard();
    throw error;
  }
  pending.commit();
  const { recordedAt, how, device, checks, remarks, roundTripS = null } = story;
  const sidecar: Sidecar = {
    format: CAPTURE_FORMAT,
    step,
    bytes: pending.bytes,
    sha256: pending.sha256,
    recordedAt,
    filedAt: now.toISOString(),
    how,
    device,
    checks,
    remarks,
    repeats,
    roundTripS,
  };
  await writeFileAtomic(path.join(folder, `${step}.json`), `${toJson(sidecar)}\n`);
  return captureFile(job.folder, step);
}

/**
 * Gives the capture of a step a name of its own, `<step>~2026-11-25T12-16-07Z.wav` with the time at which it was filed,
 * so that a new file may take the place of `<step>.wav`. The old name stays beside the new until then where the disk
 * knows hard links. Killed at any point and run again, it ends in the same.
 *
 * @returns the name that it is kept under, or null where the step has no capture.
 */
export function keepOld(jobFolder: string, step: string): string | null {
  const folder = path.join(jobFolder, CAPTURES);
  const wav = path.join(folder, `${step}.wav`);
  const json = path.join(folder, `${step}.json`);
  const stat = fs.statSync(wav, { throwIfNoEntry: false, bigint: true });
  if (!stat) {
    // A sidecar without a capture says nothing, and must not be taken for that of the next.
    fs.rmSync(json, { force: true });
    return null;
  }
  const stem = `${step}~${new Date(Number(stat.mtimeMs)).toISOString().replace(/\.\d+Z$/, 'Z').replaceAll(':', '-')}`;
  for (let count = 1; ; count++) {
    const kept = path.join(folder, `${stem}${count === 1 ? '' : `-${count}`}`);
    const taken = fs.statSync(`${kept}.wav`, { throwIfNoEntry: false, bigint: true });
    // The same file under both names: an earlier try was stopped after the first half.
    const half = taken !== undefined && taken.ino === stat.ino && taken.dev === stat.dev;
    if (taken && !half) continue;
    if (!half) linkOrRename(wav, `${kept}.wav`);
    if (fs.existsSync(json)) fs.renameSync(json, `${kept}.json`);
    syncFolder(folder);
    return `${path.basename(kept)}.wav`;
  }
}
