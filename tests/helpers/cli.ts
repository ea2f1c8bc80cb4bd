import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { onTestFinished } from 'vitest';
import { commands } from '../../cli/commands.js';
import type { CommandEntry } from '../../cli/commands.js';
import { runProgram } from '../../cli/program.js';
import type { Context } from '../../cli/terminal.js';

export interface CliRun {
  readonly exit: number;
  readonly out: string;
  readonly err: string;
}

export interface CliSettings extends Partial<Omit<Context, 'out' | 'err'>> {
  readonly commands?: readonly CommandEntry[];
  readonly debug?: boolean;
}

/** The time that commands are told in tests. */
export const TEST_NOW = new Date('2026-11-25T12:16:07Z');

/** Runs a command line in this process. */
export async function runCli(argv: readonly string[], settings: CliSettings = {}): Promise<CliRun> {
  const written = { out: '', err: '' };
  const { commands: table = commands, debug = false, ...given } = settings;
  const context: Context = {
    out: { write: (text) => (written.out += text) },
    err: { write: (text) => (written.err += text) },
    now: () => TEST_NOW,
    cwd: process.cwd(),
    isTty: false,
    ...given,
  };
  const exit = await runProgram(argv, context, { version: '1.2.3', commands: table, debug });
  return { exit, ...written };
}

/** A folder of the test's own, gone when it ends. */
export function temporaryFolder(): string {
  const folder = mkdtempSync(join(tmpdir(), 'boardproof-'));
  onTestFinished(() => {
    rmSync(folder, { recursive: true, force: true });
  });
  return folder;
}
