/**
 * The results of a job, read from its results.json and checked.
 *
 * @module
 */
import path from 'node:path';
import type { PlayerCurve, Results } from '../src/judge/results.js';
import { problem } from '../src/problems.js';
import { errorCode, readSmallFile } from './files.js';

/** A board of 16 loops and 3 outputs makes 8 MB of results; this is far more than any. */
const LARGEST_RESULTS = 256 << 20;

/** @throws Problem `report.no-results`, `report.results-damaged`, `report.results-format` */
export async function readJobResults(folder: string, jobPath: string): Promise<Results> {
  const file = path.join(folder, 'results.json');
  let bytes: Uint8Array;
  try {
    bytes = readSmallFile(file, LARGEST_RESULTS);
  } catch (error) {
    if (errorCode(error) === 'ENOENT' || errorCode(error) === 'ENOTDIR') throw problem('report.no-results', { job: jobPath });
    throw error;
  }
  const { readResults } = await import('../src/report/read-results.js');
  const text = new TextDecoder().decode(bytes);
  return { ...readResults(text, path.join(jobPath, 'results.json')), playerCurves: playerCurvesOf(text) };
}

/** Curves of the player's instrument, those that are whole; the reader above is of what a report needs. */
function playerCurvesOf(text: string): PlayerCurve[] {
  const { playerCurves } = JSON.parse(text.replace(/^\ufeff/, '')) as { playerCurves?: unknown };
  return Array.isArray(playerCurves) ? (playerCurves as PlayerCurve[]).filter(isWhole) : [];
}

function isWhole(curve: PlayerCurve | null): curve is PlayerCurve {
  const x: unknown = curve?.x?.values;
  const y: unknown = curve?.y?.values;
  const ascending = Array.isArray(x) && x.every((v, i) => typeof v === 'number' && v > (i === 0 ? 0 : (x[i - 1] as number)));
  return ascending && Array.isArray(y) && [y, curve?.low, curve?.high].every((list) => list === null || (Array.isArray(list) && list.length === x.length && list.every((v) => v === null || typeof v === 'number')));
}
