/**
 * Where the noise comes from, on a simulated board whose sources are known: each within its interval and 0.3 dB, the sum of them
 * what every loop in shows, an interaction told, and none told where there is none.
 */
import { describe, expect, it } from 'vitest';
import type { Bench } from '../../src/board/model.js';
import { stepsOf } from '../../src/board/steps.js';
import { attributeNoise } from '../../src/measure/attribution.js';
import type { Attribution, PowerRange, SourceOfNoise } from '../../src/measure/attribution.js';
import { measureIdle } from '../../src/measure/idle.js';
import type { IdleEstimate } from '../../src/measure/idle.js';
import { memoryRecording } from '../../src/measure/recording.js';
import type { Fault } from '../../src/simulate/faults.js';
import { IDEAL_BENCH } from '../../src/simulate/model.js';
import type { SimulationModel } from '../../src/simulate/model.js';
import { simulateStep } from '../../src/simulate/simulate-step.js';
import { boardWith } from '../helpers/plain-board.js';

const board = boardWith({
  input: { wiring: null, buffer: { inputResistanceOhm: 1e6, inputCapacitanceF: 30e-12, outputResistanceOhm: 1, noiseVPerRtHz: 80e-9, defeatable: true } },
  loops: ['one', 'two', 'three'].map((id) => ({ id, name: id, expect: 'unity', supply: null, currentA: null, wiring: null })),
  outputs: [{ id: 'A', name: 'A', loadOhm: 1e6, lift: false, polaritySwitch: false, isolated: false }],
});
const bench: Bench = { name: 'bench', sampleRateHz: 48000, output: null, inputs: [{ channel: 1, output: 'A', fullScaleDbu: { value: 18, tolerance: 0.1 }, resistanceOhm: 1e6 }], plugs: [], lead: null };
const noisy = (densityPerRtHz: number): { densityPerRtHz: number; cornerHz: number } => ({ densityPerRtHz, cornerHz: 0 });
const DENSITIES = { bench: 40e-9, output: 60e-9, input: 80e-9, one: 100e-9, two: 50e-9, three: 1e-12 };
const device = (density: number): object => ({ inputResistanceOhm: 1e6, inputCapacitanceF: 0, outputResistanceOhm: 1, noise: noisy(density) });

const model = (faults: readonly Fault[]): SimulationModel =>
  ({
    board,
    bench,
    boardTruth: {
      build: {
        devices: { one: device(DENSITIES.one), two: device(DENSITIES.two), three: device(DENSITIES.three) },
        outputs: { A: { driver: { inputResistanceOhm: 1e6, inputCapacitanceF: 0, outputResistanceOhm: 1, noise: noisy(DENSITIES.output) }, transformer: null } },
      },
      loopDelayS: {},
      mainsHz: 50.02,
      residualHum: [],
      terminationOhm: 0.1,
      clickPeakV: 1e-4,
    },
    benchTruth: { ...IDEAL_BENCH, inputNoise: noisy(DENSITIES.bench) },
    faults,
  }) as SimulationModel;

function attributed(faults: readonly Fault[], seed: number): Attribution {
  const simulated = model(faults);
  const idles = new Map<string, IdleEstimate[]>();
  for (const step of stepsOf(board, bench).filter(({ kind }) => kind === 'idle')) {
    const { channels, sampleRateHz } = simulateStep(simulated, step, seed, { idleS: 6 });
    idles.set(step.id, measureIdle(memoryRecording(channels, sampleRateHz), 50, false));
  }
  return attributeNoise(board, bench, (id) => idles.get(id) ?? null, () => null)[0]!;
}

/** Mean square at the recorder of a white density over 20 Hz to 20 kHz. */
const powerOf = (density: number): number => (density ** 2 * 19980) / (2 * 0.6 * 10 ** 1.8);
const source = (a: Attribution, kind: SourceOfNoise['kind'], loop: string | null = null): SourceOfNoise => a.sources.find((s) => s.kind === kind && s.loop === loop)!;
const holds = (range: PowerRange, power: number): boolean => power >= range.low && power <= range.high;

