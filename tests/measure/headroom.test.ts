import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { expanded } from '../../src/judge/uncertainty.js';
import type { Figure } from '../../src/measure/figure.js';
import { ONE_SIDED_DB, dynamicRangeFigure, headroomFigures } from '../../src/measure/headroom.js';
import { figure } from '../../src/measure/figure.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { measureStair, measureStairs } from '../../src/measure/stairs.js';
import type { StairEstimate, StairsEstimate } from '../../src/measure/stairs.js';
import { findTakes } from '../../src/measure/take-search.js';
import type { LocatedTake } from '../../src/measure/take-search.js';
import { STAIRS_SWEEP_TOP_HZ, renderStairs } from '../../src/signals/stairs.js';
import { clippers, onePercentAt, sineThrough } from '../helpers/clippers.js';
import { noise, seeded } from '../helpers/random.js';

const RATE = 48000;
const PPM = 120;
const place = { state: 'rest', source: null, output: 'A', loop: null, capture: ['rest.stairs'] };
const dbfs = { unit: 'dBFS', offsetDb: 0, parts: [] } as const;
const player = { value: 12, tolerance: 0.1 };
const db = (x: number): number => 20 * Math.log10(x);
const read = (stairs: StairsEstimate, bench: StairsEstimate | null = null): Record<string, Figure> =>
  Object.fromEntries(headroomFigures(place, stairs, bench, dbfs, player).map((f) => [f.id, f]));

const identity = { stepCode: 77, levelDbfs: -20, sweepTopHz: STAIRS_SWEEP_TOP_HZ };
const names = Object.keys(clippers);
const played = renderStairs(identity, RATE * (1 + PPM * 1e-6), 1.000123, Math.ceil(20.5 * RATE));
// The clean channel last; hiss 100 dB under full scale.
const channels = [...names.map((n) => clippers[n]!), (x: number) => 0.5 * x].map((f, c) => {
  const hiss = noise(played.length, 1e-5, c + 1);
  return played.map((v, n) => f(v) + hiss[n]!);
});
const recording = memoryRecording(channels, RATE);
const { stairs: found, takes, fragments } = findTakes(memoryRecording([channels.at(-1)!], RATE));
const estimates = measureStairs(recording, found[0]!, [...channels.keys()]);

/** Diode clippers of ngspice: a static curve of each in steps of 5 mV, and where a sine through it had 1 % distortion there. */
interface DiodeClipper {
  readonly name: string;
  readonly fromV: number;
  readonly stepV: number;
  readonly curveV: readonly number[];
  readonly onePercent: { readonly inV: number; readonly toneV: number };
}
const { cases: diodes } = JSON.parse(readFileSync(join(import.meta.dirname, '../outside/ngspice/diode-clippers.json'), 'utf8')) as { cases: DiodeClipper[] };

/** Between the points of a curve by cubics through four of them (Lagrange). */
function along({ fromV, stepV, curveV }: DiodeClipper, v: number): number {
  const at = (v - fromV) / stepV;
  const k = Math.max(1, Math.min(curveV.length - 3, Math.floor(at)));
  const t = at - k;
  const [a, b, c, d] = [curveV[k - 1]!, curveV[k]!, curveV[k + 1]!, curveV[k + 2]!];
  return (-a * t * (t - 1) * (t - 2)) / 6 + (b * (t + 1) * (t - 1) * (t - 2)) / 2 - (c * (t + 1) * t * (t - 2)) / 2 + (d * (t + 1) * t * (t - 1)) / 6;
}

