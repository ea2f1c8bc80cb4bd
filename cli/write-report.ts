/**
 * Results → the report's file. The charts are heavy to load, so they are loaded here.
 *
 * @module
 */
import path from 'node:path';
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
