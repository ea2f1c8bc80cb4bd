import { spawn } from 'node:child_process';
import { EventEmitter } from 'node:events';
import { existsSync, readFileSync } from 'node:fs';
import { dirname, join, resolve } from 'node:path';
import { describe, expect, it } from 'vitest';
import type { CommandEntry, CommandModule } from '../../cli/commands.js';
import { JSON_OPTION, commands } from '../../cli/commands.js';
import { onInterrupt } from '../../cli/interruption.js';
import { meters } from '../../cli/level-view.js';
import { liveLines, plainLines, progress, timeLeft } from '../../cli/progress.js';
import { printJson, wantsColour } from '../../cli/terminal.js';
import type { Context } from '../../cli/terminal.js';
import { problem } from '../../src/problems.js';
import { runCli, temporaryFolder } from '../helpers/cli.js';

const commandOf = (run: CommandModule['run'], extra: Partial<CommandEntry> = {}): readonly CommandEntry[] => [
  {
    name: 'probe',
    group: 'job',
    summary: 'a command of this test',
    arguments: [['[words...]', 'anything']],
    options: [JSON_OPTION, { flags: '--rate <Hz>', description: 'a number' }],
    examples: ['boardproof probe a b'],
    load: () => Promise.resolve({ run }),
    ...extra,
  },
];

const shown = commands.filter(({ hidden }) => hidden !== true);

