/** Two states, or two visits, set against each other: differences, their uncertainty, and what may be called different. */
import { describe, expect, it } from 'vitest';
import { compareJobs, compareStates } from '../../src/judge/compare.js';
import type { ReadingDifference } from '../../src/judge/compare.js';
import type { Curve, PlayerCurve, Reading, Results, BudgetPart } from '../../src/judge/results.js';
import { expanded } from '../../src/judge/uncertainty.js';
import { seeded } from '../helpers/random.js';

const part = (name: string, standard: number): BudgetPart => ({ name, standard, degreesOfFreedom: null });

function reading(id: string, state: string, value: number | null, budget: readonly BudgetPart[] = [part('noise', 0.05)], more: Partial<Reading> = {}): Reading {
  return {
    id, label: id, state, source: null, output: 'A', loop: null, value, unit: 'dB', bound: null, uncertainty: value === null ? null : expanded(budget), uncertaintyReason: null,
    budget, limit: null, verdict: 'info', method: 'x', capture: [], remarks: [], ...more,
  };
}

function results(readings: readonly Reading[], curves: readonly (Curve | PlayerCurve)[] = [], more: { bench?: string; board?: string; serial?: string } = {}): Results {
  return {
    board: { name: more.board ?? 'Pit Board 7', serial: more.serial ?? 'PB-007', sha256: 'board' },
    bench: { sha256: more.bench ?? 'bench', calibrated: true },
    conditions: { measuredAt: '2026-01-01T00:00:00Z', limits: 'stage' },
    readings,
    curves: curves.filter((c) => c.kind !== 'player-response'),
    playerCurves: curves.filter((c) => c.kind === 'player-response'),
  } as unknown as Results;
}

const only = (readings: readonly Reading[]): ReadingDifference => {
  const { readings: found } = compareStates(results(readings), 'unbuffered', 'rest');
  expect(found).toHaveLength(1);
  return found[0]!;
};

