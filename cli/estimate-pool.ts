/**
 * Estimates many captures on as many threads as there are cores.
 *
 * @module
 */
import os from 'node:os';
import { Worker } from 'node:worker_threads';
import { problem } from '../src/problems.js';
import { estimateFile } from './estimate-file.js';
import type { EstimateAnswer, EstimateRequest } from './estimate-file.js';

/** Threads beyond this gain nothing on a disk, and cost memory. */
const MOST_THREADS = 4;

/**
 * Answers in the order of the requests.
 *
 * @param answered - Called as work goes on, with how many are done; a part of one counts as that part.
 * @param signal - Stops the threads; the promise then rejects with `cli.interrupted`.
 */
export async function estimateAll(requests: readonly EstimateRequest[], answered: (done: number) => void, signal?: AbortSignal): Promise<EstimateAnswer[]> {
  // Even a single one has a thread of its own: a program that computes hears no interruption.
  const threads = Math.min(MOST_THREADS, os.availableParallelism(), requests.length);
  // Run from TypeScript, in a test, there is no compiled worker to start.
  if (import.meta.url.endsWith('.ts')) {
    return requests.map((request, i) => {
      const answer = estimateFile(request);
      answered(i + 1);
      return answer;
    });
  }
  const answers = new Array<EstimateAnswer>(requests.length);
  let next = 0;
  let done = 0;
  /** Shares of those that are being estimated, together. */
  let begun = 0;
  const workers: Worker[] = [];
  const stop = (): void => {
    for (const worker of workers) void worker.terminate();
  };
  try {
    await new Promise<void>((resolve, reject) => {
      signal?.addEventListener('abort', () => {
        reject(problem('cli.interrupted', {}));
      });
      for (let t = 0; t < threads; t++) {
        const worker = new Worker(new URL('./estimate-worker.js', import.meta.url));
        workers.push(worker);
        let current = -1;
        const give = (): void => {
          if (next >= requests.length) return;
          current = next++;
          worker.postMessage(requests[current]);
        };
        let share = 0;
        worker.on('message', (said: EstimateAnswer | number) => {
          if (typeof said === 'number') {
            begun += said - share;
            share = said;
            answered(done + begun);
            return;
          }
          begun -= share;
          share = 0;
          answers[current] = said;
          answered(++done + begun);
          if (done === requests.length) resolve();
          else give();
        });
        worker.on('error', reject);
        give();
      }
    });
  } finally {
    stop();
  }
  return answers;
}
