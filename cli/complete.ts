/**
 * `boardproof complete -- <words...>`: what the scripts of `completion` ask while a line is typed. First a line that says
 * what is offered, then a line for each word, its meaning behind a tab. It never complains: a shell has no place for it.
 *
 * @module
 */
import { printable } from '../src/board/printable.js';
import { exitCode } from '../src/problems.js';
import { commands } from './commands.js';
import { completionOf } from './completion-words.js';
import { print } from './terminal.js';
import type { Context } from './terminal.js';

/** Longest that somebody who pressed a key waits for a list of devices. */
const PATIENCE_MS = 3000;

export async function run(context: Context, line: readonly string[]): Promise<number> {
  try {
    const { kind, words } = await completionOf(line, commands, context.cwd, async () => (await (await import('./station.js')).engineOf(context)).devices(false, PATIENCE_MS));
    const safe = words.filter(([word]) => printable(word) === word);
    print(context, [kind, ...safe.map(([word, meaning]) => (meaning === '' ? word : `${word}\t${printable(meaning)}`))].join('\n'));
  } catch {
    print(context, 'words');
  }
  return exitCode.done;
}
