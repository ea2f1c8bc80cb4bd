/** The signal path of a board, state by state, from what its file says. */
import { describe, expect, it } from 'vitest';
import type { Board } from '../../src/board/model.js';
import { pathNetwork, pathStates, type BoardPath, type Coupling } from '../../src/circuit/board-network.js';
import { FULL_UP } from '../../src/circuit/instrument.js';
import { outputNoise } from '../../src/circuit/noise.js';
import { impedance, inputImpedance, response } from '../../src/circuit/response.js';
import { Problem } from '../../src/problems.js';

const board: BoardPath = {
  instrument: {
    pickup: { resistanceOhm: 8200, inductanceH: 3.1, capacitanceF: 110e-12 },
    volumeOhm: 5e5,
    tone: { resistanceOhm: 5e5, capacitorF: 22e-9 },
    lead: { lengthM: 5, capacitanceFPerM: 95e-12 },
  },
  input: {
    wiring: { lengthM: 0.4, capacitanceFPerM: 100e-12 },
    buffer: { inputResistanceOhm: 1e6, inputCapacitanceF: 30e-12, outputResistanceOhm: 220, noiseVPerRtHz: 9e-9, defeatable: true },
  },
  loops: [
    { id: 'comp', wiring: null },
    { id: 'eq', wiring: { lengthM: 0.6, capacitanceFPerM: 100e-12 } },
  ],
  outputs: [
    { id: 'A', loadOhm: 1e6, lift: true, polaritySwitch: true, isolated: true },
    { id: 'B', loadOhm: 1e4, lift: false, polaritySwitch: false, isolated: false },
  ],
};
/** One plain output: nothing of it is assumed, so every answer is a formula. */
const plain: BoardPath = {
  ...board,
  outputs: [{ id: 'A', loadOhm: 1e6, lift: false, polaritySwitch: false, isolated: false }],
};

const plug = { kind: 'generator', resistanceOhm: 100, plugOhm: 10000 } as const;
const hz = (...values: number[]): Float64Array => Float64Array.from(values);
const gainDb = (path: BoardPath, state: string, f: number, options: object = {}): number => {
  const { network, source, outputs } = pathNetwork(path, { state, source: plug, ...options });
  const { re, im } = response(network, source, [...outputs.values()][0], hz(f));
  return 20 * Math.log10(Math.hypot(re[0], im[0]));
};
/** Droop of a source resistance into R ‖ C. */
const dividerDb = (sourceOhm: number, ohm: number, farad: number, f: number): number => {
  const parallel = (sourceOhm * ohm) / (sourceOhm + ohm);
  return 20 * Math.log10(ohm / (sourceOhm + ohm)) - 10 * Math.log10(1 + (2 * Math.PI * f * parallel * farad) ** 2);
};

describe('states', () => {
  it('are those that the board file gives', () => {
    expect(pathStates(board)).toEqual(['bench', 'lead', 'rest', 'unbuffered', 'loop-comp', 'loop-eq', 'all', 'lift-A', 'invert-A', 'into-A', 'into-B']);
    expect(pathStates({ ...plain, loops: [], input: { wiring: null, buffer: null } })).toEqual(['bench', 'lead', 'rest']);
  });

  it('a board model is a board path', () => {
    const check = (model: Board): BoardPath => model;
    expect(check).toBeTypeOf('function');
  });

  it('an unknown one is refused with those there are', () => {
    expect(() => pathNetwork(plain, { state: 'loop-fuzz', source: plug })).toThrowError(/no state "loop-fuzz"; it has bench, lead, rest, unbuffered, loop-comp/);
    expect(() => pathNetwork({ ...plain, instrument: null }, { state: 'rest', source: { kind: 'instrument' } })).toThrowError(/"instrument"/);
  });
});

