/**
 * Results → the files of the report and of a comparison. The charts are heavy to load, so they are loaded here.
 *
 * @module
 */
import path from 'node:path';
import { setImmediate as nextTurn } from 'node:timers/promises';
import type { Comparison } from '../src/judge/compare.js';
import type { Results } from '../src/judge/results.js';
import type { HearsDrawn } from '../src/report/report.js';
import { writeFileAtomic } from './files.js';
import { progress } from './progress.js';
import type { Context } from './terminal.js';

/** Writes the report and gives its absolute path. */
export async function writeReport(context: Context, results: Results, file: string): Promise<string> {
  const { renderReport } = await import('../src/report/report.js');
  const absolute = path.resolve(context.cwd, file);
  await writeFileAtomic(absolute, await drawn(context, (heard) => renderReport(results, heard)));
  return absolute;
}

/** Writes the sheet that puts two sides next to each other. */
export async function writeComparison(context: Context, comparison: Comparison, first: Results, second: Results, file: string): Promise<void> {
  const { renderComparison } = await import('../src/report/report.js');
  await writeFileAtomic(path.resolve(context.cwd, file), await drawn(context, (heard) => renderComparison(comparison, first, second, heard)));
}

/** Draws with progress; between two charts the program hears an interruption. */
async function drawn(context: Context, draw: (heard: HearsDrawn) => Promise<string>): Promise<string> {
  const shown = progress(context);
  try {
    return await draw(async (done, total) => {
      shown.share('Drawing', done, total, 'charts');
      await nextTurn();
    });
  } finally {
    shown.done();
  }
}
