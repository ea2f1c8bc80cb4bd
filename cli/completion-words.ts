/**
 * What may come next on a command line: read from the table of commands, and from the job that is named on the line.
 *
 * @module
 */
import fs from 'node:fs';
import path from 'node:path';
import type { AudioDevice } from '../src/capture/engine.js';
import type { CommandEntry, CommandOption } from './commands.js';

/** What the shell is to offer: these words, of `paths` and `names` such that it may have to quote, or its own files. */
export interface Completion {
  readonly kind: 'words' | 'paths' | 'names' | 'files' | 'folders' | 'wavs';
  readonly words: readonly (readonly [word: string, meaning: string])[];
}

export const SHELLS = ['bash', 'zsh', 'fish'] as const;

/** Usual sample rates; any between the lowest and the highest will do. */
const RATES_HZ = ['44100', '48000', '88200', '96000', '176400', '192000'];

const GLOBAL: readonly CommandOption[] = [
  { flags: '--quiet', description: 'results and errors only' },
  { flags: '--no-color', description: 'no colour' },
  { flags: '--help', description: 'print help' },
];

/**
 * @param line - The words after the program's name; the last is the one at the cursor, perhaps empty.
 * @param devices - Asked only where the name of a device is wanted: it takes a while.
 */
export async function completionOf(line: readonly string[], commands: readonly CommandEntry[], cwd: string, devices: () => Promise<readonly AudioDevice[]>): Promise<Completion> {
  const current = line.at(-1) ?? '';
  const before = line.slice(0, -1);
  const shown = commands.filter(({ hidden }) => hidden !== true);
  const at = before.findIndex((word) => !word.startsWith('-'));
  if (at < 0) {
    const words: [string, string][] = current.startsWith('-') ? optionsOf([...GLOBAL, { flags: '--version', description: 'print the version' }]) : [...shown.map(({ name, summary }): [string, string] => [name, summary]), ['help', 'print help for a command']];
    return matching(words, current);
  }
  const commandList = shown.map(({ name, summary }): [string, string] => [name, summary]);
  if (before[at] === 'help') return matching(commandList, current);
  const command = shown.find(({ name }) => name === before[at]);
  if (!command) return matching([], current);

  const { operands, values, open } = parse(before.slice(at + 1), command.options);
  if (open?.placeholder === 'device') return deviceNames(open.option, current, devices);
  if (open !== null) return valueOf(open.placeholder, open.choices, current, values['--job'] ?? operands[0], cwd);
  if (current.startsWith('-')) {
    const given = new Set(before);
    return matching(optionsOf([...command.options, ...GLOBAL]).filter(([word]) => !given.has(word)), current);
  }
  const argument = command.arguments[operands.length] ?? command.arguments.findLast(([name]) => name.includes('...'));
  return argument ? valueOf(placeholderOf(argument[0])!, undefined, current, operands[0], cwd) : matching([], current);
}

const optionsOf = (options: readonly CommandOption[]): [string, string][] => options.map(({ flags, description }) => [longOf(flags), description]);

const longOf = (flags: string): string => /--[a-z-]+/.exec(flags)![0];

/** The word between the brackets, without dots: `<wav...>` gives `wav`. */
const placeholderOf = (text: string): string | null => /[<[]([^\]>.]+)/.exec(text)?.[1] ?? null;

interface Parsed {
  readonly operands: readonly string[];
  readonly values: Readonly<Record<string, string>>;
  /** The option whose value is at the cursor. */
  readonly open: { readonly option: string; readonly placeholder: string; readonly choices: readonly string[] | undefined } | null;
}

function parse(words: readonly string[], options: readonly CommandOption[]): Parsed {
  const operands: string[] = [];
  const values: Record<string, string> = {};
  for (let i = 0; i < words.length; i++) {
    const word = words[i]!;
    const option = options.find(({ flags }) => longOf(flags) === word);
    const placeholder = option && placeholderOf(option.flags);
    if (!option || !placeholder) {
      if (!word.startsWith('-')) operands.push(word);
      continue;
    }
    const value = words[++i];
    if (value === undefined) return { operands, values, open: { option: word, placeholder, choices: option.choices } };
    values[word] = value;
  }
  return { operands, values, open: null };
}