describe('tone loss through a 10 kΩ plug', () => {
  it('unbuffered: all wiring and the load hang on the plug', () => {
    // 40 pF of wiring and the 1 MΩ load on 10.1 kΩ.
    expect(gainDb(plain, 'unbuffered', 20000)).toBeCloseTo(dividerDb(10100, 1e6, 40e-12, 20000), 9);
  });

  it('buffered: the buffer’s input hangs on the plug, the rest on its 220 Ω', () => {
    const want = dividerDb(10100, 1e6, 70e-12, 20000) + dividerDb(220, 1e6, 0, 20000);
    expect(gainDb(plain, 'rest', 20000)).toBeCloseTo(want, 9);
  });

  it('a loop that is in brings its wiring, behind the buffer', () => {
    const want = dividerDb(10100, 1e6, 70e-12, 20000) + dividerDb(220, 1e6, 60e-12, 20000);
    expect(gainDb(plain, 'loop-eq', 20000)).toBeCloseTo(want, 9);
    expect(gainDb(plain, 'all', 20000)).toBeCloseTo(want, 9);
    expect(gainDb(plain, 'loop-comp', 20000)).toBeCloseTo(gainDb(plain, 'rest', 20000), 12);
  });

  it('straight lead and bench loop-back have no board in them', () => {
    const lead = { straightLead: { lengthM: 0.5, capacitanceFPerM: 100e-12 }, loads: { A: { ohm: 1e6, farad: 40e-12 } } };
    expect(gainDb(plain, 'lead', 20000, lead)).toBeCloseTo(dividerDb(10100, 1e6, 90e-12, 20000), 9);
    const loopBack = { source: { kind: 'generator', resistanceOhm: 100, plugOhm: null }, loads: { A: { ohm: 1e6 }, B: { ohm: 1e6 } } };
    expect(gainDb(board, 'bench', 1000, loopBack)).toBeCloseTo(dividerDb(100, 5e5, 0, 1000), 9);
  });
});

describe('outputs', () => {
  it('of a split board have a driver each, said to be assumed; isolated ones a transformer', () => {
    const { network, outputs, assumed } = pathNetwork(board, { state: 'rest', source: plug });
    expect([...outputs.keys()]).toEqual(['A', 'B']);
    expect(assumed.join('\n')).toMatch(/Output A: a unity driver[^]*Output A: an isolation transformer[^]*Output B: a unity driver/);
    const z = impedance(network, outputs.get('B')!, hz(1000));
    // 100 Ω of the driver beside the 10 kΩ load.
    expect(z.re[0]).toBeCloseTo(1e6 / 10100, 6);
    expect(network.some(({ name }) => name === 'output A transformer.turns')).toBe(true);
    expect(network.some(({ name }) => name === 'output B transformer.turns')).toBe(false);
  });

  it('are turned over by their polarity switch, and only they', () => {
    const at = (state: string): number[] => {
      const { network, source, outputs } = pathNetwork(board, { state, source: plug });
      return ['A', 'B'].map((id) => response(network, source, outputs.get(id)!, hz(1000)).re[0]);
    };
    const [restA, restB] = at('rest');
    const [turnedA, turnedB] = at('invert-A');
    expect(restA).toBeGreaterThan(0.9);
    expect(turnedA).toBeCloseTo(-restA, 9);
    expect(turnedB).toBeCloseTo(restB, 12);
    expect(at('lift-A')[0]).toBe(restA);
  });

  it('one plain output has neither, and its source is the buffer’s 220 Ω', () => {
    const { network, outputs, assumed } = pathNetwork(plain, { state: 'rest', source: plug });
    expect(impedance(network, outputs.get('A')!, hz(1000)).re[0]).toBeCloseTo((220 * 1e6) / (1e6 + 220), 6);
    expect(assumed).toEqual([]);
  });

  it('have their own wiring, which an undriven output hangs on the source', () => {
    const wired = { ...plain, outputs: [{ ...plain.outputs[0], wiring: { lengthM: 2, capacitanceFPerM: 100e-12 } }] };
    expect(gainDb(wired, 'unbuffered', 20000)).toBeCloseTo(dividerDb(10100, 1e6, 240e-12, 20000), 9);
    const want = dividerDb(10100, 1e6, 70e-12, 20000) + dividerDb(220, 1e6, 200e-12, 20000);
    expect(gainDb(wired, 'rest', 20000)).toBeCloseTo(want, 9);
  });

  it('take the devices and stages that a build gives', () => {
    const build = {
      devices: { eq: { inputResistanceOhm: 1e5, inputCapacitanceF: 0, outputResistanceOhm: 1000, gain: -2, bandwidthHz: 5000, couplingF: 1e-6 } },
      outputs: { A: { driver: null, transformer: null } },
    };
    const { network, source, outputs, loopReturns } = pathNetwork(plain, { state: 'loop-eq', source: plug, build });
    const { re, im } = response(network, source, outputs.get('A')!, hz(200, 5000));
    const behind = dividerDb(10100, 1e6, 70e-12, 200) + dividerDb(220, 1e5, 60e-12, 200) + dividerDb(1000, 1e6, 0, 200);
    // Twice the voltage; the coupling corner (0.16 Hz) and the bandwidth at 200 Hz take 0.007 dB.
    expect(20 * Math.log10(Math.hypot(re[0], im[0]))).toBeCloseTo(behind + 20 * Math.log10(2) - 0.00695, 4);
    expect(re[0]).toBeLessThan(0);
    expect(20 * Math.log10(Math.hypot(re[1], im[1]) / Math.hypot(re[0], im[0]))).toBeCloseTo(-3.0103 + 0.00695, 2);
    expect([...loopReturns.keys()]).toEqual(['eq']);
  });
});

