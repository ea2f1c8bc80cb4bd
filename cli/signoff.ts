/**
 * `signoff`: measure, then report, then the verdict as exit code.
 *
 * @module
 */
import path from 'node:path';
import { openJob } from './job.js';
import { exitOfResults, measureFolder } from './measuring.js';
import { captureCommands, nextStep } from './next-step.js';
import { printSummary, whatToMend } from './results-summary.js';
import { note, printJson } from './terminal.js';
import type { Context } from './terminal.js';
import { refuseOverOther, writeReport } from './write-report.js';

export async function run(context: Context, [jobPath]: readonly string[], options: { readonly json?: boolean; readonly all?: boolean; readonly out?: string }): Promise<number> {
  const job = openJob(jobPath!, context);
  refuseOverOther(context, options.out ?? path.join(jobPath!, 'report.html'));
  const measured = await measureFolder(context, job, jobPath!);
  const { results } = measured;
  const file = await writeReport(context, results, options.out ?? path.join(jobPath!, 'report.html'));
  if (options.json) printJson(context, { ...results, sinceLast: measured.changes });
  else printSummary(context, measured, options.all);
  if (!options.json) note(context, `\nWritten: ${job.resultsFile}\n         ${file}`);
  if (results.verdict.word === 'pass') nextStep(context, 'open the report, print it, sign it');
  else {
    const { says, step } = whatToMend(results, job.steps);
    nextStep(context, says, ...(step ? captureCommands(jobPath!, step) : []));
  }
  return exitOfResults(results);
}