async function valueOf(placeholder: string, choices: readonly string[] | undefined, current: string, jobPath: string | undefined, cwd: string): Promise<Completion> {
  if (choices) return matching(choices.map((word) => [word, '']), current);
  switch (placeholder) {
    case 'job':
      return jobs(current, cwd);
    case 'wav':
      return { kind: 'wavs', words: [] };
    case 'dir':
      return { kind: 'folders', words: [] };
    case 'file':
      return { kind: 'files', words: [] };
    case 'signal':
      return matching((await import('../src/signals/reference.js')).REFERENCE_NAMES.map((name) => [name, '']), current);
    case 'Hz':
      return matching(RATES_HZ.map((rate) => [rate, '']), current);
    case 'bits':
      return matching(listed((await import('../src/signals/quantise.js')).SAMPLE_BITS.map((bits) => [bits, '']), current), current);
    case 'shell':
      return matching(SHELLS.map((shell) => [shell, '']), current);
    default:
      return matching(await ofJob(placeholder, current, jobPath, cwd), current);
  }
}

/** Devices that can do what the option `--play` or `--record` says. */
async function deviceNames(option: string, current: string, devices: () => Promise<readonly AudioDevice[]>): Promise<Completion> {
  const able = (await devices()).filter(({ plays, records }) => (option === '--record' ? records : plays) !== null);
  return { kind: 'names', words: able.map(({ name }): [string, string] => [name, '']).filter(([name]) => name.startsWith(current)) };
}

/** Ids that the job names. */
async function ofJob(placeholder: string, current: string, jobPath: string | undefined, cwd: string): Promise<[string, string][]> {
  if (jobPath === undefined) return [];
  const { readJobFiles } = await import('./job.js');
  const { stepsOf } = await import('../src/board/steps.js');
  const { board, bench } = readJobFiles(jobPath, cwd);
  if (!board || !bench) return [];
  const steps = stepsOf(board, bench);
  const ids: Readonly<Record<string, readonly [string, string][]>> = {
    step: steps.map(({ id }) => [id, '']),
    state: [...new Set(steps.map(({ state }) => state))].map((state) => [state, '']),
    output: board.outputs.map(({ id, name }) => [id, name]),
    loop: board.loops.map(({ id, name }) => [id, name]),
  };
  const known = ids[placeholder.replace(/s$/, '')] ?? [];
  return placeholder.endsWith('s') ? listed(known, current) : [...known];
}

/** Words behind what is typed of a list up to its last comma, but for those that are in it. */
function listed(words: readonly (readonly [string, string])[], current: string): [string, string][] {
  const head = current.slice(0, current.lastIndexOf(',') + 1);
  const taken = head.split(',');
  return words.filter(([word]) => !taken.includes(word)).map(([word, meaning]) => [head + word, meaning]);
}

/** Job folders below the folder that is being typed; where there is none, any folder. */
function jobs(current: string, cwd: string): Completion {
  const typed = current.slice(0, current.lastIndexOf('/') + 1);
  const folder = path.resolve(cwd, typed);
  const isJob = (name: string): boolean => fs.existsSync(path.join(folder, name, 'board.yaml'));
  const found = fs.existsSync(folder) ? fs.readdirSync(folder, { withFileTypes: true }).filter((entry) => !entry.isFile() && entry.name.startsWith(current.slice(typed.length)) && isJob(entry.name)) : [];
  if (found.length === 0) return { kind: 'folders', words: [] };
  return { kind: 'paths', words: found.map(({ name }) => [typed + name, '']) };
}

const matching = (words: readonly (readonly [string, string])[], current: string): Completion => ({ kind: 'words', words: words.filter(([word]) => word.startsWith(current)) });