describe('headroom of diode clippers in ngspice', () => {
  const throughDiodes = diodes.map((clipper, c) => {
    const hiss = noise(played.length, 1e-5, 50 + c);
    return played.map((v, n) => along(clipper, v) + hiss[n]!);
  });
  const ofDiodes = measureStairs(memoryRecording(throughDiodes, RATE), found[0]!, [...diodes.keys()]);

  it.each(diodes.map(({ name, onePercent }, c) => [name, onePercent, c] as const))('%s', (name, { inV, toneV }, c) => {
    const { headroom, 'headroom.input': input, 'headroom.even-odd': evenOdd } = read(ofDiodes[c]!);
    // As of the closed forms: what a reading between two stairs can be wrong by, at the output and, steeper in a clipper, at the input.
    expect(Math.abs(headroom!.value! - db(toneV)), `read ${headroom!.value}, is ${db(toneV)}`).toBeLessThan(0.02);
    expect(Math.abs(input!.value! - player.value - db(inV)), `read ${input!.value! - player.value}, is ${db(inV)}`).toBeLessThan(0.03);
    expect(evenOdd!.remarks[0]).toBe(/against two/.test(name) ? 'One half of the wave clips before the other.' : 'Both halves of the wave clip alike.');
  });
});

describe('the level stairs', () => {
  it('are found, and their clock told by the rising tone', () => {
    expect([found.length, takes, fragments]).toEqual([1, [], []]);
    expect(found[0]!.identity).toEqual(identity);
    expect(Math.abs(found[0]!.startFrame - 1.000123 * RATE * (1 + PPM * 1e-6))).toBeLessThan(0.05);
    expect(Math.abs(found[0]!.clockRatio - 1 - PPM * 1e-6)).toBeLessThan(0.5e-6);
    expect(Math.abs(found[0]!.toneClockRatio! - 1 - PPM * 1e-6)).toBeLessThan(0.05e-6);
    expect(Math.abs(found[0]!.extraFrames!)).toBeLessThan(0.05);
  });

  it('tell 40 lost samples', () => {
    const x = channels.at(-1)!;
    const lost = Float64Array.from([...x.subarray(0, 12 * RATE), ...x.subarray(12 * RATE + 40)]);
    expect(findTakes(memoryRecording([lost], RATE)).stairs[0]!.extraFrames!).toBeCloseTo(-40, 1);
  });

  it('read each level as played: −30 to −1 dBFS, through a gain of a half, to 0.001 dB', () => {
    const { stairs } = estimates.at(-1)!;
    expect(stairs.map((s) => s.levelDbfs)).toEqual(Array.from({ length: 30 }, (_, k) => -30 + k));
    for (const s of stairs) expect(Math.abs(db(s.amplitude / 0.5) - s.levelDbfs), `${s.levelDbfs} dBFS`).toBeLessThan(0.001);
  });
});

