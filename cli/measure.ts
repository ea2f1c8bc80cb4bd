/**
 * `measure`: captures → results.json, and a summary.
 *
 * @module
 */
import { exitOfVerdict } from '../src/judge/judge-job.js';
import { openJob } from './job.js';
import { measureFolder } from './measuring.js';
import { printSummary } from './results-summary.js';
import { nextStep, word } from './next-step.js';
import { note, printJson } from './terminal.js';
import type { Context } from './terminal.js';

export async function run(context: Context, [jobPath]: readonly string[], options: { readonly json?: boolean }): Promise<number> {
  const job = openJob(jobPath!, context);
  const results = await measureFolder(context, job, jobPath!);
  if (options.json) printJson(context, results);
  else printSummary(context, results);
  note(context, `\nWritten: ${job.resultsFile}`);
  nextStep(context, 'put it on paper', `boardproof report ${word(jobPath!)}`);
  return exitOfVerdict(results.verdict.word);
}