describe('an output that is played into', () => {
  const states = pathStates(board).filter((s) => s.startsWith('into-'));
  const two = { ...plain, outputs: ['A', 'B'].map((id) => ({ ...plain.outputs[0], id, loadOhm: 1e6 })) };
  const stage = (outputResistanceOhm: number) => ({ driver: { inputResistanceOhm: 1e6, inputCapacitanceF: 0, outputResistanceOhm }, transformer: null });
  const outputs = { A: stage(100), B: stage(2200) };
  const source = { kind: 'generator' as const, resistanceOhm: 100, plugOhm: null };
  const voltages = (state: string, couplings: readonly Coupling[]): readonly (readonly [re: number, im: number])[] => {
    const path = pathNetwork(two, { state, source, build: { outputs, couplings } });
    return ['A', 'B'].map((id) => {
      const { re, im } = response(path.network, path.source, path.outputs.get(id)!, hz(3000));
      return [re[0], im[0]];
    });
  };

  it('is a state of a board with another', () => {
    expect(states).toEqual(['into-A', 'into-B']);
    expect(pathStates(plain).some((s) => s.startsWith('into-'))).toBe(false);
  });

  it('is loaded by its own stage, and gives nothing to another behind a driver of its own', () => {
    const [[a], b] = voltages('into-A', []);
    expect(a).toBeCloseTo(1 / (1 + 100 * (1 / 100 + 1e-6)), 9);
    expect(Math.hypot(...b)).toBe(0);
  });

  it('gives through a capacitance Y/(Y + 1/Z + 1/load) of its voltage', () => {
    const [[re, im], [bRe, bIm]] = voltages('into-A', [{ outputs: ['A', 'B'], farad: 330e-12 }]);
    const y = 2 * Math.PI * 3000 * 330e-12;
    const g = 1 / 2200 + 1e-6;
    // jy/(jy + g) = (y² + jyg)/(y² + g²)
    const [wantRe, wantIm] = [(y * y) / (y * y + g * g), (y * g) / (y * y + g * g)];
    expect(bRe).toBeCloseTo(wantRe * re - wantIm * im, 12);
    expect(bIm).toBeCloseTo(wantRe * im + wantIm * re, 12);
  });

  it('gives through a shared return what that is beside its own resistance', () => {
    const [[a], [b]] = voltages('into-A', [{ outputs: ['A', 'B'], returnOhm: 0.3 }]);
    // The current goes back through 0.3 Ω: 0.3/(100 + 0.3) between tip and sleeve of the other, which its own load divides.
    expect(b / a).toBeCloseTo((0.3 / 100.3) * (1e6 / (1e6 + 2200)), 7);
    // As far as its load draws any, a driven board has next to nothing of it.
    const [[restA], [restB]] = voltages('rest', [{ outputs: ['A', 'B'], returnOhm: 0.3 }]);
    expect(restA / restB).toBeCloseTo(((1e6 + 2200) / (1e6 + 100)), 6);
  });

  it('needs a generator', () => {
    expect(() => pathNetwork(two, { state: 'into-A', source: { kind: 'instrument' } })).toThrowError(Problem);
  });
});

