/**
 * `report`: results.json → one self-contained HTML file, or tables for other programs. Nothing else of the job is read, so
 * that a report can be made again years later.
 *
 * @module
 */
import path from 'node:path';
import type { Results } from '../src/judge/results.js';
import { curvesCsv, readingsCsv, stairsCsv } from '../src/report/csv.js';
import { exitCode } from '../src/problems.js';
import { writeFileAtomic } from './files.js';
import { nextStep, word } from './next-step.js';
import { readJobResults } from './results-file.js';
import { print, printJson } from './terminal.js';
import type { Context } from './terminal.js';
import { refuseOverOther, writeReport } from './write-report.js';

export const REPORT_FORMAT = 'boardproof-report/1';

interface ReportOptions {
  readonly out?: string;
  readonly format?: 'html' | 'csv';
  readonly json?: boolean;
}

export async function run(context: Context, [jobPath]: readonly string[], { out, format = 'html', json }: ReportOptions): Promise<number> {
  const folder = path.resolve(context.cwd, jobPath!);
  if (format === 'html') refuseOverOther(context, out ?? path.join(jobPath!, 'report.html'));
  else for (const name of TABLES) refuseOverOther(context, path.join(out ?? jobPath!, name), 'table');
  const results = await readJobResults(folder, jobPath!);
  const files =
    format === 'csv'
      ? await writeTables(results, path.resolve(context.cwd, out ?? folder))
      : [await writeReport(context, results, out ?? path.join(jobPath!, 'report.html'))];
  if (json) printJson(context, { format: REPORT_FORMAT, ...(format === 'csv' ? { files } : { file: files[0] }), board: results.board.name, verdict: results.verdict.word });
  else print(context, files.join('\n'));
  if (format === 'html') nextStep(context, 'open it in any browser; print it, sign it, hand it over with the board');
  else nextStep(context, 'open them in a spreadsheet or a program of your own (UTF-8, comma between fields, point in numbers). The page to sign is made by', `boardproof report ${word(jobPath!)}`);
  return exitCode.done;
}

const TABLES = ['readings.csv', 'curves.csv', 'stairs.csv'] as const;

/** Three tables: they have no columns in common. */
async function writeTables(results: Results, folder: string): Promise<string[]> {
  const tables = [
    [TABLES[0], readingsCsv(results)],
    [TABLES[1], curvesCsv(results)],
    [TABLES[2], stairsCsv(results)],
  ] as const;
  const files: string[] = [];
  for (const [name, text] of tables) {
    await writeFileAtomic(path.join(folder, name), text);
    files.push(path.join(folder, name));
  }
  return files;
}
