/**
 * How a worker thread says how far it is, between a question and its answer: as a bare number, which no answer is.
 *
 * @module
 */
import type { MessagePort } from 'node:worker_threads';
import type { HearsShare } from '../src/measure/recording.js';

/** Smaller steps are not worth a message. */
const STEP = 0.01;

/** Posts shares of one piece of work. */
export function postShares(port: Pick<MessagePort, 'postMessage'>): HearsShare {
  let said = 0;
  return (share) => {
    if (share - said < STEP) return;
    said = share;
    port.postMessage(share);
  };
}