describe('headroom, closed forms', () => {
  it.each(names.map((name, c) => [name, c] as const))('%s', (name, c) => {
    const f = clippers[name]!;
    const truth = onePercentAt(f);
    const { headroom, 'headroom.input': input, 'headroom.even-odd': evenOdd } = read(estimates[c]!);
    // 0.02 dB: the largest error of the reading between stairs 1 dB apart is 0.015 dB (hard clipping anywhere between two of them).
    expect(Math.abs(headroom!.value! - db(sineThrough(f, truth).tone)), 'output').toBeLessThan(0.02);
    expect(Math.abs(headroom!.value! - db(sineThrough(f, truth).tone)), 'stated').toBeLessThan(expanded(headroom!.parts!));
    expect(expanded(headroom!.parts!)).toBeLessThan(0.2);
    expect(Math.abs(input!.value! - player.value - db(truth)), 'input').toBeLessThan(0.03);
    // One stair after the first over 1 %.
    const over = estimates[c]!.stairs.findIndex((s) => s.levelDbfs > db(truth)) + 1;
    const want = sineThrough(f, 10 ** (estimates[c]!.stairs[over]!.levelDbfs / 20)).evenOverOddDb;
    if (want > -40) expect(evenOdd!.value!).toBeCloseTo(want, 1);
    else expect(evenOdd!.value!).toBeLessThan(-40);
    expect(evenOdd!.remarks[0]).toBe(/one half/.test(name) || /order/.test(name) ? 'One half of the wave clips before the other.' : 'Both halves of the wave clip alike.');
  });

  it('thresholds of the two halves 1 dB apart are told from equal ones', () => {
    const apart = (of: number): number => {
      const f = (x: number): number => Math.max(-0.3, Math.min(0.3 * 10 ** (of / 20), x));
      return sineThrough(f, onePercentAt(f) * 10 ** (1.5 / 20)).evenOverOddDb;
    };
    expect(apart(1)).toBeGreaterThan(ONE_SIDED_DB);
    expect(apart(0.2)).toBeLessThan(ONE_SIDED_DB);
  });

  it('a board that does not clip: at least the highest stair, limited by the bench', () => {
    const { headroom, ...others } = read(estimates.at(-1)!);
    expect(headroom).toMatchObject({ bound: 'lower', benchLimited: true });
    expect(headroom!.value).toBeCloseTo(-1 + db(0.5), 3);
    expect(Object.keys(others)).toEqual([]);
  });

  it('a bench that clips as early says nothing of the board', () => {
    const own = estimates[0]!;
    const { headroom } = read(own, own);
    expect(headroom).toMatchObject({ bound: 'lower', benchLimited: true });
    expect(headroom!.remarks.join(' ')).toContain('The bench itself');
    expect(read(own, estimates.at(-1)!)['headroom']!.bound).toBeNull();
  });

  it('over 1 % from the first stair on, and a crackle in one stair alone', () => {
    const own = estimates[0]!;
    const from = own.stairs.findIndex((s) => s.harmonicSquares > 4e-4 * s.amplitude ** 2);
    expect(read({ ...own, stairs: own.stairs.slice(from) })['headroom']).toMatchObject({ bound: 'upper', value: expect.closeTo(db(own.stairs[from]!.amplitude), 6) as number });
    const crackle = own.stairs.map((s, k): StairEstimate => (k === 5 ? { ...s, harmonicSquares: 0.01 * s.amplitude ** 2 } : s));
    expect(read({ ...own, stairs: crackle })['headroom']!.value).toBe(read(own)['headroom']!.value);
  });

  it('nothing heard has no value', () => {
    expect(read({ located: own(), stairs: [] })['headroom']).toMatchObject({ value: null });
    function own(): LocatedTake {
      return found[0]!;
    }
  });
});

it('95 % intervals hold the truth with a floor only 50 dB under the clipping, at any place between two stairs', () => {
  let inside = 0;
  const trials = 56;
  const { uniform } = seeded(20);
  for (let trial = 0; trial < trials; trial++) {
    const f = clippers[names[trial % names.length]!]!;
    const truth = onePercentAt(f);
    // Stairs 1 dB apart, the crossing anywhere between the second and the third.
    const lowest = db(truth) - 1 - uniform();
    const stairs = [0, 1, 2, 3].map((k) => {
      const levelDbfs = lowest + k;
      const hiss = noise(0.44 * RATE, 0.3 * 10 ** (-50 / 20) * Math.SQRT1_2, 1000 * trial + k);
      return measureStair(hiss.map((v, n) => v + f(10 ** (levelDbfs / 20) * Math.cos((2 * Math.PI * 997 * n) / RATE + trial))), RATE, 997, levelDbfs)!;
    });
    const { headroom } = read({ located: found[0]!, stairs });
    if (Math.abs(headroom!.value! - db(sineThrough(f, truth).tone)) <= expanded(headroom!.parts!)) inside++;
  }
  // The part for what happens between stairs is a bound rather than a spread, so the intervals hold more often than 95 %.
  expect(inside / trials).toBeGreaterThan(0.93);
});

describe('dynamic range', () => {
  const at = (id: string, value: number | null, bound: 'upper' | 'lower' | null): Figure => figure(place, { id, label: id, value, unit: 'dBu', method: 'x', bound });
  it.each([
    [null, null, 108, null],
    ['lower', null, 108, 'lower'],
    [null, 'upper', 108, 'lower'],
    ['upper', null, 108, 'upper'],
    ['upper', 'upper', null, 'upper'],
  ] as const)('headroom %s, floor %s', (top, floor, value, bound) => {
    expect(dynamicRangeFigure(at('headroom', 12, top), at('noise.a', -96, floor))).toMatchObject({ value, bound, unit: 'dB' });
  });
});
