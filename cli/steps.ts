/**
 * `boardproof steps <job>`: the bench sheet. What to capture, in order, and what is done.
 *
 * @module
 */
import type { Step } from '../src/board/model.js';
import { printable } from '../src/board/printable.js';
import { stepCode } from '../src/board/step-code.js';
import { departureOf, settingOf } from '../src/board/states.js';
import { IDLE_S, benchGaps, doing } from '../src/board/steps.js';
import { exitCode } from '../src/problems.js';
import { takeTimetable } from '../src/signals/take.js';
import { firstWords } from './first-words.js';
import { CAPTURES, openJob } from './job.js';
import type { CaptureFile, Job } from './job.js';
import { padTo, paragraph, widthOf } from './layout.js';
import { nextCapture } from './next-step.js';
import { countedText } from './step-count.js';
import { paintFor, print, printJson, widthFor } from './terminal.js';
import type { Context } from './terminal.js';
import { timeText } from './time-text.js';

export const STEPS_FORMAT = 'boardproof-steps/1';

export async function run(context: Context, [jobPath]: readonly string[], options: { json?: boolean; all?: boolean }): Promise<number> {
  const job = openJob(jobPath!, context);
  if (options.json) printJson(context, asDocument(job));
  else printSheet(context, job, options.all === true);
  nextCapture(context, job, jobPath!);
  return exitCode.done;
}

function asDocument(job: Job): object {
  return {
    format: STEPS_FORMAT,
    board: job.board.name,
    bench: job.bench.name,
    steps: job.steps.map((step) => {
      const capture = job.captures.get(step.id);
      return {
        ...step,
        code: stepCode(step.id),
        file: `${CAPTURES}/${step.id}.wav`,
        done: capture !== undefined,
        recordedAt: capture?.sidecar?.recordedAt ?? null,
        filedAt: capture?.sidecar?.filedAt ?? null,
      };
    }),
    otherCaptures: otherCaptures(job),
    remarks: benchGaps(job.bench),
  };
}

function printSheet(context: Context, job: Job, all: boolean): void {
  const left = job.steps.filter(({ id }) => !job.captures.has(id));
  const needed = left.filter(({ required }) => required);
  const time = needed.length === 0 ? '' : `, ${recordingTime(needed)} of recording left`;
  paragraph(context, `${printable(job.board.name)} on ${printable(job.bench.name)}: ${countedText(job.steps, left)}${time}.`);
  const rest = settingOf(job.board, 'rest');
  if (rest !== '') paragraph(context, `Unless a line says otherwise: ${printable(rest.charAt(0).toLowerCase() + rest.slice(1))}`);
  paragraph(context, `[ ] needed, ( ) optional, x done. Each is ${CAPTURES}/<step>.wav with a channel for each recorder input${all ? '' : '; --all says when it was filed'}.`);
  const sheet: Sheet = { context, job, all, next: needed[0] ?? null, told: new Set() };
  const words = new Set<string>();
  runsOf(job.steps, ({ patch }) => patch).forEach((steps, i) => {
    print(context, '');
    paragraph(context, printable(steps[0]!.patch), '    ', `${String(i + 1).padStart(2)}. `);
    for (const run of runsOf(steps, (step) => `${doing(step)} ${step.required}`)) printRun(sheet, run);
    // Whoever has captured it knows the words.
    const open = steps.filter(({ id }) => !job.captures.has(id));
    const meanings = firstWords(open.map((step) => `${step.patch} ${doing(step)}`).join(' '), words);
    if (meanings !== '') paragraph(context, meanings, '           ', '    Words: ');
  });
  for (const gap of benchGaps(job.bench)) {
    print(context, '');
    paragraph(context, gap);
  }
  const others = otherCaptures(job);
  if (others.length > 0) {
    print(context, '');
    paragraph(context, `Captures of steps that the two files no longer ask for: ${others.join(', ')}.`);
  }
}

interface Sheet {
  readonly context: Context;
  readonly job: Job;
  readonly all: boolean;
  readonly next: Step | null;
  /** States whose setting stands further up. */
  readonly told: Set<string>;
}

