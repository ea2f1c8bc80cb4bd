/**
 * Devices that are not ours: SoX and FFmpeg do to a take what a board does, and the compiled program is to find what they
 * were told to do. What differs only in format, rate or clock goes through the same functions without the program around them.
 * Needs sox and ffmpeg.
 */
import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { fileSource } from '../../cli/files.js';
import { readBench, readBoard } from '../../src/board/read.js';
import { parseStepId } from '../../src/board/states.js';
import { stepCode } from '../../src/board/step-code.js';
import { judgeReadings } from '../../src/judge/judge-job.js';
import { limitSets } from '../../src/judge/limit-sets.js';
import type { Reading, Results } from '../../src/judge/results.js';
import { measureJob } from '../../src/measure/job.js';
import { findTakes } from '../../src/measure/take-search.js';
import { clockRatioOf, measureTake } from '../../src/measure/take.js';
import { wavRecording } from '../../src/measure/wav-recording.js';
import { readWavInfo } from '../../src/wav/header.js';
import { boardproof } from '../helpers/program.js';
import { makeJob } from '../helpers/recordings.js';
import { halfPowerHz, meanPowerBetween, onePolePower, sox, throughFfmpeg, throughSox, ffmpeg } from '../helpers/third-party.js';
import { TWO_OUT_BENCH, TWO_OUT_BOARD } from '../helpers/two-out.js';

const root = mkdtempSync(join(tmpdir(), 'boardproof-devices-'));

/** Largest error met per figure over all cases: said at the end, for the log. */
const largest = new Map<string, { error: number; unit: string; allowed: number; where: string }>();

function within(figure: string, got: number | null | undefined, truth: number, allowed: number, unit: string, where: string): void {
  expect(got, `${figure}, ${where}: no value`).toBeTypeOf('number');
  const error = Math.abs(got! - truth);
  const before = largest.get(figure);
  if (!before || error / allowed > before.error / before.allowed) largest.set(figure, { error, unit, allowed, where });
  expect(error, `${figure}, ${where}: read ${got}, is ${truth} ${unit}`).toBeLessThanOrEqual(allowed);
}

afterAll(() => {
  const lines = [...largest].map(([figure, { error, unit, allowed, where }]) => `${figure.padEnd(34)}${error.toPrecision(2).padStart(9)} ${unit.padEnd(7)} of ${allowed.toPrecision(2)} allowed   (${where})`);
  process.stdout.write(`Largest errors on third-party devices\n${lines.join('\n')}\n`);
  rmSync(root, { recursive: true, force: true });
});

const STEPS = ['bench.take', 'lead+plug10k.take', 'rest.take', 'rest+plug10k.take'] as const;

function newJob(name: string): string {
  makeJob(join(root, name), TWO_OUT_BOARD, TWO_OUT_BENCH);
  return name;
}

async function imported(job: string, ...args: readonly string[]): Promise<{ filed: { step: string; clockRatioPpm: number | null; atS: number }[] }> {
  const run = await boardproof(['import', job, ...args, '--json'], { cwd: root });
  expect(run, run.err).toMatchObject({ exit: 0 });
  return JSON.parse(run.out) as { filed: { step: string; clockRatioPpm: number | null; atS: number }[] };
}

async function measured(job: string): Promise<Results> {
  const run = await boardproof(['measure', job, '--json'], { cwd: root });
  expect([0, 1, 4], run.err).toContain(run.exit);
  return JSON.parse(run.out) as Results;
}

/** What is looked at of results. */
type Found = Pick<Results, 'readings'> & { readonly curves: readonly Pick<Results['curves'][number], 'kind' | 'state' | 'output' | 'x' | 'y' | 'high'>[]; readonly takes: readonly { readonly step: string; readonly clockRatioPpm: number }[] };
const foundIn = (results: Results): Found => ({ ...results, takes: results.captures.map(({ step, take }) => ({ step, clockRatioPpm: take!.clockRatioPpm })) });

const [boardFile, benchFile] = [readBoard(TWO_OUT_BOARD), readBench(TWO_OUT_BENCH, ['A', 'B'])];
if (!boardFile.ok || !benchFile.ok) throw new Error('the board or the bench of this test is not valid');
const [board, bench] = [boardFile.value, benchFile.value];

