/**
 * `report`: results.json → one self-contained HTML file. Nothing else of the job is read, so that a report can be made again
 * years later.
 *
 * @module
 */
import path from 'node:path';
import { exitCode, problem } from '../src/problems.js';
import type { Results } from '../src/judge/results.js';
import { errorCode, readSmallFile } from './files.js';
import { print, printJson } from './terminal.js';
import type { Context } from './terminal.js';
import { writeReport } from './write-report.js';

export const REPORT_FORMAT = 'boardproof-report/1';

/** A board of 16 loops and 3 outputs makes 8 MB of results; this is far more than any. */
const LARGEST_RESULTS = 256 << 20;

export async function run(context: Context, [jobPath]: readonly string[], options: { readonly out?: string; readonly json?: boolean }): Promise<number> {
  const folder = path.resolve(context.cwd, jobPath!);
  const out = path.resolve(context.cwd, options.out ?? path.join(folder, 'report.html'));
  for (const name of ['results.json', 'board.yaml', 'bench.yaml']) {
    if (out === path.join(folder, name)) throw problem('report.over-input', { file: options.out ?? out });
  }
  const results = await resultsOf(folder, jobPath!);
  const file = await writeReport(context, results, out);
  if (options.json) printJson(context, { format: REPORT_FORMAT, file, board: results.board.name, verdict: results.verdict.word });
  else print(context, file);
  return exitCode.done;
}

/** The results of a job. @throws Problem `report.no-results`, `report.results-damaged`, `report.results-format` */
async function resultsOf(folder: string, jobPath: string): Promise<Results> {
  const file = path.join(folder, 'results.json');
  let bytes: Uint8Array;
  try {
    bytes = readSmallFile(file, LARGEST_RESULTS);
  } catch (error) {
    if (errorCode(error) === 'ENOENT' || errorCode(error) === 'ENOTDIR') throw problem('report.no-results', { job: jobPath });
    throw error;
  }
  const { readResults } = await import('../src/report/read-results.js');
  return readResults(new TextDecoder().decode(bytes), path.join(jobPath, 'results.json'));
}
