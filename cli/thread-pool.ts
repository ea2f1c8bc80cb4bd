/**
 * The same work on many things, on as many threads as there are cores.
 *
 * @module
 */
import os from 'node:os';
import { Worker } from 'node:worker_threads';
import { problem } from '../src/problems.js';

/** Threads beyond this gain nothing on a disk, and cost memory. */
const MOST_THREADS = 4;

/**
 * Answers in the order of the questions. A worker is posted one question after another; it answers each with an object, and
 * may say with numbers before how much of it is done (see ./worker-share).
 *
 * @param answered - Called as work goes on, with how many are done; a part of one counts as that part.
 * @param signal - Stops the threads; the promise then rejects with `cli.interrupted`.
 */
export async function inThreads<Q, A extends object>(script: URL, questions: readonly Q[], answered: (done: number) => void, signal?: AbortSignal): Promise<A[]> {
  // Even a single one has a thread of its own: a program that computes hears no interruption.
  const threads = Math.min(MOST_THREADS, os.availableParallelism(), questions.length);
  const answers = new Array<A>(questions.length);
  let next = 0;
  let done = 0;
  /** Shares of those that are being answered, together. */
  let begun = 0;
  const workers: Worker[] = [];
  try {
    await new Promise<void>((resolve, reject) => {
      signal?.addEventListener('abort', () => {
        reject(problem('cli.interrupted', {}));
      });
      for (let t = 0; t < threads; t++) {
        const worker = new Worker(script);
        workers.push(worker);
        let current = -1;
        let share = 0;
        const give = (): void => {
          if (next >= questions.length) return;
          current = next++;
          worker.postMessage(questions[current]);
        };
        worker.on('message', (said: A | number) => {
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
          if (done === questions.length) resolve();
          else give();
        });
        worker.on('error', reject);
        give();
      }
    });
  } finally {
    for (const worker of workers) void worker.terminate();
  }
  return answers;
}
