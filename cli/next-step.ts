/**
 * What to do next at the bench, in one line.
 *
 * @module
 */
import { printable } from '../src/board/printable.js';
import type { Job } from './job.js';

/** The first required capture that is not there, and how it is filed; or that all are. */
export function nextNote(job: Job, jobPath: string): string {
  const next = job.steps.find(({ id, required }) => required && !job.captures.has(id));
  const shown = printable(jobPath);
  if (!next) return `Every capture is there. Next: "boardproof signoff ${shown}".`;
  if (next.kind === 'take') return `Next: play ${next.id}.wav ("boardproof signals --job ${shown} --out <folder>" renders it) and record it, then "boardproof import ${shown} <recording.wav>".`;
  return `Next: record ${next.id}, then "boardproof import ${shown} <recording.wav> --step ${next.id}".`;
}
