/**
 * The table of commands: all that `--help` needs to know, and nothing heavy. A command's own file is loaded when it runs.
 *
 * To add a command, write `cli/<name>.ts` with an exported `run` and add its entry here.
 *
 * @module
 */
import type { Context } from './terminal.js';

export interface CommandOption {
  /** As commander writes them: `--rate <Hz>`, `--clean`, `-q, --quiet`. The word in the brackets says what a shell completes. */
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

/** The parts of the work that commands are listed under. */
export const groups = { job: 'The job', bench: 'At the bench', verdict: 'Figures and paper', program: 'The program itself' } as const;

export interface CommandEntry {
  readonly name: string;
  readonly group: keyof typeof groups;
  /** One line. */
  readonly summary: string;
  /** As commander writes them: `<job>`, `[wav...]`, each with its meaning. The word in the brackets says what a shell completes. */
  readonly arguments: readonly (readonly [name: string, meaning: string])[];
  readonly options: readonly CommandOption[];
  readonly examples: readonly string[];
  readonly load: () => Promise<CommandModule>;
  /** For other programs, not for people: in no list. */
  readonly hidden?: boolean;
}

const ALL_OPTION: CommandOption = { flags: '--all', description: 'every reading outside a limit or not decided, one by one' };

/** For every command that yields data. */
export const JSON_OPTION: CommandOption = { flags: '--json', description: 'one JSON document on standard output' };

const JOB: readonly [string, string] = ['<job>', 'the job folder'];

export const commands: readonly CommandEntry[] = [
  {
    name: 'new',
    group: 'job',
    summary: 'make a job folder with two commented files to fill in',
    arguments: [['<job>', 'the folder to make; nothing in it is ever overwritten']],
    options: [{ flags: '--schemas', description: 'also write JSON Schemas, for editors that complete and check YAML' }, JSON_OPTION],
    examples: ['boardproof new pit-board-7'],
    load: () => import('./new.js'),
  },
  {
    name: 'check',
    group: 'job',
    summary: 'what is wrong with board.yaml and bench.yaml; supply budget',
    arguments: [JOB],
    options: [JSON_OPTION],
    examples: ['boardproof check pit-board-7', 'boardproof check pit-board-7 --json'],
    load: () => import('./check.js'),
  },
  {
    name: 'predict',
    group: 'job',
    summary: 'tone loss and thermal noise, from the two files alone',
    arguments: [JOB],
    options: [JSON_OPTION],
    examples: ['boardproof predict pit-board-7', 'boardproof predict pit-board-7 --json'],
    load: () => import('./predict.js'),
  },
  {
    name: 'demo',
    group: 'job',
    summary: 'an invented board with four faults through all of it',
    arguments: [],
    options: [
      { flags: '--out <dir>', description: 'folder to make (default: boardproof-demo here)' },
      { flags: '--clean', description: 'the same board without faults' },
      JSON_OPTION,
    ],
    examples: ['boardproof demo', 'boardproof demo --clean --out clean-demo'],
    load: () => import('./demo.js'),
  },
  {
    name: 'steps',
    group: 'bench',
    summary: 'what to patch, set and capture, in order; what is done',
    arguments: [JOB],
    options: [{ flags: '--all', description: 'what to set for the captures that are done as well' }, JSON_OPTION],
    examples: ['boardproof steps pit-board-7', 'boardproof steps pit-board-7 --all > sheet.txt'],
    load: () => import('./steps.js'),
  },
  {
    name: 'signals',
    group: 'bench',
    summary: 'render the test signals as WAV, with a cue sheet',
    arguments: [],
    options: [
      { flags: '--out <dir>', description: 'folder for the files; nothing else in it is overwritten', required: true },
      { flags: '--job <job>', description: 'one coded take for each step of that job, which import then recognises' },
      { flags: '--rate <Hz>', description: 'sample rate, 44100 to 192000 (default: that of bench.yaml, or 48000)' },
      { flags: '--level <dBFS>', description: 'level, 0 to -63.75 in steps of 0.25 (default: -20)' },
      { flags: '--bits <bits>', description: 'of 16, 24 and 32f, separated by commas (default: 24)' },
      JSON_OPTION,
    ],
    examples: ['boardproof signals --out signals', 'boardproof signals --job pit-board-7 --out pit-board-7/signals', 'boardproof signals --rate 96000 --level -30 --bits 16,24 --out signals'],
    load: () => import('./signals.js'),
  },
  {
    name: 'devices',
    group: 'bench',
    summary: 'audio devices that can play and record, and which is used',
    arguments: [['[job]', 'a job folder, to see or keep the choice in its bench.yaml']],
    options: [
      { flags: '--play <device>', description: 'the device that plays from now on' },
      { flags: '--record <device>', description: 'the device that records from now on' },
      JSON_OPTION,
    ],
    examples: ['boardproof devices', 'boardproof devices pit-board-7 --play interface --record interface'],
    load: () => import('./devices.js'),
  },
  {
    name: 'calibrate',
    group: 'bench',
    summary: 'what 0 dBFS is, with a voltmeter; what the bench can see',
    arguments: [JOB, ['[wav]', 'a recording of the tone, made elsewhere: then nothing is played']],
    options: [
      { flags: '--reading <volts>', description: 'what the voltmeter shows, as in 0.775 V, 775 mV or -2.2 dBu (asked for on a terminal)' },
      { flags: '--level <dBFS>', description: 'level of the tone in a recording (default: -20); at the bench, how far it may be raised' },
      { flags: '--yes', description: 'with --reading: play the tone and ask nothing' },
      JSON_OPTION,
    ],
    examples: ['boardproof calibrate pit-board-7', 'boardproof calibrate pit-board-7 tone.wav --reading "0.308 V" --level -20'],
    load: () => import('./calibrate.js'),
  },
  {
    name: 'capture',
    group: 'bench',
    summary: 'play and record here, step by step, each checked at once',
    arguments: [JOB],
    options: [
      { flags: '--step <steps>', description: 'only these steps, with commas (without: all that are not done, in order)' },
      { flags: '--yes', description: 'the board is patched and set for them, and nothing is connected that can be heard: ask nothing' },
      { flags: '--level <dBFS>', description: 'play at this level; the ceiling of bench.yaml gives way to it' },
      { flags: '--repeat', description: 'with --step: once more, counted together with the captures that it has, instead of in their place' },
      { flags: '--seconds <s>', description: 'length of captures that play no take (default: idle 20 s, the others until Enter)' },
      { flags: '--as-is', description: 'with --yes: file it although the board sounds wrong; never a damaged recording' },
      JSON_OPTION,
    ],
    examples: ['boardproof capture pit-board-7', 'boardproof capture pit-board-7 --step rest.take', 'boardproof capture pit-board-7 --step rest.idle --repeat', 'boardproof capture pit-board-7 --step rest.idle --yes'],
    load: () => import('./capture.js'),
  },
  {
    name: 'flex',
    group: 'bench',
    summary: 'a tone while leads are moved: dropouts and crackles, timed',
    arguments: [JOB],
    options: [
      { flags: '--seconds <s>', description: 'how long (default: until Enter)' },
      { flags: '--repeat', description: 'count it together with what was captured before, instead of in its place' },
      { flags: '--level <dBFS>', description: 'play at this level; the ceiling of bench.yaml gives way to it' },
      { flags: '--yes', description: 'patched, and nothing is connected that can be heard: ask nothing' },
      JSON_OPTION,
    ],
    examples: ['boardproof flex pit-board-7', 'boardproof flex pit-board-7 --seconds 30 --yes'],
    load: () => import('./flex.js'),
  },
  {
    name: 'play',
    group: 'bench',
    summary: 'a reference signal, over and over, to a device',
    arguments: [['<signal>', 'tone, take or stairs']],
    options: [
      { flags: '--job <job>', description: 'take device, channel, rate and level from its bench.yaml' },
      { flags: '--play <device>', description: 'the device that plays' },
      { flags: '--channel <number>', description: 'its output channel (default: 1)' },
      { flags: '--rate <Hz>', description: 'sample rate (default: 48000)' },
      { flags: '--level <dBFS>', description: 'play at this level; the ceiling of bench.yaml gives way to it (default: -20)' },
      { flags: '--seconds <s>', description: 'how long (default: until Enter)' },
      { flags: '--yes', description: 'nothing is connected that can be heard: ask nothing' },
    ],
    examples: ['boardproof play tone --job pit-board-7', 'boardproof play tone --play interface --level -30 --seconds 10 --yes'],
    load: () => import('./play.js'),
  },
  {
    name: 'import',
    group: 'bench',
    summary: 'file recordings: takes by their markers, others by --step',
    arguments: [JOB, ['<wav...>', 'recordings; one file with all channels, or with --outputs one mono file per output']],
    options: [
      { flags: '--step <steps>', description: 'the step it is (of several takes that do not say: their steps in order, with commas)' },
      { flags: '--outputs <outputs>', description: 'the files are mono, one per output, in this order: A,B' },
      { flags: '--repeat', description: 'count it together with the captures that the step has, instead of in their place' },
      { flags: '--as-is', description: 'file it although the board sounds wrong (silent, quiet, swapped); never a damaged recording' },
      JSON_OPTION,
    ],
    examples: ['boardproof import pit-board-7 all-takes.wav', 'boardproof import pit-board-7 idle.wav --step rest.idle', 'boardproof import pit-board-7 idle-again.wav --step rest.idle --repeat', 'boardproof import pit-board-7 a.wav b.wav --outputs A,B --step rest.idle'],
    load: () => import('./import.js'),
  },
  {
    name: 'measure',
    group: 'verdict',
    summary: 'captures into figures and a verdict',
    arguments: [JOB],
    options: [ALL_OPTION, JSON_OPTION],
    examples: ['boardproof measure pit-board-7', 'boardproof measure pit-board-7 --json'],
    load: () => import('./measure.js'),
  },
  {
    name: 'report',
    group: 'verdict',
    summary: 'figures into one HTML file, or into tables',
    arguments: [JOB],
    options: [
      { flags: '--format <format>', description: 'html, or csv: all readings and all curves, a table each', choices: ['html', 'csv'] },
      { flags: '--out <file>', description: 'where it goes: a file, or for csv a folder (default: the job)' },
      JSON_OPTION,
    ],
    examples: ['boardproof report pit-board-7', 'boardproof report pit-board-7 --out pit-board-7.html', 'boardproof report pit-board-7 --format csv'],
    load: () => import('./report.js'),
  },
  {
    name: 'signoff',
    group: 'verdict',
    summary: 'measure and report; the verdict is the exit code',
    arguments: [JOB],
    options: [{ flags: '--out <file>', description: 'where the report goes (default: report.html in the job)' }, ALL_OPTION, JSON_OPTION],
    examples: ['boardproof signoff pit-board-7'],
    load: () => import('./signoff.js'),
  },
  {
    name: 'compare',
    group: 'verdict',
    summary: 'two states, or two visits: what differs beyond doubt',
    arguments: [JOB, ['[state...]', 'two states, such as unbuffered and rest']],
    options: [{ flags: '--against <job>', description: 'an earlier job of the same board, or a file of results that was kept' }, { flags: '--report <file>', description: 'also an HTML page with both side by side' }, JSON_OPTION],
    examples: ['boardproof compare pit-board-7 unbuffered rest', 'boardproof compare pit-board-7 --against delivery --report now.html'],
    load: () => import('./compare.js'),
  },
  {
    name: 'completion',
    group: 'program',
    summary: 'make your shell complete commands, jobs and steps',
    arguments: [['<shell>', 'bash, zsh or fish']],
    options: [],
    examples: ['boardproof completion bash', 'boardproof completion fish > ~/.config/fish/completions/boardproof.fish'],
    load: () => import('./completion.js'),
  },
  {
    name: 'complete',
    group: 'program',
    summary: 'words that may come next, for the script of completion',
    arguments: [['[words...]', 'the words typed so far']],
    options: [],
    examples: ['boardproof complete -- measure pit'],
    load: () => import('./complete.js'),
    hidden: true,
  },
];
