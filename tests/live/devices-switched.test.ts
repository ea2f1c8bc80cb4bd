/**
 * Level stairs, loops and clicks that SoX made: it clips, inverts, delays and clicks as it is told, and the compiled program is to
 * find what it was told to do; and what it was not told, where a step wants it. Needs sox.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import type { Reading, Results } from '../../src/judge/results.js';
import { TWO_PERIODS_CREST_DB } from '../helpers/bursts.js';
import { onePercentAt, sineThrough } from '../helpers/clippers.js';
import { boardproof } from '../helpers/program.js';
import { makeJob } from '../helpers/recordings.js';
import { sox, throughSox } from '../helpers/third-party.js';
import { TWO_OUT_BENCH, TWO_OUT_BOARD } from '../helpers/two-out.js';

const root = mkdtempSync(join(tmpdir(), 'boardproof-switched-'));
afterAll(() => {
  rmSync(root, { recursive: true, force: true });
});

const FULL_SCALE_DBU = 18;
const db = (x: number): number => 20 * Math.log10(x);
/** 9 dB up, cut off at full scale by SoX, and 9 dB down again; the second with a direct voltage put under the wave meanwhile. */
const NINE_DB = 10 ** (9 / 20);
const symmetric = (x: number): number => Math.max(-1, Math.min(1, x * NINE_DB)) / NINE_DB;
const OFFSET = 0.15;
const oneSided = (x: number): number => Math.max(-1, Math.min(1, (x + OFFSET) * NINE_DB)) / NINE_DB - OFFSET;
const LATENCY_FRAMES = 157;

let results: Results;
const reading = (id: string, where: Partial<Pick<Reading, 'state' | 'output' | 'loop'>>): Reading => {
  const found = results.readings.filter((r) => r.id === id && Object.entries(where).every(([k, v]) => r[k as keyof Reading] === v));
  expect(found.length, `${id} ${JSON.stringify(where)}`).toBe(1);
  return found[0]!;
};
const close = (r: Reading, truth: number, allowed: number): void => {
  expect(r.value, r.id).toBeTypeOf('number');
  expect(Math.abs(r.value! - truth), `${r.id} in ${r.state}: read ${r.value}, is ${truth}`).toBeLessThanOrEqual(allowed);
};

beforeAll(async () => {
  makeJob(join(root, 'job'), TWO_OUT_BOARD.replace('outputs:', 'loops: [{ id: eq, expect: unity }, { id: echo, expect: effect }]\noutputs:').replace('name: second', 'name: second, polaritySwitch: true'), TWO_OUT_BENCH);
  expect(await boardproof(['signals', '--job', 'job', '--out', 'play'], { cwd: root })).toMatchObject({ exit: 0 });
  const play = (step: string): string => `play/${step}.wav`;
  const through = (step: string, a: string, b: string): string => throughSox(root, play(step), `${step}.part.wav`, a, b);
  const parts = [
    through('bench.take', 'gain 0', 'gain 0.01'),
    through('rest.take', 'gain -3', 'gain -4'),
    through('loop-eq.take', 'vol -0.73', 'vol 0.65'),
    // A passes the loop, B is taken before it.
    through('loop-echo.take', `gain -3 delay ${LATENCY_FRAMES}s`, 'gain -4'),
    through('rest.stairs', 'gain 9 gain -9', `dcshift ${OFFSET} gain 9 gain -9 dcshift -${OFFSET}`),
  ];
  sox(root, ...parts, '-b', '24', 'takes.wav');
  // Bursts of two periods of 1 kHz, at −40, −41, −46 and −47 dBFS, 1.2 s apart, over noise.
  const [bursts, gaps] = [[-40, -41, -46, -47], ['2', '1.198', '1.198', '1.198']];
  bursts.forEach((level, k) => {
    sox(root, '-r', '48000', '-n', '-b', '32', `burst${k}.wav`, 'synth', '0.002', 'sine', '1000', 'gain', String(level), 'pad', gaps[k]!, '0');
  });
  sox(root, 'burst0.wav', 'burst1.wav', 'burst2.wav', 'burst3.wav', '-b', '32', 'bursts.wav', 'pad', '0', '2');
  sox(root, '-r', '48000', '-n', '-b', '32', 'white.wav', 'synth', '18', 'whitenoise', 'gain', '-95');
  for (const c of [0, 1]) {
    sox(root, 'white.wav', '-b', '32', `hiss${c}.wav`, 'trim', String(9 * c), '7.6');
    sox(root, '-m', '-v', '1', 'bursts.wav', '-v', '1', `hiss${c}.wav`, '-b', '32', `clicks${c}.wav`);
  }
  sox(root, '-M', 'clicks0.wav', 'clicks1.wav', '-b', '24', 'switching.wav');
  for (const args of [['takes.wav'], ['switching.wav', '--step', 'rest.switching']]) {
    const run = await boardproof(['import', 'job', ...args, '--json'], { cwd: root });
    expect(run, run.err).toMatchObject({ exit: 0 });
  }
  const run = await boardproof(['measure', 'job', '--json'], { cwd: root });
  expect([1, 4], run.err).toContain(run.exit);
  results = JSON.parse(run.out) as Results;
});

