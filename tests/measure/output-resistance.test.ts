/** Output resistance from two loads, on responses made from closed forms. */
import { describe, expect, it } from 'vitest';
import type { Bench } from '../../src/board/model.js';
import { readBench } from '../../src/board/read.js';
import { stepsOf } from '../../src/board/steps.js';
import { readBoard } from '../../src/board/read.js';
import { expanded } from '../../src/judge/uncertainty.js';
import type { Figure } from '../../src/measure/figure.js';
import { measureJob } from '../../src/measure/job.js';
import type { CaptureEstimate } from '../../src/measure/job.js';
import { outputOhm, outputResistances } from '../../src/measure/output-resistance.js';
import type { TakeEstimate } from '../../src/measure/take.js';
import { seeded } from '../helpers/random.js';
import { over, responseWith } from '../helpers/plug-takes.js';
import type { Complex } from '../helpers/device.js';
import { BENCH_YAML, PIT_BOARD_YAML } from '../helpers/pit-board.js';

const bench: Bench = {
  name: 'bench',
  sampleRateHz: 48000,
  output: null,
  inputs: [{ channel: 1, output: 'A', fullScaleDbu: null, resistanceOhm: 1e6 }],
  plugs: [],
  loads: [{ id: 'load1k', output: 'A', resistanceOhm: { value: 1000, tolerance: 10 } }],
  lead: null,
};

interface Beside {
  readonly acrossF?: number;
  readonly acrossH?: number;
  readonly seriesF?: number;
  readonly seriesH?: number;
}

/** An output of that resistance with reactances in series and across it, into the recorder, without and with a load of `loadOhm`. */
function takesOf(ohm: number, { acrossF = 0, acrossH = Infinity, seriesF = Infinity, seriesH = 0 }: Beside, loadOhm: number, error: number, seed: number): (id: string) => readonly TakeEstimate[] | null {
  const into = (siemens: number, s: number): readonly TakeEstimate[] => {
    const heard = (hz: number): Complex => {
      const w = 2 * Math.PI * hz;
      const [x, b] = [w * seriesH - 1 / (w * seriesF), w * acrossF - 1 / (w * acrossH)];
      return over([1, 0], [1 + ohm * siemens - x * b, ohm * b + x * siemens]);
    };
    return [{ response: responseWith(heard, error, s) } as TakeEstimate];
  };
  return (id) => (id === 'rest.take' ? into(1e-6, seed) : id === 'rest+load1k.take' ? into(1e-6 + 1 / loadOhm, seed + 1) : null);
}

/** Levels of an output of that resistance into the recorder, without and with a load of `loadOhm`. */
function takes(ohm: number, loadOhm: number, error: number, seed: number): (id: string) => readonly TakeEstimate[] | null {
  const into = (r: number, s: number): readonly TakeEstimate[] => [{ response: responseWith(() => [r / (ohm + r), 0], error, s) } as TakeEstimate];
  return (id) => (id === 'rest.take' ? into(1e6, seed) : id === 'rest+load1k.take' ? into((1e6 * loadOhm) / (1e6 + loadOhm), seed + 1) : null);
}

const one = (figures: readonly Figure[]): Figure => {
  expect(figures).toHaveLength(1);
  return figures[0]!;
};

