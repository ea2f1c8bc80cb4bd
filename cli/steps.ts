/**
 * `boardproof steps <job>`: the bench sheet. What to capture, in order, and what is done.
 *
 * @module
 */
import type { Step } from '../src/board/model.js';
import { printable } from '../src/board/printable.js';
import { stepCode } from '../src/board/step-code.js';
import { benchGaps } from '../src/board/steps.js';
import { exitCode } from '../src/problems.js';
import { CAPTURES, openJob } from './job.js';
import type { Job } from './job.js';
import { wrap } from './layout.js';
import { nextNote } from './next-step.js';
import { note, paintFor, print, printJson } from './terminal.js';
import type { Context } from './terminal.js';

export const STEPS_FORMAT = 'boardproof-steps/1';

export async function run(context: Context, [jobPath]: readonly string[], options: { json?: boolean }): Promise<number> {
  const job = openJob(jobPath!, context);
  if (options.json) printJson(context, asDocument(job));
  else printSheet(context, job);
  note(context, nextNote(job, jobPath!));
  return exitCode.done;
}

function asDocument(job: Job): object {
  const others = [...job.captures.keys()].filter((id) => !job.steps.some((step) => step.id === id));
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
    /** Captures of steps that the two files no longer ask for. */
    otherCaptures: others,
    remarks: benchGaps(job.bench),
  };
}

function printSheet(context: Context, job: Job): void {
  const required = job.steps.filter((step) => step.required);
  const done = required.filter(({ id }) => job.captures.has(id)).length;
  const paint = paintFor(context, 'out');
  print(context, wrap(`${printable(job.board.name)} on ${printable(job.bench.name)}: ${done} of ${required.length} captures done.`));
  print(context, wrap(`Each is ${CAPTURES}/<step>.wav with a channel for each recorder input.`));
  let number = 0;
  for (const [patch, steps] of byPatch(job.steps)) {
    print(context, `\n${wrap(patch, '    ', `${String(++number).padStart(2)}. `)}`);
    for (const step of steps) {
      const isDone = job.captures.has(step.id);
      print(context, `    ${isDone ? paint('green', '[x]') : '[ ]'} ${paint('bold', step.id)}${step.required ? '' : ' (optional)'}`);
      print(context, wrap(step.set, '        '));
    }
  }
  for (const gap of benchGaps(job.bench)) print(context, `\n${wrap(gap)}`);
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
