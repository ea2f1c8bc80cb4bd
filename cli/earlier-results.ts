/**
 * The results that a job had before: read to say what has changed, and kept when they are replaced.
 *
 * @module
 */
import fs from 'node:fs';
import path from 'node:path';
import type { Results } from '../src/judge/results.js';
import { Problem } from '../src/problems.js';
import { linkOrRename } from './files.js';
import { readJobResults } from './results-file.js';

export interface EarlierResults {
  /** Null where there are none, or where they cannot be read. */
  readonly results: Results | null;
  /** Why they cannot be read, as a sentence. */
  readonly unreadable: string | null;
}

/** The results that are in the job, before they are replaced. */
export async function earlierResults(folder: string, jobPath: string): Promise<EarlierResults> {
  if (!fs.existsSync(path.join(folder, 'results.json'))) return { results: null, unreadable: null };
  try {
    return { results: await readJobResults(folder, jobPath), unreadable: null };
  } catch (error) {
    // Whatever is wrong with them, it is no reason not to measure; the file is kept.
    if (error instanceof Problem) return { results: null, unreadable: error.message };
    throw error;
  }
}

/**
 * Gives results that are about to be replaced a name of their own, `results~2026-11-25T12-16-07Z.json` with the time at
 * which they were written. Those that say the same but for when they were measured are not kept twice.
 */
export function keepResults(file: string, replacement: string): void {
  const stat = fs.statSync(file, { throwIfNoEntry: false });
  if (!stat?.isFile() || stat.size === 0) return;
  if (stat.size < replacement.length * 4 && withoutTime(fs.readFileSync(file, 'utf8')) === withoutTime(replacement)) return;
  const stem = path.join(path.dirname(file), `results~${stat.mtime.toISOString().replace(/\.\d+Z$/, 'Z').replaceAll(':', '-')}`);
  for (let count = 1; ; count++) {
    const kept = `${stem}${count === 1 ? '' : `-${count}`}.json`;
    const taken = fs.statSync(kept, { throwIfNoEntry: false });
    // The same file under both names: an earlier try was stopped after this.
    if (taken && taken.ino === stat.ino && taken.dev === stat.dev) return;
    if (taken) continue;
    linkOrRename(file, kept);
    return;
  }
}

const withoutTime = (json: string): string => json.replace(/"measuredAt": "[^"]*"/, '');