describe('sources of the noise', () => {
  const clean = attributed([], 1);

  it.each([
    ['bench', null, DENSITIES.bench],
    ['output', null, DENSITIES.output],
    ['input', null, DENSITIES.input],
    ['loop', 'one', DENSITIES.one],
    ['loop', 'two', DENSITIES.two],
  ] as const)('%s %s is what was built in', (kind, loop, density) => {
    const { hiss } = source(clean, kind, loop).parts;
    expect(holds(hiss, powerOf(density)), `${hiss.low} ${powerOf(density)} ${hiss.high}`).toBe(true);
    expect(Math.abs(10 * Math.log10(hiss.power / powerOf(density)))).toBeLessThan(0.3);
  });

  it('of a source that makes next to nothing only a bound is known, above it', () => {
    const { hiss } = source(clean, 'loop', 'three').parts;
    expect(hiss.low).toBeLessThan(0.02 * powerOf(DENSITIES.two));
    expect(hiss.high).toBeGreaterThan(powerOf(DENSITIES.three));
    expect(hiss.high).toBeLessThan(powerOf(DENSITIES.two));
  });

  it('per third-octave as well: a white source rises by 1 dB per band, and its bands add up to it', () => {
    const { bands, parts } = source(clean, 'loop', 'one');
    const sum = bands.reduce((total, { power }) => total + power, 0);
    // The bands reach from 22 Hz to 17.8 kHz: 0.5 dB less than the whole.
    expect(10 * Math.log10(sum / parts.hiss.power)).toBeGreaterThan(-0.8);
    expect(10 * Math.log10(sum / parts.hiss.power)).toBeLessThan(-0.3);
    // Of 16 bands one in twenty may lie outside its interval.
    const outside = clean.bands.filter(({ highHz, lowHz, nominalHz }, b) => nominalHz >= 500 && !holds(bands[b]!, (powerOf(DENSITIES.one) * (highHz - lowHz)) / 19980));
    expect(outside.length).toBeLessThanOrEqual(2);
  });

  it('every loop in is the sum of them, and without one loop it is that much less', () => {
    const [all, ...without] = clean.sums;
    expect(all!.interacts).toEqual({ hiss: false, hum: false, whine: false });
    expect(Math.abs(10 * Math.log10(all!.measured!.hiss.power / all!.predicted.hiss.power))).toBeLessThan(0.2);
    expect(without.map(({ loops }) => loops.join())).toEqual(['two,three', 'one,three', 'one,two']);
    const less = all!.predicted.hiss.power - without[0]!.predicted.hiss.power;
    expect(Math.abs(10 * Math.log10(less / powerOf(DENSITIES.one)))).toBeLessThan(0.3);
    expect(without.every(({ measured, interacts }) => measured === null && interacts === null)).toBe(true);
  });

  it('hum that flows only while two loops are in is told as an interaction, and hum of two loops that adds up is not', () => {
    expect(attributed([{ kind: 'loops-interact', loops: ['one', 'three'], levelDbu: -85 }], 2).sums[0]!.interacts).toEqual({ hiss: false, hum: true, whine: false });
    const both = attributed([{ kind: 'loop-hum', loop: 'one', pattern: 'magnetic', levelDbu: -85 }, { kind: 'loop-hum', loop: 'two', pattern: 'magnetic', levelDbu: -85 }], 3);
    expect(both.sums[0]!.interacts!.hum).toBe(false);
    for (const loop of ['one', 'two']) {
      // The strongest line at −85 dBu, the others 1.1 dB on top of it; a mean square of 1/2 is 18 dBu.
      expect(Math.abs(10 * Math.log10(2 * source(both, 'loop', loop).parts.hum.power) + 18 + 83.9)).toBeLessThan(0.2);
    }
  });
});
