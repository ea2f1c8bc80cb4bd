/** Several captures of one step: the same figure within its uncertainty, surer together, and disagreement seen. */
import { describe, expect, it } from 'vitest';
import { expanded } from '../../src/judge/uncertainty.js';
import type { Figure } from '../../src/measure/figure.js';
import { GRID_HZ, gridIndex } from '../../src/measure/frequency-grid.js';
import { estimateCapture, measureJob } from '../../src/measure/job.js';
import type { CaptureEstimate } from '../../src/measure/job.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { joinResponses } from '../../src/measure/repeats.js';
import { measureStair } from '../../src/measure/stairs.js';
import type { ResponseEstimate } from '../../src/measure/take.js';
import type { Bench, Board } from '../../src/board/model.js';
import { noise, seeded } from '../helpers/random.js';

const RATE = 48000;
const board = {
  name: 'repeats', serial: null, mainsHz: 50, limits: { kind: 'named', name: 'stage' }, instrument: null, input: { wiring: null, buffer: null }, loops: [], supplies: [], invented: true, match: [],
  outputs: [{ id: 'A', name: 'A', loadOhm: null, lift: false, polaritySwitch: false, isolated: false }],
} as unknown as Board;
const bench = { name: 'b', sampleRateHz: RATE, lead: null, output: null, plugs: [], inputs: [{ channel: 1, output: 'A', fullScaleDbu: { value: 18, tolerance: 0.1 }, resistanceOhm: null }] } as unknown as Bench;
const step = { id: 'rest.idle', state: 'rest', plug: null, kind: 'idle' as const };
const idle = (rms: number, seed: number, frames = 4 * RATE): CaptureEstimate => estimateCapture(memoryRecording([noise(frames, rms, seed)], RATE), step, bench, 50)!;
const reading = (estimates: readonly CaptureEstimate[], id: string): Figure => measureJob(board, bench, estimates).figures.find((f) => f.id === id)!;
const ownOf = (f: Figure): number => Math.hypot(...f.parts!.filter((p) => p.kind !== 'calibration').map((p) => p.standard));

