import { describe, expect, it } from 'vitest';
import { judgeReadings } from '../../src/judge/judge-job.js';
import { limitSets } from '../../src/judge/limit-sets.js';
import type { Reading } from '../../src/judge/results.js';
import { expanded } from '../../src/judge/uncertainty.js';
import { clickFigures } from '../../src/measure/click-figures.js';
import type { Figure } from '../../src/measure/figure.js';
import { estimateCapture, measureJob } from '../../src/measure/job.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { measureSwitching } from '../../src/measure/switching.js';
import type { SwitchingEstimate } from '../../src/measure/switching.js';
import { simulateStep } from '../../src/simulate/simulate-step.js';
import { noise } from '../helpers/random.js';
import { aWeight, bench, board, model, step } from '../simulate/fixtures.js';

const RATE = 48000;
const db = (x: number): number => 20 * Math.log10(x);
const place = { state: 'rest', source: null, output: 'A', loop: null, capture: ['rest.switching'] };
const dbfs = { unit: 'dBFS', offsetDb: 0, parts: [] } as const;
const read = (e: SwitchingEstimate, loops: readonly string[] = []): Record<string, Figure> => Object.fromEntries(clickFigures(place, e, loops, dbfs).filter((f) => f.loop === null).map((f) => [f.id, f]));

/** P·e^(−t/τ) from a time on: what a leaked capacitor makes; with hiss, and hum where asked. */
function capture(clicks: readonly { atS: number; peak: number; tauS: number }[], seed: number, { lengthS = 8, rms = 1e-5, hum = 0 } = {}): SwitchingEstimate {
  const x = noise(lengthS * RATE, rms, seed);
  for (let n = 0; n < x.length; n++) x[n]! += hum * (Math.sin((2 * Math.PI * 50 * n) / RATE) + 0.3 * Math.sin((2 * Math.PI * 150 * n) / RATE));
  for (const { atS, peak, tauS } of clicks) for (let n = Math.ceil(atS * RATE); n < Math.min(x.length, (atS + 20 * tauS) * RATE); n++) x[n]! += peak * Math.exp(-(n / RATE - atS) / tauS);
  return measureSwitching(memoryRecording([x], RATE, 30011))[0]!;
}

/** A-weighted energy of P·e^(−t/τ), 100 Hz to 20 kHz: ∫2·|Pτ/(1 + jωτ)|²·A² df; and the frequency that halves it. */
function energyOf(peak: number, tauS: number): { energy: number; middleHz: number } {
  const at = (hz: number): number => (2 * (peak * tauS) ** 2 * aWeight(hz)) / (1 + (2 * Math.PI * hz * tauS) ** 2);
  let energy = 0;
  for (let hz = 100.5; hz < 20000; hz++) energy += at(hz);
  let [reached, middleHz] = [0, 100];
  while (reached < energy / 2) reached += at(middleHz++ + 0.5);
  return { energy, middleHz };
}

describe('clicks of known shape', () => {
  const peak = 0.02;
  const tauS = 1.2e-3;
  const e = capture([1, 2.1, 3.3].map((atS, k) => ({ atS, peak: k === 1 ? -peak : peak / 2, tauS })), 3);

  it('are counted, at their times', () => {
    expect(e.clicks.map((c) => c.atS)).toEqual([1, 2.1, 3.3].map((t) => expect.closeTo(t, 2) as number));
  });

  it('peak, energy, middle of the spectrum', () => {
    const f = read(e);
    expect(Math.abs(f['click.peak']!.value! - db(peak))).toBeLessThan(0.15);
    const truth = energyOf(peak, tauS);
    // 0.15 dB: the jump of an exponential, sampled, folds what lies above half the rate.
    expect(Math.abs(f['click.energy-a']!.value! - 10 * Math.log10(2 * truth.energy))).toBeLessThan(0.15);
    expect(Math.abs(f['click.middle-frequency']!.value! / truth.middleHz - 1)).toBeLessThan(0.03);
    // White noise of 1e-5 rms, A-weighted from 100 Hz to 20 kHz.
    let floor = 0;
    for (let hz = 100.5; hz < 20000; hz++) floor += (1e-10 / 24000) * aWeight(hz);
    expect(Math.abs(f['click.over-floor']!.value! - 10 * Math.log10(truth.energy / (0.125 * floor)))).toBeLessThan(0.3);
  });

  it('contacts that bounce are one press', () => {
    expect(capture([0, 0.004, 0.011, 0.05].map((t) => ({ atS: 2 + t, peak, tauS })), 4).clicks).toHaveLength(1);
  });

  it('at the beginning and the end of the capture have a peak, if no energy', () => {
    const f = read(capture([{ atS: 7.9, peak, tauS }], 5));
    expect(f['click.peak']!.value).toBeCloseTo(db(peak), 0);
    expect(f['click.energy-a']).toBeUndefined();
  });
});

