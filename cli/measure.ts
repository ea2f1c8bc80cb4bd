/**
 * `measure`: captures → results.json, and a summary.
 *
 * @module
 */
import { openJob } from './job.js';
import { exitOfResults, measureFolder } from './measuring.js';
import { captureCommands, nextStep, word } from './next-step.js';
import { printSummary, whatToMend } from './results-summary.js';
import { note, printJson } from './terminal.js';
import type { Context } from './terminal.js';

export async function run(context: Context, [jobPath]: readonly string[], options: { readonly json?: boolean; readonly all?: boolean }): Promise<number> {
  const job = openJob(jobPath!, context);
  const measured = await measureFolder(context, job, jobPath!);
  const { results } = measured;
  if (options.json) printJson(context, { ...results, sinceLast: measured.changes });
  else printSummary(context, measured, options.all);
  if (!options.json) note(context, `\nWritten: ${job.resultsFile}`);
  const paper = `boardproof report ${word(jobPath!)}`;
  if (results.verdict.word === 'pass') nextStep(context, 'put it on paper', paper);
  else {
    const { says, step } = whatToMend(results, job.steps, 'measure again; or put it on paper as it is');
    nextStep(context, says, ...(step ? captureCommands(jobPath!, step) : []), `boardproof measure ${word(jobPath!)}`, paper);
  }
  return exitOfResults(results);
}
