/**
 * Estimates many captures at once.
 *
 * @module
 */
import { estimateFile } from './estimate-file.js';
import type { EstimateAnswer, EstimateRequest } from './estimate-file.js';
import { inThreads } from './thread-pool.js';

/** Answers in the order of the requests; see {@link inThreads}. */
export async function estimateAll(requests: readonly EstimateRequest[], answered: (done: number) => void, signal?: AbortSignal): Promise<EstimateAnswer[]> {
  // Run from TypeScript, in a test, there is no compiled worker to start.
  if (!import.meta.url.endsWith('.ts')) return inThreads<EstimateRequest, EstimateAnswer>(new URL('./estimate-worker.js', import.meta.url), requests, answered, signal);
  return requests.map((request, i) => {
    const answer = estimateFile(request);
    answered(i + 1);
    return answer;
  });
}
