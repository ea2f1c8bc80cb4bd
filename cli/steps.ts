/**
 * `boardproof steps <job>`: the bench sheet. What to capture, in order, and what is done.
 *
 * @module
 */
import type { Step } from '../src/board/model.js';
import { printable } from '../src/board/printable.js';
import { stepCode } from '../src/board/step-code.js';
import { IDLE_S, benchGaps } from '../src/board/steps.js';
import { exitCode } from '../src/problems.js';
import { takeTimetable } from '../src/signals/take.js';
import { CAPTURES, openJob } from './job.js';
import type { CaptureFile, Job } from './job.js';
import { paragraph } from './layout.js';
import { nextCapture } from './next-step.js';
import { paintFor, print, printJson } from './terminal.js';
import type { Context } from './terminal.js';

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
  const required = job.steps.filter((step) => step.required);
  const left = required.filter(({ id }) => !job.captures.has(id));
  const next = left[0];
  const paint = paintFor(context, 'out');
  const time = left.length === 0 ? '' : `, ${recordingTime(left)} of recording left`;
  paragraph(context, `${printable(job.board.name)} on ${printable(job.bench.name)}: ${required.length - left.length} of ${required.length} captures done${time}.`);
  paragraph(context, `Each is ${CAPTURES}/<step>.wav with a channel for each recorder input.`);
  let number = 0;
  for (const [patch, steps] of byPatch(job.steps)) {
    print(context, '');
    paragraph(context, patch, '    ', `${String(++number).padStart(2)}. `);
    for (const step of steps) {
      const capture = job.captures.get(step.id);
      const box = capture ? paint('green', '[x]') : '[ ]';
      const aside = capture ? filedWords(capture) : step === next ? 'next' : step.required ? '' : 'optional';
      paragraph(context, `${paint('bold', step.id)}${aside === '' ? '' : `  (${aside})`}`, '        ', `    ${box} `);
      if (!capture || all) paragraph(context, step.set, '        ');
    }
  }
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

/** Captures of steps that the two files no longer ask for. */
const otherCaptures = (job: Job): string[] => [...job.captures.keys()].filter((id) => !job.steps.some((step) => step.id === id));

const filedWords = ({ sidecar }: CaptureFile): string =>
  sidecar === null ? 'put here by hand' : `filed ${sidecar.filedAt.slice(0, 16).replace('T', ' ')} UTC`;

/** Before and after what is played. */
const MARGINS_S = 4;

/** How long the recorder will run, without the patching between. */
function recordingTime(steps: readonly Step[]): string {
  const seconds = steps.reduce((sum, { kind }) => sum + (kind === 'take' ? takeTimetable.lengthS + MARGINS_S : IDLE_S), 0);
  return seconds < 90 ? `${Math.ceil(seconds / 10) * 10} s` : `${Math.ceil(seconds / 60)} min`;
}

/** Steps that follow one another with the same patching. */
function byPatch(steps: readonly Step[]): (readonly [patch: string, steps: Step[]])[] {
  const groups: (readonly [string, Step[]])[] = [];
  for (const step of steps) {
    const last = groups.at(-1);
    if (last?.[0] === step.patch) last[1].push(step);
    else groups.push([step.patch, [step]]);
  }
  return groups;
}
