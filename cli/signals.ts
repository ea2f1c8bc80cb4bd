/**
 * `boardproof signals`: renders the reference signals as WAV files, with a cue sheet.
 *
 * Everything is written beside its final place first; only when all is rendered, and no file of that name holds anything
 * else, do the files get their names.
 *
 * @module
 */
import fs from 'node:fs';
import path from 'node:path';
import { printable } from '../src/board/printable.js';
import { stepCode } from '../src/board/step-code.js';
import { exitCode, problem } from '../src/problems.js';
import { SAMPLE_BITS } from '../src/signals/quantise.js';
import type { SampleBits } from '../src/signals/quantise.js';
import {
  DEFAULT_LEVEL_DBFS, HIGHEST_RATE_HZ, LEVEL_STEP_DB, LOWEST_LEVEL_DBFS, LOWEST_RATE_HZ, REFERENCE_NAMES, checkReferenceSettings, renderReference,
} from '../src/signals/reference.js';
import type { ReferenceName } from '../src/signals/reference.js';
import { fixed } from '../src/units/format.js';
import { CUE_SHEET_HEADING, cueSheetText, fileOf, signalOf } from './cue-sheet.js';
import { makeFolder, readSmallFile, sha256File, writePending } from './files.js';
import type { Pending } from './files.js';
import { CAPTURES, openJob } from './job.js';
import type { Job } from './job.js';
import { columns } from './layout.js';
import { referenceWav } from './reference-wav.js';
import { nextStep, word } from './next-step.js';
import { progress } from './progress.js';
import { print, printJson } from './terminal.js';
import type { Context } from './terminal.js';

export const SIGNALS_FORMAT = 'boardproof-signals/1';
export const CUE_SHEET_FILE = 'cue-sheet.txt';
const DEFAULT_RATE_HZ = 48000;
const DEFAULT_BITS: SampleBits = '24';

export interface SignalsOptions {
  readonly rate?: string;
  readonly level?: string;
  readonly bits?: string;
  readonly job?: string;
  readonly out: string;
  readonly json?: boolean;
}

/** One signal to render: its file without a folder, and the step that its markers name. */
interface Wanted {
  readonly signal: ReferenceName;
  readonly file: string;
  readonly step: string | null;
}

type Status = 'rendered' | 'same' | 'replaced';

interface Rendered {
  /** Below the folder, with forward slashes. */
  readonly file: string;
  readonly signal: ReferenceName | null;
  readonly step: string | null;
  readonly stepCode: number | null;
  readonly bits: SampleBits | null;
  readonly frames: number | null;
  readonly bytes: number;
  readonly sha256: string;
  readonly status: Status;
}

export async function run(context: Context, _args: readonly string[], options: SignalsOptions): Promise<number> {
  const job = options.job === undefined ? null : openJob(options.job, context);
  const sampleRateHz = options.rate === undefined ? (job?.bench.sampleRateHz ?? DEFAULT_RATE_HZ) : rateOf(options.rate);
  const levelDbfs = options.level === undefined ? DEFAULT_LEVEL_DBFS : levelOf(options.level);
  const bits = options.bits === undefined ? [DEFAULT_BITS] : bitsOf(options.bits);
  checkReferenceSettings({ sampleRateHz, levelDbfs });

  const folder = path.resolve(context.cwd, options.out);
  // Files there are named by steps too: a signal would be taken for what came out of the board.
  if (path.basename(folder) === CAPTURES && fs.existsSync(path.join(folder, '..', 'board.yaml'))) throw problem('signals.in-captures', { folder: options.out });
  const wanted = job ? wantedOf(job) : REFERENCE_NAMES.map((signal) => ({ signal, file: `${signal}.wav`, step: null }));
  const shown = progress(context);
  const files: { readonly rendered: Omit<Rendered, 'status'>; readonly path: string; readonly pending: Pending }[] = [];
  try {
    for (const [i, { signal, file, step }] of wanted.entries()) {
      shown.share(`Rendering ${file}`, i, wanted.length, 'files');
      const code = step === null ? 0 : stepCode(step);
      const settings = { sampleRateHz, levelDbfs, stepCode: code };
      const samples = renderReference(signal, settings);
      for (const each of bits) {
        const name = bits.length > 1 ? `${each}/${file}` : file;
        const at = path.join(folder, name);
        makeFolder(path.dirname(at));
        const pending = await writePending(at, referenceWav(samples, settings, each));
        const rendered = { file: name, signal, step, stepCode: signal === 'tone' ? null : code, bits: each, frames: samples.length, bytes: pending.bytes, sha256: pending.sha256 };
        files.push({ rendered, path: at, pending });
      }
    }
    const at = path.join(folder, CUE_SHEET_FILE);
    const pending = await writePending(at, cueSheetText({ sampleRateHz, levelDbfs, bits, job }));
    const rendered = { file: CUE_SHEET_FILE, signal: null, step: null, stepCode: null, bits: null, frames: null, bytes: pending.bytes, sha256: pending.sha256 };
    files.push({ rendered, path: at, pending });

    const statuses = files.map(({ path: file, pending: { sha256 } }) => statusOf(file, sha256));
    const others = files.filter((_, i) => statuses[i] === 'other');
    if (others.length > 0) throw problem('signals.file-differs', { file: path.join(options.out, others[0]!.rendered.file), more: others.length - 1 });
    const done = files.map((file, i): Rendered => ({ ...file.rendered, status: settle(file.pending, statuses[i] as Status) }));
    shown.done();
    report(context, options, { sampleRateHz, levelDbfs, bits, job }, done);
    return exitCode.done;
  } catch (error) {
    shown.done();
    for (const { pending } of files) pending.discard();
    throw error;
  }
}

