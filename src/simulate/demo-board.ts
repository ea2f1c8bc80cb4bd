/**
 * The board of the demonstration: its two files, what is true of it, and the faults built into it. All of it is invented.
 *
 * @module
 */

import type { Bench, Board } from '../board/model.js';
import { noFaults, type Fault } from './faults.js';
import { USUAL_BENCH, type BenchTruth, type BoardTruth, type SimulationModel } from './model.js';

export const demoBoardYaml = `# Pit Board 7: a guitar board for the pit orchestra of a theatre.
# This board does not exist. It is invented for the demonstration, and so is every figure in this file.
format: boardproof-board/1
invented: true
board: Pit Board 7
serial: PB-007
mains: 50 Hz
limits: studio-quiet
instrument:
  pickup: { resistance: 8.2k, inductance: 3.1 H, capacitance: 110 pF }
  volume: 500k
  tone: { resistance: 500k, capacitor: 22 nF }
  lead: { length: 5 m, capacitance: 95 pF/m }
input:
  wiring: { length: 0.3 m, capacitance: 100 pF/m }
  buffer: { inputResistance: 1M, inputCapacitance: 30 pF, outputResistance: 220, noise: 9 nV/rtHz, defeatable: true }
wiring: { length: 1.4 m, capacitance: 100 pF/m } # from the input past the loops to the outputs
loops: # in the order of the signal
  - { id: comp, name: compressor, expect: effect, supply: S1.1, current: 80 mA }
  - { id: drive, name: soft overdrive, expect: effect, supply: S1.2, current: 12 mA }
  - { id: eq, name: equaliser set flat, expect: unity, supply: S1.2, current: 20 mA, wiring: { length: 0.6 m, capacitance: 100 pF/m } }
  - { id: insert, name: insert patched through, expect: unity, wiring: { length: 1 m, capacitance: 100 pF/m } }
  - { id: delay, name: delay, expect: effect, supply: S2.1, current: 120 mA }
  - { id: reverb, name: reverb, expect: effect, supply: S2.1, current: 160 mA }
outputs:
  - { id: A, name: stage amplifier, load: 1M, lift: true, polaritySwitch: true, isolated: true }
  - { id: B, name: pit DI, load: 10k }
match: [[A, B]]
supplies:
  - id: S1
    outlets:
      - { id: 1, volts: 9, limit: 100 mA }
      - { id: 2, volts: 9, limit: 100 mA }
  - id: S2
    outlets:
      - { id: 1, volts: 9, limit: 400 mA }
      - { id: 2, volts: 9, limit: 400 mA }
`;

export const demoBenchYaml = `# The bench of the demonstration. It does not exist either; every figure is invented.
format: boardproof-bench/1
bench: demonstration bench
sampleRate: 48000
output: { channel: 1, fullScale: 12 dBu ± 0.1 dB, resistance: 100 }
inputs:
  - { channel: 1, output: A, fullScale: 18 dBu ± 0.1 dB, resistance: 1M }
  - { channel: 2, output: B, fullScale: 18 dBu ± 0.1 dB, resistance: 1M }
plugs:
  - { id: plug10k, resistance: 10k ± 1 % }
lead: { length: 0.5 m, capacitance: 100 pF/m }
`;

const effect = (gain: number, noiseVPerRtHz: number, bandwidthHz: number): NonNullable<NonNullable<BoardTruth['build']['devices']>[string]> => ({
  inputResistanceOhm: 500e3,
  inputCapacitanceF: 50e-12,
  outputResistanceOhm: 1000,
  gain,
  noise: { densityPerRtHz: noiseVPerRtHz, cornerHz: 40 },
  bandwidthHz,
});

/**
 * What the demonstration's files do not say. Noise of the output drivers, 95 nV/√Hz, is that of an inverting stage of
 * 100 kΩ resistors (40 nV each, heard at twice their level, and the amplifier's own): −97 dBu(A).
 */
export const demoBoardTruth: BoardTruth = {
  build: {
    devices: {
      comp: effect(1.05, 55e-9, 60e3),
      drive: effect(1.12, 65e-9, 16e3),
      eq: { ...effect(1, 40e-9, 400e3), inputResistanceOhm: 1e6, outputResistanceOhm: 220 },
      delay: effect(1, 60e-9, 80e3),
      reverb: effect(1, 60e-9, 80e3),
    },
    outputs: {
      A: {
        driver: { inputResistanceOhm: 1e6, inputCapacitanceF: 20e-12, outputResistanceOhm: 75, noise: { densityPerRtHz: 95e-9, cornerHz: 25 } },
        transformer: {
          ratio: 1,
          primaryResistanceOhm: 60,
          secondaryResistanceOhm: 60,
          magnetisingH: 20,
          leakageH: 2e-3,
          windingCapacitanceF: 150e-12,
        },
      },
      B: {
        driver: { inputResistanceOhm: 1e6, inputCapacitanceF: 20e-12, outputResistanceOhm: 100, noise: { densityPerRtHz: 98e-9, cornerHz: 25 } },
        transformer: null,
      },
    },
  },
  // The reverb is digital throughout: converters in and out.
  loopDelayS: { reverb: 0.00094 },
  mainsHz: 49.97,
  residualHum: [
    { output: 'A', pattern: 'magnetic', levelDbu: -117 },
    { output: 'A', pattern: 'rectifier-ripple', levelDbu: -120 },
    { output: 'B', pattern: 'rectifier-ripple', levelDbu: -118 },
  ],
  // The contacts of a shorting plug.
  terminationOhm: 0.1,
  clickPeakV: 0.4e-3,
  // Drivers on half of 9 V each way, less what their output stages keep: 9.3 dBu as a sine.
  driverClips: { A: { positiveV: 3.2, negativeV: 3.2, sharpness: Infinity }, B: { positiveV: 3.2, negativeV: 3.2, sharpness: Infinity } },
};

export const demoBenchTruth: BenchTruth = USUAL_BENCH;

/** What is wrong with the board of the demonstration. */
export const demoFaults: readonly Fault[] = [
  { kind: 'output-gain', output: 'B', gainDb: -0.4 },
  { kind: 'loop-inverted', loop: 'eq' },
  { kind: 'loop-hum', loop: 'comp', pattern: 'magnetic', levelDbu: -80 },
  { kind: 'whine', outlet: 'S2.1', fundamentalHz: 1013, harmonicsDb: [0, -7, -15, -12, -21], levelDbu: -88 },
];

/** The demonstration's model, from its files as read; `clean` leaves the faults out. */
export function demoModel(board: Board, bench: Bench, clean: boolean): SimulationModel {
  return { board, bench, boardTruth: demoBoardTruth, benchTruth: demoBenchTruth, faults: clean ? noFaults : demoFaults };
}