describe('the command line', () => {
  it('hands arguments and options to the command and gives its exit code', async () => {
    const seen: unknown[] = [];
    const table = commandOf((_context, args, options) => {
      seen.push(args, options);
      return Promise.resolve(4);
    });
    expect((await runCli(['probe', 'a', 'b', '--rate', '48000'], { commands: table })).exit).toBe(4);
    expect(seen).toEqual([['a', 'b'], { rate: '48000' }]);
  });

  it('prints help on standard output: commands, exit codes, an example', async () => {
    const { exit, out, err } = await runCli(['--help']);
    expect([exit, err]).toEqual([0, '']);
    for (const { name, summary } of shown) expect(out).toMatch(new RegExp(`${name}.* ${summary.split(' ')[0]}`));
    expect(out).toMatch(/Exit codes:\n {2}0 {4}done and within limits/);
    expect(out.split('\n').filter((line) => line.length > 80)).toEqual([]);
  });

  it.each(shown.map(({ name }) => name))('prints help for %s with its examples, in 80 columns', async (name) => {
    const { exit, out } = await runCli([name, '--help']);
    expect(exit).toBe(0);
    expect(out).toMatch(/\nExamples:\n {2}boardproof /);
    expect(out.split('\n').filter((line) => line.length > 80)).toEqual([]);
    expect((await runCli(['help', name])).out).toBe(out);
    // On a narrow terminal only what is to be copied is longer than a line, and nothing is lost.
    const narrow = (await runCli([name, '--help'], { columns: { out: 40, err: 40 } })).out;
    expect(narrow.split('\n').filter((line) => line.length > 40 && !line.startsWith('  boardproof '))).toEqual([]);
    const words = (text: string): string[] => text.split(/\s+/).sort();
    expect(words(narrow)).toEqual(words(out));
  });

  it('prints its version', async () => {
    expect(await runCli(['--version'])).toEqual({ exit: 0, out: 'boardproof 1.2.3\n', err: '' });
  });

  it('without words says what it is and how to begin, on standard error: nothing was asked', async () => {
    const { exit, out, err } = await runCli([]);
    expect([exit, out]).toEqual([2, '']);
    expect(err).toMatch(/^boardproof proves that a pedalboard is quiet/);
    // Every command that it names is one.
    const named = [...err.matchAll(/^ {2}boardproof (\w+)/gm)].map((match) => match[1]!);
    expect(named).toEqual(expect.arrayContaining(['demo', 'new', 'signoff']));
    expect(named.filter((name) => name !== 'help' && !commands.some((c) => c.name === name))).toEqual([]);
    expect(err.split('\n').filter((line) => line.length > 80)).toEqual([]);
  });

  it.each([
    [['chek', 'x'], /There is no command "chek" \(did you mean check\?\)/],
    [['chek', '--help'], /There is no command "chek" \(did you mean check\?\)/],
    [['--frobnicate'], /Unknown option '--frobnicate'/],
    [['check'], /^boardproof: check needs <job>, the job folder; as in "boardproof check pit-board-7" \("boardproof help check" has more\)/],
    [['signals'], /^boardproof: signals needs --out <dir>, folder for the files; as in/],
    [['check', ''], /The argument <job> of check is empty/],
    [['signals', '--out', ''], /The option --out is empty/],
    [['check', 'a', 'b'], /Too many arguments/],
    [['check', 'a', '--jsn'], /Unknown option '--jsn' \(did you mean --json\?\)/],
    [['probe', '--rate'], /Option '--rate <Hz>' argument missing/],
    [['help', 'chek'], /There is no command "chek"/],
    [['report', 'x', '--format', 'cvs'], /^boardproof: The option --format takes html or csv, not "cvs" \(did you mean csv\?\);/],
  ])('answers %j with one sentence and exit code 2', async (argv, says) => {
    const { exit, out, err } = await runCli(argv, { commands: [...commands, ...commandOf(() => Promise.resolve(0))] });
    expect([exit, out]).toEqual([2, '']);
    expect(err).toMatch(says);
    expect(err).toMatch(/^boardproof: [^\n]+\.\n$/);
  });

  it('offers the jobs that are here where none is named', async () => {
    const cwd = temporaryFolder();
    for (const name of ['pit', 'studio']) expect((await runCli(['new', name, '--quiet'], { cwd })).exit).toBe(0);
    expect((await runCli(['measure'], { cwd })).err).toMatch(/^boardproof: measure needs <job>, the job folder \(here: pit, studio\); as in "boardproof measure pit-board-7"/);
  });

  it('gives a problem its exit code and its sentence, with control characters made visible', async () => {
    const { exit, out, err } = await runCli(['probe'], { commands: commandOf(() => Promise.reject(problem('cli.job-exists', { path: 'a\u001b[31m\u202eb' }))) });
    expect([exit, out]).toEqual([2, '']);
    expect(err).toBe('boardproof: a\\u{1b}[31m\\u{202e}b exists already and is not overwritten; give the new job another name.\n');
  });

  it('with --json prints an error as a document as well', async () => {
    const { exit, out, err } = await runCli(['probe', '--json'], { commands: commandOf(() => Promise.reject(problem('cli.job-exists', { path: 'x' }))) });
    expect(exit).toBe(2);
    expect(JSON.parse(out)).toEqual({
      format: 'boardproof-error/1',
      error: { code: 'cli.job-exists', message: 'x exists already and is not overwritten; give the new job another name.', details: { path: 'x' } },
    });
    expect(err).toContain('x exists already');
    expect((JSON.parse((await runCli(['chek', '--json'])).out) as { error: { code: string } }).error.code).toBe('cli.usage');
  });

  it('calls an unexpected error a bug, with exit code 70 and the stack only on request', async () => {
    const table = commandOf(() => Promise.reject(new TypeError('x is undefined')));
    const { exit, err } = await runCli(['probe'], { commands: table });
    expect(exit).toBe(70);
    expect(err).toBe('boardproof: This is a bug of boardproof: x is undefined; please report it with what BOARDPROOF_DEBUG=1 prints.\n');
    expect((await runCli(['probe'], { commands: table, debug: true })).err).toMatch(/TypeError: x is undefined\n\s+at /);
  });

  it('puts an error of the operating system in words', async () => {
    const full = Object.assign(new Error('ENOSPC: no space left on device, write'), { code: 'ENOSPC', errno: -28, path: '/jobs/take.wav' });
    const { exit, err } = await runCli(['probe'], { commands: commandOf(() => Promise.reject(full)) });
    expect([exit, err]).toEqual([2, 'boardproof: /jobs/take.wav cannot be used: the disk is full.\n']);
  });

  it('keeps notes away with --quiet, before or after the command', async () => {
    const job = join(temporaryFolder(), 'job');
    expect((await runCli(['new', job])).err).toMatch(/^\nNext: /);
    expect((await runCli(['check', job, '--quiet'])).err).toBe('');
    expect((await runCli(['-q', 'check', job])).err).toBe('');
  });

  it('colours only where asked to', async () => {
    const failing = commandOf(() => Promise.reject(problem('cli.job-exists', { path: 'x' })));
    const colour = { out: true, err: true };
    expect((await runCli(['probe'], { commands: failing, colour })).err).toContain('\u001b[31mboardproof:\u001b[39m');
    expect((await runCli(['probe'], { commands: failing })).err).not.toContain('\u001b');
    const job = join(temporaryFolder(), 'job');
    await runCli(['new', job]);
    expect((await runCli(['steps', job], { colour })).out).toContain('\u001b[1mbench.idle\u001b[22m');
    expect((await runCli(['steps', job, '--no-color'], { colour })).out).not.toContain('\u001b');
  });
});

