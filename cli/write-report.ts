/**
 * Results → the files of the report and of a comparison. The charts are heavy to load, so they are loaded here.
 *
 * @module
 */
import path from 'node:path';
import type { Comparison } from '../src/judge/compare.js';
import type { Results } from '../src/judge/results.js';
import { writeFileAtomic } from './files.js';
import type { Context } from './terminal.js';

/** Writes the report and gives its absolute path. */
export async function writeReport(context: Context, results: Results, file: string): Promise<string> {
  const { renderReport } = await import('../src/report/report.js');
  const absolute = path.resolve(context.cwd, file);
  await writeFileAtomic(absolute, await renderReport(results));
  return absolute;
}

/** Writes the sheet that puts two sides next to each other. */
export async function writeComparison(context: Context, comparison: Comparison, first: Results, second: Results, file: string): Promise<void> {
  const { renderComparison } = await import('../src/report/report.js');
  await writeFileAtomic(path.resolve(context.cwd, file), await renderComparison(comparison, first, second));
}