/** The takes of a recording, by the functions that the program uses. */
function foundBy(file: string): Found {
  const source = fileSource(join(root, file));
  try {
    const recording = wavRecording(source, readWavInfo(source));
    const estimates = findTakes(recording).takes.map((located) => {
      const id = STEPS.find((s) => stepCode(s) === located.identity.stepCode)!;
      return { step: { id, ...parseStepId(id)! }, kind: 'take' as const, inputs: measureTake(recording, located, [0, 1]) };
    });
    const measuredJob = measureJob(board, bench, estimates);
    const { readings } = judgeReadings({ board, bench, limits: limitSets['stage']!, measured: measuredJob, problems: [] });
    return { readings, curves: measuredJob.curves, takes: estimates.map(({ step, inputs }) => ({ step: step.id, clockRatioPpm: (clockRatioOf(inputs[0]!.located) - 1) * 1e6 })) };
  } finally {
    source.close();
  }
}

function reading(results: Pick<Results, 'readings'>, id: string, where: Partial<Pick<Reading, 'state' | 'source' | 'output'>>): Reading {
  const found = results.readings.filter((r) => r.id === id && Object.entries(where).every(([k, v]) => r[k as keyof Reading] === v));
  expect(found.length, `${id} ${JSON.stringify(where)}`).toBe(1);
  return found[0]!;
}

/** What the devices of a case do: dB against the bench, frames at the player's rate, corner of a one-pole low-pass. */
interface Truth {
  readonly gainDb: Readonly<Record<'A' | 'B', number>>;
  readonly delayS: number;
  readonly polarityB: 1 | -1;
  readonly cornerHz: Readonly<Record<'A' | 'B', number>>;
  /** Sample rate at which the filters ran. */
  readonly filterRateHz: number;
  readonly clockPpm: number;
}


function check(results: Found, truth: Truth, where: string, { curve: withCurve = true } = {}): void {
  for (const output of ['A', 'B'] as const) {
    const rest = { state: 'rest', source: null, output };
    within('gain', reading(results, 'gain.1k', rest).value, truth.gainDb[output], 0.02, 'dB', `${where}, ${output}`);
    expect(reading(results, 'polarity', rest).value, `${where}: polarity of ${output}`).toBe(output === 'A' ? 1 : truth.polarityB);

    const power = onePolePower(truth.cornerHz[output], truth.filterRateHz);
    const plugged = { state: 'rest', source: 'plug10k', output };
    const trueCorner = halfPowerHz(power);
    const found = reading(results, 'corner.-3db', plugged);
    expect(found.bound).toBeNull();
    within('−3 dB corner', (100 * found.value!) / trueCorner, 100, 0.5, '%', `${where}, ${output}`);
    const droop = (hz: number): number => 10 * Math.log10(power(hz) / meanPowerBetween(power, 200, 500));
    within('droop at 5 and 10 kHz', reading(results, 'droop.5k', plugged).value, droop(5000), 0.02, 'dB', `${where}, ${output}`);
    within('droop at 5 and 10 kHz', reading(results, 'droop.10k', plugged).value, droop(10000), 0.02, 'dB', `${where}, ${output}`);

    // The curve from 20 Hz to 20 kHz, from its own level at 200 to 500 Hz.
    const curve = results.curves.find((c) => c.kind === 'tone-loss' && c.state === 'rest' && c.output === output)!;
    if (withCurve) curve.x.values.forEach((x, i) => {
      const hz = x!;
      // Beside what the noise of the file itself allows, which the curve states: 16 bits are heard 16 dB down.
      const own = curve.high![i]! - curve.y.values[i]!;
      within('response, 20 Hz to 20 kHz', curve.y.values[i], droop(hz), 0.02 + own, 'dB', `${where}, ${output}, ${hz.toFixed(0)} Hz`);
    });
  }
  const pair = { state: 'rest', output: 'A:B' };
  within('level match', reading(results, 'match.level', pair).value, truth.gainDb.B - truth.gainDb.A, 0.02, 'dB', where);
  expect(reading(results, 'match.polarity', pair).value, `${where}: polarity of B against A`).toBe(truth.polarityB);
  // In samples of 1/48000 s whatever the recorder ran at.
  within('delay between outputs', (reading(results, 'match.delay', pair).value! * 48000) / 1e6, truth.delayS * 48000, 0.05, 'samples', where);
  expect(results.takes.map((t) => t.step).sort()).toEqual([...STEPS].sort());
  for (const { step, clockRatioPpm } of results.takes) within('clock ratio', clockRatioPpm, truth.clockPpm, 0.5, 'ppm', `${where}, ${step}`);
}

