#!/usr/bin/env node
/**
 * The program's door: binds the command line to this process. Everything else is loaded when it is used.
 *
 * @module
 */
import { exitCode, problem } from '../src/problems.js';
import { wantsAscii } from './ascii.js';
import { commands } from './commands.js';
import { onInterrupt } from './interruption.js';
import { createKeyboard } from './keyboard.js';
import { runProgram } from './program.js';
import { systemReason } from './system-error.js';
import { WIDTH, wantsColour } from './terminal.js';
import type { Context } from './terminal.js';
import { toolVersion } from './version.js';

/** Null where the stream is no terminal; one that does not know its width has 80. */
const columnsOf = (stream: NodeJS.WriteStream): number | null => (stream.isTTY ? stream.columns || WIDTH : null);

process.stdout.on('error', (error: NodeJS.ErrnoException) => {
  // The reader went away (`boardproof steps job | head -1`): the command goes on, and its exit code still counts.
  if (error.code === 'EPIPE') return;
  process.stderr.write(`boardproof: ${problem('cli.file', { path: 'standard output', reason: systemReason(error.code ?? '') }).message}\n`);
  process.exit(exitCode.usage);
});
// Nobody can be told, and nothing that is said there is a result.
process.stderr.on('error', () => undefined);

const interruption = onInterrupt(process, () => {
  // Over whatever progress says, as in ./progress.
  process.stderr.write(`${process.stderr.isTTY ? '\r\u001b[K' : ''}boardproof: ${problem('cli.interrupted', {}).message}\n`);
});

const context: Context = {
  out: process.stdout,
  err: process.stderr,
  now: () => new Date(),
  cwd: process.cwd(),
  isTty: process.stderr.isTTY && process.env['TERM'] !== 'dumb',
  // Asked each time: a window is drawn wider and narrower while a take runs.
  columns: {
    get out() {
      return columnsOf(process.stdout);
    },
    get err() {
      return columnsOf(process.stderr);
    },
  },
  ascii: wantsAscii(process.env, process.platform),
  colour: { out: wantsColour(process.stdout.isTTY === true, process.env), err: wantsColour(process.stderr.isTTY === true, process.env) },
  signal: interruption,
  ...(process.stdin.isTTY && process.stderr.isTTY ? { keyboard: createKeyboard(process.stdin, process.stderr, () => process.emit('SIGINT'), (again) => process.on('SIGCONT', again)) } : {}),
};

const exit = await runProgram(process.argv.slice(2), context, {
  version: toolVersion(),
  commands,
  debug: process.env['BOARDPROOF_DEBUG'] === '1',
});
process.exitCode = interruption.aborted ? exitCode.interrupted : exit;
