/**
 * What is said of a board exactly at a limit is what is read of one: boards of known truth are recorded on benches of known noise and
 * distortion, and read with the bench's own taken off.
 */
import { describe, expect, it } from 'vitest';
import type { Bench, LimitRow, LimitSet } from '../../src/board/model.js';
import { benchSight } from '../../src/capture/bench-sight.js';
import type { Read, Sight, SightReading } from '../../src/capture/bench-sight.js';
import { expanded } from '../../src/judge/uncertainty.js';
import { levelScale } from '../../src/measure/calibration.js';
import { clickFigures } from '../../src/measure/click-figures.js';
import type { Figure } from '../../src/measure/figure.js';
import { measureIdle } from '../../src/measure/idle.js';
import { noiseFigures } from '../../src/measure/noise-figures.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { takeFigures } from '../../src/measure/take-figures.js';
import { measureSwitching } from '../../src/measure/switching.js';
import { findTakes } from '../../src/measure/take-search.js';
import { measureTake, measureTone } from '../../src/measure/take.js';
import type { TakeEstimate } from '../../src/measure/take.js';
import { noise } from '../helpers/random.js';
import { RATE, heard, takeFor } from '../helpers/recordings.js';

const FULL_SCALE_DBU = 12;
const benchOf = (channels: number): Bench => ({
  name: 'bench',
  sampleRateHz: RATE,
  output: { channel: 1, fullScaleDbu: { value: FULL_SCALE_DBU, tolerance: 0.05 }, resistanceOhm: 100 },
  inputs: Array.from({ length: channels }, (_, i) => ({ channel: i + 1, output: `${i}`, fullScaleDbu: { value: FULL_SCALE_DBU, tolerance: 0.05 }, resistanceOhm: 1e6 })),
  plugs: [],
  lead: null,
});
const row = (reading: SightReading, side: 'max' | 'min', value: number, unit: string): LimitRow => ({ reading, states: null, expect: null, max: null, min: null, within: null, [side]: value, unit, basis: 'for this test' });
const limitsOf = (...rows: LimitRow[]): LimitSet => ({ name: 'these', rows });
const place = { state: 'rest', source: null, output: '0', loop: null, capture: [] };
const asRead = (figures: readonly Figure[], id: string): Read => {
  const { value, parts, bound } = figures.find((f) => f.id === id)!;
  return { value: value!, uncertainty: expanded(parts!), bound };
};
const of = (sights: readonly Sight[], reading: SightReading): Sight[] => sights.filter((s) => s.reading === reading);
/** Amplitude of a sine of so many dBu. */
const amplitudeOf = (dbu: number): number => 10 ** ((dbu - FULL_SCALE_DBU) / 20);
const sum = (...waves: readonly Float64Array[]): Float64Array => waves[0]!.map((_, n) => waves.reduce((s, w) => s + w[n]!, 0));

/** A take of a bench without distortion; the others are this one with another tone. */
const cleanTake = ((): TakeEstimate => {
  const recording = memoryRecording([heard(takeFor('bench.take'), 0, 80)], RATE);
  return measureTake(recording, findTakes(recording).takes[0]!, [0])[0]!;
})();

const THD_DB = -60;
const THD_ROOMS = [3, 4.4, 5.2, 9, 20];
/** Of a tone of −20 dBFS its second harmonic, so many dB below it, and a quarter of a turn on. */
const bent = (db: number, phase: number): Float64Array => Float64Array.from({ length: 1.75 * RATE }, (_, n) => 0.1 * 10 ** (db / 20) * Math.cos((2 * Math.PI * 1994 * n) / RATE + phase));
const dry = Float64Array.from({ length: 1.75 * RATE }, (_, n) => 0.1 * Math.cos((2 * Math.PI * 997 * n) / RATE));
const takeOf = (tone: Float64Array, seed: number): TakeEstimate => ({ ...cleanTake, tone: measureTone(heard(tone, 0, seed), RATE, 997, 0) });
const benchTakes = [...THD_ROOMS.map((room, c) => takeOf(sum(dry, bent(THD_DB - room, 0)), 60 + c)), cleanTake];
const boardTakes = THD_ROOMS.map((room, c) => takeOf(sum(dry, bent(THD_DB - room, 0), bent(THD_DB, Math.PI / 2)), 70 + c));

