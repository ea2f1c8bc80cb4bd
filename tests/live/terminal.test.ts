/** The terminal as a person has it: screens on a pseudo-terminal, and the completion in real shells. */
import { mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { BENCH_YAML, PIT_BOARD_YAML } from '../helpers/pit-board.js';
import { boardResults } from '../report/fixture.js';
import { PROGRAM, echoingProgram, onTerminal } from './pseudo-terminal.js';
import type { Shown, Typed } from './pseudo-terminal.js';

const cwd = mkdtempSync(join(tmpdir(), 'boardproof-terminal-'));
let bin = '';
beforeAll(() => {
  bin = echoingProgram(cwd);
  for (const name of ['pit', 'pit two']) {
    mkdirSync(join(cwd, name));
    writeFileSync(join(cwd, name, 'board.yaml'), PIT_BOARD_YAML);
    writeFileSync(join(cwd, name, 'bench.yaml'), BENCH_YAML);
  }
  mkdirSync(join(cwd, 'pictures'));
  writeFileSync(join(cwd, 'song.wav'), '');
  writeFileSync(join(cwd, 'song.txt'), '');
});
afterAll(() => {
  rmSync(cwd, { recursive: true, force: true });
});

const run = (args: readonly string[], settings: Partial<Typed> = {}): Promise<Shown> => onTerminal({ argv: [process.execPath, PROGRAM, ...args], cwd, ...settings });

const SCREENS: readonly (readonly [name: string, args: readonly string[]])[] = [
  ['the first screen', []],
  ['help', ['--help']],
  ['check', ['check', 'pit']],
  ['steps', ['steps', 'pit', '--all']],
  ['predict', ['predict', 'pit']],
  ['signals', ['signals', '--out', 'signals', '--bits', '16,24']],
  ['a refusal', ['measure', 'no-such-job-of-a-name-that-leaves-no-room-for-more-on-its-line']],
];

describe('on a terminal of 80 columns', () => {
  it.each(SCREENS)('%s fits', async (_name, args) => {
    const { lines, broken } = await run(args);
    expect(lines.length).toBeGreaterThan(1);
    expect(broken).toEqual([]);
  });

  it('has colour, and the same words without', async () => {
    const coloured = await run(['steps', 'pit']);
    expect(coloured.output).toContain('\u001b[1m');
    for (const env of [{ NO_COLOR: '1' }, { TERM: 'dumb' }]) {
      const plain = await run(['steps', 'pit'], { env });
      expect(plain.output).not.toContain('\u001b');
      expect(plain.lines).toEqual(coloured.lines);
    }
  });

  it('shows progress with the time that is left, and takes it away', async () => {
    const { output, lines, exit } = await run(['signals', '--job', 'pit', '--out', 'play']);
    expect(exit).toBe(0);
    expect(output).toMatch(/\rRendering [^ ]+ +[█░]{16} {2}\d+ of \d+ files, (?:about \d+ s left|nearly done)/);
    expect(lines.join('\n')).not.toContain('Rendering');
    const dumb = await run(['signals', '--out', 'dumb'], { env: { TERM: 'dumb' } });
    expect(dumb.output).not.toContain('Rendering');
  });
});

describe('on a terminal of 40 columns', () => {
  it.each(SCREENS.filter(([name]) => ['the first screen', 'help', 'check', 'steps', 'predict'].includes(name)))('%s is laid out anew: only paths and commands are longer than a line', async (_name, args) => {
    const { lines, broken } = await run(args, { columns: 40, rows: 60 });
    expect(lines.length).toBeGreaterThan(10);
    // A command is left whole, so that it can be copied.
    expect(broken.filter((line) => !lines[lines.indexOf(line) - 1]!.includes('boardproof '))).toEqual([]);
  });
});

describe('in a locale without UTF-8', () => {
  it.each(SCREENS)('%s is ASCII, and fits', async (_name, args) => {
    const { output, broken } = await run(args, { env: { LANG: 'C' } });
    // eslint-disable-next-line no-control-regex -- ASCII with the escapes of colour.
    expect(output.replace(/[\x00-\x7f]/g, '')).toBe('');
    expect(broken).toEqual([]);
  });

  it('shows a board of any name, and that it is no other', async () => {
    mkdirSync(join(cwd, 'named'));
    writeFileSync(join(cwd, 'named/board.yaml'), PIT_BOARD_YAML.replace('board: Pit Board 7', 'board: Bühnenbrett 舞台'));
    writeFileSync(join(cwd, 'named/bench.yaml'), BENCH_YAML);
    expect((await run(['check', 'named'], { env: { LANG: 'C' } })).lines[0]).toMatch(/^Board {2}B\\u\{fc\}hnenbrett \\u\{821e\}\\u\{53f0\}, serial PB-007/);
    expect((await run(['check', 'named'])).lines[0]).toMatch(/^Board {2}Bühnenbrett 舞台, serial PB-007/);
  });
});

describe('Ctrl-C in the middle', () => {
  const contents = (folder: string): string[] => readdirSync(join(cwd, folder), { recursive: true }).map(String).sort();

  it.each([
    ['signals', ['signals', '--job', 'pit', '--out', 'broken-off'], 'Rendering', 'broken-off', []],
    ['demo', ['demo', '--out', 'broken-off/demo'], 'Simulating', 'broken-off', []],
    ['report', ['report', 'measured'], 'Drawing', 'measured', ['results.json']],
    ['compare', ['compare', 'measured', 'rest', 'all', '--report', 'measured/sheet.html'], 'Drawing', 'measured', ['results.json']],
  ])('%s ends with 130 and one sentence, and leaves nothing', async (_name, args, works, folder, left) => {
    mkdirSync(join(cwd, 'broken-off'), { recursive: true });
    mkdirSync(join(cwd, 'measured'), { recursive: true });
    writeFileSync(join(cwd, 'measured/results.json'), JSON.stringify(boardResults({ loops: 2, outputs: 2 })));
    const { exit, lines } = await run(args, { keys: [{ wait: works, send: '\u0003' }] });
    expect(exit).toBe(130);
    // A terminal may show the key itself.
    expect(lines.at(-1)!.replace('^C', '')).toBe('boardproof: Interrupted.');
    expect(lines.join('\n')).not.toContain(works);
    expect(contents(folder)).toEqual(left);
  });
});

/** What is typed up to the key of Tab, what the shell then shows behind it, and the words that the program gets. */
const COMPLETED: readonly (readonly [typed: string, shown: string, words: readonly string[]])[] = [
  ['st', 'steps', ['steps']],
  [String.raw`check pit\ t`, 'two', ['check', 'pit two']],
  ['measure pic', 'pictures', ['measure', 'pictures/']],
  ['import pit --step loop-comp.i', 'idle', ['import', 'pit', '--step', 'loop-comp.idle']],
  ['import pit --step rest.idle,unbuffered.i', 'idle,unbuffered.idle', ['import', 'pit', '--step', 'rest.idle,unbuffered.idle']],
  ['compare pit unb', 'unbuffered', ['compare', 'pit', 'unbuffered']],
  ['import pit so', 'song.wav', ['import', 'pit', 'song.wav']],
  ['import pit song.wav --outp', '--outputs', ['import', 'pit', 'song.wav', '--outputs']],
];

const SHELLS: Readonly<Record<string, { readonly argv: readonly string[]; readonly load: string }>> = {
  bash: { argv: ['bash', '--norc', '--noprofile', '-i'], load: "PS1='> '; source <(boardproof completion bash)" },
  zsh: { argv: ['zsh', '-f', '-i'], load: "PS1='> '; autoload -Uz compinit; compinit -u; source <(boardproof completion zsh)" },
  fish: { argv: ['fish', '--no-config', '-i'], load: "function fish_prompt; echo -n '> '; end; boardproof completion fish | source" },
};

describe('completion, in the shells of Debian', () => {
  it.each(Object.entries(SHELLS))('%s completes commands, jobs with spaces, steps, states, recordings and options', async (_name, { argv, load }) => {
    const { lines } = await onTerminal({
      argv,
      cwd,
      rows: 100,
      columns: 120,
      env: { PATH: `${bin}:${process.env['PATH'] ?? ''}`, LC_ALL: 'C.UTF-8', fish_greeting: '' },
      keys: [
        { wait: '.', send: `${load}; echo rea''dy\r` },
        { wait: 'ready[^]*> ', send: '' },
        ...COMPLETED.flatMap(([typed, shown], i) => [
          { wait: i === 0 ? '' : '\\][^]*> ', send: `boardproof ${typed}\t` },
          { wait: `boardproof [^]*${shown}`, send: '\r' },
        ]),
        { wait: '\\][^]*> ', send: 'exit\r' },
      ],
    });
    const got = lines.filter((line) => line.startsWith('[')).map((line) => line.slice(1, -1).split(']['));
    // A shell may put a slash behind a folder.
    expect(got.map((words) => words.map((word) => word.replace(/\/$/, '')))).toEqual(COMPLETED.map(([, , words]) => words.map((word) => word.replace(/\/$/, ''))));
  });
});