describe('idle captures of one step', () => {
  const captures = Array.from({ length: 12 }, (_, k) => idle(1e-5, 40 + k));

  it('give the same figure within its uncertainty, and are surer together by the root of their number', () => {
    const truth = 18 + 20 * Math.log10(1e-5 * Math.SQRT2) + 10 * Math.log10(19980 / 24000);
    const alone = captures.map((c) => reading([c], 'noise.unweighted'));
    const joined = reading(captures, 'noise.unweighted');
    expect(ownOf(joined) / ownOf(alone[0]!)).toBeCloseTo(1 / Math.sqrt(12), 2);
    expect(Math.abs(joined.value! - truth)).toBeLessThan(3 * ownOf(joined));
    for (const f of alone) expect(Math.abs(f.value! - truth)).toBeLessThan(3.5 * ownOf(f));
    expect(joined.repeats).toEqual([{ step: 'rest.idle', values: alone.map((f) => f.value), agree: true }]);
  });

  it('agree in all their figures, where they do', () => {
    const figures = [0, 3, 6, 9].flatMap((at) => measureJob(board, bench, captures.slice(at, at + 3)).figures);
    expect(figures.filter((f) => f.repeats?.some((r) => !r.agree))).toEqual([]);
    // With the scatter in every one of them stated, not merely wide: it is as large as stated.
    const spread = ['noise.unweighted', 'noise.a', 'noise.ccir-rms', 'noise.density-1k', 'noise.hiss'].map((id) => {
      const each = captures.map((c) => reading([c], id));
      const mean = each.reduce((s, f) => s + f.value!, 0) / each.length;
      return each.reduce((s, f) => s + ((f.value! - mean) / ownOf(f)) ** 2, 0) / (each.length - 1);
    });
    // Chi-square with 11 degrees of freedom over 11: 0.24 to 2.4 in 99 of 100.
    for (const ratio of spread) expect([ratio > 0.24, ratio < 2.6]).toEqual([true, true]);
  });

  it('have their noise per third-octave band, the bench taken off, where its 95 % interval says', () => {
    const atBench = estimateCapture(memoryRecording([noise(4 * RATE, 5e-6, 97)], RATE), { ...step, id: 'bench.idle', state: 'bench' }, bench, 50)!;
    const [own] = measureJob(board, bench, [...captures, atBench]).noiseBands!.filter((c) => c.state === 'rest');
    // White noise of 1e-5 to 24 kHz less that of 5e-6; a band is 10^0.05 − 10^−0.05 of its middle wide.
    const truth = own!.x.values.map((hz) => 18 + 10 * Math.log10((2 * (1e-10 - 0.25e-10) * hz! * (10 ** 0.05 - 10 ** -0.05)) / 24000));
    const inside = truth.filter((t, i) => t >= own!.low![i]! && t <= own!.high![i]!).length;
    // 24 bands of 95 %, of independent noise: six outside once in 1000.
    expect(truth.length).toBe(24);
    expect(inside).toBeGreaterThan(truth.length - 6);
    truth.slice(-10).forEach((t, i) => { expect(Math.abs(own!.y.values.slice(-10)[i]! - t)).toBeLessThan(0.3); });
    // Hardly over the bench there is a bound, and no lower end.
    const hidden = measureJob(board, bench, [captures[0]!, estimateCapture(memoryRecording([noise(4 * RATE, 1e-5, 98)], RATE), { ...step, id: 'bench.idle', state: 'bench' }, bench, 50)!]).noiseBands!.find((c) => c.state === 'rest')!;
    expect(hidden.low!.filter((v) => v === null).length).toBeGreaterThan(20);
  });

  it('say so where one is 1 dB louder, and the scatter is in the uncertainty', () => {
    const louder = reading([captures[0]!, captures[1]!, idle(1.122e-5, 90)], 'noise.unweighted');
    expect(louder.repeats![0]!.agree).toBe(false);
    expect(louder.parts!.find((p) => p.kind === 'repeats')!.standard).toBeCloseTo(1 / 3, 1);
    expect(expanded(louder.parts!)).toBeGreaterThan(1);
  });

  it('say so where a whine comes and goes', () => {
    const whining = estimateCapture(memoryRecording([noise(4 * RATE, 1e-5, 95).map((v, n) => v + 1e-5 * Math.sin((2 * Math.PI * 3001 * n) / RATE))], RATE), step, bench, 50)!;
    const whine = reading([captures[0]!, whining], 'noise.whine');
    expect(whine.repeats![0]!.agree).toBe(false);
    expect(whine.remarks.at(-1)).toContain('do not agree');
  });

  it('are left apart where they cannot be put together', () => {
    const short = idle(1e-5, 96, 1.5 * RATE);
    const { figures, remarks } = measureJob(board, bench, [captures[0]!, short]);
    expect(remarks).toContain('One capture of rest.idle could not be put together with the newest: another sample rate or length.');
    expect(figures.find((f) => f.id === 'noise.a')).toEqual(reading([captures[0]!], 'noise.a'));
  });
});