describe('wantsColour', () => {
  it.each([
    [true, {}, true],
    [false, {}, false],
    [true, { NO_COLOR: '1' }, false],
    [true, { NO_COLOR: '' }, true],
    [true, { TERM: 'dumb' }, false],
    [false, { FORCE_COLOR: '1' }, true],
    [true, { FORCE_COLOR: '0' }, false],
    [true, { FORCE_COLOR: '1', NO_COLOR: '1' }, false],
  ])('terminal %s, %o: %s', (isTty, env, wanted) => {
    expect(wantsColour(isTty, env)).toBe(wanted);
  });
});

describe('printJson', () => {
  it('refuses what JSON would silently make null', () => {
    const context = { out: { write: () => true } } as unknown as Context;
    expect(() => {
      printJson(context, { level: -Infinity });
    }).toThrow('"level" is -Infinity, which JSON cannot hold');
  });
});

describe('progress', () => {
  const shown = (isTty: boolean, quiet: boolean): string => {
    let err = '';
    const line = progress({ err: { write: (text: string) => (err += text) }, isTty, quiet } as unknown as Context);
    line.show('half');
    line.done();
    return err;
  };
  it('is a line that goes away, on a terminal only', () => {
    expect(shown(true, false)).toBe('\rhalf\u001b[K\r\u001b[K');
    expect(shown(false, false)).toBe('');
    expect(shown(true, true)).toBe('');
  });

  it('says how much is done and, once that can be known, how long the rest takes', () => {
    let err = '';
    let seconds = 0;
    const line = progress({ err: { write: (text: string) => (err += text) }, isTty: true, now: () => new Date(1000 * seconds) } as unknown as Context);
    const next = (done: number): string => {
      err = '';
      line.share('Measuring', done, 8, 'captures');
      // eslint-disable-next-line no-control-regex -- The escapes are what is taken away.
      return err.replace(/\r|\u001b\[K/g, '');
    };
    expect(next(0)).toBe('Measuring  ░░░░░░░░░░░░░░░░  0 of 8 captures');
    seconds = 0.5;
    expect(next(1)).toBe('Measuring  ██░░░░░░░░░░░░░░  1 of 8 captures');
    seconds = 40;
    expect(next(4)).toBe('Measuring  ████████░░░░░░░░  4 of 8 captures, about 40 s left');
    seconds = 70;
    expect(next(7)).toBe('Measuring  ██████████████░░  7 of 8 captures, about 10 s left');
  });

  it('leaves the last column of a narrow terminal free, and a long name gives way to how far it is', () => {
    let err = '';
    const line = progress({ err: { write: (text: string) => (err += text) }, isTty: true, ascii: true, columns: { out: 40, err: 40 }, now: () => new Date(0) } as unknown as Context);
    line.share(`Rendering ${'x'.repeat(60)}`, 1, 2, 'files');
    expect(err).toBe(`\rRendering ${'x'.repeat(12)}...  1 of 2 files\u001b[K`);
  });

  it('of several lines goes back to the first, and takes away what it needs no more', () => {
    let err = '';
    const line = progress({ err: { write: (text: string) => (err += text) }, isTty: true } as unknown as Context);
    const next = (act: () => void): string => {
      err = '';
      act();
      return err;
    };
    expect(next(() => { line.show(['one', 'two', 'three']); })).toBe('\rone\u001b[K\ntwo\u001b[K\nthree\u001b[K');
    expect(next(() => { line.show(['1', '2']); })).toBe('\r\u001b[2A1\u001b[K\n2\u001b[K\u001b[J');
    expect(next(() => { line.done(); })).toBe('\r\u001b[1A\u001b[J');
  });

  it('leaves what a window drawn narrower has broken, and goes on below it', () => {
    let err = '';
    const columns = { out: 80, err: 80 };
    const line = progress({ err: { write: (text: string) => (err += text) }, isTty: true, columns } as unknown as Context);
    const next = (act: () => void): string => {
      err = '';
      act();
      return err;
    };
    line.show('x'.repeat(60));
    columns.err = 50;
    expect(next(() => { line.show('y'.repeat(60)); })).toBe(`\n\r${'y'.repeat(49)}\u001b[K`);
    expect(next(() => { line.show('z'.repeat(60)); })).toBe(`\r${'z'.repeat(49)}\u001b[K`);
    columns.err = 30;
    expect(next(() => { line.done(); })).toBe('\n');
  });

  it('where a line cannot be written over, levels come in a line of their own every two seconds', () => {
    let err = '';
    let seconds = 0;
    const context = { err: { write: (text: string) => (err += text) }, isTty: false, keyboard: {}, now: () => new Date(1000 * seconds) } as unknown as Context;
    const say = plainLines(context);
    for (; seconds < 5; seconds++) say([`A ${seconds}`, 'B']);
    expect(err).toBe('A 0\nB\nA 2\nB\nA 4\nB\n');
    err = '';
    for (const other of [{ isTty: true }, { keyboard: undefined }, { quiet: true }]) plainLines({ ...context, ...other } as Context)(['A']);
    expect(err).toBe('');
  });

  it.each([
    [80, 4, 5],
    [40, 4, 5],
    [80, 2, 1],
    [40, 2, 3],
  ])('at %i columns %i inputs are heard in %i lines, whole', (columns, inputs, lines) => {
    const context = { columns: { out: columns, err: columns } } as unknown as Context;
    const parts = Array.from({ length: inputs }, (_, i) => `input ${i + 1} -23.${i} dBFS`);
    const live = liveLines(context, 'played -20 dBFS, heard', parts);
    expect(live).toHaveLength(lines);
    for (const text of live) expect(text.length).toBeLessThan(columns);
    for (const part of parts) expect(live.join('\n')).toContain(part);
    const long = liveLines(context, '████████████████  6 of 21 s   peaks in dBFS', parts, 'dropout on A, B since 14.50 s …').join(' ').replace(/ +/g, ' ');
    expect(long).toMatch(/6 of 21 s peaks in dBFS[\s\S]*since 14\.50 s/);
    const meter = meters(parts.map((_, i) => ({ name: `output ${i + 1}`, peakDbfs: -20 - i, clips: i === 1 })), columns - 1);
    for (const text of meter) expect(text.length).toBeLessThan(columns);
    expect(meter.join('\n')).toMatch(/output 1 █+░+ {2}-20\.0[\s\S]*output 2 █+░+ {2}CLIPS/);
  });

  it.each([
    [1, 'nearly done'],
    [9.2, 'about 10 s left'],
    [61, 'about 65 s left'],
    [119, 'about 2 min left'],
    [7201, 'about 3 h left'],
  ])('%d s: %s', (seconds, words) => {
    expect(timeLeft(seconds)).toBe(words);
  });
});

describe('onInterrupt', () => {
  const interrupted = (): { signal: AbortSignal; press: (name?: string) => void; exits: unknown[] } => {
    const exits: unknown[] = [];
    const program = Object.assign(new EventEmitter(), { exit: (code?: unknown) => void exits.push(code) });
    const signal = onInterrupt(program as unknown as NodeJS.Process, () => exits.push('said'));
    return { signal, exits, press: (name = 'SIGINT') => void program.emit(name) };
  };

  it.each(['SIGINT', 'SIGTERM', 'SIGHUP'])('%s ends a command that does not listen with 130', (name) => {
    const { press, exits } = interrupted();
    press(name);
    expect(exits).toEqual(['said', 130]);
  });

  it('lets one that listens clean up, and ends it at the second time', () => {
    const { signal, press, exits } = interrupted();
    signal.addEventListener('abort', () => undefined);
    press();
    expect([signal.aborted, exits]).toEqual([true, []]);
    press();
    expect(exits).toEqual(['said', 130]);
  });

  it('makes whatever the command then throws an interruption', async () => {
    const { signal, press } = interrupted();
    signal.addEventListener('abort', () => undefined);
    const stopped = commandOf(() => {
      press();
      return Promise.reject(new Error('the device was closed'));
    });
    expect(await runCli(['probe'], { commands: stopped, signal })).toEqual({ exit: 130, out: '', err: 'boardproof: Interrupted.\n' });
  });
});

describe('the program as a process', () => {
  const root = resolve(import.meta.dirname, '../..');
  const main = join(root, 'dist/cli/main.js');

  const run = (argv: readonly string[], act: (child: ReturnType<typeof spawn>) => void = () => undefined): Promise<{ code: number | null; signal: string | null; out: string; err: string }> =>
    new Promise((done) => {
      expect(existsSync(main), 'run "npm run build" first').toBe(true);
      const child = spawn(process.execPath, [main, ...argv], { stdio: ['ignore', 'pipe', 'pipe'] });
      let [out, err] = ['', ''];
      child.stdout.on('data', (data: Buffer) => (out += data.toString()));
      child.stderr.on('data', (data: Buffer) => (err += data.toString()));
      child.on('close', (code, signal) => {
        done({ code, signal, out, err });
      });
      act(child);
    });

  it('knows its version from package.json', async () => {
    expect(await run(['--version'])).toMatchObject({ code: 0, out: expect.stringMatching(/^boardproof \d+\.\d+\.\d+\n$/) as string, err: '' });
  });

  it('ends quietly, with its own exit code, when nobody reads on', async () => {
    const job = join(temporaryFolder(), 'job');
    await run(['new', job]);
    const closed = await run(['steps', job, '--json', '-q'], (child) => child.stdout!.destroy());
    expect(closed).toMatchObject({ code: 0, signal: null, err: '' });
  });
});

describe('start-up', () => {
  /** Packages that a file loads at once: through its static imports, not through types or `import()`. */
  const packagesOf = (file: string, seen = new Set<string>()): Set<string> => {
    if (seen.has(file)) return new Set();
    seen.add(file);
    const text = readFileSync(file, 'utf8');
    const paths = [...text.matchAll(/^(?:import|export)\s+(?!type\b)[^'";]*?from\s+'([^']+)'|^import\s+'([^']+)'/gm)].map((match) => match[1] ?? match[2]!);
    return new Set(paths.flatMap((path) => (path.startsWith('.') ? [...packagesOf(resolve(dirname(file), path.replace(/\.js$/, '.ts')), seen)] : [path])));
  };

  it('loads two small packages and nothing heavy', () => {
    const packages = [...packagesOf(resolve(import.meta.dirname, '../../cli/main.ts'))].filter((name) => !name.startsWith('node:'));
    expect(packages).toEqual(['commander', 'picocolors']);
  });
});
