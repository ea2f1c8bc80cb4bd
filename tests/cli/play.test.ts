/** play with an engine that is a formula: which signal, how loud, and what is refused before anything sounds. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { commands } from '../../cli/commands.js';
import type { Keyboard } from '../../cli/keyboard.js';
import { runProgram } from '../../cli/program.js';
import { refusalWords } from '../../cli/refusal-words.js';
import { programmeOf } from '../../src/capture/programme.js';
import { TEST_NOW, runCli, temporaryFolder } from '../helpers/cli.js';
import type { CliRun } from '../helpers/cli.js';
import { fakeEngine } from '../helpers/fake-audio.js';
import type { FakeEngine } from '../helpers/fake-audio.js';
import { makeJob } from '../helpers/recordings.js';

const engine = (): FakeEngine => fakeEngine({ hear: () => 0 });
const play = (args: readonly string[], audio: FakeEngine): Promise<CliRun> => runCli(['play', ...args, '--yes'], { audio });
const db = (peak: number): number => 20 * Math.log10(peak);

describe('play', () => {
  it('plays a coded signal over and over, each pass low at first', async () => {
    const audio = engine();
    const passS = programmeOf('take', { sampleRateHz: 48000, levelDbfs: -20, stepCode: 0 }).lengthS;
    const { exit, err } = await play(['take', '--seconds', String(Math.ceil(2 * passS))], audio);
    expect([exit, err.includes('BEFORE ANY SOUND')]).toEqual([0, true]);
    expect(audio.opened).toMatchObject([{ play: { device: 'interface', channel: 1 }, record: null, sampleRateHz: 48000 }]);
    const peaks = audio.peaks[0]!;
    const at = (s: number): number => db(peaks[Math.round((s * 48000) / 4096)]!);
    for (const pass of [0, passS]) {
      expect(at(pass + 0.2)).toBeLessThan(-55);
      expect(at(pass + 7)).toBeCloseTo(-20, 1);
    }
    expect(Math.max(...peaks)).toBeLessThan(0.1 + 1e-5);
  });

  it('keeps to the ceiling of the bench, which a level that is asked for lifts to itself and no further', async () => {
    const job = makeJob(join(temporaryFolder(), 'job'), 'format: boardproof-board/1\nboard: One\noutputs: [{ id: A }]\n', 'format: boardproof-bench/1\nbench: bench 1\noutput: { channel: 2, fullScale: 12 dBu, level: -30 dBFS, ceiling: -26 dBFS, device: interface }\ninputs: [{ channel: 1, output: A }]\n');
    const refused = engine();
    expect(await play(['stairs', '--job', job, '--seconds', '5'], refused)).toMatchObject({ exit: 2, err: expect.stringMatching(/The stairs .*-11 dBFS, above the ceiling of -26 dBFS/) as string });
    expect(refused.opened).toEqual([]);
    const usual = engine();
    expect((await play(['tone', '--job', job, '--seconds', '5'], usual)).out).toContain('at up to -30 dBFS (-18.0 dBu at the bench output)');
    expect(db(Math.max(...usual.peaks[0]!))).toBeCloseTo(-30, 2);
    expect(usual.opened[0]!.play.channel).toBe(2);
    const asked = engine();
    expect((await play(['tone', '--job', job, '--seconds', '5', '--level', '-20'], asked)).exit).toBe(0);
    expect(db(Math.max(...asked.peaks[0]!))).toBeCloseTo(-20, 2);
    // The stairs go 19 dB above their level: asking for less than the bench plays at, or for more, allows no more than was asked for.
    for (const [level, ceiling] of [['-40', -26], ['-24', -24]] as const) {
      expect(await play(['stairs', '--job', job, '--seconds', '5', '--level', level], refused)).toMatchObject({ exit: 2, err: expect.stringContaining(`-${level === '-40' ? 21 : 5} dBFS, above the ceiling of ${ceiling} dBFS`) as string });
    }
    expect(refused.opened).toEqual([]);
    expect((await play(['stairs', '--job', job, '--seconds', '5', '--level', '-46'], engine())).out).toContain('at up to -27 dBFS');
  });

  it('chooses among the devices that can play, as every command does', async () => {
    const side = { channels: 2, ratesHz: [44100, 48000] };
    const all = (able: readonly string[]): FakeEngine => {
      const audio = engine();
      return { ...audio, devices: (probe) => Promise.resolve(['hall', 'desk', 'rec'].map((name) => ({ name, plays: !probe || able.includes(name) ? side : null, records: null }))) };
    };
    const one = all(['desk']);
    const single = await play(['tone', '--seconds', '5'], one);
    expect(single.err).toContain('"desk" is the only device that can play.');
    expect(one.opened[0]!.play.device).toBe('desk');
    expect(await play(['tone', '--seconds', '5'], all(['hall', 'desk']))).toMatchObject({ exit: 2, err: expect.stringContaining('Several devices can play: "hall", "desk"; choose one with --play <name>.') as string });
    expect(await play(['tone', '--seconds', '5'], all([]))).toMatchObject({ exit: 3, err: expect.stringContaining('No audio device that can play was found') as string });
    const asked = all(['hall', 'desk']);
    const lines = ['3', 'desk', '2'];
    const chosen = await runCli(['play', 'tone', '--seconds', '5', '--yes'], { audio: asked, keyboard: { listen: () => () => undefined, line: () => Promise.resolve(lines.shift() ?? null) } });
    expect(chosen.err).toMatch(/Which device is to play\?\n {2}1 {2}hall: 2 channels, 44\.1, 48 kHz\n {2}2 {2}desk: 2 channels/);
    expect([chosen.exit, asked.opened[0]!.play.device]).toEqual([0, 'desk']);
  });

  it('before the first sound every command says how loud it will be, and what is to be off', async () => {
    const job = makeJob(join(temporaryFolder(), 'job'), 'format: boardproof-board/1\nboard: One\noutputs: [{ id: A }]\n', 'format: boardproof-bench/1\nbench: bench 1\noutput: { fullScale: 12 dBu, device: interface }\nrecorder: { device: interface }\ninputs: [{ channel: 1, output: A }]\n');
    // Somebody who answers with Enter whatever is asked.
    const enter: Keyboard = { listen: (to) => { const timer = setInterval(() => { to('enter'); }, 1); return () => { clearInterval(timer); }; }, line: () => Promise.resolve('q') };
    for (const [argv, keyboard] of [
      [['play', 'tone', '--job', job, '--seconds', '1', '--yes'], null],
      [['play', 'tone', '--job', job, '--seconds', '1'], enter],
      [['capture', job, '--step', 'rest.take', '--yes'], null],
      [['capture', job, '--step', 'rest.take'], enter],
      [['calibrate', job, '--reading', '308 mV', '--yes'], null],
      [['calibrate', job], enter],
    ] as const) {
      let screen = '';
      let atFirst: string | null = null;
      const audio = fakeEngine({ hear: (played) => played, lostAfter: 3 });
      const open: FakeEngine['open'] = (request) => {
        atFirst ??= screen;
        return audio.open(request);
      };
      const write = (text: string): void => void (screen += text);
      await runProgram(argv, { out: { write }, err: { write }, now: () => TEST_NOW, cwd: '/', isTty: false, audio: { ...audio, open }, ...(keyboard ? { keyboard } : {}) }, { version: '1', commands, debug: false });
      expect(atFirst!.replace(/\s+/g, ' '), argv.join(' ')).toMatch(/BEFORE ANY SOUND.*unplug loudspeakers and headphones/);
      expect(atFirst!.replace(/\s+/g, ' '), argv.join(' ')).toMatch(/-[24]0 dBFS \(-(8|28)\.0 dBu at the bench output\)/);
    }
  });

  it('devices keeps a choice in bench.yaml, and changes nothing else there', async () => {
    const bench = 'format: boardproof-bench/1\nbench: bench 1 # ours\noutput: { fullScale: 12 dBu }\ninputs: [{ channel: 1, output: A }]\n';
    const job = makeJob(join(temporaryFolder(), 'job'), 'format: boardproof-board/1\nboard: One\noutputs: [{ id: A }]\n', bench);
    const chosen = await runCli(['devices', job, '--play', 'interface', '--record', 'INTERFACE'], { audio: engine() });
    expect(chosen).toMatchObject({ exit: 0, out: expect.stringMatching(/interface +2 channels +4 channels .*play, record/) as string });
    expect(readFileSync(join(job, 'bench.yaml'), 'utf8')).toBe(`${bench.replace('12 dBu', '12 dBu, device: interface')}recorder: { device: interface }\n`);
    const gone = await runCli(['devices', job], { audio: fakeEngine({ hear: () => 0, devices: [{ name: 'interface 2', plays: { channels: 2, ratesHz: [48000] }, records: null }] }) });
    expect(gone).toMatchObject({ exit: 3, out: expect.stringMatching(/interface 2 +2 channels +no/) as string, err: expect.stringMatching(/no device "interface" that can play \(did you mean "interface 2"\?\)/) as string });
  });

  it('says in words why a device does not open, and never what the library calls it', () => {
    const raw = 'Unable to spawn output stream with default config: BackendSpecific { err: BackendSpecificError { description: "ALSA function \'snd_pcm_hw_params\' failed with error \'I/O error (5)\'" } }';
    expect(refusalWords(raw)).toBe('the audio system refuses it');
    expect(refusalWords(raw.replace('I/O error (5)', 'Device or resource busy (16)'))).toBe('another program holds it');
    expect(refusalWords('DeviceNotAvailable')).toBe('it is not there any more');
    expect(refusalWords('StreamConfigNotSupported')).toBe('it does not open with these channels at this sample rate');
    expect(refusalWords(raw, true)).toContain('BackendSpecific');
  });

  it.each([
    ['a name that is none', ['tome', '--seconds', '5'], 2, /did you mean "?tone"?/],
    ['no device of that name', ['tone', '--seconds', '5', '--play', 'interfaces'], 3, /no device "interfaces" that can play \(did you mean "interface"\?\)/],
    ['a level above full scale', ['tone', '--seconds', '5', '--level', '3'], 2, /3/],
    ['a length that is none', ['tone', '--seconds', 'x'], 2, /--seconds is x/],
    ['no length, where nobody can end it', ['tone'], 2, /no terminal to ask on/],
  ] as const)('refuses %s, and nothing sounds', async (_what, args, exit, says) => {
    const audio = engine();
    const run = await play(args, audio);
    expect(run).toMatchObject({ exit, err: expect.stringMatching(says) as string });
    expect(audio.opened).toEqual([]);
  });
});