/** Takes as the program renders them for a job. */
async function rendered(job: string, rate: number): Promise<string> {
  const folder = `play-${rate}`;
  expect(await boardproof(['signals', '--job', job, '--rate', String(rate), '--out', folder], { cwd: root })).toMatchObject({ exit: 0 });
  return folder;
}

beforeAll(async () => {
  newJob('first');
  for (const rate of [44100, 48000, 96000]) await rendered('first', rate);
});

/** All four takes through SoX, in one long recording, the bench last. */
function recording(rate: number, into: string, b: { readonly gain: string; readonly delay: string; readonly sign: 1 | -1 }): string {
  if (existsSync(join(root, into))) return into;
  const play = (step: string): string => `play-${rate}/${step}.wav`;
  throughSox(root, play('rest+plug10k.take'), 'p.wav', 'gain -1.5 lowpass -1 3000', `vol ${b.sign} gain -2 lowpass -1 5000`);
  throughSox(root, play('rest.take'), 'r.wav', 'gain -4.5', `${b.gain} ${b.delay}`);
  throughSox(root, play('lead+plug10k.take'), 'l.wav', 'gain -1.5', 'gain -2');
  throughSox(root, play('bench.take'), 'b.wav', 'gain -1', 'gain -1.3');
  sox(root, 'p.wav', 'r.wav', 'l.wav', 'b.wav', '-b', '32', into);
  return into;
}

const INVERTED = { gain: 'vol -0.5', delay: 'delay 37s', sign: -1 } as const;
const GAIN_B = 20 * Math.log10(0.5) + 1.3;

const plain = (rate: number, delayS: number, polarityB: 1 | -1): Omit<Truth, 'clockPpm'> => ({
  gainDb: { A: -3.5, B: GAIN_B },
  delayS,
  polarityB,
  cornerHz: { A: 3000, B: 5000 },
  filterRateHz: rate,
});

describe('SoX as the board', () => {
  it.each([
    { name: '24-bit extensible, by the program', played: 48000, finish: ['-b', '24'], effects: [], clockPpm: 0, whole: true },
    { name: '16-bit', played: 48000, finish: ['-b', '16'], effects: [], clockPpm: 0, whole: false },
    { name: '32-bit float', played: 48000, finish: ['-e', 'floating-point', '-b', '32'], effects: [], clockPpm: 0, whole: false },
    { name: '48 to 44.1 kHz', played: 48000, finish: ['-b', '24'], effects: ['rate', '-v', '44100'], clockPpm: 0, whole: false },
    { name: '48 to 96 kHz', played: 48000, finish: ['-b', '24'], effects: ['rate', '-v', '96000'], clockPpm: 0, whole: false },
    { name: '44.1 to 48 kHz', played: 44100, finish: ['-b', '24'], effects: ['rate', '-v', '48000'], clockPpm: 0, whole: false },
    { name: 'clocks 300 ppm apart', played: 48000, finish: ['-b', '24'], effects: ['speed', '0.9997', 'rate', '-v', '48000'], clockPpm: (1 / 0.9997 - 1) * 1e6, whole: false },
    { name: 'clocks -300 ppm, 96 to 44.1, by the program', played: 96000, finish: ['-b', '24'], effects: ['speed', '1.0003', 'rate', '-v', '44100'], clockPpm: (1 / 1.0003 - 1) * 1e6, whole: true },
  ])('$name', async ({ name, played, finish, effects, clockPpm, whole }) => {
    sox(root, recording(played, `whole-${played}.wav`, INVERTED), ...finish, 'recorded.wav', ...effects);
    const truth = { ...plain(played, 37 / played, -1), clockPpm };
    if (!whole) {
      check(foundBy('recorded.wav'), truth, name);
      return;
    }
    const job = newJob(`sox ${name}`);
    const { filed } = await imported(job, 'recorded.wav');
    expect(filed.map((f) => f.step)).toEqual(['rest+plug10k.take', 'rest.take', 'lead+plug10k.take', 'bench.take']);
    check(foundIn(await measured(job)), truth, name);
  });

  it('a delay of a part of a sample', () => {
    // 41 samples at four times the rate: 10.25.
    sox(root, recording(48000, 'part.wav', { gain: 'vol 0.5', delay: 'rate -v 192000 delay 41s rate -v 48000', sign: 1 }), '-b', '24', 'recorded.wav');
    check(foundBy('recorded.wav'), { ...plain(48000, 10.25 / 48000, 1), clockPpm: 0 }, 'part of a sample');
  });

  it('noise and a hum under the takes', () => {
    const whole = recording(48000, 'whole-48000.wav', INVERTED);
    // White noise at −90 dBFS peak (−91.8 dBFS) and 50 Hz at −70 dBFS: 72 dB and 50 dB under the take.
    sox(root, '-r', '48000', '-n', '-c', '2', '-b', '32', 'hiss.wav', 'synth', '63', 'whitenoise', 'gain', '-90');
    sox(root, '-r', '48000', '-n', '-c', '2', '-b', '32', 'hum.wav', 'synth', '63', 'sine', '50', 'gain', '-70');
    sox(root, '-m', '-v', '1', whole, '-v', '1', 'hiss.wav', '-v', '1', 'hum.wav', '-b', '24', 'recorded.wav');
    // The response at 50 Hz is the hum's as much as the sweep's, so the curve is left to the quiet cases.
    check(foundBy('recorded.wav'), { ...plain(48000, 37 / 48000, -1), clockPpm: 0 }, 'noise and hum', { curve: false });
  });
});

