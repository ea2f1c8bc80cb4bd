import { describe, expect, it } from 'vitest';
import type { Figure } from '../../src/measure/figure.js';
import { estimateCapture, measureJob } from '../../src/measure/job.js';
import { memoryRecording } from '../../src/measure/recording.js';
import type { Clip } from '../../src/simulate/clipping.js';
import { clipped } from '../../src/simulate/clipping.js';
import { USUAL_BENCH } from '../../src/simulate/model.js';
import { simulateStep } from '../../src/simulate/simulate-step.js';
import { onePercentAt, sineThrough } from '../helpers/clippers.js';
import { bench, board, model, step } from '../simulate/fixtures.js';

const hard: Clip = { positiveV: 2, negativeV: 2, sharpness: Infinity };
const oneSided: Clip = { positiveV: 1.2, negativeV: 3, sharpness: 12 };
const simulated = model({ benchTruth: USUAL_BENCH, faults: [{ kind: 'output-clips', output: 'B', clip: hard }, { kind: 'loop-clips', loop: 'eq', clip: oneSided }] });

const INTO_RECORDER = 1e6 / (1e6 + 100);

const figuresOf = (id: string): readonly Figure[] => {
  const { channels, sampleRateHz } = simulateStep(simulated, step(id), 4);
  return measureJob(board, bench, [estimateCapture(memoryRecording(channels, sampleRateHz), step(id), bench, 50)!]).figures;
};
/** dBu of the tone at an output where the stage has 1 %, its gain behind the stage given. */
const truthDbu = (clip: Clip, gain: number): number => {
  const f = (v: number): number => clipped(v, clip);
  return 20 * Math.log10((sineThrough(f, onePercentAt(f)).tone * gain) / Math.SQRT2 / 0.774597);
};

describe('stairs through a simulated board on a usual bench', () => {
  it('an output that clips hard, at that output alone', () => {
    const rest = figuresOf('rest.stairs');
    const at = (id: string, output: string): Figure => rest.find((f) => f.id === id && f.output === output)!;
    // B: driver of 100 Ω into the recorder's 1 MΩ. Harmonics of the bench are 70 dB down there.
    expect(Math.abs(at('headroom', 'B').value! - truthDbu(hard, INTO_RECORDER))).toBeLessThan(0.05);
    expect(at('headroom.even-odd', 'B').remarks[0]).toBe('Both halves of the wave clip alike.');
    expect(at('headroom', 'A')).toMatchObject({ bound: 'lower', benchLimited: true });
    expect(at('headroom', 'A').value).toBeCloseTo(11, 0);
  });

  it('a loop that clips on one side, at every output, with the loop in', () => {
    const inLoop = figuresOf('loop-eq.stairs');
    const at = (id: string, output: string): Figure => inLoop.find((f) => f.id === id && f.output === output)!;
    // The device's own 470 Ω into the 1 MΩ of two drivers.
    expect(Math.abs(at('headroom', 'B').value! - truthDbu(oneSided, INTO_RECORDER * (5e5 / (5e5 + 470))))).toBeLessThan(0.05);
    for (const output of ['A', 'B']) expect(at('headroom.even-odd', output).remarks[0]).toBe('One half of the wave clips before the other.');
    // A through its transformer: the same to a tenth of a decibel.
    expect(Math.abs(at('headroom', 'A').value! - at('headroom', 'B').value!)).toBeLessThan(0.2);
  });
});