describe('responses of several takes', () => {
  const make = (delayS: number, error: number, seed: number): ResponseEstimate => {
    const { gauss } = seeded(seed);
    const [re, im, variance] = [0, 0, 0].map(() => new Float64Array(GRID_HZ.length)) as [Float64Array, Float64Array, Float64Array];
    GRID_HZ.forEach((hz, i) => {
      const turn = -2 * Math.PI * hz * delayS;
      re[i] = Math.cos(turn) + (error / Math.SQRT2) * gauss();
      im[i] = Math.sin(turn) + (error / Math.SQRT2) * gauss();
      variance[i] = error * error;
    });
    return { curve: { re, im }, variance, peakLagS: 0 };
  };

  it('are aligned before they are averaged: half a sample between them takes nothing from 20 kHz', () => {
    const joined = joinResponses([make(0, 0, 1), make(0.5 / RATE, 0, 2)]);
    const top = gridIndex(20000);
    // Unaligned, the mean of the two would be cos(π·20000/2/48000) = 0.79 of it.
    expect(Math.hypot(joined.curve.re[top]!, joined.curve.im[top]!)).toBeCloseTo(1, 6);
  });

  it('weigh by their noise, and scatter as they say', () => {
    let squares = 0;
    let stated = 0;
    for (let seed = 1; seed <= 20; seed++) {
      const joined = joinResponses([make(0, 0.01, 10 * seed), make(0, 0.02, 10 * seed + 1), make(0, 0.02, 10 * seed + 2)]);
      GRID_HZ.forEach((_, i) => {
        squares += (Math.hypot(joined.curve.re[i]!, joined.curve.im[i]!) - 1) ** 2;
        stated += joined.variance[i]! / 2;
      });
    }
    // 1/σ² = 1e4 + 2·2500: σ = 0.00816. About 9600 values: 1.4 % of their sum; four of those.
    expect(Math.sqrt(stated / 20 / GRID_HZ.length)).toBeCloseTo(0.00816 / Math.SQRT2, 5);
    expect(squares / stated).toBeGreaterThan(0.94);
    expect(squares / stated).toBeLessThan(1.06);
  });
});

