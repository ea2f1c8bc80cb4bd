/**
 * The jobs that are there, and the one that was most likely meant where a path leads to none.
 *
 * @module
 */
import fs from 'node:fs';
import path from 'node:path';
import { nearest } from '../src/board/nearest.js';

/** The job beside the folder that is not there whose name is most like it, written as the other was. */
export function nearestJob(folder: string, jobPath: string): string | null {
  const beside = path.dirname(folder);
  if (fs.existsSync(folder) || !fs.existsSync(beside)) return null;
  const meant = nearest(path.basename(folder), jobsIn(beside));
  return meant === null ? null : path.join(path.dirname(jobPath), meant);
}

/** Names of the job folders in a folder; none where it cannot be read. */
export function jobsIn(folder: string): string[] {
  try {
    return fs.readdirSync(folder).filter((name) => fs.existsSync(path.join(folder, name, 'board.yaml')));
  } catch {
    return [];
  }
}
