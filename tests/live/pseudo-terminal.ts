/** A program on a pseudo-terminal, and what its screen shows in the end, by a terminal emulator that is not ours. */
import { spawnSync } from 'node:child_process';
import { chmodSync, mkdirSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import xterm from '@xterm/headless';

export const PROGRAM = resolve(import.meta.dirname, '../../dist/cli/main.js');

export interface Typed {
  readonly argv: readonly string[];
  readonly cwd: string;
  readonly columns?: number;
  readonly rows?: number;
  /** Beside PATH, HOME, TERM and LANG. */
  readonly env?: Readonly<Record<string, string>>;
  readonly keys?: readonly { readonly wait: string; readonly send: string }[];
}

export interface Shown {
  readonly exit: number;
  /** Every byte that the terminal received. */
  readonly output: string;
  /** The screen at the end with what scrolled out of it, a string for each line, wrapped lines as they are seen. */
  readonly lines: readonly string[];
  /** True where a line was longer than the terminal, so that the terminal had to break it. */
  readonly broken: readonly string[];
}

export async function onTerminal({ argv, cwd, columns = 80, rows = 40, env = {}, keys = [] }: Typed): Promise<Shown> {
  const settings = { argv, cwd, columns, rows, keys, timeoutS: 60, env: { PATH: process.env['PATH'] ?? '', HOME: cwd, TERM: 'xterm-256color', LANG: 'C.UTF-8', ...env } };
  const { stdout, stderr } = spawnSync('/usr/bin/python3', [resolve(import.meta.dirname, 'type-into.py')], { input: JSON.stringify(settings), encoding: 'utf8', maxBuffer: 1 << 26 });
  if (stdout === '') throw new Error(stderr);
  const { exit, left, output } = JSON.parse(stdout) as { exit: number; left: number; output: string };
  if (left > 0) throw new Error(`never came to the last ${left} keys: ${output}`);
  const terminal = new xterm.Terminal({ cols: columns, rows, scrollback: 10_000, allowProposedApi: true });
  await new Promise<void>((done) => {
    terminal.write(output, done);
  });
  const buffer = terminal.buffer.active;
  const all = Array.from({ length: buffer.length }, (_, i) => buffer.getLine(i)!);
  const lines = all.map((line) => line.translateToString(true));
  while (lines.at(-1) === '') lines.pop();
  return { exit, output, lines, broken: all.flatMap((line, i) => (line.isWrapped ? [lines[i]!] : [])) };
}

/** A folder for a shell to find the program in, which completes as ours does, and otherwise only shows the words that it got. */
export function echoingProgram(cwd: string): string {
  const bin = join(cwd, 'bin');
  mkdirSync(bin);
  writeFileSync(join(bin, 'boardproof'), `#!/bin/sh\ncase $1 in complet*) exec "${process.execPath}" "${PROGRAM}" "$@" ;; esac\nprintf '[%s]' "$@"\necho\n`);
  chmodSync(join(bin, 'boardproof'), 0o755);
  return bin;
}
