/**
 * The results of a job, read from its results.json and checked.
 *
 * @module
 */
import fs from 'node:fs';
import path from 'node:path';
import type { Results } from '../src/judge/results.js';
import { problem } from '../src/problems.js';
import { errorCode, readSmallFile } from './files.js';
import { nearestJob } from './nearest-job.js';

/** A board of 16 loops and 3 outputs makes 8 MB of results; this is far more than any. */
const LARGEST_RESULTS = 256 << 20;

/**
 * @param folder - Of the job; or a file of results, such as one that was kept.
 * @throws Problem `report.no-results`, `report.results-damaged`, `report.results-format`
 */
export async function readJobResults(folder: string, jobPath: string): Promise<Results> {
  const isFile = path.extname(folder) === '.json' && fs.statSync(folder, { throwIfNoEntry: false })?.isFile() === true;
  const file = isFile ? folder : path.join(folder, 'results.json');
  let bytes: Uint8Array;
  try {
    bytes = readSmallFile(file, LARGEST_RESULTS);
  } catch (error) {
    if (errorCode(error) === 'ENOENT' || errorCode(error) === 'ENOTDIR') {
      const isJob = fs.statSync(folder, { throwIfNoEntry: false })?.isDirectory() === true;
      throw isJob ? problem('report.no-results', { job: jobPath }) : problem('cli.no-job', { folder: jobPath, missing: 'results.json', nearest: nearestJob(folder, jobPath) });
    }
    throw error;
  }
  const { readResults } = await import('../src/report/read-results.js');
  return readResults(new TextDecoder().decode(bytes), isFile ? jobPath : path.join(jobPath, 'results.json'));
}
