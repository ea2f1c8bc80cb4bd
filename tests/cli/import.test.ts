import { createHash } from 'node:crypto';
import { mkdtempSync, readFileSync, readdirSync, rmSync, utimesSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { bytesSource } from '../../src/wav/byte-source.js';
import { readWavInfo } from '../../src/wav/header.js';
import { readFrames } from '../../src/wav/read.js';
import { runCli } from '../helpers/cli.js';
import type { CliRun } from '../helpers/cli.js';
import { noise, seeded } from '../helpers/random.js';
import { RATE, contentsOf, heard, makeJob, seconds, takeFor, writeRecording } from '../helpers/recordings.js';
import { TWO_OUT_BENCH, TWO_OUT_BOARD } from '../helpers/two-out.js';

const cwd = mkdtempSync(join(tmpdir(), 'boardproof-import-'));
const at = (...names: string[]): string => join(cwd, ...names);
afterAll(() => {
  rmSync(cwd, { recursive: true, force: true });
});

let jobs = 0;
const newJob = (bench = TWO_OUT_BENCH): string => {
  const name = `job${++jobs}`;
  makeJob(at(name), TWO_OUT_BOARD, bench);
  return name;
};
const run = (...argv: readonly string[]): Promise<CliRun> => runCli(argv, { cwd });
const captures = (job: string): string[] => readdirSync(at(job, 'captures')).sort();

interface Imported {
  readonly format: string;
  readonly filed: { from: string; atS: number; lengthS: number; step: string; file: string; clockRatioPpm: number | null; levelDbfs: number | null; warning: string | null; cautions: string[] }[];
  readonly refused: { code: string; message: string }[];
  readonly filedBefore: { code: string; message: string }[];
}
async function importJson(exit: number, ...argv: readonly string[]): Promise<Imported> {
  const done = await run('import', ...argv, '--json');
  expect(done.exit, done.err).toBe(exit);
  return JSON.parse(done.out) as Imported;
}

const pairs = new Map<string, Float64Array[]>();
/** Two outputs, B 1 dB lower than A. Do not write to it. */
function pair(step: string): Float64Array[] {
  const made = pairs.get(step) ?? [heard(takeFor(step), -3, 1), heard(takeFor(step), -4, 2)];
  pairs.set(step, made);
  return made;
}
/** One after the other; joined as typed arrays, which takes a hundredth of the time that lists of numbers take. */
function joined(parts: readonly Float64Array[]): Float64Array {
  const whole = new Float64Array(parts.reduce((sum, x) => sum + x.length, 0));
  let at = 0;
  for (const x of parts) {
    whole.set(x, at);
    at += x.length;
  }
  return whole;
}
const after = (...parts: readonly Float64Array[][]): Float64Array[] => [0, 1].map((c) => joined(parts.map((p) => p[c]!)));
const idle = (lengthS: number, seed: number): Float64Array[] => [noise(seconds(lengthS), 1e-5, seed), noise(seconds(lengthS), 1e-5, seed + 100)];

function samplesOf(job: string, step: string): { info: ReturnType<typeof readWavInfo>; channels: Float64Array[] } {
  const source = bytesSource(step, readFileSync(at(job, 'captures', `${step}.wav`)));
  const info = readWavInfo(source);
  return { info, channels: readFrames(source, info, 0, info.frames) };
}

const bytesOf = (x: Float64Array): string => createHash('sha256').update(x).digest('hex');

describe('import', () => {
  it('finds takes in any order in one recording, cuts them out with a second around, and says what went where', async () => {
    const job = newJob();
    const whole = after(pair('rest.take'), idle(3, 7), pair('bench.take'));
    writeRecording(at('long.wav'), whole);
    const { format, filed, refused } = await importJson(0, job, 'long.wav');
    expect([format, refused]).toEqual(['boardproof-import/1', []]);
    expect(filed.map((f) => [f.step, f.from, f.file, f.levelDbfs, f.warning])).toEqual([
      ['rest.take', 'long.wav', 'captures/rest.take.wav', -20, null],
      ['bench.take', 'long.wav', 'captures/bench.take.wav', -20, null],
    ]);
    const second = 1 + takeFor('rest.take').length / RATE + 3;
    expect(filed[0]!.atS).toBeCloseTo(1, 6);
    expect(filed[1]!.atS).toBeCloseTo(second, 6);
    for (const f of filed) expect(Math.abs(f.clockRatioPpm!)).toBeLessThan(0.5);

    const { info, channels } = samplesOf(job, 'bench.take');
    expect(info).toMatchObject({ formatLabel: '24-bit PCM, extensible', channels: 2, sampleRateHz: RATE });
    const from = Math.floor((filed[1]!.atS - 1) * RATE);
    channels.forEach((x, c) => {
      // Every sample as it was in the recording, which is on the 24-bit grid.
      const worst = x.reduce((w, v, n) => Math.max(w, Math.abs(v - whole[c]![from + n]!)), 0);
      expect(worst).toBeLessThanOrEqual(2 ** -24);
    });
    const sidecar = JSON.parse(readFileSync(at(job, 'captures/bench.take.json'), 'utf8')) as Record<string, unknown>;
    expect(sidecar).toMatchObject({ format: 'boardproof-capture/1', step: 'bench.take', device: null, remarks: [] });
    expect(sidecar['how']).toMatch(/^imported from long\.wav, 18\.\d\d s to 34\.\d\d s$/);
  });

  it('says what is next where nothing was refused', async () => {
    const job = newJob();
    writeRecording(at('one.wav'), pair('bench.take'));
    const done = await run('import', job, 'one.wav');
    expect(done).toMatchObject({ exit: 0, err: `\nNext: bench.idle. Play and record it here, or elsewhere and file the recording:\n      boardproof capture ${job}\n      boardproof import ${job} <recording.wav> --step bench.idle\n` });
    expect(done.out).toMatch(/^filed {4}bench\.take {2}← one\.wav at 1\.00 s \(15\.7 s, clocks 0\.0 ppm\)\n$/);
    let now = 0;
    const watched = await runCli(['import', job, 'one.wav'], { cwd, isTty: true, now: () => new Date((now += 2000)) });
    expect(watched.err).toMatch(/\rLooking for takes in one\.wav {2}[█░]+, (?:about \d+ s left|nearly done)/);
    expect(watched.err).toMatch(/\rChecking bench\.take {2}[█░]{16}/);
    expect((await run('--quiet', 'import', job, 'one.wav')).err).toBe('');
  });

  it('once more: the old capture is kept with its time in its name, and the samples are the same', async () => {
    const job = newJob();
    writeRecording(at('again.wav'), pair('rest.take'));
    await importJson(0, job, 'again.wav');
    const first = contentsOf(at(job, 'captures'));
    // As if it had been filed on another day.
    const filedAt = new Date('2026-11-20T08:30:00Z');
    utimesSync(at(job, 'captures/rest.take.wav'), filedAt, filedAt);
    await importJson(0, job, 'again.wav');
    const stem = 'rest.take~2026-11-20T08-30-00Z';
    expect(captures(job)).toEqual(['rest.take.json', 'rest.take.wav', `${stem}.json`, `${stem}.wav`]);
    const second = contentsOf(at(job, 'captures'));
    expect(second['rest.take.wav']).toBe(first['rest.take.wav']);
    expect([second[`${stem}.wav`], second[`${stem}.json`]]).toEqual([first['rest.take.wav'], first['rest.take.json']]);
  });

  it('a take played twice in one recording: the later one counts, the earlier is kept', async () => {
    const job = newJob();
    writeRecording(at('twice.wav'), after(pair('rest.take'), [heard(takeFor('rest.take'), -5, 3), heard(takeFor('rest.take'), -6, 4)]));
    const { filed } = await importJson(0, job, 'twice.wav');
    expect(filed.map((f) => f.step)).toEqual(['rest.take', 'rest.take']);
    expect(captures(job).filter((name) => name.endsWith('.wav'))).toHaveLength(2);
    const tone = samplesOf(job, 'rest.take').channels[0]!.subarray(seconds(3), seconds(4));
    const rms = Math.sqrt(tone.reduce((s, v) => s + v * v, 0) / tone.length);
    expect(20 * Math.log10(rms * Math.SQRT2)).toBeCloseTo(-25, 2);
  });

  it('joins mono files by the outputs they are of, in any order', async () => {
    const job = newJob();
    const [a, b] = pair('rest.take');
    writeRecording(at('second.wav'), [b!]);
    writeRecording(at('first.wav'), [a!]);
    const { filed } = await importJson(0, job, 'second.wav', 'first.wav', '--outputs', 'B, A');
    expect(filed.map((f) => [f.step, f.from])).toEqual([['rest.take', 'second.wav + first.wav']]);
    writeRecording(at('both.wav'), [a!, b!]);
    const other = newJob();
    // It lies in the folder of a job, and not in this one's.
    writeRecording(at(job, 'strange.wav'), [a!, b!]);
    const [strange] = (await importJson(0, other, join(job, 'strange.wav'))).filed;
    expect(strange!.cautions).toEqual([`${join(job, 'strange.wav')} lies in the folder of another job, ${job}; see that it is of this board, as the markers of a take name the step and no board.`]);
    expect((await importJson(0, other, 'both.wav')).filed[0]!.cautions).toEqual([]);
    expect(readFileSync(at(job, 'captures/rest.take.wav')).equals(readFileSync(at(other, 'captures/rest.take.wav')))).toBe(true);
  });

  it('keeps the channels of the recorder where bench.yaml hears the outputs on the fourth and second', async () => {
    const job = newJob(TWO_OUT_BENCH.replace('{ channel: 1, output: A', '{ channel: 4, output: A').replace('{ channel: 2, output: B', '{ channel: 2, output: B'));
    const [a, b] = pair('rest.take');
    const other = noise(a!.length, 1e-3, 9);
    writeRecording(at('four.wav'), [other, b!, other, a!]);
    await importJson(0, job, 'four.wav');
    expect(samplesOf(job, 'rest.take').info.channels).toBe(4);
    const { readings } = JSON.parse((await run('measure', job, '--json')).out) as { readings: { id: string; output: string; value: number }[] };
    const level = (output: string): number => readings.find((r) => r.id === 'level.tone' && r.output === output)!.value;
    expect(level('A')).toBeCloseTo(-20 - 3 + 18, 3);
    expect(level('B')).toBeCloseTo(-20 - 4 + 18, 3);
  });

  it.each(['pcm16', 'pcm24', 'float32', 'float64'] as const)('files %s as it came', async (format) => {
    const job = newJob();
    writeRecording(at(`${format}.wav`), idle(10, 3), format, 96000);
    await importJson(0, job, `${format}.wav`, '--step', 'rest.idle');
    const { info, channels } = samplesOf(job, 'rest.idle');
    expect(info).toMatchObject({ bitsPerSample: { pcm16: 16, pcm24: 24, float32: 32, float64: 64 }[format], sampleRateHz: 96000 });
    const source = bytesSource(format, readFileSync(at(`${format}.wav`)));
    const original = readWavInfo(source);
    // Hashed: comparing millions of numbers one by one takes a quarter of a minute.
    expect(channels.map(bytesOf)).toEqual(readFrames(source, original, 0, original.frames).map(bytesOf));
  });
});

it('a hand on the leads at the beginning of an idle capture is no noise suppression: it is filed, and left out of the floor', async () => {
  const job = newJob();
  const { uniform } = seeded(5);
  // Bursts of 60 to 200 ms over 1.6 s, each of its own level, 10 to 40 dB over the floor.
  const handled = idle(8, 1).map((x) => x.slice());
  for (let from = 0, to: number; from < seconds(1.6); from = to) {
    to = from + seconds(0.06 + 0.14 * uniform());
    const gain = 10 ** ((10 + 30 * uniform()) / 20);
    for (const x of handled) for (let n = from; n < to; n++) x[n]! *= gain;
  }
  writeRecording(at('hand.wav'), handled);
  await importJson(0, job, 'hand.wav', '--step', 'rest.idle');
  const { readings } = JSON.parse((await run('measure', job, '--json')).out) as { readings: { id: string; output: string; value: number }[] };
  // White noise of 1e-5 rms; 0.1 dB is three spreads of the six seconds that are left.
  const truth = 20 * Math.log10(1e-5 * Math.SQRT2) + 10 * Math.log10(19980 / 24000) + 18;
  expect(Math.abs(readings.find((r) => r.id === 'noise.unweighted' && r.output === 'A')!.value - truth)).toBeLessThan(0.1);
});

describe('several recordings at once', () => {
  it('one that cannot be read keeps no other from being filed', async () => {
    const job = newJob();
    writeFileSync(at('letter.wav'), 'Dear reader');
    writeRecording(at('good.wav'), pair('rest.take'));
    const { filed, refused } = await importJson(3, job, 'absent.wav', 'letter.wav', 'good.wav');
    expect(filed.map((f) => f.step)).toEqual(['rest.take']);
    expect(refused.map((r) => r.code)).toEqual(['cli.file', 'wav.not-wav']);
  });

  it('one bad take keeps no other of its recording from being filed', async () => {
    const job = newJob();
    const bad = pair('bench.take').map((x) => joined([x.subarray(0, seconds(8)), x.subarray(seconds(8) + 20)]));
    writeRecording(at('mixed.wav'), after(bad, pair('rest.take')));
    const done = await run('import', job, 'mixed.wav');
    expect(done.exit).toBe(3);
    expect(done.out).toMatch(/^filed {4}rest\.take [^\n]*\n$/);
    expect(done.err).toMatch(/^refused {2}mixed\.wav: 20 samples are missing from the take at 1\.00 s [^\n]*\n$/);
    expect(captures(job)).toEqual(['rest.take.json', 'rest.take.wav']);
  });

  it('takes the steps in order, a bad recording its own among them', async () => {
    const job = newJob();
    writeRecording(at('i1.wav'), idle(6, 1));
    writeRecording(at('i3.wav'), idle(7, 3));
    const { filed, refused } = await importJson(3, job, 'i1.wav', 'absent.wav', 'i3.wav', '--step', 'bench.idle,rest.idle,rest.idle');
    expect(filed.map((f) => [f.step, f.from])).toEqual([['bench.idle', 'i1.wav'], ['rest.idle', 'i3.wav']]);
    expect(refused.map((r) => r.code)).toEqual(['cli.file']);
  });

  it('gives general takes their steps in order', async () => {
    const job = newJob();
    writeRecording(at('general.wav'), after(pair(''), pair('')));
    writeRecording(at('hiss.wav'), idle(6, 1));
    const { filed } = await importJson(0, job, 'general.wav', 'hiss.wav', '--step', 'bench.take,rest.take,rest.idle');
    expect(filed.map((f) => f.step)).toEqual(['bench.take', 'rest.take', 'rest.idle']);
    expect(filed[0]!.atS).toBeLessThan(filed[1]!.atS);
  });

  it.each([
    ['too many', 'bench.take,rest.take', 'general1.wav', /--step names 2 steps, but the recordings hold 1; nothing was filed/],
    ['too few', 'bench.take', 'general2.wav', /--step names 1 step, but the recordings hold 2; nothing was filed/],
    ['more than one for an idle capture', 'bench.idle,rest.idle', 'hiss2.wav', /--step names 2 steps, but the recordings hold 1; nothing was filed/],
  ])('files nothing where there are %s steps', async (_what, steps, file, sentence) => {
    const job = newJob();
    if (file === 'general1.wav') writeRecording(at(file), pair(''));
    if (file === 'general2.wav') writeRecording(at(file), after(pair(''), pair('')));
    if (file === 'hiss2.wav') writeRecording(at(file), idle(6, 1));
    const before = contentsOf(at(job));
    const done = await run('import', job, file, '--step', steps);
    expect([done.exit, done.out]).toEqual([2, '']);
    expect(done.err).toMatch(sentence);
    expect(contentsOf(at(job))).toEqual(before);
  });
});

describe('options that do not fit are refused with exit code 2', () => {
  it.each([
    [['x.wav', '--step', 'rest.idel'], /The job has no step "rest\.idel" \(did you mean rest\.idle\?\)/],
    [['x.wav', '--outputs', 'A,B', '--step', 'rest.idle'], /--outputs A,B does not name one output for each of the 1 file; give mono files and their outputs in the same order, all of A,B/],
    [['x.wav', 'y.wav', '--outputs', 'A,C', '--step', 'rest.idle'], /--outputs A,C does not name one output/],
    [['x.wav', 'y.wav', '--outputs', 'A,A', '--step', 'rest.idle'], /--outputs A,A does not name one output/],
    [[], /import needs <wav\.\.\.>, recordings; as in/],
  ])('%j', async (argv, sentence) => {
    const job = newJob();
    const before = contentsOf(at(job));
    const done = await run('import', job, ...argv);
    expect([done.exit, done.out]).toEqual([2, '']);
    expect(done.err).toMatch(sentence);
    expect(done.err.trimEnd().split('\n')).toHaveLength(1);
    expect(contentsOf(at(job))).toEqual(before);
  });
});

describe('--as-is', () => {
  it('files what only sounds wrong, and keeps the sentence with it', async () => {
    const job = newJob();
    const [a] = pair('rest.take');
    writeRecording(at('quiet.wav'), [a!, noise(a!.length, 1e-6, 4)]);
    const { filed } = await importJson(0, job, 'quiet.wav', '--as-is');
    expect(filed[0]!.warning).toMatch(/output B is too quiet/);
    const sidecar = JSON.parse(readFileSync(at(job, 'captures/rest.take.json'), 'utf8')) as { remarks: string[] };
    expect(sidecar.remarks[0]).toMatch(/^Filed as it is, although: quiet\.wav: output B is too quiet/);
  });

  it('files the take of a loop that lets nothing through, and measure names the loop', async () => {
    const job = `job${++jobs}`;
    makeJob(at(job), `${TWO_OUT_BOARD}loops:\n  - { id: eq, name: equaliser, expect: unity }\n`, TWO_OUT_BENCH);
    // 6 dB lower on the recorder's scale than on the player's: no gain.
    writeRecording(at('rest.wav'), [1, 2].map((seed) => heard(takeFor('rest.take'), -6, seed)));
    writeRecording(at('dead.wav'), idle(16, 21));
    const refusal = await importJson(3, job, 'dead.wav', '--step', 'loop-eq.take');
    expect(refusal.refused.map((r) => r.code)).toEqual(['capture.take-unheard']);
    expect((await importJson(3, job, 'dead.wav', '--step', 'rest.take', '--as-is')).refused.map((r) => r.code)).toEqual(['capture.no-markers']);
    await importJson(0, job, 'rest.wav');
    const { filed } = await importJson(0, job, 'dead.wav', '--step', 'loop-eq.take', '--as-is');
    expect(filed.map((f) => [f.step, f.warning !== null])).toEqual([['loop-eq.take', true]]);
    const done = await run('measure', job, '--json');
    expect(done.exit).toBe(1);
    const { findings, verdict, problems } = JSON.parse(done.out) as { findings: { id: string; title: string }[]; verdict: { word: string; sentence: string }; problems: { code: string }[] };
    expect(problems.map((p) => p.code)).toEqual(['take.unheard']);
    expect(findings.map((f) => [f.id, f.title])).toEqual([['loop-silent/eq', 'Loop eq (equaliser) lets nothing through.']]);
    expect([verdict.word, verdict.sentence]).toEqual(['fail', 'Not within limits: loop eq (equaliser) lets nothing through.']);
  });

  it('files what looks like a switch or a load that was forgotten, which is refused else', async () => {
    const job = `job${++jobs}`;
    makeJob(at(job), TWO_OUT_BOARD.replace('name: second', 'name: second, polaritySwitch: true'), `${TWO_OUT_BENCH}loads: [{ id: load1k, output: A, resistance: 1k }]\n`);
    writeRecording(at('at rest.wav'), pair('rest.take'));
    const again = (step: string): Float64Array[] => [heard(takeFor(step), -3, 11), heard(takeFor(step), -4, 12)];
    writeRecording(at('forgotten.wav'), after(again('invert-B.take'), again('rest+load1k.take')));
    await importJson(0, job, 'at rest.wav');
    const { filed, refused } = await importJson(3, job, 'forgotten.wav');
    expect([filed, refused.map((r) => r.code)]).toEqual([[], ['capture.polarity-same', 'capture.load-not-heard']]);
    expect(refused[0]!.message).toContain('output B has the same polarity as in rest.take, where invert-B.take wants it inverted: is its polarity switch set to inverted?');
    expect(refused[1]!.message).toContain('output A reads as in rest.take to 0.00 dB, where load1k takes 0.40 dB off an output of 47 Ω: is the load connected?');
    // Filed before rest.take, or in one recording in front of it, they are held against it as soon as it is there.
    const late = `job${++jobs}`;
    makeJob(at(late), TWO_OUT_BOARD.replace('name: second', 'name: second, polaritySwitch: true'), TWO_OUT_BENCH);
    writeRecording(at('early.wav'), again('invert-B.take'));
    expect((await importJson(0, late, 'early.wav')).filedBefore).toEqual([]);
    const { filedBefore } = await importJson(0, late, 'at rest.wav');
    expect(filedBefore.map((p) => p.message)).toEqual([refused[0]!.message.replace('forgotten.wav', 'captures/invert-B.take.wav')]);
    const { conditions } = JSON.parse((await run('measure', late, '--json')).out) as { conditions: { remarks: string[] } };
    expect(conditions.remarks).toEqual(filedBefore.map((p) => `${p.message} To file it as it is, import it again with --as-is.`));
    const both = await importJson(3, late, 'early.wav', 'at rest.wav');
    expect([both.refused.map((r) => r.code), both.filed.map((f) => f.step)]).toEqual([['capture.polarity-same'], ['rest.take']]);

    const said = await importJson(0, job, 'forgotten.wav', '--as-is');
    expect(said.filed.map((f) => [f.step, f.warning])).toEqual(refused.map((r, i) => [['invert-B.take', 'rest+load1k.take'][i], r.message]));
  });

  it('files a switching capture in which nobody pressed, which is refused else; its clicks then pass', async () => {
    const job = `job${++jobs}`;
    makeJob(at(job), `${TWO_OUT_BOARD}loops: [{ id: eq, expect: unity }]\n`, TWO_OUT_BENCH);
    writeRecording(at('nobody.wav'), idle(6, 31));
    const args = ['nobody.wav', '--step', 'rest.switching'];
    expect((await importJson(3, job, ...args)).refused.map((r) => r.code)).toEqual(['capture.no-press']);
    expect((await importJson(0, job, ...args, '--as-is')).filed[0]!.warning).toContain('no press of a switch was heard in 6 s');
    const clicks = async (): Promise<unknown[]> => {
      const { readings } = JSON.parse((await run('measure', job, '--json')).out) as { readings: { id: string; output: string; verdict: string }[] };
      return readings.filter((r) => r.id === 'click.peak').map((r) => r.verdict);
    };
    expect(await clicks()).toEqual(['pass', 'pass']);
    // Put into the folder by hand, nobody has said so.
    rmSync(at(job, 'captures/rest.switching.json'));
    expect(await clicks()).toEqual(['undecided', 'undecided']);
  });

  it('never files a damaged recording', async () => {
    const job = newJob();
    writeRecording(at('lost.wav'), pair('rest.take').map((x) => joined([x.subarray(0, seconds(8)), x.subarray(seconds(8) + 64)])));
    const { filed, refused } = await importJson(3, job, 'lost.wav', '--as-is');
    expect([filed, refused.map((r) => r.code)]).toEqual([[], ['capture.samples-lost']]);
  });
});