describe('output resistance', () => {
  it.each([10, 220, 1000, 4700, 47000])('%d Ω within 0.1 % of a clean pair', (ohm) => {
    const { value, unit, capture } = one(outputResistances(bench, takes(ohm, 1000, 1e-6, 1)));
    expect(Math.abs(value! / ohm - 1)).toBeLessThan(0.001);
    expect(unit).toBe('Ω');
    expect(capture).toEqual(['rest+load1k.take', 'rest.take']);
  });

  it('is the divider turned round', () => {
    // 1 kΩ into 1 kΩ beside nothing: half.
    expect(outputOhm(0.5, 1e12, 1000)).toBeCloseTo(1000, 3);
    expect(outputOhm(1, 1e6, 1000)).toBe(0);
    expect(outputOhm(0.0005, 1e6, 1000)).toBe(Infinity);
  });

  it('holds the truth in 93 to 97 % of trials, noise and the load’s tolerance drawn', () => {
    const { gauss } = seeded(3);
    let inside = 0;
    for (let trial = 0; trial < 400; trial++) {
      // 5 Ω of one standard uncertainty: half the stated tolerance.
      const { value, parts } = one(outputResistances(bench, takes(220, 1000 + 5 * gauss(), 0.02, 100 + 2 * trial)));
      if (Math.abs(value! - 220) <= expanded(parts!)) inside++;
    }
    expect(inside / 400).toBeGreaterThanOrEqual(0.93);
    expect(inside / 400).toBeLessThanOrEqual(0.97);
  });

  const BESIDE: readonly (readonly [string, number, Beside])[] = [
    ...[100, 1000, 10e3, 22e3, 47e3].flatMap((ohm) => [0, 600e-12, 1.2e-9, 3e-9].map((acrossF) => [`${ohm} Ω with ${acrossF * 1e9} nF across`, ohm, { acrossF }] as const)),
    ['600 Ω through 1 µF', 600, { seriesF: 1e-6 }],
    ['100 Ω through 10 µF', 100, { seriesF: 10e-6 }],
    ['4.7 kΩ through 220 nF, 1 nF across', 4700, { seriesF: 220e-9, acrossF: 1e-9 }],
    ['150 Ω with 10 mH', 150, { seriesH: 10e-3 }],
    ['600 Ω, a winding of 0.5 H across, 3 mH leakage', 600, { acrossH: 0.5, seriesH: 3e-3 }],
    ['600 Ω, a winding of 1 H across, 2 nF across', 600, { acrossH: 1, acrossF: 2e-9 }],
  ];

  it.each(BESIDE)('%s: within 0.2 % of a clean pair', (_, ohm, beside) => {
    const { value } = one(outputResistances(bench, takesOf(ohm, beside, 1000, 1e-6, 1)));
    expect(Math.abs(value! / ohm - 1)).toBeLessThan(0.002);
  });

  it.each(BESIDE.filter(([name]) => /^(?:100 Ω with 0 nF|10000 Ω with 1.2 nF|47000 Ω with 3 nF|600 Ω|4.7 kΩ)/.test(name)))('%s: the interval holds it in noise', (_, ohm, beside) => {
    let [inside, trials] = [0, 0];
    for (let trial = 0; trial < 25; trial++) {
      const { gauss } = seeded(1000 + trial);
      const { value, parts, bound } = one(outputResistances(bench, takesOf(ohm, beside, 1000 + 5 * gauss(), 0.01, 5000 + 2 * trial)));
      if (value === null || bound !== null) continue;
      trials++;
      if (Math.abs(value - ohm) <= expanded(parts!)) inside++;
    }
    expect(trials).toBeGreaterThan(20);
    // Of 25 fewer than 20 lie inside by chance once in 800.
    expect(inside / trials).toBeGreaterThan(0.78);
  });

  it.each([0.2, 0.3, 0.5, 0.7, 1, 3, 10, 30, 60])('a coupling capacitor of %d nF hides the resistance, and is not taken for one', (nF) => {
    for (const loadOhm of [1000, 10e3]) {
      const loaded = { ...bench, loads: [{ id: 'load1k', output: 'A', resistanceOhm: { value: loadOhm, tolerance: loadOhm / 100 } }] };
      for (const [seed, error] of [1e-6, 1e-4, 1e-3, 0.01].entries()) {
        const { value, parts, remarks } = one(outputResistances(loaded, takesOf(150, { seriesF: nF * 1e-9 }, loadOhm, error, 10 + 2 * seed)));
        if (value === null) expect(remarks[0]).toMatch(/hides it|does not fall/);
        else expect(Math.abs(value - 150)).toBeLessThan(expanded(parts!));
      }
    }
  });

  it('says what else the output has', () => {
    expect(one(outputResistances(bench, takesOf(10e3, { acrossF: 1.2e-9 }, 1000, 1e-6, 1))).remarks.join(' ')).toContain('A capacitance of 1.2 nF across the output');
    expect(one(outputResistances(bench, takesOf(600, { seriesF: 1e-6 }, 1000, 1e-6, 1))).remarks.join(' ')).toContain('A capacitance of 1 µF in series');
  });

  it('one load alone is refused, with the capture that helps', () => {
    const only = takes(220, 1000, 1e-6, 1);
    expect(one(outputResistances(bench, (id) => (id === 'rest.take' ? null : only(id))))).toMatchObject({ value: null, remarks: [expect.stringContaining('capture rest.take as well')] });
  });

  it('a level that rises with the load is no resistance', () => {
    const rising = (id: string): readonly TakeEstimate[] | null => [{ response: responseWith(() => [id === 'rest.take' ? 0.9 : 1, 0], 1e-6, 1) } as TakeEstimate];
    expect(one(outputResistances(bench, rising))).toMatchObject({ value: null, uncertaintyReason: 'no fit' });
  });

  it('a recorder input that is not stated is taken as 1 MΩ, and counts', () => {
    const unstated = { ...bench, inputs: [{ ...bench.inputs[0]!, resistanceOhm: null }] };
    const { parts, remarks } = one(outputResistances(unstated, takes(220, 1000, 1e-6, 1)));
    expect(parts!.map(({ name }) => name)).toContain('recorder input not stated');
    expect(remarks.join(' ')).toContain('taken as 1 MΩ');
  });
});

