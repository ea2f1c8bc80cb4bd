/**
 * The thread of `import` and `capture`: answers one question after another, so that the program itself still hears an interruption.
 *
 * @module
 */
import { parentPort } from 'node:worker_threads';
import { inspect } from './inspection.js';
import type { Question } from './inspection.js';
import { postShares } from './worker-share.js';

const port = parentPort;
if (!port) throw new Error('this file runs as a worker thread');
port.on('message', (question: Question) => {
  port.postMessage(inspect(question, postShares(port)));
});