describe('noise', () => {
  const SECONDS = 4;
  /** The bench is better than the limits by so much. */
  const ROOMS = [-1.5, 1.5, 6, 20];
  const LIMITS = { hum: -95, whine: -100 };
  const sine = (dbu: number, hz: number, phase: number): Float64Array => Float64Array.from({ length: SECONDS * RATE }, (_, n) => amplitudeOf(dbu) * Math.sin((2 * Math.PI * hz * n) / RATE + phase));
  const FLOOR_DBU = -112;
  const floor = (seed: number): Float64Array => noise(SECONDS * RATE, amplitudeOf(FLOOR_DBU) / Math.SQRT2, seed);
  const lines = (room: number, phase: number): Float64Array => sum(sine(LIMITS.hum - room, 50, phase), sine(LIMITS.whine - room, 3141.6, phase));
  const benchWaves = ROOMS.map((room, c) => sum(floor(10 + c), lines(room, 0)));
  // A quarter of a turn between bench and board: the sum has the sum of the powers, what it is in the mean of all phases.
  const boardWaves = benchWaves.map((own) => sum(own, lines(0, Math.PI / 2)));
  const all = measureIdle(memoryRecording([...benchWaves, ...boardWaves], RATE), 50, false);
  const [idle, board] = [all.slice(0, ROOMS.length), all.slice(ROOMS.length)];
  const bench = benchOf(ROOMS.length);
  const sights = benchSight(bench, { idle, take: null }, limitsOf(row('noise.hum', 'max', LIMITS.hum, 'dBu'), row('noise.hum', 'max', -85, 'dBu'), row('noise.whine', 'max', LIMITS.whine, 'dBu')));
  const readOf = (c: number, id: string): Read => asRead(noiseFigures(place, board[c]!, idle[c]!, levelScale(bench.inputs[c]!)), id);

  it.each(['noise.hum', 'noise.whine'] as const)('%s: as it is read of a board at the limit, be it a bound or a figure', (id) => {
    const own = of(sights, id);
    expect(own.map(({ boardAtLimit }) => boardAtLimit.bound)).toEqual(['upper', null, null, null]);
    own.forEach(({ roomDb, limit, boardAtLimit }, c) => {
      const read = readOf(c, id);
      expect(limit).toBe(id === 'noise.hum' ? LIMITS.hum : LIMITS.whine);
      // The lines stand 20 dB and more over the floor: 0.3 dB is three times their scatter.
      expect(Math.abs(roomDb - ROOMS[c]!), `room ${ROOMS[c]!}`).toBeLessThan(0.3);
      expect(read.bound).toBe(boardAtLimit.bound);
      expect(Math.abs(read.value - boardAtLimit.value), `room ${ROOMS[c]!}`).toBeLessThan(0.5);
      expect(Math.abs(read.uncertainty! / boardAtLimit.uncertainty! - 1), `room ${ROOMS[c]!}: ${read.uncertainty!} and ${boardAtLimit.uncertainty!}`).toBeLessThan(0.15);
    });
  });

  it('hum has the uncertainty of its phase in closed form, whine has none of it', () => {
    for (const { roomDb, boardAtLimit } of of(sights, 'noise.hum').slice(1)) {
      const q = 10 ** (-roomDb / 10);
      const relative = Math.SQRT2 * Math.sqrt((1 + q) * q);
      // From 0.2 on with k = 1.96; below, with that of a phase, 1.41 where it is nearly alone.
      const phase = (10 / Math.LN10) * relative * (relative < 0.2 ? Math.SQRT2 : 1.96);
      expect(boardAtLimit.uncertainty! / Math.hypot(phase, 0.05)).toBeGreaterThan(0.98);
      expect(boardAtLimit.uncertainty! / Math.hypot(phase, 0.05)).toBeLessThan(1.04);
    }
    expect(of(sights, 'noise.whine').at(-1)!.boardAtLimit.uncertainty).toBeLessThan(0.2);
    expect(Math.max(...of(sights, 'noise.whine').slice(1).map(({ boardAtLimit }) => boardAtLimit.uncertainty!))).toBeLessThan(0.6);
  });

  it('A-weighted and against the tone: a bound only where the bench is over the limit', () => {
    const quiet = benchOf(1);
    const ownA = of(benchSight(quiet, { idle, take: null }, limitsOf(row('noise.a', 'max', 0, 'dBu'))), 'noise.a')[0]!.bench.value;
    const ownSnr = benchSight(quiet, { idle, take: [cleanTake] }, limitsOf(row('snr.a', 'min', 0, 'dB')))[0]!.bench.value;
    // The tone is played at −20 dBFS.
    expect(ownSnr).toBeCloseTo(FULL_SCALE_DBU - 20 - ownA, 2);
    const at = (room: number): readonly [Sight, Sight] => benchSight(quiet, { idle, take: [cleanTake] }, limitsOf(row('snr.a', 'min', ownSnr - room, 'dB'), row('snr.a', 'min', 0, 'dB'), row('noise.a', 'max', ownA + room, 'dBu'))) as unknown as readonly [Sight, Sight];
    for (const room of [-0.5, 0.5, 3, 12]) {
      const [a, snr] = at(room);
      expect([a.reading, snr.reading]).toEqual(['noise.a', 'snr.a']);
      expect([a.roomDb, snr.roomDb]).toEqual([expect.closeTo(room, 6), expect.closeTo(room, 6)]);
      if (room < 0) {
        // Bench and board together: q = 10^0.05 of the limit's power more.
        expect([a.boardAtLimit.bound, snr.boardAtLimit.bound]).toEqual(['upper', 'lower']);
        expect(a.boardAtLimit.value - a.limit).toBeCloseTo(10 * Math.log10(1 + 10 ** 0.05), 6);
        expect(snr.boardAtLimit.value - snr.limit).toBeCloseTo(-10 * Math.log10(1 + 10 ** 0.05), 6);
        continue;
      }
      expect([a.boardAtLimit.bound, snr.boardAtLimit.bound]).toEqual([null, null]);
      expect([a.boardAtLimit.value, snr.boardAtLimit.value]).toEqual([expect.closeTo(a.limit, 6), expect.closeTo(snr.limit, 6)]);
      // Of the calibration in the one, and not in the other.
      expect(a.boardAtLimit.uncertainty!).toBeGreaterThan(0.98 * 0.05);
      expect(a.boardAtLimit.uncertainty! ** 2 - snr.boardAtLimit.uncertainty! ** 2).toBeCloseTo((0.98 * 0.05) ** 2, 4);
    }
  });

  it('a bench without hum has the best answer, and is told', () => {
    const [clean] = measureIdle(memoryRecording([floor(50)], RATE), 50, false);
    const [hum, whine] = benchSight(benchOf(1), { idle: [clean!], take: null }, limitsOf(row('noise.hum', 'max', LIMITS.hum, 'dBu'), row('noise.whine', 'max', LIMITS.whine, 'dBu'))) as [Sight, Sight];
    for (const sight of [hum, whine]) {
      expect(sight.bench.bound).toBe('upper');
      expect(sight.roomDb).toBeGreaterThan(15);
      expect(sight.boardAtLimit).toMatchObject({ bound: null, value: expect.closeTo(sight.limit, 6) as number });
      expect(sight.boardAtLimit.uncertainty!).toBeLessThan(0.3);
    }
  });
});

