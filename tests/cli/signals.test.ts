import { createHash } from 'node:crypto';
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { commands } from '../../cli/commands.js';
import { cueSheetText } from '../../cli/cue-sheet.js';
import { openJob } from '../../cli/job.js';
import { runProgram } from '../../cli/program.js';
import { stepCode } from '../../src/board/step-code.js';
import { findTakes } from '../../src/measure/take-search.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { isStairs } from '../../src/signals/stairs.js';
import { bytesSource } from '../../src/wav/byte-source.js';
import { readWavInfo } from '../../src/wav/header.js';
import { readFrames } from '../../src/wav/read.js';
import { encodeWav } from '../../src/wav/write.js';
import { demoBenchYaml, demoBoardYaml } from '../../src/simulate/demo-board.js';
import { noise } from '../helpers/random.js';

let cwd: string;
beforeAll(() => {
  cwd = fs.mkdtempSync(path.join(os.tmpdir(), 'boardproof-signals-'));
  for (const job of ['pit', 'mono']) fs.mkdirSync(path.join(cwd, job, 'captures'), { recursive: true });
  fs.writeFileSync(path.join(cwd, 'pit/board.yaml'), demoBoardYaml);
  fs.writeFileSync(path.join(cwd, 'pit/bench.yaml'), demoBenchYaml);
  fs.writeFileSync(path.join(cwd, 'mono/board.yaml'), 'format: boardproof-board/1\nboard: one wire\noutputs:\n  - { id: A, name: amplifier }\n');
  fs.writeFileSync(
    path.join(cwd, 'mono/bench.yaml'),
    'format: boardproof-bench/1\nbench: test\nsampleRate: 44100\noutput: { channel: 1, fullScale: 12 dBu }\ninputs:\n  - { channel: 1, output: A, fullScale: 18 dBu }\nplugs:\n  - { id: plug10k, resistance: 10k }\n',
  );
});
afterAll(() => {
  fs.rmSync(cwd, { recursive: true, force: true });
});

async function boardproof(...argv: string[]): Promise<{ exit: number; out: string; err: string }> {
  let out = '';
  let err = '';
  const context = { out: { write: (t: string) => (out += t) }, err: { write: (t: string) => (err += t) }, now: () => new Date(0), cwd, isTty: false };
  const exit = await runProgram(argv, context, { version: 'test', commands, debug: true });
  return { exit, out, err };
}

interface Document {
  readonly sampleRateHz: number;
  readonly files: readonly { file: string; signal: string | null; step: string | null; stepCode: number | null; sha256: string; bytes: number; status: string }[];
}
const json = (out: string): Document => JSON.parse(out) as Document;

const all = (folder: string): string[] => fs.readdirSync(path.join(cwd, folder), { recursive: true, encoding: 'utf8' }).sort();
const samplesOf = (file: string): { x: Float64Array; rate: number } => {
  const source = bytesSource(file, fs.readFileSync(path.join(cwd, file)));
  const info = readWavInfo(source);
  return { x: readFrames(source, info, 0, info.frames)[0]!, rate: info.sampleRateHz };
};

