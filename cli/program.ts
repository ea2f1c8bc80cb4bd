/**
 * The command line: reads the words, runs the command, and turns whatever goes wrong into one sentence and an exit code.
 *
 * @module
 */
import { Command, CommanderError, Help, Option } from 'commander';
import { exitCode, problem } from '../src/problems.js';
import type { Problem } from '../src/problems.js';
import { groups } from './commands.js';
import type { CommandEntry } from './commands.js';
import { nearest } from '../src/board/nearest.js';
import { printable } from '../src/board/printable.js';
import { asProblem } from './system-error.js';
import { paintFor, printJson, signs, widthFor } from './terminal.js';
import type { Context } from './terminal.js';

export interface ProgramSettings {
  readonly version: string;
  readonly commands: readonly CommandEntry[];
  /** Show the stack of an error that is ours. */
  readonly debug: boolean;
}

export { systemReason } from './system-error.js';

/** Format of the document that `--json` prints in place of a result. */
export const ERROR_FORMAT = 'boardproof-error/1';

/** Runs one command line (without the program's own name) and gives the exit code. Never throws. */
export async function runProgram(argv: readonly string[], context: Context, settings: ProgramSettings): Promise<number> {
  try {
    return await parseAndRun(argv, context, settings);
  } catch (error) {
    return await reportError(error, argv.includes('--json'), context, settings.debug);
  }
}

async function parseAndRun(argv: readonly string[], context: Context, settings: ProgramSettings): Promise<number> {
  let exit: number = exitCode.done;
  const program = baseCommand(new Command('boardproof'), context)
    .description("Proves that a pedalboard is quiet, keeps the instrument's tone, and that its outputs match.")
    .version(`boardproof ${settings.version}`, '-V, --version', 'print the version')
    .option('-q, --quiet', 'results and errors only: no notes, no progress')
    .option('--no-color', 'no colour, as with NO_COLOR in the environment')
    .helpOption('-h, --help', 'print help')
    .addHelpCommand(new Command('help').argument('[command]').description('print help for a command').helpGroup(`${groups.program}:`))
    .configureHelp(helpLayout(context))
    .addHelpText('after', helpTail);

  for (const entry of settings.commands) {
    const command = baseCommand(program.command(entry.name, { hidden: entry.hidden === true }), context).description(sentence(entry.summary)).summary(entry.summary).helpGroup(`${groups[entry.group]}:`);
    for (const [name, meaning] of entry.arguments) command.argument(name, meaning);
    for (const option of entry.options) command.addOption(commanderOption(option));
    command.helpOption('-h, --help', 'print help').addHelpText('after', `\nExamples:\n${entry.examples.map((e) => `  ${e}`).join('\n')}`);
    command.action(async () => {
      const { quiet = false, color = true } = program.opts<{ quiet?: boolean; color?: boolean }>();
      const own: Context = { ...context, quiet, forProgram: command.opts<{ json?: boolean }>().json === true, ...(color ? {} : { colour: { out: false, err: false } }) };
      refuseEmpty(entry, command.args, command.opts());
      const { run } = await entry.load();
      exit = await run(own, command.args, command.opts() as never);
    });
  }

  if (argv.length === 0) {
    const { firstScreen } = await import('./first-screen.js');
    firstScreen(context);
    return exitCode.usage;
  }
  refuseUnknownCommand(argv, settings.commands);
  try {
    await program.parseAsync([...argv], { from: 'user' });
  } catch (error) {
    if (!(error instanceof CommanderError)) throw error;
    if (['commander.helpDisplayed', 'commander.version', 'commander.help'].includes(error.code)) return error.exitCode === 0 ? exitCode.done : exitCode.usage;
    throw await usageProblem(error, context.cwd, settings.commands.find(({ name }) => name === argv.find((word) => !word.startsWith('-'))));
  }
  return exit;
}