describe('distortion', () => {
  const bench = benchOf(benchTakes.length);
  const sights = benchSight(bench, { idle: null, take: benchTakes }, limitsOf(row('thd', 'max', THD_DB, 'dB')));

  it('as it is read of a board at the limit, be it a bound or a figure', () => {
    expect(sights.map(({ boardAtLimit }) => boardAtLimit.bound)).toEqual(['upper', 'upper', null, null, null, null]);
    THD_ROOMS.forEach((room, c) => {
      const { roomDb, boardAtLimit } = sights[c]!;
      const read = asRead(takeFigures(place, boardTakes[c]!, benchTakes[c]!, bench.inputs[c]!, bench, levelScale(bench.inputs[c]!)), 'thd');
      expect(Math.abs(roomDb - room)).toBeLessThan(0.1);
      expect(read.bound).toBe(boardAtLimit.bound);
      expect(Math.abs(read.value - boardAtLimit.value), `room ${room}`).toBeLessThan(0.1);
      // Of a bound it is the noise beside the harmonics alone, a few thousandths, which scatter by a third from take to take.
      expect(Math.abs(read.uncertainty! - boardAtLimit.uncertainty!), `room ${room}: ${read.uncertainty!} and ${boardAtLimit.uncertainty!}`).toBeLessThan(0.05 * boardAtLimit.uncertainty! + 0.001);
      if (read.bound !== null) return;
      const q = 10 ** (-room / 10);
      const phase = Math.SQRT2 * Math.sqrt((1 + 2 * q) * q);
      expect(Math.abs(boardAtLimit.uncertainty! / ((10 / Math.LN10) * phase * (phase < 0.2 ? Math.SQRT2 : 1.96)) - 1)).toBeLessThan(0.04);
    });
  });

  it('too low to be read is the best answer, and is told', () => {
    const clean = sights.at(-1)!;
    expect(clean.bench.bound).toBe('upper');
    expect(clean.roomDb).toBeGreaterThan(20);
    expect(clean.boardAtLimit).toMatchObject({ bound: null, value: expect.closeTo(THD_DB, 1) as number });
    expect(clean.boardAtLimit.uncertainty!).toBeLessThan(0.2);
  });
});

