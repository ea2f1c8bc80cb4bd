/**
 * `measure`: captures → results.json, and a summary.
 *
 * @module
 */
import { openJob } from './job.js';
import { exitOfResults, measureFolder } from './measuring.js';
import { printSummary } from './results-summary.js';
import { nextStep, word } from './next-step.js';
import { note, printJson } from './terminal.js';
import type { Context } from './terminal.js';

export async function run(context: Context, [jobPath]: readonly string[], options: { readonly json?: boolean }): Promise<number> {
  const job = openJob(jobPath!, context);
  const measured = await measureFolder(context, job, jobPath!);
  const { results } = measured;
  if (options.json) printJson(context, { ...results, sinceLast: measured.changes });
  else printSummary(context, measured);
  if (!options.json) note(context, `\nWritten: ${job.resultsFile}`);
  nextStep(context, 'put it on paper', `boardproof report ${word(jobPath!)}`);
  return exitOfResults(results);
}
