/**
 * `signoff`: measure, then report, then the verdict as exit code.
 *
 * @module
 */
import { exitOfVerdict } from '../src/judge/judge-job.js';
import { openJob } from './job.js';
import { measureFolder } from './measuring.js';
import { writeReport } from './write-report.js';
import { printSummary } from './results-summary.js';
import { note, printJson } from './terminal.js';
import type { Context } from './terminal.js';

export async function run(context: Context, [jobPath]: readonly string[], options: { readonly json?: boolean; readonly out?: string }): Promise<number> {
  const job = openJob(jobPath!, context);
  const results = await measureFolder(context, job, jobPath!);
  const file = await writeReport(context, results, options.out ?? job.reportFile);
  if (options.json) printJson(context, results);
  else printSummary(context, results);
  note(context, `\nReport: ${file}`);
  return exitOfVerdict(results.verdict.word);
}
