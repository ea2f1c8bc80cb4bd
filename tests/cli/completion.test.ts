import fs from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { commands } from '../../cli/commands.js';
import { completionOf } from '../../cli/completion-words.js';
import type { AudioDevice } from '../../src/capture/engine.js';
import { runCli, temporaryFolder } from '../helpers/cli.js';
import { fakeEngine } from '../helpers/fake-audio.js';
import { BENCH_YAML, PIT_BOARD_YAML } from '../helpers/pit-board.js';

function folderWithJob(): string {
  const cwd = temporaryFolder();
  fs.mkdirSync(join(cwd, 'pit'));
  fs.mkdirSync(join(cwd, 'pictures'));
  fs.writeFileSync(join(cwd, 'pit/board.yaml'), PIT_BOARD_YAML);
  fs.writeFileSync(join(cwd, 'pit/bench.yaml'), BENCH_YAML);
  return cwd;
}

const DEVICES: readonly AudioDevice[] = [
  { name: 'desk 2', plays: { channels: 2, ratesHz: [48000] }, records: { channels: 2, ratesHz: [48000] } },
  { name: 'desk monitor', plays: { channels: null, ratesHz: null }, records: null },
  { name: 'microphone', plays: null, records: { channels: 1, ratesHz: [48000] } },
];

describe('completion', () => {
  const cwd = (): string => folderWithJob();
  const words = async (line: readonly string[]): Promise<{ kind: string; words: readonly string[] }> => {
    const { kind, words: found } = await completionOf(line, commands, cwd(), () => Promise.resolve(DEVICES));
    return { kind, words: found.map(([word]) => word) };
  };

  it.each<[readonly string[], string, readonly string[]]>([
    [['me'], 'words', ['measure']],
    [['compl'], 'words', ['completion']],
    [['help', 'si'], 'words', ['signals', 'signoff']],
    [['--q'], 'words', ['--quiet']],
    [['--quiet', 'predi'], 'words', ['predict']],
    [['no-such-command', ''], 'words', []],
    [['measure', ''], 'paths', ['pit']],
    [['measure', 'pic'], 'folders', []],
    [['measure', 'pit', ''], 'words', []],
    [['new', ''], 'paths', ['pit']],
    [['import', 'pit', ''], 'wavs', []],
    [['import', 'pit', 'one.wav', ''], 'wavs', []],
    [['import', 'pit', '--step', 'loop-eq.i'], 'words', ['loop-eq.idle']],
    [['import', 'pit', '--step', 'rest.idle,rest.t'], 'words', ['rest.idle,rest.take']],
    [['import', 'pit', '--outputs', 'A,'], 'words', ['A,B']],
    [['import', 'pit', '--as-is', '--a'], 'words', []],
    [['compare', 'pit', 'rest', 'loop-c'], 'words', ['loop-comp']],
    [['compare', 'pit', '--against', 'p'], 'paths', ['pit']],
    [['signals', '--job', 'pit', '--out', ''], 'folders', []],
    [['report', 'pit', '--format', ''], 'words', ['html', 'csv']],
    [['signals', '--rate', '4'], 'words', ['44100', '48000']],
    [['signals', '--bits', '16,'], 'words', ['16,24', '16,32f']],
    [['report', 'pit', '--out', ''], 'files', []],
    [['completion', 'f'], 'words', ['fish']],
    [['play', 't'], 'words', ['take', 'tone']],
    [['play', 'tone', '--play', ''], 'names', ['desk 2', 'desk monitor']],
    [['devices', 'pit', '--record', ''], 'names', ['desk 2', 'microphone']],
    [['capture', 'pit', '--step', 'rest.f'], 'words', ['rest.flex']],
    [['measure', 'pit', '--a'], 'words', ['--all']],
  ])('%j: %s %j', async (line, kind, expected) => {
    expect(await words(line)).toEqual({ kind, words: expected });
  });

  it('never complains, whatever the job is like, and is in no list', async () => {
    const cwd = folderWithJob();
    fs.writeFileSync(join(cwd, 'pit/board.yaml'), 'format: [');
    expect(await runCli(['complete', '--', 'import', 'pit', '--step', ''], { cwd })).toEqual({ exit: 0, out: 'words\n', err: '' });
    expect(await runCli(['complete', '--', 'import', 'nowhere', '--step', ''], { cwd })).toEqual({ exit: 0, out: 'words\n', err: '' });
    expect((await runCli(['--help'])).out).not.toMatch(/^ +complete /m);
  });

  it('offers no folder whose name would act on the terminal', async () => {
    const cwd = temporaryFolder();
    const hostile = join(cwd, 'pit\u001b[31m');
    fs.mkdirSync(hostile);
    fs.writeFileSync(join(hostile, 'board.yaml'), '');
    expect((await runCli(['complete', '--', 'check', ''], { cwd })).out).toBe('paths\n');
  });

  it.each(['bash', 'zsh', 'fish'])('gives a script for %s and nothing else', async (shell) => {
    const { exit, out, err } = await runCli(['completion', shell]);
    expect([exit, err]).toEqual([0, '']);
    expect(out).toContain(`Completion of boardproof for ${shell}`);
    expect(out).not.toContain('\\${');
  });

  it('offers nothing where the sound system does not answer', async () => {
    const audio = { ...fakeEngine({ hear: () => 0 }), devices: () => Promise.reject(new Error('stuck')) };
    expect(await runCli(['complete', '--', 'play', 'tone', '--play', ''], { audio })).toEqual({ exit: 0, out: 'words\n', err: '' });
    expect((await runCli(['complete', '--', 'play', 'tone', '--play', ''], { audio: fakeEngine({ hear: () => 0 }) })).out).toBe('names\ninterface\n');
  });

  it('names the shells that it knows', async () => {
    const { exit, err } = await runCli(['completion', 'bsh']);
    expect([exit, err]).toEqual([2, expect.stringContaining('no completion for the shell "bsh" (did you mean bash?); there is for bash, zsh, fish') as string]);
  });

  it('has a meaning for the word in brackets of every argument and option', () => {
    const brackets = commands.filter(({ hidden }) => hidden !== true).flatMap((c) => [...c.arguments.map(([name]) => name), ...c.options.filter(({ choices }) => !choices).map(({ flags }) => flags)]).flatMap((text) => /[<[]([^\]>.]+)/.exec(text)?.[1] ?? []);
    // Values that only a person knows.
    const free = ['dBFS', 'number', 'volts', 's'];
    expect([...new Set(brackets)].filter((word) => !free.includes(word) && !/^(job|wav|dir|file|shell|device|signal|Hz|bits|steps?|states?|outputs?|loops?)$/.test(word))).toEqual([]);
  });
});
