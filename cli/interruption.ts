/**
 * Ctrl-C, a terminal that is closed and a program that is told to end: a command that listens to the signal gets to clean
 * up, any other is ended. The second time ends both.
 *
 * A command that computes without ever waiting would not hear of it: long work belongs in workers.
 *
 * @module
 */
import { getEventListeners } from 'node:events';
import { exitCode } from '../src/problems.js';

/**
 * The signal that is aborted when the user interrupts. Ended this way, the program's exit code is 130.
 *
 * @param say - Says so where the command cannot, before the program is ended.
 */
export function onInterrupt(program: Pick<NodeJS.Process, 'on' | 'exit'>, say: () => void): AbortSignal {
  const controller = new AbortController();
  const { signal } = controller;
  const end = (): void => {
    if (!signal.aborted && getEventListeners(signal, 'abort').length > 0) controller.abort();
    else {
      say();
      program.exit(exitCode.interrupted);
    }
  };
  for (const name of ['SIGINT', 'SIGTERM', 'SIGHUP'] as const) program.on(name, end);
  return signal;
}