describe('loads in bench.yaml', () => {
  const withLoads = (loads: string): string => `${BENCH_YAML}loads: ${loads}\n`;

  it('are read, and give an optional step each', () => {
    const board = readBoard(PIT_BOARD_YAML);
    const read = readBench(withLoads('[{ id: load1k, output: B, resistance: 1k ± 1 % }]'), ['A', 'B']);
    if (!board.ok || !read.ok) throw new Error('faulty');
    expect(read.value.loads).toEqual([{ id: 'load1k', output: 'B', resistanceOhm: { value: 1000, tolerance: 10 } }]);
    const step = stepsOf(board.value, read.value).find(({ id }) => id === 'rest+load1k.take')!;
    expect(step.required).toBe(false);
    expect(step.patch).toMatch(/load load1k across the lead of output B \(Y lead\)\.$/);
  });

  it.each([
    ['[{ id: plug10k, output: A, resistance: 1k }]', /plug id "plug10k" is used twice/],
    ['[{ id: load1k, output: C, resistance: 1k }]', /there is no recorder input that hears output "C"/],
    ['[{ id: load1k, output: A, resistance: 0 }]', /resistance/],
    ['[{ id: load1k, resistance: 1k }]', /output/],
  ])('%s is refused', (loads, says) => {
    const read = readBench(withLoads(loads), ['A', 'B']);
    expect(read.ok).toBe(false);
    if (!read.ok) expect(read.faults.map(({ message }) => message).join('\n')).toMatch(says);
  });

  it('are not taken for source plugs: no droop, no capacitance, no curve through them', () => {
    const board = readBoard(PIT_BOARD_YAML);
    const read = readBench(withLoads('[{ id: load1k, output: A, resistance: 1k ± 1 % }]'), ['A', 'B']);
    if (!board.ok || !read.ok) throw new Error('faulty');
    const level = (r: number, s: number): TakeEstimate => ({ response: responseWith(() => [r / (220 + r), 0], 1e-6, s), tone: null }) as TakeEstimate;
    const estimate = (id: string, plug: string | null, r: number): CaptureEstimate => ({ step: { id, state: 'rest', plug, kind: 'take' }, kind: 'take', inputs: [level(r, 1), level(1e6, 2)] });
    const { figures, curves } = measureJob(board.value, read.value, [estimate('rest.take', null, 1e6), estimate('rest+load1k.take', 'load1k', 999)]);
    expect(figures.filter(({ source }) => source === 'load1k')).toEqual([]);
    expect(curves.filter(({ source }) => source === 'load1k')).toEqual([]);
    expect(figures.find(({ id }) => id === 'output-resistance')!.value! / 220).toBeCloseTo(1, 2);
  });
});
