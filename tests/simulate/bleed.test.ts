/** A loop that is heard while it is out, and an output before the loops, against dividers worked out by hand. */
import { describe, expect, it } from 'vitest';
import { pathNetwork } from '../../src/circuit/board-network.js';
import { responses, toGround } from '../../src/circuit/response.js';
import { worldOf } from '../../src/simulate/world.js';
import { model, quietTruth, step } from './fixtures.js';

const device = { inputResistanceOhm: 1e6, inputCapacitanceF: 0, outputResistanceOhm: 1000, gain: -0.8 };
const driver = { inputResistanceOhm: 1e6, inputCapacitanceF: 0, outputResistanceOhm: 100 };
const stage = { driver, transformer: null };
const digital = model({
  boardTruth: { ...quietTruth, build: { devices: { delay: device, comp: { ...device, gain: 0.5 } }, outputs: { A: stage, B: stage }, dryOutputs: ['B'] }, loopDelayS: { delay: 0.004 } },
  faults: [{ kind: 'loop-bleeds', loop: 'delay', ohm: 30e3 }],
});
const grid = { frequenciesHz: Float64Array.of(1000), pointsPerOctave: 1 };

describe('a loop that is out, with a contact that leaks', () => {
  const world = worldOf(digital);
  const path = world.path(step('rest.take'), true);

  it('is heard as its gain over a divider, later by its latency', () => {
    const [bled] = world.bleeds(path, grid);
    expect(bled!.delayS).toBe(0.004);
    const direct = world.transfers(path, grid);
    // The buffer's 220 Ω, both drivers, the device's input and the leak itself in parallel.
    const across = 31e3;
    const node = 1 / (1 / 220 + 3 / 1e6 + 1 / across);
    for (const i of [0, 1]) {
      const re = bled!.curves[i]!.re[0]! / direct[i]!.re[0]!;
      expect(Math.abs(re / ((device.gain * node) / across) - 1)).toBeLessThan(1e-4);
    }
  });

  it('is not, while it is in', () => {
    expect(world.bleeds(world.path(step('loop-delay.take'), true), grid)).toEqual([]);
    expect(world.bleeds(world.path(step('loop-comp.take'), true), grid)).toHaveLength(1);
  });
});

describe('an output that is taken before the loops', () => {
  const world = worldOf(model({ ...digital, faults: [] }));

  it('has neither their gain nor their latency', () => {
    const at = (state: string): number[] => world.transfers(world.path(step(`${state}.take`), true), grid).map(({ re, im }) => Math.hypot(re[0]!, im[0]!));
    const [rest, comp] = [at('rest'), at('loop-comp')];
    expect(comp[0]! / rest[0]!).toBeCloseTo(0.5, 2);
    expect(comp[1]! / rest[1]!).toBeCloseTo(1, 2);
    expect(world.delayS('loop-delay', 'A')).toBe(0.004);
    expect(world.delayS('loop-delay', 'B')).toBe(0);
  });
});

describe('a load of the bench across an output', () => {
  it('takes what its divider takes, and from no other output', () => {
    const { bench } = digital;
    const loaded = model({ ...digital, faults: [{ kind: 'output-resistance', output: 'B', ohm: 4700 }], bench: { ...bench, loads: [{ id: 'load10k', output: 'B', resistanceOhm: { value: 10e3, tolerance: null } }] } });
    const world = worldOf(loaded);
    const [free, across] = ['rest.take', 'rest+load10k.take'].map((id) => world.transfers(world.path(step(id), true), grid).map(({ re }) => re[0]!));
    expect(across![0]! / free![0]!).toBeCloseTo(1, 9);
    const ohm = 1e10 / (1e4 + 1e6);
    expect(across![1]! / free![1]! / ((ohm / (ohm + 4700)) * (1e6 + 4700) / 1e6)).toBeCloseTo(1, 6);
  });
});

it('the network of a board says where it passes a loop that is out', () => {
  const { board, boardTruth } = digital;
  const path = pathNetwork(board, { state: 'loop-comp', source: { kind: 'generator', resistanceOhm: 100, plugOhm: null }, build: boardTruth.build });
  expect([...path.bypassed.keys()]).toEqual(['eq', 'delay', 'reverb']);
  const [passed, end] = responses(path.network, path.source, [toGround(path.bypassed.get('delay')!), toGround(path.end)], Float64Array.of(1000));
  expect(passed!.re[0]).toBeCloseTo(end!.re[0]!, 12);
});