describe('signals', () => {
  it('renders take, tone and stairs to the bytes on record, and says "same" the second time', async () => {
    const recorded = (JSON.parse(fs.readFileSync(new URL('../../reference-signals/sha256.json', import.meta.url), 'utf8')) as { files: Record<string, Record<string, Record<string, string>>> }).files;
    const argv = ['signals', '--rate', '44100', '--bits', '16', '--out', 'general', '--json'];
    const first = await boardproof(...argv);
    expect(first.exit).toBe(0);
    expect(all('general')).toEqual(['cue-sheet.txt', 'stairs.wav', 'take.wav', 'tone.wav']);
    for (const { file, signal, sha256, bytes, status } of json(first.out).files) {
      const contents = fs.readFileSync(path.join(cwd, 'general', file));
      expect(createHash('sha256').update(contents).digest('hex')).toBe(sha256);
      expect(contents.length).toBe(bytes);
      expect(status).toBe('rendered');
      if (signal !== null) expect(sha256, file).toBe(recorded[signal]!['44100']!['16']);
    }
    const stamps = all('general').map((f) => fs.statSync(path.join(cwd, 'general', f)).mtimeMs);
    const second = json((await boardproof(...argv)).out);
    expect(new Set(second.files.map((f) => f.status))).toEqual(new Set(['same']));
    expect(all('general').map((f) => fs.statSync(path.join(cwd, 'general', f)).mtimeMs)).toEqual(stamps);
    expect(second.files.map((f) => f.sha256)).toEqual(json(first.out).files.map((f) => f.sha256));
  });

  it('gives each sample format its own folder where several are asked for', async () => {
    const { exit, out, err } = await boardproof('signals', '--rate', '44100', '--bits', '24,32f,24', '--out', 'two');
    expect(exit).toBe(0);
    expect(err).toContain('Next: switch amplifiers, loudspeakers and headphones off');
    expect(all('two').filter((f) => f.endsWith('.wav'))).toEqual(['24/stairs.wav', '24/take.wav', '24/tone.wav', '32f/stairs.wav', '32f/take.wav', '32f/tone.wav']);
    expect(out).toContain('24/take.wav');
    expect(fs.readFileSync(path.join(cwd, 'two/cue-sheet.txt'), 'utf8')).toContain('folder of its own (24, 32f)');
  });

  describe('for a job', () => {
    let document: Document;
    beforeAll(async () => {
      const { exit, out, err } = await boardproof('signals', '--job', 'mono', '--out', 'mono/signals', '--json');
      expect(err).toBe('');
      expect(exit).toBe(0);
      document = json(out);
    });

    it('renders one signal for each step that plays one, at the rate of the bench', () => {
      const job = openJob(path.join(cwd, 'mono'), { cwd, now: () => new Date(0) });
      const played = job.steps.filter((s) => s.kind === 'take' || s.kind === 'stairs').map((s) => s.id);
      expect(played.length).toBeGreaterThan(3);
      expect(document.files.map((f) => f.file)).toEqual(['tone.wav', ...played.map((id) => `${id}.wav`), 'cue-sheet.txt']);
      expect(document.sampleRateHz).toBe(44100);
      for (const id of played) expect(document.files.find((f) => f.step === id)!.stepCode).toBe(stepCode(id));
    });

    it('codes each with its step', () => {
      for (const { file, signal, stepCode: code } of document.files) {
        if (signal !== 'take' && signal !== 'stairs') continue;
        const { x, rate } = samplesOf(`mono/signals/${file}`);
        const { takes, stairs, fragments } = findTakes(memoryRecording([x], rate));
        const [own, other] = signal === 'take' ? [takes, stairs] : [stairs, takes];
        expect(own.map((t) => [t.identity.stepCode, isStairs(t.identity), Math.round(t.startFrame)]), file).toEqual([[code, signal === 'stairs', rate]]);
        expect([...other, ...fragments], file).toEqual([]);
      }
    });

    it('import recognises them in one long recording, in any order', async () => {
      const order = ['rest+plug10k.take', 'rest.stairs', 'bench.take', 'rest.take', 'lead+plug10k.take'];
      const takes = order.map((id) => samplesOf(`mono/signals/${id}.wav`));
      const whole = new Float64Array(takes.reduce((n, { x }) => n + x.length + 30_000, 0));
      let at = 0;
      for (const { x } of takes) {
        whole.set(x, at + 15_000);
        at += x.length + 30_000;
      }
      const hiss = noise(whole.length, 1e-5, 11);
      whole.forEach((v, i) => (whole[i] = 0.5 * v + hiss[i]!));
      fs.writeFileSync(path.join(cwd, 'long.wav'), encodeWav([whole], { format: 'pcm24', sampleRateHz: takes[0]!.rate }));
      const { exit, out, err } = await boardproof('import', 'mono', 'long.wav', '--json');
      expect(err).not.toContain('refused');
      expect(exit).toBe(0);
      expect((JSON.parse(out) as { filed: { step: string }[] }).filed.map((f) => f.step)).toEqual(order);
    });
  });

  describe('refuses, in one sentence and with nothing written:', () => {
    const cases: readonly (readonly [string, readonly string[], string])[] = [
      ['a rate too low', ['--rate', '44099'], 'at 44099 Hz'],
      ['a rate too high', ['--rate', '192001'], 'at 192001 Hz'],
      ['half a hertz', ['--rate', '48000.5'], 'at 48000.5 Hz'],
      ['a rate in words', ['--rate', '48k'], 'at 48k Hz'],
      ['a level between the steps', ['--level', '-20.1'], 'at -20.1 dBFS'],
      ['a level above full scale', ['--level', '1'], 'at 1 dBFS'],
      ['a level too low', ['--level', '-64'], 'at -64 dBFS'],
      ['a level in words', ['--level', 'loud'], 'at loud dBFS'],
      ['an empty level', ['--level', ''], 'The option --level is empty'],
      ['unknown bits', ['--bits', '16,20'], 'in "16,20" bits; give one or more of 16, 24, 32f'],
      ['no bits', ['--bits', ''], 'The option --bits is empty'],
      ['a job that is none', ['--job', 'nothing-here'], 'is no job folder'],
    ];
    for (const [name, argv, says] of cases) {
      it(name, async () => {
        const { exit, out, err } = await boardproof('signals', '--out', 'refused', ...argv);
        expect({ exit, out }).toEqual({ exit: 2, out: '' });
        expect(err).toContain(says);
        expect(err.trim().split('\n')).toHaveLength(1);
        expect(fs.existsSync(path.join(cwd, 'refused'))).toBe(false);
      });
    }

    it('no folder', async () => {
      const { exit, err } = await boardproof('signals');
      expect(exit).toBe(2);
      expect(err).toContain('--out');
    });

    it('a folder that is a file', async () => {
      fs.writeFileSync(path.join(cwd, 'a-file'), 'text');
      const { exit, err } = await boardproof('signals', '--out', 'a-file');
      expect(exit).toBe(2);
      expect(err).toContain('a-file cannot be used');
      expect(fs.readFileSync(path.join(cwd, 'a-file'), 'utf8')).toBe('text');
    });

    it('the captures of a job', async () => {
      const before = all('pit');
      const { exit, err } = await boardproof('signals', '--out', 'pit/captures');
      expect(exit).toBe(2);
      expect(err).toContain('where a job keeps what was recorded');
      expect(all('pit')).toEqual(before);
    });

    it('a folder where a name is taken by something else', async () => {
      fs.mkdirSync(path.join(cwd, 'taken'));
      fs.writeFileSync(path.join(cwd, 'taken/tone.wav'), 'a recording of mine');
      fs.writeFileSync(path.join(cwd, 'taken/cue-sheet.txt'), 'my own notes');
      const { exit, err } = await boardproof('signals', '--rate', '44100', '--out', 'taken');
      expect(exit).toBe(2);
      expect(err).toContain('taken/tone.wav and 1 more exist and hold something else');
      expect(all('taken')).toEqual(['cue-sheet.txt', 'tone.wav']);
      expect(fs.readFileSync(path.join(cwd, 'taken/tone.wav'), 'utf8')).toBe('a recording of mine');
      expect(fs.readFileSync(path.join(cwd, 'taken/cue-sheet.txt'), 'utf8')).toBe('my own notes');
    });
  });

  it('replaces an older cue sheet of its own, and says so', async () => {
    fs.mkdirSync(path.join(cwd, 'older'));
    fs.writeFileSync(path.join(cwd, 'older/cue-sheet.txt'), 'CUE SHEET\n\nof an earlier board\n');
    const { exit, out } = await boardproof('signals', '--rate', '44100', '--out', 'older');
    expect(exit).toBe(0);
    expect(out).toMatch(/^replaced .*cue-sheet\.txt$/m);
    expect(fs.readFileSync(path.join(cwd, 'older/cue-sheet.txt'), 'utf8')).not.toContain('of an earlier board');
  });
});

