/**
 * Results → the files of the report and of a comparison. The charts are heavy to load, so they are loaded here.
 *
 * @module
 */
import fs from 'node:fs';
import path from 'node:path';
import { setImmediate as nextTurn } from 'node:timers/promises';
import type { Comparison } from '../src/judge/compare.js';
import type { Results } from '../src/judge/results.js';
import { problem } from '../src/problems.js';
import type { HearsDrawn } from '../src/report/report.js';
import { fileSource, writeFileAtomic } from './files.js';
import { progress } from './progress.js';
import type { Context } from './terminal.js';

/** Names of files that a page never has, whether they are there or not. */
const NO_PAGE = /\.(?:wav|ya?ml|json)$/i;
const BEGINS = { report: /^<!DOCTYPE html>/i, table: /^(?:id,label|capture,state),/ } as const;

/**
 * A report may take the place of an earlier one, and of nothing else: neither a capture nor a letter to the player.
 *
 * @throws Problem `report.over-input`
 */
export function refuseOverOther(context: Context, file: string, what: keyof typeof BEGINS = 'report'): void {
  const absolute = path.resolve(context.cwd, file);
  const stat = fs.statSync(absolute, { throwIfNoEntry: false });
  if (!NO_PAGE.test(file) && (!stat?.isFile() || stat.size === 0 || BEGINS[what].test(beginningOf(absolute)))) return;
  throw problem('report.over-input', { file, what });
}

function beginningOf(file: string): string {
  const source = fileSource(file);
  try {
    const bytes = new Uint8Array(32);
    return new TextDecoder().decode(bytes.subarray(0, source.read(0, bytes)));
  } finally {
    source.close();
  }
}

/** Writes the report and gives its absolute path. @throws Problem `report.over-input` */
export async function writeReport(context: Context, results: Results, file: string): Promise<string> {
  const absolute = path.resolve(context.cwd, file);
  refuseOverOther(context, file);
  const { renderReport } = await import('../src/report/report.js');
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