it('headroom, and which clips on one side', () => {
  for (const [output, f] of [['A', symmetric], ['B', oneSided]] as const) {
    const truth = db(sineThrough(f, onePercentAt(f)).tone) + FULL_SCALE_DBU;
    // 0.02 dB of the reading between stairs, 0.01 dB of what an oversampled truth and a sampled clip differ by.
    close(reading('headroom', { state: 'rest', output }), truth, 0.03);
    close(reading('headroom.input', { state: 'rest', output }), db(onePercentAt(f)) + 12, 0.05);
  }
  expect(reading('headroom.even-odd', { output: 'A' }).remarks[0]).toBe('Both halves of the wave clip alike.');
  expect(reading('headroom.even-odd', { output: 'B' }).remarks[0]).toBe('One half of the wave clips before the other.');
});

it('a loop that inverts and is too loud, and one with latency', () => {
  close(reading('loop.gain', { state: 'loop-eq', output: 'A' }), db(0.73) + 3, 0.002);
  close(reading('loop.unity-error', { state: 'loop-eq', output: 'B' }), db(0.65) + 4, 0.003);
  expect([reading('loop.polarity', { state: 'loop-eq', output: 'A' }).value, reading('loop.polarity', { state: 'loop-eq', output: 'B' }).value]).toEqual([-1, 1]);
  close(reading('loop.droop.10k', { state: 'loop-eq', output: 'A' }), 0, 0.002);
  // 0.05 sample.
  close(reading('loop.delay', { state: 'loop-echo', output: 'A' }), (1e6 * LATENCY_FRAMES) / 48000, 1);
  for (const id of ['bleed', 'crosstalk.from-dry', 'crosstalk.to-dry']) expect(reading(id, {}).value!, id).toBeLessThan(-70);
});

it('clicks: four of them, two of each loop', () => {
  for (const output of ['A', 'B']) {
    expect(reading('click.count', { output }).value).toBe(4);
    // The samples meet the crest; noise 49 to 55 dB below it moves it by 0.05 dB.
    close(reading('click.peak', { output, loop: null }), -40 + TWO_PERIODS_CREST_DB + FULL_SCALE_DBU, 0.1);
    close(reading('click.peak', { output, loop: 'echo' }), -46 + TWO_PERIODS_CREST_DB + FULL_SCALE_DBU, 0.1);
    // Two periods: half the square of the peak for 2 ms, A-weighted about 0 dB around 1 kHz. As mean square in dBFS: −40 + 10·lg 0.002.
    close(reading('click.energy-a', { output, loop: null }), -40 + 10 * Math.log10(0.002) + FULL_SCALE_DBU, 0.6);
  }
});

it('a polarity switch that was forgotten is not filed, and the take with it over is', async () => {
  // Twice in one recording: the switch forgotten, then thrown.
  const takes = ['gain -4', 'gain -4 vol -1'].map((b, k) => throughSox(root, 'play/invert-B.take.wav', `inverted${k}.wav`, 'gain -3', b));
  sox(root, ...takes, '-b', '24', 'inverted.wav');
  const run = await boardproof(['import', 'job', 'inverted.wav', '--json'], { cwd: root });
  expect(run.exit).toBe(3);
  const { filed, refused } = JSON.parse(run.out) as { filed: { step: string; atS: number }[]; refused: { code: string; message: string }[] };
  expect(refused.map((r) => r.code)).toEqual(['capture.polarity-same']);
  expect(refused[0]!.message).toContain('output B has the same polarity as in rest.take, where invert-B.take wants it inverted');
  expect(filed).toEqual([expect.objectContaining({ step: 'invert-B.take', atS: expect.closeTo(16.66, 2) as number })]);
});
