/**
 * `report`: results.json → one self-contained HTML file. Nothing else of the job is read, so that a report can be made again
 * years later.
 *
 * @module
 */
import path from 'node:path';
import { exitCode, problem } from '../src/problems.js';
import { readJobResults } from './results-file.js';
import { print, printJson } from './terminal.js';
import type { Context } from './terminal.js';
import { writeReport } from './write-report.js';

export const REPORT_FORMAT = 'boardproof-report/1';

export async function run(context: Context, [jobPath]: readonly string[], options: { readonly out?: string; readonly json?: boolean }): Promise<number> {
  const folder = path.resolve(context.cwd, jobPath!);
  const out = path.resolve(context.cwd, options.out ?? path.join(folder, 'report.html'));
  for (const name of ['results.json', 'board.yaml', 'bench.yaml']) {
    if (out === path.join(folder, name)) throw problem('report.over-input', { file: options.out ?? out });
  }
  const results = await readJobResults(folder, jobPath!);
  const file = await writeReport(context, results, out);
  if (options.json) printJson(context, { format: REPORT_FORMAT, file, board: results.board.name, verdict: results.verdict.word });
  else print(context, file);
  return exitCode.done;
}