describe('a reading in two states', () => {
  it('differs where the difference is beyond the uncertainty of both', () => {
    // k = 1.96 for 95 %: 1.96·√(0.05² + 0.05²) = 0.1386.
    const near = only([reading('gain.1k', 'unbuffered', 1), reading('gain.1k', 'rest', 1.138)]);
    expect(near).toMatchObject({ significance: 'same', reason: null, first: { state: 'unbuffered', value: 1 }, second: { state: 'rest', value: 1.138 } });
    expect(near.difference).toBeCloseTo(0.138, 12);
    expect(near.uncertainty).toBeCloseTo(1.95996 * Math.hypot(0.05, 0.05), 4);
    expect(only([reading('gain.1k', 'unbuffered', 1), reading('gain.1k', 'rest', 1.14)]).significance).toBe('higher');
    expect(only([reading('gain.1k', 'unbuffered', 1), reading('gain.1k', 'rest', 0.86)]).significance).toBe('lower');
  });

  it('leaves out the calibration that both have, and counts a common plug once', () => {
    const calibrated = (noise: number): BudgetPart[] => [part('noise', noise), part('calibration of the recorder input', 10)];
    expect(only([reading('noise.a', 'unbuffered', -90, calibrated(0.03)), reading('noise.a', 'rest', -91, calibrated(0.04))]).uncertainty).toBeCloseTo(1.95996 * 0.05, 4);
    const plugged = (tolerance: number): BudgetPart[] => [part('tolerance of the source plug', tolerance)];
    expect(only([reading('capacitance', 'unbuffered', 200, plugged(1)), reading('capacitance', 'rest', 60, plugged(0.3))]).uncertainty).toBeCloseTo(1.95996 * 1, 4);
  });

  it('a sign is the same or changed', () => {
    const sign = (state: string, value: number): Reading => reading('polarity', state, value, [], { unit: 'sign', uncertainty: null });
    expect(only([sign('unbuffered', 1), sign('rest', -1)]).significance).toBe('changed');
    expect(only([sign('unbuffered', 1), sign('rest', 1)]).significance).toBe('same');
  });

  it('a count is as it was counted', () => {
    const count = (state: string, value: number): Reading => reading('flex.dropouts', state, value, [], { unit: '', uncertainty: null, uncertaintyReason: 'a count' });
    expect(only([count('unbuffered', 0), count('rest', 0)])).toMatchObject({ significance: 'same', difference: 0 });
    expect(only([count('unbuffered', 0), count('rest', 3)])).toMatchObject({ significance: 'higher', difference: 3, uncertainty: null });
    expect(only([count('unbuffered', 3), count('rest', 1)]).significance).toBe('lower');
  });

  it('has its difference in dB where the two are levels, and in their unit where they are not', () => {
    const units = ['dBu', 'dBFS', 'dBu/√Hz', 'dB', 'dB/octave', 'Hz', 'µs'];
    expect(units.map((unit) => only([reading('x', 'unbuffered', 1, [], { unit }), reading('x', 'rest', 2, [], { unit })])).map((d) => [d.unit, d.differenceUnit])).toEqual(
      units.map((unit, i) => [unit, i < 4 ? 'dB' : unit]),
    );
  });

  it('a bound differs only from what it excludes', () => {
    const upper = (state: string, value: number): Reading => reading('noise.hum', state, value, [], { bound: 'upper', uncertainty: 0 });
    expect(only([upper('unbuffered', -110), reading('noise.hum', 'rest', -90)])).toMatchObject({ significance: 'higher', difference: null, reason: 'One of the two is a bound.' });
    expect(only([upper('unbuffered', -110), reading('noise.hum', 'rest', -115)]).significance).toBe('open');
    expect(only([upper('unbuffered', -110), upper('rest', -90)]).significance).toBe('open');
    expect(only([reading('noise.hum', 'unbuffered', -90), upper('rest', -110)]).significance).toBe('lower');
  });

  it('no value or no uncertainty leaves it open', () => {
    expect(only([reading('thd', 'unbuffered', null), reading('thd', 'rest', -80)])).toMatchObject({ significance: 'open', difference: null });
    expect(only([reading('thd', 'unbuffered', -81, [], { uncertainty: null }), reading('thd', 'rest', -80)])).toMatchObject({ significance: 'open', difference: 1, uncertainty: null });
  });

  it('is found by output and plug; whines by rank are not set against each other', () => {
    const found = compareStates(
      results([
        reading('droop.5k', 'unbuffered', -1, [], { source: 'plug10k' }),
        reading('droop.5k', 'rest', -0.1, [], { source: 'plug47k' }),
        reading('gain.1k', 'unbuffered', 0, [], { output: 'B' }),
        reading('noise.whine.1', 'unbuffered', -90),
        reading('noise.whine.1', 'rest', -95),
      ]),
      'unbuffered',
      'rest',
    );
    expect(found.readings).toEqual([]);
    expect(found.onlyFirst).toEqual(['droop.5k through plug10k on A', 'gain.1k on B']);
    expect(found.onlySecond).toEqual(['droop.5k through plug47k on A']);
  });

  it('of the same thing measured twice, 95 in 100 are called the same', () => {
    const { gauss } = seeded(11);
    const draw = (state: string, i: number): Reading => reading('gain.1k', state, 0.05 * gauss(), [part('noise', 0.05)], { output: `${i}` });
    const many = Array.from({ length: 2000 }, (_, i) => [draw('unbuffered', i), draw('rest', i)]).flat();
    const { readings } = compareStates(results(many), 'unbuffered', 'rest');
    const same = readings.filter(({ significance }) => significance === 'same').length;
    // 1900 ± 3·√(2000·0.05·0.95).
    expect(same).toBeGreaterThan(1870);
    expect(same).toBeLessThan(1930);
  });
});

const axis = (values: readonly (number | null)[], unit: string): Curve['x'] => ({ label: '', unit, values });
const curve = (state: string, hz: readonly number[], db: readonly (number | null)[], half: number | null, more: Partial<Curve> = {}): Curve => ({
  id: `${state}/curve`, kind: 'response', label: 'Output A', state, source: null, output: 'A', loop: null, x: axis(hz, 'Hz'), y: axis(db, 'dB'),
  low: half === null ? null : db.map((v) => (v === null ? null : v - half)), high: half === null ? null : db.map((v) => (v === null ? null : v + half)),
  peak: null, marks: [], capture: [], ...more,
});