/** Steps in which the same is done: that once, then a line for each that has more to say, and the others side by side. */
function printRun(sheet: Sheet, steps: readonly Step[]): void {
  const { context, job } = sheet;
  const paint = paintFor(context, 'out');
  const box = ({ id, required }: Step): string => {
    const mark = job.captures.has(id) ? paint('green', 'x') : ' ';
    return required ? `[${mark}]` : `(${mark})`;
  };
  const entries = steps.map((step) => ({ cell: `${box(step)} ${paint('bold', step.id)}${step === sheet.next ? ' (next)' : ''}`, text: textOf(sheet, step) }));
  const what = doing(steps[0]!);
  if (steps.length === 1) {
    const { cell, text } = entries[0]!;
    printLine(context, cell, widthOf(cell), text === '' ? what : `${text.charAt(0).toUpperCase()}${text.slice(1)}. ${what}`);
    return;
  }
  paragraph(context, what, '    ');
  const widest = Math.max(...entries.map(({ cell }) => widthOf(cell)));
  for (const run of runsOf(entries, ({ text }) => String(text === ''))) {
    if (run[0]!.text === '') printSideBySide(context, run.map(({ cell }) => cell), widest + 2);
    else for (const { cell, text } of run) printLine(context, cell, widest, text);
  }
}

/** What is not as at rest and not told yet, and with `--all` when it was filed. */
function textOf({ job, all, next, told }: Sheet, step: Step): string {
  const capture = job.captures.get(step.id);
  const departure = step.state === 'rest' && settingOf(job.board, 'rest') !== '' ? 'as at rest' : departureOf(job.board, step.state);
  const asked = all || step === next || (!capture && !told.has(step.state));
  if (asked) told.add(step.state);
  const filed = capture && (all || capture.sidecar === null) ? filedWords(capture) : '';
  return [asked ? printable(departure) : '', filed].filter((part) => part !== '').join('; ');
}

const INDENT = '    ';
/** With less room than this a text stands under its step. */
const LEAST_TEXT = 30;

function printLine(context: Context, cell: string, width: number, text: string): void {
  const column = INDENT.length + width + 2;
  if (text !== '' && widthFor(context, 'out') - column >= LEAST_TEXT) {
    paragraph(context, text, ' '.repeat(column), `${INDENT}${padTo(cell, width)}  `);
    return;
  }
  print(context, INDENT + cell);
  if (text !== '') paragraph(context, text, `${INDENT}    `);
}

function printSideBySide(context: Context, cells: readonly string[], width: number): void {
  const inLine = Math.max(1, Math.floor((widthFor(context, 'out') - INDENT.length + 2) / width));
  for (let i = 0; i < cells.length; i += inLine) {
    print(context, (INDENT + cells.slice(i, i + inLine).map((cell) => padTo(cell, width)).join('')).trimEnd());
  }
}

/** Captures of steps that the two files no longer ask for. */
const otherCaptures = (job: Job): string[] => [...job.captures.keys()].filter((id) => !job.steps.some((step) => step.id === id));

const filedWords = ({ sidecar }: CaptureFile): string =>
  sidecar === null ? 'put here by hand' : `filed ${timeText(sidecar.filedAt)}`;

/** Before and after what is played. */
const MARGINS_S = 4;

/** How long the recorder will run, without the patching between. */
function recordingTime(steps: readonly Step[]): string {
  const seconds = steps.reduce((sum, { kind }) => sum + (kind === 'take' ? takeTimetable.lengthS + MARGINS_S : IDLE_S), 0);
  return seconds < 90 ? `${Math.ceil(seconds / 10) * 10} s` : `${Math.ceil(seconds / 60)} min`;
}

/** Items that follow one another and have the same key. */
function runsOf<T>(items: readonly T[], keyOf: (item: T) => string): T[][] {
  const runs: T[][] = [];
  for (const item of items) {
    const last = runs.at(-1);
    if (last && keyOf(last[0]!) === keyOf(item)) last.push(item);
    else runs.push([item]);
  }
  return runs;
}
