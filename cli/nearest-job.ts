/**
 * The job that was most likely meant where a path leads to none.
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
  const jobs = fs.readdirSync(beside).filter((name) => fs.existsSync(path.join(beside, name, 'board.yaml')));
  const meant = nearest(path.basename(folder), jobs);
  return meant === null ? null : path.join(path.dirname(jobPath), meant);
}
