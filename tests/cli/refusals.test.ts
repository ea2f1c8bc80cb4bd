/** Every reason for which a recording is refused: a real file, one sentence, exit code 3, and the job as it was. */
import { appendFileSync, mkdirSync, mkdtempSync, rmSync, truncateSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { runCli } from '../helpers/cli.js';
import type { CliRun } from '../helpers/cli.js';
import { noise } from '../helpers/random.js';
import { RATE, contentsOf, heard, makeJob, seconds, takeFor, writeRecording } from '../helpers/recordings.js';
import { TWO_OUT_BENCH, TWO_OUT_BOARD } from '../helpers/two-out.js';

const cwd = mkdtempSync(join(tmpdir(), 'boardproof-refusals-'));
const at = (name: string): string => join(cwd, name);
afterAll(() => {
  rmSync(cwd, { recursive: true, force: true });
});

beforeAll(async () => {
  makeJob(at('job'), TWO_OUT_BOARD, TWO_OUT_BENCH);
  // The job holds a good take already: B is 3 dB below A. No refusal may touch it.
  const x = takeFor('rest.take');
  writeRecording(at('good.wav'), [heard(x, -3, 1), heard(x, -6, 2)]);
  expect(await runCli(['import', 'job', 'good.wav'], { cwd })).toMatchObject({ exit: 0 });
});

const imported = (...args: readonly string[]): Promise<CliRun> => runCli(['import', 'job', ...args], { cwd });

async function expectRefused(args: readonly string[], sentence: RegExp): Promise<void> {
  const before = contentsOf(at('job'));
  const run = await imported(...args);
  expect(run.err).toMatch(sentence);
  // One line, one sentence, and nothing beside it.
  expect(run.err).toMatch(/^refused {2}[^\n]*[^.\n]\.\n$/);
  expect(run.err).not.toMatch(/[a-z]\. [A-Z]/);
  expect([run.exit, run.out]).toEqual([3, '']);
  expect(contentsOf(at('job'))).toEqual(before);
}

/** A take of the step that the job lacks, on two recorder channels. */
const take = (): Float64Array => takeFor('rest+plug10k.take');
const pair = (): [Float64Array, Float64Array] => [heard(take(), -3, 3), heard(take(), -6, 4)];
const without = (x: Float64Array, fromS: number, frames: number): Float64Array => {
  const from = seconds(fromS);
  const left = new Float64Array(x.length - frames);
  left.set(x.subarray(0, from));
  left.set(x.subarray(from + frames), from);
  return left;
};
const floor = (lengthS: number, rms: number, seed: number): Float64Array => noise(seconds(lengthS), rms, seed);
const idles = (change: (x: Float64Array) => Float64Array, lengthS = 8): Float64Array[] => [change(floor(lengthS, 1e-5, 5)), change(floor(lengthS, 1e-5, 6))];
const withLine = (x: Float64Array, hz: number): Float64Array => x.map((v, n) => v + 1e-3 * Math.sin((2 * Math.PI * hz * n) / RATE) + 5e-4 * Math.sin((6 * Math.PI * hz * n) / RATE));

describe('a take is refused where', () => {
  it('it clips', async () => {
    const [a, b] = pair();
    writeRecording(at('clipped.wav'), [a, b.map((v) => 30 * v)]);
    await expectRefused(['clipped.wav'], /clipped\.wav: output B clips at sample \d+ \(\d+\.\d{3} s\); turn the recorder's input gain down/);
  });

  it('it clipped before the recorder', async () => {
    const limited = take().map((v) => Math.max(-0.08, Math.min(0.08, v)));
    writeRecording(at('flat-tops.wav'), [limited, heard(take(), -6, 4)]);
    await expectRefused(['flat-tops.wav'], /output A clips at sample/);
  });

  it('an output is silent', async () => {
    writeRecording(at('silent.wav'), [pair()[0], new Float64Array(take().length)]);
    await expectRefused(['silent.wav'], /silent\.wav: output B is digital silence; check its lead/);
  });

  it('an output is too quiet', async () => {
    writeRecording(at('quiet.wav'), [heard(take(), -95, 3, 1e-6), pair()[1]]);
    await expectRefused(['quiet.wav'], /quiet\.wav: output A is too quiet, its tone reads -11\d\.\d dBFS over noise at/);
  });

  it('only noise comes from an output', async () => {
    writeRecording(at('hiss.wav'), [pair()[0], floor(take().length / RATE, 1e-4, 9)]);
    await expectRefused(['hiss.wav'], /hiss\.wav: output B is too quiet, no tone is heard /);
  });

  it('64 samples are missing from the sweep', async () => {
    writeRecording(at('dropped.wav'), pair().map((x) => without(x, 8, 64)));
    await expectRefused(['dropped.wav'], /dropped\.wav: 64 samples are missing from the take at 1\.00 s .*larger audio buffer/);
  });

  it('one sample was put in', async () => {
    writeRecording(at('inserted.wav'), pair().map((x) => Float64Array.from([...x.subarray(0, seconds(6)), 0, ...x.subarray(seconds(6))])));
    await expectRefused(['inserted.wav'], /inserted\.wav: 1 sample is too many in the take/);
  });

  it('a gap was filled with zeros', async () => {
    const [a, b] = pair();
    a.fill(0, seconds(9), seconds(9) + 128);
    b.fill(0, seconds(9), seconds(9) + 128);
    writeRecording(at('hole.wav'), [a, b]);
    await expectRefused(['hole.wav'], /hole\.wav: output A drops out for 128 samples at 9\.000 s/);
  });

  it('there are too few channels', async () => {
    writeRecording(at('mono.wav'), [pair()[0]]);
    await expectRefused(['mono.wav'], /mono\.wav has 1 channel, but bench\.yaml hears a board output on channel 2; record all channels, or correct inputs/);
  });

  it('the outputs are swapped', async () => {
    writeRecording(at('swapped.wav'), pair().reverse());
    await expectRefused(['swapped.wav'], /swapped\.wav: outputs A and B look swapped against rest\.take; swap their leads/);
  });

  it('the outputs were summed to mono', async () => {
    const [a] = pair();
    writeRecording(at('summed.wav'), [a, a]);
    await expectRefused(['summed.wav'], /summed\.wav: outputs A and B are the same samples, so the recorder summed or copied them to mono/);
  });

  it('automatic gain turned it up', async () => {
    // By 6 dB over the sweep, as a leveller does when it gets quieter after the tone.
    const [a, b] = pair().map((x) => x.map((v, n) => v * 10 ** (Math.min(1, Math.max(0, n / RATE - 4.75) / 5) * (6 / 20))));
    writeRecording(at('gain.wav'), [a!, b!]);
    await expectRefused(['gain.wav'], /gain\.wav: the level of output A moves by 6\.0 dB within the capture; switch off automatic gain and noise suppression/);
  });

  it('the recording ends inside it', async () => {
    writeRecording(at('ends.wav'), pair().map((x) => x.subarray(0, seconds(9))));
    await expectRefused(['ends.wav'], /ends\.wav ends inside the take that begins at 1\.00 s; record until 1 s after the end marker/);
  });

  it('the recording begins inside it', async () => {
    writeRecording(at('late.wav'), pair().map((x) => x.subarray(seconds(3))));
    await expectRefused(['late.wav'], /late\.wav begins inside a take, whose end marker is at 10\.75 s; start the recorder before the take/);
  });

  it('three seconds are missing from it', async () => {
    writeRecording(at('broken.wav'), pair().map((x) => without(x, 6, seconds(3))));
    await expectRefused(['broken.wav'], /broken\.wav: the start marker of a take at 1\.00 s has no end marker at its distance, so a part of the take is missing/);
  });

  it('it is for another job', async () => {
    writeRecording(at('other.wav'), [1, 2].map((seed) => heard(takeFor('loop-gone.take'), -3, seed)));
    await expectRefused(['other.wav'], /other\.wav: the take at 1\.00 s was rendered for a step that this board does not have; import it into its own job, or say which step it is with --step\.\n/);
  });

  it('it says no step and none is given', async () => {
    writeRecording(at('general.wav'), [1, 2].map((seed) => heard(takeFor(''), -3, seed)));
    await expectRefused(['general.wav'], /general\.wav: the take at 1\.00 s is of the general file, whose markers do not say which step it is; say it, as in --step rest\.take \("boardproof steps" lists the ids\)/);
  });

  it('it says another step than is given', async () => {
    writeRecording(at('good-again.wav'), pair());
    await expectRefused(['good-again.wav', '--step', 'bench.take'], /the take at 1\.00 s says it is rest\+plug10k\.take, not bench\.take/);
  });
});

describe('an idle capture is refused where', () => {
  const idle = (name: string): string[] => [name, '--step', 'rest.idle'];

  it('no step is given, since it has no markers', async () => {
    writeRecording(at('nothing.wav'), idles((x) => x));
    await expectRefused(['nothing.wav'], /nothing\.wav holds no take: neither its start nor its end marker was found; .*or, if nothing was played, say what it is, as in --step rest\.idle/);
  });

  it('it is too short', async () => {
    writeRecording(at('short.wav'), idles((x) => x, 3));
    await expectRefused(idle('short.wav'), /short\.wav is 3\.0 s long, too short for an idle capture; record at least 5 s/);
  });

  it('it is silent', async () => {
    writeRecording(at('zeros.wav'), idles((x) => x.map(() => 0)));
    await expectRefused(idle('zeros.wav'), /zeros\.wav: output A is digital silence/);
  });

  it('it clips', async () => {
    writeRecording(at('loud.wav'), idles((x) => x.map((v) => Math.max(-1, Math.min(1, 1e5 * v)))));
    await expectRefused(idle('loud.wav'), /loud\.wav: output A clips at sample/);
  });

  it('a gate closes in it', async () => {
    writeRecording(at('gated.wav'), idles((x) => x.fill(0, seconds(3), seconds(5))));
    await expectRefused(idle('gated.wav'), /gated\.wav: parts of output A are digital silence while others are not; switch off noise suppression or the gate/);
  });

  it.each([
    ['learns the noise and takes it out after a second and a half', (n: number): number => (n < seconds(1.5) ? 1 : 0.1)],
    ['takes the noise out for two seconds', (n: number): number => (n > seconds(3) && n < seconds(5) ? 0.1 : 1)],
  ])('noise suppression %s', async (_what, gain) => {
    writeRecording(at('suppressed.wav'), idles((x) => x.map((v, n) => v * gain(n))));
    await expectRefused(idle('suppressed.wav'), /suppressed\.wav: the level of output A moves by (19|20)\.\d dB within the capture; switch off automatic gain and noise suppression/);
  });

  it('automatic gain turns it up', async () => {
    writeRecording(at('drift.wav'), idles((x) => x.map((v, n) => v * 10 ** ((20 * n) / x.length / 20))));
    await expectRefused(idle('drift.wav'), /drift\.wav: the level of output A moves by 1\d\.\d dB within the capture/);
  });

  it('both outputs are one', async () => {
    const [a] = idles((x) => x);
    writeRecording(at('one.wav'), [a!, a!]);
    await expectRefused(idle('one.wav'), /one\.wav: outputs A and B are the same samples/);
  });

  it('it hums at another mains frequency than the board file says', async () => {
    writeRecording(at('sixty.wav'), idles((x) => withLine(x, 60)));
    await expectRefused(idle('sixty.wav'), /sixty\.wav: output A hums at multiples of 60\.0\d Hz, but board\.yaml says mains: 50 Hz; correct the key "mains"/);
  });

  it('it holds a take', async () => {
    writeRecording(at('take.wav'), pair());
    await expectRefused(idle('take.wav'), /take\.wav holds a take at 1\.00 s, so it is no rest\.idle; leave --step out/);
  });

  it('it holds half a take', async () => {
    writeRecording(at('half.wav'), pair().map((x) => x.subarray(0, seconds(8))));
    await expectRefused(idle('half.wav'), /half\.wav holds a take at 1\.00 s, so it is no rest\.idle/);
  });
});

describe('a file is refused that', () => {
  const idle = (name: string): string[] => [name, '--step', 'rest.idle'];
  const wav = (name: string): string => writeRecording(at(name), idles((x) => x, 6));

  it('was cut short', async () => {
    truncateSync(wav('cut.wav'), 1_000_000);
    await expectRefused(idle('cut.wav'), /cut\.wav is cut short: its header says 288000 frames, \d+ are there, \d+ are missing/);
  });

  it('is empty', async () => {
    writeFileSync(at('empty.wav'), '');
    await expectRefused(idle('empty.wav'), /empty\.wav is empty \(0 bytes\); record or copy it again/);
  });

  it('does not exist', async () => {
    await expectRefused(idle('absent.wav'), /absent\.wav cannot be used: it does not exist/);
  });

  it('is a folder', async () => {
    mkdirSync(at('folder.wav'));
    await expectRefused(idle('folder.wav'), /folder\.wav cannot be used: it is a folder/);
  });

  it('is a picture', async () => {
    writeFileSync(at('picture.wav'), Buffer.from('89504e470d0a1a0a0000000d49484452000000010000000108060000001f15c489', 'hex'));
    await expectRefused(idle('picture.wav'), /picture\.wav is not a WAV file; export it as WAV, 24-bit or 32-bit float/);
  });

  it('is coded', async () => {
    const bytes = Buffer.alloc(60);
    bytes.write('RIFF\x34\0\0\0WAVEfmt \x10\0\0\0', 'latin1');
    bytes.writeUInt16LE(0x55, 20);
    bytes.write('data\x08\0\0\0', 36, 'latin1');
    writeFileSync(at('coded.wav'), bytes);
    await expectRefused(idle('coded.wav'), /coded\.wav is coded as .*; export it as plain PCM/);
  });

  it('holds something that is no number', async () => {
    const file = writeRecording(at('nan.wav'), [floor(6, 1e-5, 1), floor(6, 1e-5, 2)], 'float32');
    const bytes = Buffer.alloc(4);
    bytes.writeFloatLE(NaN);
    truncateSync(file, 58 + 4000);
    appendFileSync(file, Buffer.concat([bytes, Buffer.alloc(288000 * 8 - 4004)]));
    await expectRefused(idle('nan.wav'), /nan\.wav holds a sample that is no number \(NaN, frame \d+, channel \d\)/);
  });

  it('has a name that would play tricks on a terminal, which is shown in plain', async () => {
    writeFileSync(at('a\u001b[31m\u202egnp.wav'), '');
    await expectRefused(idle('a\u001b[31m\u202egnp.wav'), /a\\u\{1b\}\[31m\\u\{202e\}gnp\.wav is empty/);
  });

  it('is one of two mono files of unlike length', async () => {
    writeRecording(at('a.wav'), [floor(6, 1e-5, 1)]);
    writeRecording(at('b.wav'), [floor(7, 1e-5, 1)]);
    await expectRefused(['a.wav', 'b.wav', '--outputs', 'A,B', '--step', 'rest.idle'], /a\.wav and b\.wav differ in length or sample rate, so they are not one recording/);
  });

  it('should be mono and is not', async () => {
    wav('stereo.wav');
    await expectRefused(['stereo.wav', 'stereo.wav', '--outputs', 'A,B', '--step', 'rest.idle'], /stereo\.wav has 2 channels; --outputs is for mono files/);
  });
});
