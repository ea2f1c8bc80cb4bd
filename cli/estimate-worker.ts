/**
 * One thread of `measure`: estimates captures, one after another, as it is told.
 *
 * @module
 */
import { parentPort } from 'node:worker_threads';
import { estimateFile } from './estimate-file.js';
import type { EstimateRequest } from './estimate-file.js';
import { postShares } from './worker-share.js';

const port = parentPort;
if (!port) throw new Error('this file runs as a worker thread');
port.on('message', (request: EstimateRequest) => {
  port.postMessage(estimateFile(request, postShares(port)));
});