const decimal = /^[+-]?\d+(\.\d+)?$/;

function rateOf(text: string): number {
  if (!decimal.test(text)) throw problem('signals.rate', { said: text, lowestHz: LOWEST_RATE_HZ, highestHz: HIGHEST_RATE_HZ });
  return Number(text);
}

function levelOf(text: string): number {
  // A minus sign copied from print.
  const plain = text.replace('−', '-');
  if (!decimal.test(plain)) throw problem('signals.level', { said: text, lowestDbfs: LOWEST_LEVEL_DBFS, stepDb: LEVEL_STEP_DB });
  return Number(plain);
}

function bitsOf(text: string): SampleBits[] {
  const given = text.split(',').map((word) => word.trim());
  if (given.some((word) => !SAMPLE_BITS.includes(word as SampleBits))) throw problem('signals.bits', { said: text, allowed: SAMPLE_BITS });
  return SAMPLE_BITS.filter((bits) => given.includes(bits));
}

/** The steady tone, then each coded signal that a step of the job plays. */
function wantedOf(job: Job): Wanted[] {
  const coded = job.steps.flatMap((step) => {
    const signal = signalOf[step.kind];
    return signal === null || signal === 'tone' ? [] : [{ signal, file: fileOf(step)!, step: step.id }];
  });
  return [{ signal: 'tone', file: 'tone.wav', step: null }, ...coded];
}

/** What stands under a name: nothing, the same bytes, an older cue sheet of ours, or something else. */
function statusOf(file: string, sha256: string): Status | 'other' {
  if (!fs.existsSync(file)) return 'rendered';
  if (sha256File(file) === sha256) return 'same';
  if (path.basename(file) !== CUE_SHEET_FILE || fs.statSync(file).size > 1 << 20) return 'other';
  const text = new TextDecoder().decode(readSmallFile(file, 1 << 20));
  return text.startsWith(`${CUE_SHEET_HEADING}\n`) ? 'replaced' : 'other';
}

function settle(pending: Pending, status: Status): Status {
  if (status === 'same') pending.discard();
  else if (status === 'replaced') pending.commit();
  else pending.commitNew();
  return status;
}

function report(
  context: Context,
  options: SignalsOptions,
  { sampleRateHz, levelDbfs, bits, job }: { sampleRateHz: number; levelDbfs: number; bits: readonly SampleBits[]; job: Job | null },
  files: readonly Rendered[],
): void {
  if (options.json) {
    const board = job ? { board: job.board.name } : {};
    printJson(context, { format: SIGNALS_FORMAT, ...board, sampleRateHz, levelDbfs, bits, files });
  } else {
    const rows = files.map(({ file, status, frames }) => [status, frames === null ? '' : `${fixed(frames / sampleRateHz, 1)} s`, file]);
    print(context, columns(rows, ''));
  }
  const sheet = printable(path.join(options.out, CUE_SHEET_FILE));
  nextStep(context, `switch amplifiers, loudspeakers and headphones off, then follow ${sheet}`, ...(options.job === undefined ? [] : [`boardproof import ${word(options.job)} <recording.wav>`]));
}
