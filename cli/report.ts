/**
 * `report`: results.json → one self-contained HTML file, or tables for other programs. Nothing else of the job is read, so
 * that a report can be made again years later.
 *
 * @module
 */
import path from 'node:path';
import type { Results } from '../src/judge/results.js';
import { curvesCsv, readingsCsv } from '../src/report/csv.js';
import { exitCode, problem } from '../src/problems.js';
import { writeFileAtomic } from './files.js';
import { nextStep } from './next-step.js';
import { readJobResults } from './results-file.js';
import { print, printJson } from './terminal.js';
import type { Context } from './terminal.js';
import { writeReport } from './write-report.js';

export const REPORT_FORMAT = 'boardproof-report/1';

interface ReportOptions {
  readonly out?: string;
  readonly format?: 'html' | 'csv';
  readonly json?: boolean;
}

export async function run(context: Context, [jobPath]: readonly string[], { out, format = 'html', json }: ReportOptions): Promise<number> {
  const folder = path.resolve(context.cwd, jobPath!);
  if (format === 'html') refuseOverInput(path.resolve(context.cwd, out ?? path.join(folder, 'report.html')), folder, out);
  const results = await readJobResults(folder, jobPath!);
  const files =
    format === 'csv'
      ? await writeTables(results, path.resolve(context.cwd, out ?? folder))
      : [await writeReport(context, results, path.resolve(context.cwd, out ?? path.join(folder, 'report.html')))];
  if (json) printJson(context, { format: REPORT_FORMAT, ...(format === 'csv' ? { files } : { file: files[0] }), board: results.board.name, verdict: results.verdict.word });
  else print(context, files.join('\n'));
  if (format === 'html') nextStep(context, 'open it in any browser; print it, sign it, hand it over with the board');
  return exitCode.done;
}

function refuseOverInput(file: string, folder: string, given: string | undefined): void {
  for (const name of ['results.json', 'board.yaml', 'bench.yaml']) {
    if (file === path.join(folder, name)) throw problem('report.over-input', { file: given ?? file });
  }
}

/** Two tables: they have no columns in common. */
async function writeTables(results: Results, folder: string): Promise<string[]> {
  const tables = [
    ['readings.csv', readingsCsv(results)],
    ['curves.csv', curvesCsv(results)],
  ] as const;
  const files: string[] = [];
  for (const [name, text] of tables) {
    await writeFileAtomic(path.join(folder, name), text);
    files.push(path.join(folder, name));
  }
  return files;
}