describe('over a floor of its own', () => {
  it('none in 30 captures of hiss, half of them with hum 40 dB over it', () => {
    for (let seed = 1; seed <= 30; seed++) {
      const e = capture([], seed, { lengthS: 4, hum: seed % 2 ? 1e-3 : 0 });
      expect(e.clicks, `seed ${seed}`).toEqual([]);
      expect(read(e)['click.peak']).toMatchObject({ bound: 'upper' });
    }
  });

  it('every click of 12 times the floor is found, and 95 % intervals hold its peak and energy', () => {
    let [peaks, energies] = [0, 0];
    const trials = 30;
    const [peak, tauS] = [12e-5, 3e-3];
    for (let seed = 1; seed <= trials; seed++) {
      const e = capture([{ atS: 2.1, peak, tauS }], 100 + seed, { lengthS: 4 });
      expect(e.clicks, `seed ${seed}`).toHaveLength(1);
      const f = read(e);
      if (Math.abs(f['click.peak']!.value! - db(peak)) <= expanded(f['click.peak']!.parts!)) peaks++;
      const energy = f['click.energy-a']!;
      if (energy.bound === 'upper' || Math.abs(energy.value! - 10 * Math.log10(2 * energyOf(peak, tauS).energy)) <= expanded(energy.parts!)) energies++;
    }
    // Of 30 intervals of 95 % fewer than 25 hold once in 600.
    expect(peaks).toBeGreaterThanOrEqual(25);
    expect(energies).toBeGreaterThanOrEqual(25);
  });

  it('digital silence has no count', () => {
    expect(read(measureSwitching(memoryRecording([new Float64Array(RATE)], RATE))[0]!)['click.count']!.value).toBeNull();
  });
});

describe('a capture in which nothing is heard', () => {
  const [quiet, pressed] = [capture([], 50), capture([{ atS: 2, peak: 0.02, tauS: 1.2e-3 }], 51)];
  const limits = limitSets['studio-quiet']!;
  const judged = (inputs: SwitchingEstimate[], more: { pressedSilently?: boolean } = {}): Reading[] => {
    const estimate = { step: step('rest.switching'), kind: 'switching' as const, inputs, ...more };
    return judgeReadings({ board, bench, limits, measured: measureJob(board, bench, [estimate]), problems: [] }).readings.filter((r) => r.id === 'click.peak' && r.loop === null);
  };

  it('does not pass: that nobody pressed says nothing of a switch', () => {
    for (const r of judged([quiet, quiet])) {
      expect([r.value, r.verdict]).toEqual([null, 'undecided']);
      expect(r.remarks).toEqual([expect.stringMatching(/^No press of a switch was heard: press again, or, if the switches are silent, file it as it is/)]);
    }
  });

  it('on one output only is silence of the other', () => {
    // 0.02 of 18 dBu is −16 dBu, and no click is below −82 dBFS.
    expect(judged([pressed, quiet]).map((r) => [r.output, r.bound, r.verdict])).toEqual([['A', null, 'fail'], ['B', 'upper', 'pass']]);
  });

  it('passes where the builder says that they were pressed', () => {
    expect(judged([quiet, quiet], { pressedSilently: true }).map((r) => [r.bound, r.verdict])).toEqual([['upper', 'pass'], ['upper', 'pass']]);
  });

  it('does not pass beside an input that is dead: it was for that one that it was filed as it is', () => {
    const dead = { ...quiet, silent: true, clicks: [] };
    expect(judged([dead, quiet], { pressedSilently: true }).map((r) => [r.output, r.value, r.verdict])).toEqual([['B', null, 'undecided']]);
  });
});

describe('a simulated board', () => {
  const simulated = model({ faults: [{ kind: 'loop-click', loop: 'eq', peakV: 0.05 }] });
  const figuresOf = (id: string): readonly Figure[] => {
    const { channels, sampleRateHz } = simulateStep(simulated, step(id), 2);
    return measureJob(board, bench, [estimateCapture(memoryRecording(channels, sampleRateHz), step(id), bench, 50)!]).figures;
  };
  /** dBu of a sine of that peak. */
  const dbu = (peakV: number): number => db(peakV / Math.SQRT2 / 0.774597);

  it('each loop has its clicks, in the order of the step', () => {
    const figures = figuresOf('rest.switching');
    const of = (id: string, loop: string | null): Figure => figures.find((f) => f.id === id && f.loop === loop && f.output === 'A')!;
    expect(of('click.count', null).value).toBe(8);
    // Below 100 Hz lies a part of a click that runs off in 1.2 ms: its peak loses some tenths of a decibel.
    for (const [loop, peakV] of [['comp', 1e-3], ['eq', 0.05], ['delay', 1e-3], ['reverb', 1e-3]] as const) expect(Math.abs(of('click.peak', loop).value! - dbu(peakV)), loop).toBeLessThan(0.6);
    expect(of('click.peak', null).value).toBe(of('click.peak', 'eq').value);
  });

  it('a capture of one loop is all of that loop', () => {
    const peak = figuresOf('loop-eq.switching').filter((f) => f.id === 'click.peak' && f.output === 'A');
    expect(peak.map((f) => [f.state, f.loop])).toEqual([['loop-eq', 'eq']]);
    expect(Math.abs(peak[0]!.value! - dbu(0.05))).toBeLessThan(0.6);
  });
});
