/** Boards, benches and readings for the simulator's tests. The readings are plain sums over a transform, shared with nothing. */
import type { Bench, Board, Lead, Loop, Step, StepKind } from '../../src/board/model.js';
import { nextPowerOfTwo, rfft } from '../../src/numerics/fft.js';
import { IDEAL_BENCH, type BoardTruth, type SimulationModel } from '../../src/simulate/model.js';

const lead = (lengthM: number, pFPerM: number): Lead => ({ lengthM, capacitanceFPerM: pFPerM * 1e-12 });
const exact = (value: number): { value: number; tolerance: null } => ({ value, tolerance: null });

const loop = (id: string, supply: string | null): Loop => ({ id, name: id, expect: 'unity', supply, currentA: null, wiring: null });

/** Two outputs, one isolated; four loops, two of them on one outlet. */
export const board: Board = {
  name: 'Test board',
  serial: null,
  mainsHz: 50,
  limits: { kind: 'named', name: 'studio-quiet' },
  instrument: null,
  input: {
    wiring: lead(0.4, 100),
    buffer: { inputResistanceOhm: 1e6, inputCapacitanceF: 30e-12, outputResistanceOhm: 220, noiseVPerRtHz: 9e-9, defeatable: true },
  },
  loops: [loop('comp', 'S1.1'), { ...loop('eq', null), wiring: lead(0.6, 100) }, loop('delay', 'S2.1'), loop('reverb', 'S2.1')],
  outputs: [
    { id: 'A', name: 'A', loadOhm: 1e6, lift: true, polaritySwitch: true, isolated: true },
    { id: 'B', name: 'B', loadOhm: 1e4, lift: false, polaritySwitch: false, isolated: false },
  ],
  match: [['A', 'B']],
  supplies: [
    { id: 'S1', outlets: [{ id: '1', volts: 9, limitA: null }] },
    { id: 'S2', outlets: [{ id: '1', volts: 9, limitA: null }] },
  ],
  invented: true,
};

/** One plain output, no drivers: every response is a formula. */
export const plainBoard: Board = {
  ...board,
  outputs: [{ id: 'A', name: 'A', loadOhm: 1e6, lift: false, polaritySwitch: false, isolated: false }],
  match: [],
};

export const bench: Bench = {
  name: 'Test bench',
  sampleRateHz: 48000,
  output: { channel: 1, fullScaleDbu: exact(12), resistanceOhm: 100 },
  inputs: [
    { channel: 1, output: 'A', fullScaleDbu: exact(18), resistanceOhm: 1e6 },
    { channel: 2, output: 'B', fullScaleDbu: exact(18), resistanceOhm: 1e6 },
  ],
  plugs: [{ id: 'plug10k', resistanceOhm: exact(10000) }],
  lead: lead(0.5, 100),
};

export const quietTruth: BoardTruth = {
  build: {},
  loopDelayS: {},
  mainsHz: 49.97,
  residualHum: [],
  terminationOhm: 100,
  clickPeakV: 1e-3,
};

export const model = (parts: Partial<SimulationModel> = {}): SimulationModel => ({
  board,
  bench,
  boardTruth: quietTruth,
  benchTruth: IDEAL_BENCH,
  faults: [],
  ...parts,
});

export function step(id: string): Step {
  const [place, kind] = id.split('.');
  const [state, plug] = place.split('+');
  return { id, state, plug: plug ?? null, kind: kind as StepKind, patch: '', set: '', required: true };
}

/** Amplitude (peak) and phase of cos(2π·hz·t + phase) in the samples, by a Hann-windowed sum at exactly that frequency. */
export function lineAt(samples: Float64Array, hz: number, rateHz: number): { amplitude: number; phaseRad: number } {
  let re = 0;
  let im = 0;
  let weight = 0;
  const step = [Math.cos((2 * Math.PI * hz) / rateHz), Math.sin((2 * Math.PI * hz) / rateHz)];
  const slow = [Math.cos((2 * Math.PI) / samples.length), Math.sin((2 * Math.PI) / samples.length)];
  for (let start = 0; start < samples.length; start += 4096) {
    // Phasors of the line and of the window, set exactly every 4096 samples.
    const turns = (hz * start) / rateHz;
    let c = Math.cos(2 * Math.PI * (turns % 1));
    let s = Math.sin(2 * Math.PI * (turns % 1));
    let wc = Math.cos((2 * Math.PI * (start + 0.5)) / samples.length);
    let ws = Math.sin((2 * Math.PI * (start + 0.5)) / samples.length);
    for (let n = start; n < Math.min(samples.length, start + 4096); n++) {
      const w = 0.5 - 0.5 * wc;
      re += w * samples[n] * c;
      im -= w * samples[n] * s;
      weight += w;
      [c, s] = [c * step[0] - s * step[1], c * step[1] + s * step[0]];
      [wc, ws] = [wc * slow[0] - ws * slow[1], wc * slow[1] + ws * slow[0]];
    }
  }
  return { amplitude: (2 * Math.hypot(re, im)) / weight, phaseRad: Math.atan2(im, re) };
}

/** Power (mean square) between two frequencies, each bin weighted by `weight`. The samples need no window: noise only. */
export function bandPower(samples: Float64Array, lowHz: number, highHz: number, rateHz: number, weight: (hz: number) => number = () => 1): number {
  // A power-of-two stretch from the middle, so that nothing is padded.
  const size = nextPowerOfTwo(samples.length + 1) / 2;
  const { re, im } = rfft(samples.subarray(0, size), size);
  let power = 0;
  for (let k = Math.ceil((lowHz / rateHz) * size); k <= (highHz / rateHz) * size && k < size / 2; k++) {
    power += (2 * (re[k] * re[k] + im[k] * im[k]) * weight((k * rateHz) / size)) / (size * size);
  }
  return power;
}

/** Power gain of A-weighting (IEC 61672-1 5.5; pole frequencies of its Annex E), 1 at 1 kHz. */
export function aWeight(hz: number): number {
  const at = (f: number): number => {
    const f2 = f * f;
    return (12194.217 ** 2 * f2 * f2) / ((f2 + 20.598997 ** 2) * Math.sqrt((f2 + 107.65265 ** 2) * (f2 + 737.86223 ** 2)) * (f2 + 12194.217 ** 2));
  };
  return (at(hz) / at(1000)) ** 2;
}

/** dBu of samples' mean square at a recorder of that full scale. */
export const dbuOf = (meanSquare: number, fullScaleDbu = 18): number => 10 * Math.log10(2 * meanSquare) + fullScaleDbu;
