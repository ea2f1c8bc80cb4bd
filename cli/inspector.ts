/**
 * Questions about recordings, answered by a thread of their own.
 *
 * @module
 */
import { Worker } from 'node:worker_threads';
import type { HearsShare } from '../src/measure/recording.js';
import { inspect } from './inspection.js';
import type { Answer, Question } from './inspection.js';

export interface Inspector {
  /** One question at a time; `heard` hears how far it is. */
  ask(question: Question, heard?: HearsShare): Promise<Answer>;
  close(): void;
}

export function createInspector(): Inspector {
  // Run from TypeScript, in a test, there is no compiled worker to start.
  if (import.meta.url.endsWith('.ts')) return { ask: (question, heard) => Promise.resolve(inspect(question, heard)), close: () => undefined };
  const worker = new Worker(new URL('./inspection-worker.js', import.meta.url));
  return {
    ask: (question, heard) =>
      new Promise((resolve, reject) => {
        worker.once('error', reject);
        const hear = (said: Answer | number): void => {
          if (typeof said === 'number') {
            heard?.(said);
            return;
          }
          worker.off('error', reject);
          worker.off('message', hear);
          resolve(said);
        };
        worker.on('message', hear);
        worker.postMessage(question);
      }),
    close: () => void worker.terminate(),
  };
}