describe('captures of presses, of moved leads and of the stairs', () => {
  const presses = (peaks: readonly number[], seed: number, rms = 1e-5): CaptureEstimate => {
    const x = noise(6 * RATE, rms, seed);
    peaks.forEach((peak, k) => { for (let n = 0; n < 0.02 * RATE; n++) x[(1 + k) * RATE + n]! += peak * Math.exp(-n / (1e-3 * RATE)); });
    return estimateCapture(memoryRecording([x], RATE), { id: 'rest.switching', state: 'rest', plug: null, kind: 'switching' }, bench, 50)!;
  };

  it('count the loudest click of all, in decibels of its own capture, and say how they differ', () => {
    const [soft, loud] = [presses([0.005, 0.004], 31), presses([0.004, 0.02], 32)];
    const both = reading([soft, loud], 'click.peak');
    expect(both.value).toBe(reading([loud], 'click.peak').value);
    expect(both.repeats).toEqual([{ step: 'rest.switching', values: [soft, loud].map((c) => reading([c], 'click.peak').value), agree: false }]);
    expect(both.parts!.some((p) => p.kind === 'repeats')).toBe(false);
    expect(both.remarks.at(-1)).toBe('Of 2 captures laid end to end; the loudest click of all counts. They differ by more than chance.');
    // The older one first: its clicks at 1 and 2 s, those of the newer at 6 s more.
    expect(reading([soft, loud], 'click.count')).toMatchObject({ value: 4, repeats: [{ values: [2, 2], agree: true }], remarks: [expect.stringMatching(/^At 1\.0 s, 2\.0 s, 7\.0 s, 8\.0 s\./), expect.anything()] });
    expect(reading([soft, loud], 'click.energy-a').value).toBeCloseTo(reading([loud], 'click.energy-a').value!, 9);
    // None in either, though pressed: what could hide in the louder floor. Where nobody says so, nothing is known of a click.
    const [quiet, noisy] = [presses([], 33), presses([], 34, 3e-5)].map((c) => ({ ...c, pressedSilently: true }) as CaptureEstimate) as [CaptureEstimate, CaptureEstimate];
    expect(reading([presses([], 33), presses([], 34, 3e-5)], 'click.peak')).toMatchObject({ bound: null, value: null });
    expect(reading([quiet, noisy], 'click.peak')).toMatchObject({ bound: 'upper', value: reading([noisy], 'click.peak').value });
  });

  it('add up what moved leads do, in one line of time', () => {
    const flex = (gaps: readonly number[], seed: number): CaptureEstimate => {
      const hiss = noise(5 * RATE, 1e-5, seed);
      const x = hiss.map((v, n) => v + (gaps.some((s) => n > s * RATE && n < (s + 0.02) * RATE) ? 0 : 0.1 * Math.sin((2 * Math.PI * 997 * n) / RATE)));
      return estimateCapture(memoryRecording([x], RATE), { id: 'rest.flex', state: 'rest', plug: null, kind: 'flex' }, bench, 50)!;
    };
    const captures = [flex([3], 41), flex([2, 4], 42)];
    const { figures, flex: records } = measureJob(board, bench, captures);
    expect(figures.find((f) => f.id === 'flex.dropouts')).toMatchObject({ value: 3, repeats: [{ step: 'rest.flex', values: [1, 2], agree: true }] });
    expect(records).toHaveLength(1);
    const { durationS, events, levels } = records![0]!;
    expect(durationS).toBeCloseTo(10, 1);
    expect(events.map((e) => Math.round(e.atS))).toEqual([2, 4, 8]);
    expect(levels[0]!.lowDb.length * levels[0]!.stepS).toBeCloseTo(10, 0);
    // As often as by chance, or not: 30 against none is no chance.
    const calm = flex([], 43);
    const often = flex(Array.from({ length: 30 }, (_, k) => 0.6 + 0.13 * k), 44);
    const unlike = measureJob(board, bench, [calm, often]).figures.find((f) => f.id === 'flex.dropouts')!;
    expect(unlike).toMatchObject({ value: 30, repeats: [{ values: [0, 30], agree: false }] });
  });

  it('average the stairs: headroom of the same curve, half as uncertain from its noise with four of them', () => {
    const stairs = (seed: number, bend = 0.8): CaptureEstimate => {
      const { gauss } = seeded(seed);
      const own = Array.from({ length: 9 }, (_, k) => {
        const amplitude = 0.12 * 10 ** (k / 20);
        const x = Float64Array.from({ length: 20000 }, (_, n) => {
          const v = amplitude * Math.cos((2 * Math.PI * 997 * n) / RATE);
          return v - bend * v ** 3 + 1e-4 * gauss();
        });
        return measureStair(x, RATE, 997, k - 30)!;
      });
      return { step: { id: 'rest.stairs', state: 'rest', plug: null, kind: 'stairs' }, kind: 'stairs', inputs: [{ located: { identity: { levelDbfs: -20, sweepTopHz: 20000 } }, stairs: own }] } as unknown as CaptureEstimate;
    };
    const captures = [51, 52, 53, 54].map((seed) => stairs(seed));
    const fit = (f: Figure): number => f.parts!.find((p) => p.kind === 'fit')!.standard;
    const joined = reading(captures, 'headroom');
    const alone = captures.map((c) => reading([c], 'headroom'));
    expect(joined.repeats![0]!.agree).toBe(true);
    // The noise beside each tone is itself told from few bins: 5 % of the mean of four.
    const usual = Math.sqrt(alone.reduce((s, f) => s + fit(f) ** 2, 0) / 4);
    expect(fit(joined) / usual).toBeGreaterThan(0.42);
    expect(fit(joined) / usual).toBeLessThan(0.55);
    for (const f of alone) expect(Math.abs(f.value! - joined.value!)).toBeLessThan(4 * fit(f));
    // 0.5 dB more room in one of them: 1 % of x³ against x is reached at A = √(0.04/0.8).
    const unlike = reading([captures[0]!, stairs(55, 0.8 / 1.122)], 'headroom');
    expect(unlike.repeats![0]!.agree).toBe(false);
    expect(unlike.parts!.find((p) => p.kind === 'repeats')!.standard).toBeCloseTo(0.25, 1);
  });
});