describe('the cue sheet', () => {
  const pit = (): ReturnType<typeof openJob> => openJob('pit', { cwd, now: () => new Date(0) });

  it('names every step in order, with its patching, its file and how it is filed', () => {
    const job = pit();
    const text = cueSheetText({ sampleRateHz: 48000, levelDbfs: -20, bits: ['24'], job });
    const named = [...text.matchAll(/^ +\[ \] \d+\. +(\S+)/gm)].map((m) => m[1]);
    expect(named).toEqual(job.steps.map((s) => s.id));
    const unwrapped = text.replace(/\n +/g, ' ');
    for (const step of job.steps) {
      expect(unwrapped).toContain(step.patch);
      expect(unwrapped).toContain(step.set.trim());
      if (step.kind === 'take' || step.kind === 'stairs') {
        expect(unwrapped).toContain(`Play    ${step.id}.wav, `);
        expect(unwrapped).not.toContain(`file it with --step ${step.id}`);
      } else expect(unwrapped).toContain(`file it with --step ${step.id}`);
    }
    expect(text).toContain('-20 dBFS, -8 dBu at the bench output');
    expect(text.split('\n').filter((line) => line.length > 80)).toEqual([]);
  });

  it('warns of loudness, phantom power and protective earth, before any step', () => {
    for (const job of [null, pit()]) {
      const text = cueSheetText({ sampleRateHz: 48000, levelDbfs: -20, bits: ['24'], job }).replace(/\n +/g, ' ');
      const steps = text.indexOf('\nSTEPS\n');
      for (const says of ['loudspeakers and headphones are off', 'phantom power is off', 'Protective earth stays connected', 'rise to -1 dBFS, 19 dB above', 'wait 2 s, play']) {
        expect(text.indexOf(says), says).toBeGreaterThan(0);
        expect(text.indexOf(says), says).toBeLessThan(steps);
      }
    }
  });

  it('says how high the stairs rise at any level', () => {
    const at = (levelDbfs: number): string => cueSheetText({ sampleRateHz: 48000, levelDbfs, bits: ['24'], job: null }).replace(/\n +/g, ' ');
    expect(at(-40)).toContain('rise to -21 dBFS, 19 dB above that');
    expect(at(-6)).toContain('rise to -1 dBFS, 5 dB above that');
    expect(at(0)).toContain('rise to -1 dBFS.');
  });

  it('is the same every time, and shows hidden characters of a name', () => {
    const job = pit();
    const board = { ...job.board, name: 'evil\u001b[2J\u202eboard\nSTEPS' };
    const sheet = { sampleRateHz: 48000, levelDbfs: -20, bits: ['24'], job: { ...job, board } } as const;
    expect(cueSheetText(sheet)).toBe(cueSheetText(sheet));
    expect(cueSheetText(sheet)).toContain('Board    evil\\u{1b}[2J\\u{202e}board\\u{a}STEPS');
  });
});
