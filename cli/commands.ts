/**
 * The table of commands: all that `--help` needs to know, and nothing heavy. A command's own file is loaded when it runs.
 *
 * To add a command, write `cli/<name>.ts` with an exported `run` and add its entry here.
 *
 * @module
 */
import type { Context } from './terminal.js';

export interface CommandOption {
  /** As commander writes them: `--rate <Hz>`, `--clean`, `-q, --quiet`. */
  readonly flags: string;
  readonly description: string;
  readonly required?: boolean;
  readonly default?: string;
  readonly choices?: readonly string[];
}

export interface CommandModule {
  /**
   * Runs the command and gives its exit code. `args` are the arguments in order, a repeated one spread out;
   * `options` are by camel-case name. A refusal is a thrown Problem.
   */
  run(context: Context, args: readonly string[], options: never): Promise<number>;
}

export interface CommandEntry {
  readonly name: string;
  /** One line. */
  readonly summary: string;
  /** As commander writes them: `<job>`, `[wav...]`, each with its meaning. */
  readonly arguments: readonly (readonly [name: string, meaning: string])[];
  readonly options: readonly CommandOption[];
  readonly examples: readonly string[];
  readonly load: () => Promise<CommandModule>;
}

/** For every command that yields data. */
export const JSON_OPTION: CommandOption = { flags: '--json', description: 'one JSON document on standard output' };

export const commands: readonly CommandEntry[] = [];