describe('FFmpeg as the board', () => {
  it('volume, lowpass, aeval and adelay, 24-bit RF64 at 44.1 kHz', async () => {
    const job = newJob('ffmpeg');
    const play = (step: string): string => `play-48000/${step}.wav`;
    const lowpass = (hz: number): string => `lowpass=frequency=${hz}:poles=1:precision=f64`;
    throughFfmpeg(root, play('bench.take'), 'b.wav', 'volume=-1dB:precision=double', 'volume=-1.3dB:precision=double');
    throughFfmpeg(root, play('rest.take'), 'r.wav', 'volume=-4.5dB:precision=double', 'aeval=-0.5*val(0):c=same,adelay=37S:all=1');
    throughFfmpeg(root, play('lead+plug10k.take'), 'l.wav', 'volume=-1.5dB:precision=double', 'volume=-2dB:precision=double');
    throughFfmpeg(root, play('rest+plug10k.take'), 'p.wav', `volume=-1.5dB:precision=double,${lowpass(3000)}`, `volume=-2dB:precision=double,${lowpass(5000)},aeval=-val(0):c=same`);
    const inputs = ['r.wav', 'b.wav', 'p.wav', 'l.wav'];
    ffmpeg(root, ...inputs.flatMap((f) => ['-i', f]), '-filter_complex', `concat=n=4:v=0:a=1,aresample=44100:filter_size=256:cutoff=0.98`, '-c:a', 'pcm_s24le', '-rf64', 'always', 'recorded.wav');
    const { filed } = await imported(job, 'recorded.wav');
    expect(filed.map((f) => f.step)).toEqual(['rest.take', 'bench.take', 'rest+plug10k.take', 'lead+plug10k.take']);
    const results = await measured(job);
    check(foundIn(results), { ...plain(48000, 37 / 48000, -1), clockPpm: 0 }, 'FFmpeg');
    // Filed in the sample format it came in.
    expect(results.captures.map((c) => [c.sampleRateHz, c.format])).toEqual(STEPS.map(() => [44100, '24-bit PCM, extensible']));
  });
});

