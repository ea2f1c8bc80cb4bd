#!/usr/bin/env node
/**
 * The program's door: binds the command line to this process. Everything else is loaded when it is used.
 *
 * @module
 */
import { exitCode } from '../src/problems.js';
import { wantsAscii } from './ascii.js';
import { commands } from './commands.js';
import { onInterrupt } from './interruption.js';
import { createKeyboard } from './keyboard.js';
import { runProgram } from './program.js';
import { WIDTH, wantsColour } from './terminal.js';
import type { Context } from './terminal.js';
import { toolVersion } from './version.js';

/** Null where the stream is no terminal; one that does not know its width has 80. */
const columnsOf = (stream: NodeJS.WriteStream): number | null => (stream.isTTY ? stream.columns || WIDTH : null);

for (const stream of [process.stdout, process.stderr]) {
  stream.on('error', (error: NodeJS.ErrnoException) => {
    // The reader went away (`boardproof steps job | head -1`): the command goes on, and its exit code still counts.
    if (error.code !== 'EPIPE') process.exit(exitCode.internal);
  });
}

const interruption = onInterrupt(process);

const context: Context = {
  out: process.stdout,
  err: process.stderr,
  now: () => new Date(),
  cwd: process.cwd(),
  isTty: process.stderr.isTTY && process.env['TERM'] !== 'dumb',
  columns: { out: columnsOf(process.stdout), err: columnsOf(process.stderr) },
  ascii: wantsAscii(process.env, process.platform),
  colour: { out: wantsColour(process.stdout.isTTY === true, process.env), err: wantsColour(process.stderr.isTTY === true, process.env) },
  signal: interruption,
  ...(process.stdin.isTTY && process.stderr.isTTY ? { keyboard: createKeyboard(process.stdin, process.stderr, () => process.emit('SIGINT')) } : {}),
};

const exit = await runProgram(process.argv.slice(2), context, {
  version: toolVersion(),
  commands,
  debug: process.env['BOARDPROOF_DEBUG'] === '1',
});
process.exitCode = interruption.aborted ? exitCode.interrupted : exit;