describe('a curve in two states', () => {
  const compareCurves = (a: Curve, b: Curve): ReturnType<typeof compareStates>['curves'] => compareStates(results([], [a, b]), 'unbuffered', 'rest').curves;

  it('gives the difference, its band, and where it is largest', () => {
    const [found] = compareCurves(curve('unbuffered', [100, 1000, 10000], [0, 0, -3], 0.03), curve('rest', [100, 1000, 10000], [0, 0.05, -0.5], 0.04));
    expect(found).toMatchObject({ frequencyHz: [100, 1000, 10000], differs: true, largest: { frequencyHz: 10000, difference: 2.5 }, first: { state: 'unbuffered' }, second: { state: 'rest' } });
    expect(found!.uncertainty!.every((u) => Math.abs(u! - 0.05) < 1e-12)).toBe(true);
  });

  it('meets another axis straight in log frequency, and only where both are', () => {
    const [found] = compareCurves(curve('unbuffered', [50, 200, 800, 3200], [0, 0, 0, 0], 0.01), curve('rest', [100, 400, 1600], [1, 2, 3], 0.01));
    expect(found!.frequencyHz).toEqual([200, 800]);
    expect(found!.difference).toEqual([expect.closeTo(1.5, 12), expect.closeTo(2.5, 12)]);
  });

  it('a point or two outside the band is chance; twice the band is not', () => {
    const hz = Array.from({ length: 100 }, (_, i) => 100 + i);
    const flat = hz.map(() => 0);
    const spiked = (db: number): number[] => hz.map((_, i) => (i === 50 ? db : 0));
    expect(compareCurves(curve('unbuffered', hz, flat, 0.03), curve('rest', hz, spiked(0.08), 0.04))[0]!.differs).toBe(false);
    expect(compareCurves(curve('unbuffered', hz, flat, 0.03), curve('rest', hz, spiked(0.11), 0.04))[0]!.differs).toBe(true);
    expect(compareCurves(curve('unbuffered', hz, flat, null), curve('rest', hz, spiked(5), 0.04))[0]).toMatchObject({ differs: null, uncertainty: null });
  });

  it('gaps stay gaps, and the player’s curves are among them', () => {
    const player = (state: string, db: (number | null)[]): PlayerCurve => ({ ...curve(state, [100, 200], db, 0.1), kind: 'player-response' });
    const { curves } = compareStates(results([], [player('unbuffered', [0, null]), player('rest', [1, 1])]), 'unbuffered', 'rest');
    expect(curves).toHaveLength(1);
    expect(curves[0]).toMatchObject({ kind: 'player-response', difference: [1, null] });
  });
});

describe('two jobs', () => {
  const calibrated = [part('noise', 0.03), part('calibration of the recorder input', 0.04)];
  const job = (value: number, more: Parameters<typeof results>[2] = {}): Results => results([reading('noise.a', 'rest', value, calibrated), reading('noise.a', 'all', value, calibrated)], [], more);

  it('are set against each other state by state, the later less the earlier', () => {
    const { readings, first, second } = compareJobs(job(-97), job(-90));
    expect(readings.map((r) => [r.first.state, r.difference, r.significance])).toEqual([
      ['rest', 7, 'higher'],
      ['all', 7, 'higher'],
    ]);
    expect([first.state, second.state]).toEqual([null, null]);
  });

  it('share a calibration only where the bench file is the same, and say so', () => {
    const same = compareJobs(job(-97), job(-97));
    expect(same.readings[0]!.uncertainty).toBeCloseTo(1.95996 * Math.hypot(0.03, 0.03), 4);
    expect(same.remarks.join(' ')).toMatch(/taken to have stayed/);
    const other = compareJobs(job(-97), job(-97, { bench: 'another' }));
    expect(other.readings[0]!.uncertainty).toBeCloseTo(1.95996 * Math.hypot(0.03, 0.03, 0.04, 0.04), 4);
    expect(other.remarks.join(' ')).toMatch(/calibration of each counts/);
  });

  it('of unlike boards are compared, with a remark', () => {
    expect(compareJobs(job(-97, { serial: 'PB-001' }), job(-97)).remarks.join(' ')).toContain('not named alike: Pit Board 7 (PB-001) and Pit Board 7 (PB-007)');
  });

  it('levels in dBu and dBFS are not set against each other', () => {
    const uncalibrated = results([reading('noise.a', 'rest', -110, calibrated, { unit: 'dBFS' })]);
    const { readings, onlyFirst, onlySecond } = compareJobs(uncalibrated, results([reading('noise.a', 'rest', -97, calibrated, { unit: 'dBu' })]));
    expect(readings).toEqual([]);
    expect([onlyFirst, onlySecond]).toEqual([['noise.a in rest on A'], ['noise.a in rest on A']]);
  });
});
