/**
 * Hum of several sources that meet at unknown phases, against NumPy: boards drawn there phase by phase (tests/outside/numpy/hum_phases.py).
 *
 * With phases known to nobody the power of a loop's hum is off by Σ 2·√(a·b)·cos φ over the harmonics, a at rest and b the loop's own: an rms
 * of √(Σ 2·a·b). What is stated stands on what one draw shows of a and b: of b only a + b is surely known, so that up to √(Σ 2·a·(a + b)) is stated.
 */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import type { Bench } from '../../src/board/model.js';
import { attributeNoise } from '../../src/measure/attribution.js';
import type { Attribution } from '../../src/measure/attribution.js';
import type { IdleEstimate } from '../../src/measure/idle.js';
import { boardWith } from '../helpers/plain-board.js';

interface Case {
  readonly name: string;
  readonly hz: readonly number[];
  readonly rest: readonly number[];
  readonly loops: readonly (readonly number[])[];
  readonly rmsError: readonly number[];
  readonly largestTogether: number;
  readonly leastTogether: number;
  readonly seen: readonly (readonly (readonly number[])[])[];
  readonly together: readonly (readonly number[])[];
}
const { cases } = JSON.parse(readFileSync(join(import.meta.dirname, '../outside/numpy/hum-phases.json'), 'utf8')) as { cases: Case[] };

const UNIT = 1e-12;
const BIN_HZ = 0.75;
const bench: Bench = { name: 'bench', sampleRateHz: 48000, output: null, inputs: [{ channel: 1, output: 'A', fullScaleDbu: null, resistanceOhm: null }], plugs: [], lead: null };

/** An idle capture in which nothing but these harmonics is to be heard, over a floor a hundred million times weaker. */
function humming(hz: readonly number[], powers: readonly number[]): readonly IdleEstimate[] {
  const floor = new Float64Array(4096).fill(1e-8 * UNIT);
  const hum = powers.flatMap((power, k) => (power > 0 ? [{ hz: hz[k]!, hzUncertainty: 1e-4, power: power * UNIT, overFloorDb: 60, firstBin: Math.round(hz[k]! / BIN_HZ) - 1, lastBin: Math.round(hz[k]! / BIN_HZ) + 1, harmonic: hz[k]! / 50 }] : []));
  const none = { power: 1e-9 * UNIT, relativeUncertainty: 0 };
  const spectrum = {
    psd: { density: floor, binHz: BIN_HZ, degreesOfFreedom: 200 },
    search: { floor, lines: [], thresholdDb: 12 },
    lines: { mainsHz: 50, hum, whine: [] },
    hiss: none,
    hum: { power: powers.reduce((sum, p) => sum + p, 0) * UNIT, relativeUncertainty: 1e-4 },
    humIsBound: hum.length === 0,
    whine: none,
    whineIsBound: true,
  };
  return [{ spectrum } as unknown as IdleEstimate];
}

const boardOf = (count: number) => boardWith({ loops: Array.from({ length: count }, (_, k) => ({ id: `loop${k}`, name: `loop${k}`, expect: 'effect' as const, supply: null, currentA: null, wiring: null })) });

function attributed({ hz, rest, loops, seen, together }: Case, draw: number): Attribution {
  const captures: Record<string, readonly IdleEstimate[]> = { rest: humming(hz, rest), all: humming(hz, together[draw]!) };
  seen[draw]!.forEach((powers, k) => (captures[`loop-loop${k}`] = humming(hz, powers)));
  return attributeNoise(boardOf(loops.length), bench, (id) => captures[id.replace('.idle', '')] ?? null, () => null)[0]!;
}

describe.each(cases)('$name', (one) => {
  const all = one.seen.map((_, draw) => attributed(one, draw));
  const ofLoop = (a: Attribution, k: number) => a.sources.find(({ loop }) => loop === `loop${k}`)!.parts.hum;
  const sum = (powers: readonly number[]): number => powers.reduce((s, p) => s + p, 0) * UNIT;

  it.each(one.loops.map((own, k) => [k, own] as const))('loop %i: the interval holds what the device makes, and is as wide as the phases ask for', (k, own) => {
    const truth = sum(own);
    const held = all.filter((a) => ofLoop(a, k).low <= truth * (1 + 1e-6) + 1e-6 * UNIT && ofLoop(a, k).high >= truth * (1 - 1e-6)).length;
    // Of 120 draws 114 in the mean; three standard deviations of a count are 7. A single phase never leaves 1.96 standard uncertainties.
    expect(held).toBeGreaterThanOrEqual(107);
    const stated = Math.sqrt(all.reduce((s, a) => s + ofLoop(a, k).phase ** 2 + ofLoop(a, k).otherPhases ** 2, 0) / all.length);
    const exact = Math.sqrt(one.rest.reduce((s, a, h) => s + 2 * a * own[h]!, 0)) * UNIT;
    const most = Math.sqrt(one.rest.reduce((s, a, h) => s + 2 * a * (own[h]! === 0 ? 0 : 2 * a + own[h]!), 0)) * UNIT;
    // NumPy's 40 000 draws scatter by 0.4 %.
    expect(Math.abs(one.rmsError[k]! * UNIT - exact)).toBeLessThan(0.015 * exact + 1e-6 * UNIT);
    expect(stated).toBeGreaterThanOrEqual(0.9 * exact);
    expect(stated).toBeLessThan(1.1 * most + 1e-3 * UNIT);
  });

  it('with every loop in, what is seen lies in what is predicted, and nothing is called an interaction', () => {
    all.forEach((a, draw) => {
      const [whole] = a.sums;
      const seen = sum(one.together[draw]!);
      expect(seen, `draw ${draw}`).toBeGreaterThanOrEqual(whole!.predicted.hum.low * 0.999);
      expect(seen, `draw ${draw}`).toBeLessThanOrEqual(whole!.predicted.hum.high * 1.001);
      expect(whole!.interacts!.hum, `draw ${draw}`).toBe(false);
    });
  });
});