describe('the player’s instrument', () => {
  it('resonates lower with 5 m more of lead, and higher with the volume pot taken out', () => {
    const peak = (state: string, lead: number, volumeOhm: number | null = 5e5): { hz: number; db: number } => {
      const path = plain;
      const withLead = { ...path, instrument: { ...path.instrument!, volumeOhm, lead: { lengthM: lead, capacitanceFPerM: 95e-12 } } };
      const { network, source, outputs } = pathNetwork(withLead, { state, source: { kind: 'instrument', controls: FULL_UP } });
      const grid = Float64Array.from({ length: 400 }, (_, k) => 1000 * 10 ** (k / 400));
      const { re, im } = response(network, source, outputs.get('A')!, grid);
      const level = grid.map((_, k) => 20 * Math.log10(Math.hypot(re[k], im[k])));
      const best = level.indexOf(Math.max(...level));
      return { hz: grid[best], db: level[best] };
    };
    const short = peak('rest', 5);
    const long = peak('rest', 10);
    // 1/(2π√(LC)) with 110 + 475 + 70 pF and 3.1 H: 3532 Hz; damping by pots and input moves the peak by a few percent.
    expect(short.hz).toBeGreaterThan(3300);
    expect(short.hz).toBeLessThan(3600);
    expect(long.hz / short.hz).toBeCloseTo(Math.sqrt(655 / 1130), 1);
    // Parallel resistance damps: Q = R/(ωL), so less of it (no pot) is a higher peak.
    expect(peak('rest', 5, null).db).toBeGreaterThan(short.db + 1);
  });

  it('is loaded by the board it is plugged into', () => {
    const { network, source } = pathNetwork(plain, { state: 'rest', source: { kind: 'generator', resistanceOhm: 1, plugOhm: null } });
    const z = inputImpedance(network, source, hz(10));
    expect(z.re[0] / 1e6).toBeCloseTo(1, 2);
  });
});

describe('noise', () => {
  it('at rest with the input terminated is the buffer’s 9 nV and the resistors before and after', () => {
    const { network, outputs } = pathNetwork(plain, { state: 'rest', source: { kind: 'generator', resistanceOhm: 100, plugOhm: null } });
    const { densityVPerRtHz } = outputNoise(network, outputs.get('A')!, hz(1000));
    const thermal = (ohm: number): number => 4 * 1.380649e-23 * 290 * ohm;
    expect(densityVPerRtHz[0] / Math.sqrt(9e-9 ** 2 + thermal(100) + thermal(220))).toBeCloseTo(1, 3);
  });

  it('unbuffered through the plug is that of the 10 kΩ, whatever the buffer makes', () => {
    const { network, outputs } = pathNetwork(plain, { state: 'unbuffered', source: plug });
    const { contributions } = outputNoise(network, outputs.get('A')!, hz(1000));
    expect(contributions.map(({ part }) => part)).toEqual(['generator.resistance', 'plug', 'output A load.resistance']);
  });
});

describe('problems', () => {
  it('a polarity switch with nothing to turn over is refused', () => {
    const switched = { ...plain, outputs: [{ ...plain.outputs[0], polaritySwitch: true }] };
    const build = { outputs: { A: { driver: null, transformer: null } } };
    expect(() => pathNetwork(switched, { state: 'invert-A', source: plug, build })).toThrowError(Problem);
  });
});
