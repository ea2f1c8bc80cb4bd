/** A voltmeter's reading to what 0 dBFS is, and whether the bench is good enough. */
import { writeFileSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { benchSight } from '../../src/capture/bench-sight.js';
import { fullScaleText, inputFullScale, outputFullScale, readMeter, toneLevel } from '../../src/capture/calibration.js';
import { limitSets } from '../../src/judge/limit-sets.js';
import { encodeWav } from '../../src/wav/write.js';
import { runCli, temporaryFolder } from '../helpers/cli.js';
import { noise } from '../helpers/random.js';
import { makeJob } from '../helpers/recordings.js';

const RATE = 48000;
const tone = (dbfs: number, seconds: number, hz = 997, floor = 1e-6): Float64Array => noise(seconds * RATE, floor, 3).map((v, n) => v + 10 ** (dbfs / 20) * Math.sin((2 * Math.PI * hz * n) / RATE));

describe('a reading as it is typed', () => {
  it('is a level, with what the meter and its last digit leave open', () => {
    // 0 dBu is √0.6 V = 0.774597 V; 1 % is 0.0869 dB, half a step of 0.001 in 0.775 is 0.0065 %·0.95.
    expect(readMeter('0.775 V')!.dbu).toBeCloseTo(20 * Math.log10(0.775 / Math.sqrt(0.6)), 10);
    expect(readMeter('775 mV')!.dbu).toBeCloseTo(readMeter('0.775 V')!.dbu, 10);
    expect(readMeter('0.775 V')!.uncertaintyDb).toBeCloseTo(8.6859 * Math.hypot(0.01, (0.475 * 0.001) / 0.775), 4);
    expect(readMeter('0.8 V')!.uncertaintyDb).toBeCloseTo(8.6859 * Math.hypot(0.01, (0.475 * 0.1) / 0.8), 3);
    expect(readMeter('775.0 mV ± 0.5 %')!.uncertaintyDb).toBeCloseTo(8.6859 * Math.hypot(0.005, (0.475 * 0.1) / 775), 4);
    expect(readMeter('-2.2 dBu')).toMatchObject({ dbu: -2.2 });
    expect(readMeter('-2.20 dBu ± 0.05 dB')!.uncertaintyDb).toBeCloseTo(Math.hypot(0.05, 0.00475), 6);
  });

  it('is refused where it could mean two things, or nothing', () => {
    for (const text of ['', '0.775', 'x', '0 V', '-1 V', '3 A', '0,775 V']) expect(readMeter(text)).toBeNull();
  });
});

describe('the tone on an input', () => {
  it('is read to a thousandth of a decibel', () => {
    const level = toneLevel(tone(-23.4, 4), RATE);
    expect(level).toMatchObject({ dbfs: expect.closeTo(-23.4, 3) as number });
  });

  it('is refused where it is none', () => {
    expect(toneLevel(tone(-200, 4), RATE)).toEqual({ why: 'it is not there' });
    expect(toneLevel(tone(-20, 4, 1000), RATE)).toEqual({ why: 'it is not there' });
    expect(toneLevel(tone(-20, 1), RATE)).toEqual({ why: '1.0 s are too short' });
    expect(toneLevel(tone(-20, 4, 997, 0.02), RATE)).toEqual({ why: expect.stringMatching(/dB above noise/) as string });
    expect(toneLevel(tone(3, 4).map((v) => Math.max(-1, Math.min(1, v))), RATE)).toHaveProperty('why');
    expect(toneLevel(tone(-20, 4).map((v, n) => v * (1 + n / 1e6)), RATE)).toEqual({ why: expect.stringMatching(/moves by/) as string });
  });
});

it('full scale is the reading less the level, and its tolerance is rounded up', () => {
  const reading = { dbu: -8.014, uncertaintyDb: 0.0411 };
  expect(fullScaleText(outputFullScale(reading, -20))).toBe('11.99 dBu ± 0.05 dB');
  expect(fullScaleText(inputFullScale(reading, { dbfs: -23, uncertaintyDb: 0.03 }))).toBe('14.99 dBu ± 0.06 dB');
});

it('the bench is held against the strictest limit on each figure', () => {
  const figures = [-100, -94.5, -91].map((value) => ({ reading: 'noise.a', output: 'A', value, unit: 'dBu' }) as const);
  expect(benchSight(figures, limitSets['studio-quiet']!).map((s) => [s.limit, s.sees])).toEqual([[-90, 'clear'], [-90, 'barely'], [-90, 'hidden']]);
  expect(benchSight(figures, { name: 'none', rows: [] })).toEqual([]);
});

it('calibrates from a recording alone, without a device, and changes nothing else of bench.yaml', async () => {
  const cwd = temporaryFolder();
  const bench = 'format: boardproof-bench/1\nbench: bench 1 # ours\ninputs:\n  - { channel: 1, output: A }\n  - { channel: 2, output: B }\n';
  const job = makeJob(join(cwd, 'job'), 'format: boardproof-board/1\nboard: Two\noutputs: [{ id: A }, { id: B }]\n', bench);
  writeFileSync(join(cwd, 'tone.wav'), encodeWav([tone(-23, 4), tone(-26, 4)], { format: 'pcm24', sampleRateHz: RATE }));
  const done = await runCli(['calibrate', 'job', 'tone.wav', '--reading', '0.308 V ± 0.5 %', '--level', '-20'], { cwd });
  expect(done.exit).toBe(0);
  expect(readFileSync(join(job, 'bench.yaml'), 'utf8')).toBe(
    bench.replace('output: A }', 'output: A, fullScale: 14.99 dBu ± 0.05 dB }').replace('output: B }', 'output: B, fullScale: 17.99 dBu ± 0.05 dB }') + 'output: { fullScale: 11.99 dBu ± 0.05 dB }\n',
  );
  expect(await runCli(['calibrate', 'job', 'tone.wav'], { cwd })).toMatchObject({ exit: 2 });
  expect(await runCli(['calibrate', 'job', 'tone.wav', '--reading', '0.308'], { cwd })).toMatchObject({ exit: 2, err: expect.stringContaining('no reading of a voltmeter') as string });
});
