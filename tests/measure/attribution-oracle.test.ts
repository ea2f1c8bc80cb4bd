/** Sources of the noise against SciPy: its nnls on a design that was written there from the signal path, for boards of two to five loops with gains. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import type { Bench, Board } from '../../src/board/model.js';
import { attributeNoise } from '../../src/measure/attribution.js';
import { GRID_HZ } from '../../src/measure/frequency-grid.js';
import type { IdleEstimate } from '../../src/measure/idle.js';
import type { TakeEstimate } from '../../src/measure/take.js';
import { boardWith } from '../helpers/plain-board.js';

interface Case {
  readonly gainsDb: readonly number[];
  /** Power and relative uncertainty of each state. */
  readonly seen: Readonly<Record<string, readonly [number, number]>>;
  readonly sources: Readonly<Record<string, number>>;
  /** Every loop in, then every loop but one. */
  readonly sums: readonly number[];
}
const { boards } = JSON.parse(readFileSync(join(import.meta.dirname, '../outside/scipy/attribution.json'), 'utf8')) as { boards: Case[] };

const boardOf = (count: number): Board =>
  boardWith({ loops: Array.from({ length: count }, (_, k) => ({ id: `loop${k}`, name: `loop${k}`, expect: 'effect', supply: null, currentA: null, wiring: null })) });
const bench: Bench = { name: 'bench', sampleRateHz: 48000, output: null, inputs: [{ channel: 1, output: 'A', fullScaleDbu: null, resistanceOhm: null }], plugs: [], lead: null };

/** What attribution reads of an idle capture: its hiss; no line in it. */
function hissing(power: number, relativeUncertainty: number): readonly IdleEstimate[] {
  const none = { power: 0, relativeUncertainty: 0 };
  const spectrum = {
    psd: { density: new Float64Array(4096), binHz: 6, degreesOfFreedom: 200 },
    search: { floor: new Float64Array(4096), lines: [] },
    lines: { mainsHz: null, hum: [], whine: [] },
    hiss: { power, relativeUncertainty },
    hum: none,
    humIsBound: true,
    whine: none,
    whineIsBound: true,
  };
  return [{ spectrum } as unknown as IdleEstimate];
}
function takeOfGain(db: number): readonly TakeEstimate[] {
  const n = GRID_HZ.length;
  return [{ response: { curve: { re: new Float64Array(n).fill(10 ** (db / 20)), im: new Float64Array(n) }, variance: new Float64Array(n), peakLagS: 0 } } as unknown as TakeEstimate];
}

describe('sources of the noise, by SciPy', () => {
  it.each(boards.map((b) => [b.gainsDb.length, b] as const))('%i loops', (count, { gainsDb, seen, sources, sums }) => {
    const [found] = attributeNoise(
      boardOf(count),
      bench,
      (id) => {
        const of = seen[id.replace('.idle', '')];
        return of ? hissing(...of) : null;
      },
      (id) => (id === 'rest.take' ? takeOfGain(0) : takeOfGain(gainsDb[Number(/^loop-loop(\d)\.take$/.exec(id)![1])]!)),
    );
    const largest = Math.max(...Object.values(seen).map(([power]) => power));
    expect(found!.sources.map(({ kind, loop }) => loop ?? kind).sort()).toEqual(Object.keys(sources).sort());
    // One part in 10⁶ of the loudest state: two solvers of one system of doubles.
    for (const { kind, loop, parts } of found!.sources) expect(Math.abs(parts.hiss.power - sources[loop ?? kind]!) / largest, loop ?? kind).toBeLessThan(1e-6);
    expect(found!.sums).toHaveLength(sums.length);
    found!.sums.forEach(({ predicted }, k) => {
      expect(Math.abs(predicted.hiss.power / sums[k]! - 1), `sum ${k}`).toBeLessThan(1e-6);
    });
  });

  it('some of them come out as none: the bound at zero is at work', () => {
    expect(boards.flatMap(({ sources }) => Object.values(sources)).filter((x) => x === 0).length).toBeGreaterThan(0);
  });
});
