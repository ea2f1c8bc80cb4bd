/** A voltmeter's reading to what 0 dBFS is, and whether the bench is good enough. */
import { writeFileSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import type { Sight } from '../../src/capture/bench-sight.js';
import { fullScaleText, inputFullScale, outputFullScale, readMeter, toneLevel, voltsText } from '../../src/capture/calibration.js';
import type { Bench } from '../../src/board/model.js';
import { loopLoading } from '../../src/measure/calibration.js';
import { part } from '../../src/measure/figure.js';
import type { UncertaintyPart } from '../../src/measure/figure.js';
import { normalCdf } from '../../src/numerics/statistics.js';
import type { ResponseExtremes } from '../../src/measure/response.js';
import { encodeWav } from '../../src/wav/write.js';
import { chain, highPass, lowPass, through } from '../helpers/device.js';
import { runCli, temporaryFolder } from '../helpers/cli.js';
import type { CliRun } from '../helpers/cli.js';
import { noise } from '../helpers/random.js';
import { heard, makeJob, takeFor } from '../helpers/recordings.js';

const RATE = 48000;
const STATED = { output: { channel: 1, fullScaleDbu: null, resistanceOhm: 0 }, inputs: [] };
const standards = (text: string): number[] => readMeter(text)!.parts.map(({ standard }) => standard);
const partsOf = (level: ReturnType<typeof toneLevel>): readonly UncertaintyPart[] => ('parts' in level ? level.parts : []);

/** Share of the sum of a normal error and one that lies evenly within ± a that is within ± u, by quadrature. */
function held(standard: number, a: number, u: number): number {
  const points = 2000;
  return Array.from({ length: points }, (_, i) => a * ((2 * (i + 0.5)) / points - 1)).reduce((s, v) => s + normalCdf((u - v) / standard) - normalCdf((-u - v) / standard), 0) / points;
}

const tone = (dbfs: number, seconds: number, hz = 997, floor = 1e-6): Float64Array => noise(seconds * RATE, floor, 3).map((v, n) => v + 10 ** (dbfs / 20) * Math.sin((2 * Math.PI * hz * n) / RATE));

it('says volts as a meter shows them', () => {
  expect([0, 14, 24, 40, -20, -26, 74].map(voltsText)).toEqual(['0.775 V', '3.88 V', '12.3 V', '77.5 V', '77.5 mV', '38.8 mV', '3880 V']);
});

describe('a reading as it is typed', () => {
  it('is a level, with what the meter and its last digit leave open', () => {
    // 0 dBu is √0.6 V = 0.774597 V; 1 % is 0.0869 dB, half a step of 0.001 in 0.775 is 0.0065 %·0.95.
    expect(readMeter('0.775 V')!.dbu).toBeCloseTo(20 * Math.log10(0.775 / Math.sqrt(0.6)), 10);
    expect(readMeter('775 mV')!.dbu).toBeCloseTo(readMeter('0.775 V')!.dbu, 10);
    expect(readMeter('-2.2 dBu')).toMatchObject({ dbu: -2.2 });
    for (const [text, accuracy, step] of [
      ['0.775 V', 0.01, 0.001 / 0.775],
      ['.775 V', 0.01, 0.001 / 0.775],
      ['775 mV', 0.01, 1 / 775],
      ['775. mV', 0.01, 1 / 775],
      ['7.75e-1 V', 0.01, 0.01 / 7.75],
      ['0.8 V', 0.01, 0.1 / 0.8],
      ['775.0 mV ± 0.5 %', 0.005, 0.1 / 775],
      ['0.775 V +/- 4 mV', 0.004 / 0.775, 0.001 / 0.775],
      // What a maker states: a share and steps of the last digit, which add up.
      ['0.775 V ± 1 % ± 3 digits', 0.01 + 0.003 / 0.775, 0.001 / 0.775],
      ['0.775 V ± 0.5 % + 3 digits', 0.005 + 0.003 / 0.775, 0.001 / 0.775],
      ['775 mV ± (0.5 % + 10 counts)', 0.005 + 10 / 775, 1 / 775],
      ['775.0 mV ± 3 dgts', 0.01 + 0.3 / 775, 0.1 / 775],
    ] as const) {
      expect(standards(text), text).toEqual([accuracy / 2, step / Math.sqrt(12)].map((share) => expect.closeTo((20 / Math.LN10) * share, 9) as number));
    }
    for (const [text, accuracy, step] of [
      ['-2.20 dBu ± 0.05 dB', 0.05, 0.01],
      ['.5 dBu', 0.2 / Math.LN10, 0.1],
      ['-2.2 dBu ± 0.1 dB ± 2 digits', 0.3, 0.1],
    ] as const) {
      expect(standards(text), text).toEqual([accuracy / 2, step / Math.sqrt(12)].map((db) => expect.closeTo(db, 9) as number));
    }
    // U by the convolution of a normal and an even spread, to the 0.1 % of the rule for k: 1 % and half a millivolt of 775, normal alone; 1 % and a half step of 1/16, even alone.
    const within = outputFullScale(readMeter('0.775 V')!, 0, STATED).uncertaintyDb;
    expect(within).toBeCloseTo(8.6859 * 1.96 * Math.hypot(0.005, 0.0005 / 0.775 / Math.sqrt(3)), 3);
    expect(held(8.6859 * 0.005, (8.6859 * 0.05) / 0.8, outputFullScale(readMeter('0.8 V')!, 0, STATED).uncertaintyDb)).toBeCloseTo(0.95, 3);
    expect(held(8.6859 * 0.005, 8.6859 * 0.01, outputFullScale({ ...readMeter('0.775 V')!, parts: [part('calibration', '', 8.6859 * 0.005), part('calibration', '', (8.6859 * 0.01) / Math.sqrt(3), { distribution: 'rectangular' })] }, 0, STATED).uncertaintyDb)).toBeCloseTo(0.95, 3);
  });

  it('is refused where it could mean two things, or nothing', () => {
    for (const text of ['', '0.775', 'x', '0 V', '-1 V', '3 A', '0,775 V', '± 3 digits', '0.775 ± 3 digits', '0.775 V 3 digits', '0.775 V ± 1 % ± 2 % ± 3 digits']) expect(readMeter(text)).toBeNull();
  });
});

describe('the tone on an input', () => {
  it('is read to a thousandth of a decibel', () => {
    const level = toneLevel(tone(-23.4, 4), RATE);
    expect(level).toMatchObject({ dbfs: expect.closeTo(-23.4, 3) as number });
  });

  it('is known to what noise and drift leave', () => {
    // A sine fit errs by rms·√(2/N) of N samples, Hann weights make N of them 2N/3; the middle 70 % are fitted. Four fits tell the rms to 1 %.
    const rms = 10 ** (-60 / 20);
    const [quiet, ...more] = partsOf(toneLevel(tone(-20, 4, 997, rms), RATE));
    const relative = (rms / 0.1) * Math.sqrt(3 / (0.7 * 4 * RATE));
    expect(quiet!.standard / ((20 / Math.LN10) * relative)).toBeGreaterThan(0.98);
    expect(quiet!.standard / ((20 / Math.LN10) * relative)).toBeLessThan(1.05);
    expect(more).toEqual([]);
    // It rises by 0.04 dB evenly: the four pieces span three quarters of 0.7 of it, and half of that either way is even.
    const [, drift] = partsOf(toneLevel(tone(-20, 4).map((v, n) => v * 10 ** ((0.04 * n) / (4 * RATE) / 20)), RATE));
    expect(drift).toMatchObject({ distribution: 'rectangular', standard: expect.closeTo((0.04 * 0.7 * 0.75) / 2 / Math.sqrt(3), 4) as number });
  });

  it('errs as it says', () => {
    const rms = 10 ** (-54 / 20);
    const errors = Array.from({ length: 24 }, (_, seed) => {
      const x = noise(2 * RATE, rms, 500 + seed).map((v, n) => v + 0.1 * Math.sin((2 * Math.PI * 997 * n) / RATE));
      const level = toneLevel(x, RATE);
      if ('why' in level) throw new Error(level.why);
      return (level.dbfs + 20) / level.parts[0]!.standard;
    });
    // χ² of 24 degrees lies in 7 to 53 but once in 2000.
    const sum = errors.reduce((s, e) => s + e * e, 0);
    expect(sum).toBeGreaterThan(7);
    expect(sum).toBeLessThan(53);
  });

  it('is refused where it is none', () => {
    expect(toneLevel(tone(-200, 4), RATE)).toEqual({ why: 'it is not there' });
    expect(toneLevel(tone(-20, 4, 1000), RATE)).toEqual({ why: 'it is not there' });
    expect(toneLevel(tone(-20, 1), RATE)).toEqual({ why: '1.0 s are too short' });
    expect(toneLevel(tone(-20, 4, 997, 0.02), RATE)).toEqual({ why: expect.stringMatching(/dB above noise/) as string });
    // A twentieth of a decibel too loud makes harmonics far below what is refused as distortion.
    expect(toneLevel(tone(0.05, 4).map((v) => Math.max(-1, Math.min(1, v))), RATE)).toEqual({ why: 'it clips' });
    expect(toneLevel(tone(-0.05, 4), RATE)).toHaveProperty('dbfs');
    expect(toneLevel(tone(-20, 4).map((v, n) => v * (1 + n / 1e6)), RATE)).toEqual({ why: expect.stringMatching(/moves by/) as string });
  });
});

it('full scale is the reading less the level, and its tolerance is rounded up', () => {
  const reading = { dbu: -8.014, parts: [part('calibration', '', 0.0411 / 1.96)] };
  expect(fullScaleText(outputFullScale(reading, -20, STATED))).toBe('11.99 dBu ± 0.05 dB');
  expect(fullScaleText(inputFullScale(reading, { dbfs: -23, parts: [part('fit', '', 0.03 / 1.96)] }))).toBe('14.99 dBu ± 0.06 dB');
});

describe('what the inputs take off the output', () => {
  const benchOf = (outputOhm: number | null, ...inputOhms: (number | null)[]): Pick<Bench, 'output' | 'inputs'> => ({
    output: { channel: 1, fullScaleDbu: null, resistanceOhm: outputOhm },
    inputs: inputOhms.map((resistanceOhm, i) => ({ channel: i + 1, output: `${i}`, fullScaleDbu: null, resistanceOhm })),
  });

  it('is the divider of what bench.yaml states', () => {
    // 100 Ω into 10 kΩ: 20·lg(10 000/10 100) = −0.0864 dB; into two, 20·lg(5000/5100) = −0.1720 dB; 600 Ω into two, 20·lg(5000/5600) = −0.9844 dB.
    for (const [bench, db] of [[benchOf(100, 10e3), 0.0864], [benchOf(100, 10e3, 10e3), 0.172], [benchOf(600, 10e3, 10e3), 0.9844], [benchOf(0, 10e3), 0]] as const) {
      expect(loopLoading(bench)).toEqual({ lowDb: expect.closeTo(db, 4) as number, highDb: expect.closeTo(db, 4) as number });
    }
    const reading = { dbu: -8, parts: [] };
    expect(outputFullScale(reading, -20, benchOf(100, 10e3))).toEqual({ dbu: expect.closeTo(12.0864, 4) as number, uncertaintyDb: 0 });
  });

  it('is the middle of what it may be where they are not stated, and evenly uncertain', () => {
    expect(loopLoading(benchOf(100, null, null))).toEqual({ lowDb: 0, highDb: expect.closeTo(20 * Math.log10(1.04), 6) as number });
    expect(loopLoading(benchOf(null, 10e3))).toEqual({ lowDb: 0, highDb: expect.closeTo(20 * Math.log10(1.06), 6) as number });
    // Of one input stated and one not, the stated one counts for sure.
    expect(loopLoading(benchOf(100, 10e3, null))).toEqual({ lowDb: expect.closeTo(0.0864, 4) as number, highDb: expect.closeTo(20 * Math.log10(1.03), 6) as number });
    const { dbu, uncertaintyDb } = outputFullScale({ dbu: -8, parts: [] }, -20, benchOf(100, null));
    expect(dbu).toBeCloseTo(12.086, 4);
    // 95 % of an even spread are 0.95 of its half-width.
    expect(uncertaintyDb).toBeCloseTo(0.95 * 0.086, 3);
  });
});

/** A-weighted share of white noise, 20 Hz to 20 kHz of 0 to 24 kHz, dB, by the formula of IEC 61672-1 annex E. */
function aWeightedShareDb(): number {
  const a = (f: number): number => {
    const s = f * f;
    const r = (12194 ** 2 * s * s) / ((s + 20.6 ** 2) * Math.sqrt((s + 107.7 ** 2) * (s + 737.9 ** 2)) * (s + 12194 ** 2));
    return (r * 10 ** (2 / 20)) ** 2;
  };
  let sum = 0;
  for (let f = 20.5; f < 20_000; f++) sum += a(f);
  return 10 * Math.log10(sum / 24_000);
}

describe('the bench against the limits, from recordings of a bench', () => {
  /** What converters do at both ends: coupling capacitors, and a filter behind. */
  const converters = chain(highPass(6), lowPass(90_000));
  /** Room that each channel has to the limits of studio-quiet: noise −90 dBu A-weighted, hum −95 dBu, THD −60 dB. */
  const againstLimits = async (rooms: readonly [number, number]): Promise<{ json: CliRun; text: CliRun }> => {
    const cwd = temporaryFolder();
    makeJob(join(cwd, 'job'), 'format: boardproof-board/1\nboard: Two\nlimits: studio-quiet\noutputs: [{ id: A }, { id: B }]\n', 'format: boardproof-bench/1\nbench: bench 1\noutput: { channel: 1, resistance: 100 }\ninputs:\n  - { channel: 1, output: A, resistance: 1M }\n  - { channel: 2, output: B, resistance: 1M }\n');
    const record = (name: string, channels: readonly Float64Array[]): void => {
      writeFileSync(join(cwd, name), encodeWav(channels, { format: 'float32', sampleRateHz: RATE }));
    };
    // 0.7746 V is 0 dBu, heard at −12 dBFS: full scale is 12 dBu.
    record('tone.wav', [tone(-12, 4), tone(-12, 4)]);
    const sine = (dbfs: number, hz: number, n: number): number => 10 ** (dbfs / 20) * Math.sin((2 * Math.PI * hz * n) / RATE);
    record('idle.wav', rooms.map((room, c) => {
      // A sine of 0 dBFS has a mean square of a half: so has noise of 0 dBFS.
      const rms = 10 ** ((-90 - room - 12 - aWeightedShareDb()) / 20) / Math.SQRT2;
      return noise(8 * RATE, rms, 20 + c).map((v, n) => v + sine(-95 - room - 12, 50, n));
    }));
    // y = x + a·x² of a sine of 0.1 has a second harmonic of 0.05·a of it.
    record('take.wav', rooms.map((room, c) => heard(through(takeFor('bench.take'), RATE, converters).map((v) => v + (10 ** ((-60 - room) / 20) / 0.05) * v * v), 0, 30 + c)));
    expect((await runCli(['import', 'job', 'take.wav', 'idle.wav', '--step', 'bench.take,bench.idle'], { cwd })).exit).toBe(0);
    const calibrate = ['calibrate', 'job', 'tone.wav', '--reading', '0.7746 V ± 0.1 %', '--level', '-12'];
    return { json: await runCli([...calibrate, '--json'], { cwd }), text: await runCli(calibrate, { cwd }) };
  };

  it('is told with what would be read of a board at each limit, as data and in words', async () => {
    const runs = await againstLimits([6.3, -0.4]);
    const { againstLimits: sights, responses, roundTripS } = JSON.parse(runs.json.out) as { againstLimits: Sight[]; responses: ({ output: string } & ResponseExtremes)[]; roundTripS: null };
    expect(sights.map((s) => `${s.reading} ${s.output} ${s.boardAtLimit.bound ?? ''}`)).toEqual(['noise.a A ', 'noise.a B upper', 'noise.hum A ', 'noise.hum B upper', 'noise.whine A ', 'noise.whine B ', 'snr.a A ', 'snr.a B ', 'thd A ', 'thd B upper', 'headroom A ', 'headroom B ', 'click.peak A ', 'click.peak B ']);
    for (const s of sights.filter(({ reading }) => ['noise.a', 'noise.hum', 'thd'].includes(reading))) expect(Math.abs(s.roomDb - (s.output === 'A' ? 6.3 : -0.4))).toBeLessThan(0.15);
    expect(roundTripS).toBeNull();
    // Both corners at 20 Hz, less both at 1 kHz; the error of the response is 0.002 dB and its noise beside it.
    expect(responses.map(({ output, lowest }) => [output, lowest.hz])).toEqual([['A', 20], ['B', 20]]);
    for (const { lowest, highest } of responses) {
      expect(Math.abs(lowest.db + 10 * Math.log10((1 + 0.3 ** 2) / (1 + 0.006 ** 2)))).toBeLessThan(0.003 + lowest.uncertaintyDb);
      expect(Math.abs(highest.db)).toBeLessThan(0.003 + highest.uncertaintyDb);
      expect(lowest.uncertaintyDb).toBeLessThan(0.01);
    }
    const said = runs.text.out.replace(/\s+/g, ' ');
    expect(said).toMatch(/A-weighted noise A -96\.[234] dBu -90 dBu 6\.[234] dB -90\.0 ± 0\.\d dBu A-weighted noise B -89\.[567] dBu -90 dBu -0\.[345] dB < -86\.[678] dBu/);
    // Of 6.3 dB, q = 0.234: 1.96·4.34·√2·√((1 + q)·q) = 6.5 dB of hum, (1 + 2q) for it 7.1 dB of distortion.
    expect(said).toMatch(/hum A -101\.[234] dBu -95 dBu 6\.[234] dB -95\.0 ± 6\.[345] dBu hum B -94\.[567] dBu -95 dBu -0\.[345] dB < -8[67]\.\d dBu/);
    expect(said).toMatch(/distortion \(THD\) A -66\.[234] dB -60 dB 6\.[234] dB -60\.0 ± 7\.[01] dB distortion \(THD\) B -59\.[567] dB -60 dB -0\.[345] dB < -56\.[678] dB/);
    expect(said).toMatch(/headroom A > 11\.0 dBu 6 dBu 5\.0 dB 6\.0 ± 0\.1 dBu/);
    expect(said).toContain('its verdict would be "limited by the bench"');
    expect(said).toMatch(/Response of the bench itself from 20 Hz to 20 kHz.* A -0\.37 ± 0\.01 dB 20 Hz .* B -0\.37 ± 0\.01 dB 20 Hz/);
    expect(said).toContain('The round trip cannot be known from recordings');
  });
});

it('calibrates from a recording alone, without a device, and changes nothing else of bench.yaml', async () => {
  const cwd = temporaryFolder();
  const bench = 'format: boardproof-bench/1\nbench: bench 1 # ours\noutput: { channel: 1, resistance: 100 }\ninputs:\n  - { channel: 1, output: A, resistance: 10k }\n  - { channel: 2, output: B, resistance: 10k }\n';
  const job = makeJob(join(cwd, 'job'), 'format: boardproof-board/1\nboard: Two\noutputs: [{ id: A }, { id: B }]\n', bench);
  writeFileSync(join(cwd, 'tone.wav'), encodeWav([tone(-23, 4), tone(-26, 4)], { format: 'pcm24', sampleRateHz: RATE }));
  const done = await runCli(['calibrate', 'job', 'tone.wav', '--reading', '0.308 V ± 0.5 %', '--level', '-20'], { cwd });
  expect(done.exit).toBe(0);
  expect(readFileSync(join(job, 'bench.yaml'), 'utf8')).toBe(
    bench.replace('A, resistance: 10k }', 'A, resistance: 10k, fullScale: 14.99 dBu ± 0.05 dB }').replace('B, resistance: 10k }', 'B, resistance: 10k, fullScale: 17.99 dBu ± 0.05 dB }').replace('resistance: 100 }', 'resistance: 100, fullScale: 12.16 dBu ± 0.05 dB }'),
  );
  expect(await runCli(['calibrate', 'job', 'tone.wav'], { cwd })).toMatchObject({ exit: 2 });
  expect(await runCli(['calibrate', 'job', 'tone.wav', '--reading', '0.308'], { cwd })).toMatchObject({ exit: 2, err: expect.stringContaining('no reading of a voltmeter') as string });
  // Volts typed for millivolts: 60 dB too much, and nothing is written.
  const before = readFileSync(join(job, 'bench.yaml'), 'utf8');
  expect(await runCli(['calibrate', 'job', 'tone.wav', '--reading', '308 V', '--level', '-20'], { cwd })).toMatchObject({ exit: 2, err: expect.stringMatching(/72\.0\s+dBu[\s\S]*mV\s+or\s+V/) as string });
  expect(readFileSync(join(job, 'bench.yaml'), 'utf8')).toBe(before);
});
