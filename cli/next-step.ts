/**
 * What to do next, after each command: a sentence, and under it the command as it would be typed.
 *
 * @module
 */
import { printable } from '../src/board/printable.js';
import type { Step } from '../src/board/model.js';
import type { Job } from './job.js';
import { aside } from './layout.js';
import { note, paintFor } from './terminal.js';
import type { Context } from './terminal.js';

/** Not with `--quiet` or `--json`. @param says - What it is good for, without a full stop. @param commands - Whole command lines; see {@link word}. */
export function nextStep(context: Context, says: string, ...commands: readonly string[]): void {
  if (context.forProgram) return;
  note(context, '');
  aside(context, `Next: ${says}${commands.length > 0 ? ':' : '.'}`, '      ', '');
  const paint = paintFor(context, 'err');
  // Not wrapped: a command that is broken into lines cannot be copied.
  for (const command of commands) note(context, `      ${paint('bold', command)}`);
}

/** A name or path as one word of a command line, quoted where a shell needs it. */
export function word(text: string): string {
  if (/^[\p{L}\p{N}_./:@%+=,~-]+$/u.test(text) && !text.startsWith('~')) return text;
  const shown = printable(text);
  return /["$`\\!]/.test(shown) ? `'${shown.replaceAll("'", String.raw`'\''`)}'` : `"${shown}"`;
}

/** How a step is captured here, and how a recording of it is filed. */
export function captureCommands(jobPath: string, { id, kind }: Step): string[] {
  const shown = word(jobPath);
  return [`boardproof capture ${shown} --step ${id}`, `boardproof import ${shown} <recording.wav>${kind === 'take' || kind === 'stairs' ? '' : ` --step ${id}`}`];
}

/** The first required capture that is not there, and how it is filed; or that all are. */
export function nextCapture(context: Context, job: Job, jobPath: string): void {
  const next = job.steps.find(({ id, required }) => required && !job.captures.has(id));
  const shown = word(jobPath);
  const missing = job.steps.filter(({ id }) => !job.captures.has(id)).length;
  if (!next) nextStep(context, `every capture that a sign-off needs is there${missing > 0 ? ` (${missing} optional ${missing === 1 ? 'one is' : 'ones are'} not)` : ''}; measure and judge them`, `boardproof signoff ${shown}`);
  else {
    nextStep(
      context,
      `${next.id}. Play and record it here, or elsewhere and file the recording`,
      `boardproof capture ${shown}`,
      ...(next.kind === 'take' ? [`boardproof signals --job ${shown} --out <folder>`, `boardproof import ${shown} <recording.wav>`] : [`boardproof import ${shown} <recording.wav> --step ${next.id}`]),
    );
  }
}