describe('clicks', () => {
  const LENGTH = 6 * RATE;
  const RMS = 1e-5;
  const floorOf = (seed: number): Float64Array => noise(LENGTH, RMS, seed);
  const bench = benchOf(1);
  const idle = measureIdle(memoryRecording([floorOf(5)], RATE), 50, false);
  const at = (limit: number): Sight => benchSight(bench, { idle, take: null }, limitsOf(row('click.peak', 'max', limit, 'dBu')))[0]!;
  // 6.7 times the rms is what noise reaches once in a day.
  const hidden = FULL_SCALE_DBU + 20 * Math.log10(6.7 * RMS);

  it('are hidden below what noise reaches by itself, and read above it', () => {
    expect(Math.abs(at(-50).bench.value - hidden)).toBeLessThan(0.1);
    expect(at(hidden - 1).boardAtLimit).toMatchObject({ bound: 'upper', value: expect.closeTo(hidden, 1) as number });
    expect(at(hidden + 1).boardAtLimit).toMatchObject({ bound: null, value: expect.closeTo(hidden + 1, 6) as number });
  });

  it('as one is read of a board', () => {
    const limit = hidden + 12;
    // 5 kHz that die away in 2 ms: of them the high-pass at 100 Hz leaves all but a few hundredths of the first crest.
    const click = Float64Array.from({ length: LENGTH }, (_, n) => (n < 3 * RATE ? 0 : Math.exp(-(n - 3 * RATE) / 96) * Math.sin((2 * Math.PI * 5000 * (n - 3 * RATE)) / RATE)));
    const top = Math.max(...click.subarray(3 * RATE, 3 * RATE + 48));
    const [estimate] = measureSwitching(memoryRecording([sum(floorOf(6), click.map((v) => (v * amplitudeOf(limit)) / top))], RATE));
    const read = asRead(clickFigures(place, estimate!, [], levelScale(bench.inputs[0]!)), 'click.peak');
    const { boardAtLimit } = at(limit);
    expect([read.bound, boardAtLimit.bound]).toEqual([null, null]);
    expect(Math.abs(read.value - limit), `${read.value - limit}`).toBeLessThan(read.uncertainty! + 0.15);
    expect(read.uncertainty! / boardAtLimit.uncertainty!).toBeGreaterThan(0.5);
    expect(read.uncertainty! / boardAtLimit.uncertainty!).toBeLessThan(1.5);
  });
});

describe('headroom', () => {
  const at = (limit: number, inputDbu: number): Sight => {
    const [first] = benchOf(1).inputs;
    return benchSight({ ...benchOf(1), inputs: [{ ...first!, fullScaleDbu: { value: inputDbu, tolerance: 0.05 } }] }, { idle: null, take: null }, limitsOf(row('headroom', 'min', limit, 'dBu')))[0]!;
  };

  it('is reached by the top stair, 1 dB below full scale, as long as the input is not full before', () => {
    expect(at(6, 18)).toMatchObject({ bench: { value: 11, bound: 'lower' }, roomDb: 5, boardAtLimit: { value: 6, bound: null } });
    expect(at(11.5, 18)).toMatchObject({ bench: { value: 11 }, roomDb: -0.5, boardAtLimit: { value: 11, bound: 'lower' } });
    expect(at(6, 4)).toMatchObject({ bench: { value: 4 }, roomDb: -2, boardAtLimit: { value: 4, bound: 'lower' } });
  });

  it('is not known of a bench that is not calibrated, nor asked where no limit is on it', () => {
    const { inputs, ...rest } = benchOf(1);
    expect(benchSight({ ...rest, inputs: inputs.map((input) => ({ ...input, fullScaleDbu: null })) }, { idle: null, take: null }, limitsOf(row('headroom', 'min', 6, 'dBu')))).toEqual([]);
    expect(benchSight(benchOf(1), { idle: null, take: null }, limitsOf())).toEqual([]);
    // Another unit is another limit.
    expect(benchSight(benchOf(1), { idle: null, take: null }, limitsOf(row('headroom', 'min', 6, 'dBFS')))).toEqual([]);
  });
});
