/**
 * Questions about recordings, answered by a thread of their own.
 *
 * @module
 */
import { Worker } from 'node:worker_threads';
import { inspect } from './inspection.js';
import type { Answer, Question } from './inspection.js';

export interface Inspector {
  /** One question at a time. */
  ask(question: Question): Promise<Answer>;
  close(): void;
}

export function createInspector(): Inspector {
  // Run from TypeScript, in a test, there is no compiled worker to start.
  if (import.meta.url.endsWith('.ts')) return { ask: (question) => Promise.resolve(inspect(question)), close: () => undefined };
  const worker = new Worker(new URL('./inspection-worker.js', import.meta.url));
  return {
    ask: (question) =>
      new Promise((resolve, reject) => {
        worker.once('error', reject);
        worker.once('message', (answer: Answer) => {
          worker.off('error', reject);
          resolve(answer);
        });
        worker.postMessage(question);
      }),
    close: () => void worker.terminate(),
  };
}
