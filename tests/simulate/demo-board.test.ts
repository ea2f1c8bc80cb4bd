/** The board of the demonstration: its files read without a complaint, clean it is a good board, and the faults are in it. */
import { describe, expect, it } from 'vitest';
import { readBench, readBoard, type FileReading } from '../../src/board/read.js';
import { stepsOf } from '../../src/board/steps.js';
import { pathNetwork, type PathOptions } from '../../src/circuit/board-network.js';
import { response } from '../../src/circuit/response.js';
import { demoBenchYaml, demoBoardTruth, demoBoardYaml, demoFaults, demoModel } from '../../src/simulate/demo-board.js';
import { simulateStep } from '../../src/simulate/simulate-step.js';
import { aWeight, bandPower, dbuOf, lineAt, step } from './fixtures.js';

/** What a file says, where it reads without a fault and without a caution. */
function accepted<T>(reading: FileReading<T>): T {
  if (!reading.ok) throw new Error(JSON.stringify(reading.faults));
  expect(reading.cautions).toEqual([]);
  return reading.value;
}

const board = accepted(readBoard(demoBoardYaml));
const bench = accepted(readBench(demoBenchYaml, ['A', 'B']));
const clean = demoModel(board, bench, true);
const faulty = demoModel(board, bench, false);
const RATE = 48000;

const noiseDbuA = (samples: Float64Array): number => dbuOf(bandPower(samples, 20, 20000, RATE, aWeight));
const lineDbu = (samples: Float64Array, hz: number): number => 20 * Math.log10(lineAt(samples, hz, RATE * (1 - 3.7e-6)).amplitude) + 18;

describe('the files', () => {
  it('say that the board is invented, in a key and in words', () => {
    expect(board.invented).toBe(true);
    expect(demoBoardYaml).toMatch(/invented for the demonstration/);
    expect(demoBenchYaml).toMatch(/invented/);
  });

  it('are Pit Board 7: six loops, two outputs that must agree, two supplies, two outlets that feed two loops each', () => {
    expect(board.name).toBe('Pit Board 7');
    expect(board.loops.map(({ id }) => id)).toEqual(['comp', 'drive', 'eq', 'insert', 'delay', 'reverb']);
    expect(board.match).toEqual([['A', 'B']]);
    expect(board.supplies.map(({ id }) => id)).toEqual(['S1', 'S2']);
    const onOutlet = (supply: string): string[] => board.loops.filter((loop) => loop.supply === supply).map(({ id }) => id);
    expect(onOutlet('S2.1')).toEqual(['delay', 'reverb']);
    expect(onOutlet('S1.2')).toEqual(['drive', 'eq']);
    expect(bench.plugs[0].resistanceOhm.value).toBe(10000);
  });

  it('keep every outlet within its limit, so that nothing but the planted faults is wrong', () => {
    for (const { id, outlets } of board.supplies) {
      for (const outlet of outlets) {
        const drawn = board.loops.filter(({ supply }) => supply === `${id}.${outlet.id}`).reduce((sum, { currentA }) => sum + currentA!, 0);
        expect(drawn, `${id}.${outlet.id}`).toBeLessThanOrEqual(outlet.limitA!);
      }
    }
  });
});

describe('clean', () => {
  it('hisses between −98 and −92 dBu(A) in every state, and hums below −105 dBu', () => {
    for (const id of ['rest.idle', 'loop-comp.idle', 'loop-drive.idle', 'all.idle']) {
      const { channels } = simulateStep(clean, step(id), 1, { idleS: 6 });
      for (const samples of channels) {
        const level = noiseDbuA(samples);
        expect(level, `${id}: ${level} dBu(A)`).toBeGreaterThan(-98);
        expect(level, `${id}: ${level} dBu(A)`).toBeLessThan(-92);
        const hum = [1, 2, 3, 4, 5, 6, 7].reduce((sum, n) => sum + 10 ** (lineDbu(samples, n * 49.97) / 10), 0);
        expect(10 * Math.log10(hum), `${id}: hum`).toBeLessThan(-105);
      }
    }
  });

  it('is well above the floor of its bench', () => {
    const { channels } = simulateStep(clean, step('bench.idle'), 1, { idleS: 6 });
    for (const samples of channels) expect(noiseDbuA(samples)).toBeLessThan(-102);
  });

  it('loses next to nothing at 20 kHz buffered, and a few tenths of a decibel unbuffered, through 10 kΩ', () => {
    const droop = (state: string, output: string): number => {
      const options: PathOptions = {
        state,
        source: { kind: 'generator', resistanceOhm: 100, plugOhm: 10000 },
        loads: { A: { ohm: 1e6 }, B: { ohm: 1e6 } },
        build: demoBoardTruth.build,
        straightLead: bench.lead,
      };
      const { network, source, outputs } = pathNetwork(board, options);
      const { re, im } = response(network, source, outputs.get(output)!, Float64Array.of(300, 20000));
      return 20 * Math.log10(Math.hypot(re[1], im[1]) / Math.hypot(re[0], im[0]));
    };
    for (const output of ['A', 'B']) {
      const against = droop('lead', output);
      expect(Math.abs(droop('rest', output) - against), `output ${output}, buffered`).toBeLessThan(0.1);
      const unbuffered = droop('unbuffered', output) - against;
      expect(unbuffered, `output ${output}, unbuffered`).toBeLessThan(-0.2);
      expect(unbuffered, `output ${output}, unbuffered`).toBeGreaterThan(-0.5);
    }
  });

  it('makes a capture of every step without a take in it, but for level stairs', () => {
    for (const one of stepsOf(board, bench)) {
      if (one.kind === 'take' || one.kind === 'stairs') continue;
      const { channels } = simulateStep(clean, one, 1, { idleS: 0.5, flexS: 0.5 });
      expect(channels, one.id).toHaveLength(2);
      expect(channels.every((samples) => samples.some((v) => v !== 0) && samples.every((v) => Math.abs(v) < 1)), one.id).toBe(true);
    }
  });
});

it('is wired as its file says, so that what is measured over its design is a fault', () => {
  expect(board.wiring).toEqual({ lengthM: 1.4, capacitanceFPerM: 100e-12 });
  expect(demoBoardTruth.build.wiring).toBeUndefined();
});

describe('with its faults', () => {
  it('has the four that the demonstration is about', () => {
    expect(demoFaults.map(({ kind }) => kind)).toEqual(['output-gain', 'loop-inverted', 'loop-hum', 'whine']);
  });

  it('hums with the compressor in, whines with delay or reverb in, and is as clean as before at rest', () => {
    const at = (id: string): Float64Array => simulateStep(faulty, step(id), 1, { idleS: 6 }).channels[0];
    expect(lineDbu(at('loop-comp.idle'), 49.97)).toBeCloseTo(-80, 0);
    expect(lineDbu(at('loop-delay.idle'), 1013)).toBeCloseTo(-88, 0);
    expect(lineDbu(at('loop-reverb.idle'), 2026)).toBeCloseTo(-95, 0);
    const rest = at('rest.idle');
    expect(noiseDbuA(rest)).toBeLessThan(-96);
    expect(lineDbu(rest, 1013)).toBeLessThan(-120);
    expect(lineDbu(rest, 49.97)).toBeLessThan(-112);
  });
});
