/**
 * One thread of `demo`: simulates captures, one after another, as it is told.
 *
 * @module
 */
import { parentPort } from 'node:worker_threads';
import { simulate } from './simulation.js';
import type { SimulationRequest } from './simulation.js';

const port = parentPort;
if (!port) throw new Error('this file runs as a worker thread');
port.on('message', (request: SimulationRequest) => {
  const answer = simulate(request);
  port.postMessage(answer, [answer.bytes.buffer as ArrayBuffer]);
});