/** An empty word is a variable of a shell that was not set; as a path it would mean the folder that one is in. What a shell completes may well be empty. */
function refuseEmpty({ name, hidden, arguments: wanted }: CommandEntry, args: readonly string[], options: Readonly<Record<string, unknown>>): void {
  if (hidden === true) return;
  const at = args.indexOf('');
  if (at >= 0) throw problem('cli.usage', { said: `The argument ${(wanted[at] ?? wanted.at(-1)!)[0]} of ${name} is empty` });
  const empty = Object.keys(options).find((option) => options[option] === '');
  if (empty !== undefined) throw problem('cli.usage', { said: `The option --${empty.replace(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`)} is empty` });
}

/** Before commander, which would answer `chek --help` with the help of the whole program. */
function refuseUnknownCommand(argv: readonly string[], known: readonly CommandEntry[]): void {
  const words = argv.filter((word) => !word.startsWith('-'));
  const name = words[0] === 'help' ? words[1] : words[0];
  const names = known.filter(({ hidden }) => hidden !== true).map((entry) => entry.name);
  if (name === undefined || name === 'help' || known.some((entry) => entry.name === name)) return;
  const meant = nearest(name, names);
  throw problem('cli.usage', { said: `There is no command "${name}"${meant === null ? '' : ` (did you mean ${meant}?)`}` });
}

/** With less room than this beside its term, what an item of a list means stands under it. */
const LEAST_BESIDE = 24;

/** Help in the columns that there are; commander lets every line run over where a terminal is narrow. */
function helpLayout(context: Context): Partial<Help> {
  const plain = Object.assign(new Help(), { minWidthToWrap: 10 });
  const width = widthFor(context, 'out');
  return {
    subcommandTerm: (command) => command.name(),
    showGlobalOptions: true,
    minWidthToWrap: LEAST_BESIDE,
    styleUsage: (usage) => plain.boxWrap(usage, width - 7).replaceAll('\n', '\n       '),
    formatItem: (term, termWidth, meaning, helper) =>
      width - termWidth - 4 >= LEAST_BESIDE ? plain.formatItem.call(helper, term, termWidth, meaning, helper) : `  ${term}\n${plain.boxWrap(meaning, width - 6).replace(/^/gm, '      ')}`,
  };
}

const helpTail = `
Exit codes:
  0    done and within limits
  1    measured, and outside limits
  2    faulty command or file
  3    a capture that cannot be used
  4    measured, but not decided
  70   a bug of boardproof
  130  interrupted

Examples:
  boardproof demo
  boardproof new pit-board-7
  boardproof help import`;

function baseCommand(command: Command, context: Context): Command {
  return command.exitOverride().configureOutput({
    writeOut: (text) => context.out.write(signs(context, text)),
    writeErr: (text) => context.err.write(signs(context, text)),
    // Errors are thrown by exitOverride and reported once, by reportError.
    outputError: () => undefined,
    getOutHasColors: () => context.colour?.out ?? false,
    getErrHasColors: () => context.colour?.err ?? false,
    getOutHelpWidth: () => widthFor(context, 'out'),
    getErrHelpWidth: () => widthFor(context, 'err'),
  });
}

function commanderOption(entry: CommandEntry['options'][number]): Option {
  const option = new Option(entry.flags, entry.description);
  if (entry.default !== undefined) option.default(entry.default);
  if (entry.choices) option.choices(entry.choices);
  if (entry.required) option.makeOptionMandatory();
  return option;
}

const sentence = (text: string): string => `${text.charAt(0).toUpperCase()}${text.slice(1)}.`;

/** More jobs than these are not listed. */
const MOST_JOBS = 8;

/** Commander's message (`error: unknown option '--jsn'\n(Did you mean --json?)`) as one sentence; what is missing, with its meaning and, of a job, those that are here. */
async function usageProblem(error: CommanderError, cwd: string, entry: CommandEntry | undefined): Promise<Problem> {
  const [, argument, flags] = /missing required argument '([^']+)'|required option '([^']+)' not specified/.exec(error.message) ?? [];
  const meant = entry?.arguments.find(([word]) => argument !== undefined && word.replace(/^[<[]|\.*[>\]]$/g, '') === argument) ?? entry?.options.flatMap((o) => (o.flags === flags ? [[o.flags, o.description] as const] : []))[0];
  if (entry && meant) {
    const jobs = meant[0] === '<job>' && entry.name !== 'new' ? (await import('./nearest-job.js')).jobsIn(cwd) : [];
    const here = jobs.length > MOST_JOBS ? [...jobs.slice(0, MOST_JOBS), 'and others'] : jobs;
    return problem('cli.missing', { command: entry.name, what: meant[0], meaning: meant[1].split(';')[0]!, here, example: entry.examples[0]! });
  }
  const [, option, given, choices] = /option '(--[a-z-]+)[^']*' argument '([^']*)' is invalid\. Allowed choices are ([^.]+)/.exec(error.message) ?? [];
  if (option !== undefined) {
    const likely = nearest(given!, choices!.split(', '));
    return problem('cli.usage', { said: `The option ${option} takes ${choices!.replaceAll(', ', ' or ')}, not "${given!}"${likely === null ? '' : ` (did you mean ${likely}?)`}` });
  }
  const said = error.message.replace(/^error: /, '').replace(/\n\(Did you mean (.*)\?\)$/s, ' (did you mean $1?)');
  return problem('cli.usage', { said: sentence(said).slice(0, -1).replace(/\.$/, '') });
}

/** Prints what went wrong and gives the exit code. */
export async function reportError(error: unknown, asJson: boolean, context: Context, debug: boolean): Promise<number> {
  const known = context.signal?.aborted ? problem('cli.interrupted', {}) : asProblem(error);
  const message = printable(known.message);
  if (asJson) {
    const { code, details } = known.toJSON();
    printJson(context, { format: ERROR_FORMAT, error: { code, message, details: safeDetails(details) } });
  }
  const { statement } = await import('./layout.js');
  statement(context, 'err', message, '  ', `${paintFor(context, 'err')('red', 'boardproof:')} `);
  if (debug && known.exit === exitCode.internal) context.err.write(`${error instanceof Error ? (error.stack ?? error.message) : String(error)}\n`);
  return known.exit;
}

/** Details as data, whatever they hold. */
function safeDetails(details: Readonly<Record<string, unknown>>): unknown {
  return JSON.parse(JSON.stringify(details, (_key, value: unknown) => (typeof value === 'number' && !Number.isFinite(value) ? String(value) : value)));
}