describe('noise of known level', () => {
  /** Level in dBFS (AES17) of SoX's white noise, uniform within ±peak: mean square peak²/3; its share of 20 Hz to 20 kHz. */
  const whiteDbfs = (peakDb: number, rate: number): number => peakDb + 10 * Math.log10(2 / 3) + 10 * Math.log10((20000 - 20) / (rate / 2));
  const FULL_SCALE_DBU = 18;

  it.each([44100, 48000, 96000])('white noise and a hum of 50.2 Hz, at %i Hz', async (rate) => {
    const job = newJob(`noise ${rate}`);
    const where = `${rate} Hz`;
    // SoX begins its noise with the same seed in every channel and every run: one long noise, cut into pieces.
    sox(root, '-r', String(rate), '-n', '-b', '32', 'white.wav', 'synth', '92', 'whitenoise');
    const white = (file: string, peakDb: number, seconds: number, fromS: number): void => {
      for (const c of [0, 1]) sox(root, 'white.wav', '-b', '32', `w${c}.wav`, 'trim', String(fromS + c * seconds), String(seconds), 'gain', String(peakDb));
      sox(root, '-M', 'w0.wav', 'w1.wav', '-b', '32', file);
    };
    white('bench.wav', -90, 15, 0);
    sox(root, 'bench.wav', '-b', '24', 'bench-idle.wav');
    white('hiss.wav', -80, 30, 32);
    // Mains at 50.2 Hz with a third harmonic, on B alone.
    sox(root, '-r', String(rate), '-n', '-b', '32', 'h1.wav', 'synth', '30', 'sine', '50.2', 'gain', '-75');
    sox(root, '-r', String(rate), '-n', '-b', '32', 'h3.wav', 'synth', '30', 'sine', '150.6', 'gain', '-85');
    sox(root, '-m', '-v', '1', 'h1.wav', '-v', '1', 'h3.wav', '-b', '32', 'mains.wav');
    sox(root, '-r', String(rate), '-n', '-b', '32', 'nothing.wav', 'trim', '0', '30');
    sox(root, '-M', 'nothing.wav', 'mains.wav', '-b', '32', 'onB.wav');
    sox(root, '-m', '-v', '1', 'hiss.wav', '-v', '1', 'onB.wav', '-b', '24', 'idle.wav');
    await imported(job, 'bench-idle.wav', 'idle.wav', '--step', 'bench.idle,rest.idle');
    const results = await measured(job);

    const power = (db: number): number => 10 ** (db / 10);
    const db = (x: number): number => 10 * Math.log10(x);
    const own = whiteDbfs(-90, rate);
    const hissDbfs = db(power(whiteDbfs(-80, rate)) - power(own));
    const humDbfs = db(power(-75) + power(-85));
    /** The calibration is in every stated uncertainty, and the files have none: only the spread is to count here. */
    const spread = (r: Reading): number => Math.sqrt(Math.max(0, (r.uncertainty ?? 0) ** 2 - 0.1 ** 2));
    for (const output of ['A', 'B'] as const) {
      const at = { state: 'rest', output };
      const inBench = reading(results, 'noise.unweighted', { state: 'bench', output });
      within('noise floor, unweighted', inBench.value, own + FULL_SCALE_DBU, 0.05 + spread(inBench), 'dB', `${where}, bench ${output}`);
      const flat = reading(results, 'noise.unweighted', at);
      const all = output === 'A' ? hissDbfs : db(power(hissDbfs) + power(humDbfs));
      within('noise floor, unweighted', flat.value, all + FULL_SCALE_DBU, 0.05 + spread(flat), 'dB', `${where}, ${output}`);
      const hiss = reading(results, 'noise.hiss', at);
      within('hiss beside hum', hiss.value, hissDbfs + FULL_SCALE_DBU, 0.05 + spread(hiss), 'dB', `${where}, ${output}`);
    }
    // White noise through the A curve, 20 Hz to 20 kHz: −2.048 dB (tests/standards/noise-weighting-gains.json).
    const weighted = reading(results, 'noise.a', { state: 'rest', output: 'A' });
    within('noise floor, A-weighted', weighted.value, hissDbfs - 2.048 + FULL_SCALE_DBU, 0.05 + spread(weighted), 'dB', where);
    const density = reading(results, 'noise.density-1k', { state: 'rest', output: 'A' });
    expect(density.unit).toBe('dBu/√Hz');
    within('density at 1 kHz', density.value, hissDbfs - db(20000 - 20) + FULL_SCALE_DBU, 0.05 + spread(density), 'dB', where);

    const mains = reading(results, 'hum.mains-frequency', { state: 'rest', output: 'B' });
    within('mains frequency', mains.value, 50.2, 0.02, 'Hz', where);
    const lines = { 'noise.hum': humDbfs, 'noise.hum.h1': -75, 'noise.hum.h3': -85 };
    for (const [id, dbfs] of Object.entries(lines)) {
      const hum = reading(results, id, { state: 'rest', output: 'B' });
      within('hum', hum.value, dbfs + FULL_SCALE_DBU, 0.05 + spread(hum), 'dB', `${where}, ${id}`);
    }
    expect(results.readings.filter((r) => r.id.startsWith('noise.hum.') && !['noise.hum.h1', 'noise.hum.h3'].includes(r.id) && r.value !== null)).toEqual([]);
    const clean = reading(results, 'noise.hum', { state: 'rest', output: 'A' });
    expect([clean.bound, clean.value! < -75 + FULL_SCALE_DBU - 20], 'no hum on A').toEqual(['upper', true]);
  });
});
