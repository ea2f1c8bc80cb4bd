/**
 * Loudness of programme after ITU-R BS.1770-5: K-weighting, mean squares of 400 ms blocks, two gates.
 *
 * No reading of a board rests on it. A take is a tone and a sweep, an idle capture is noise far below the absolute gate: for neither
 * does integrated loudness say anything that a level does not. It is here for programs that measure what is played through a board.
 *
 * @module
 */
import { amplitudeToDb, dbToAmplitude, powerToDb } from '../units/decibels.js';

/** A second-order section: y = b0·x + b1·x₁ + b2·x₂ − a1·y₁ − a2·y₂. */
export interface Biquad {
  readonly b: readonly [number, number, number];
  readonly a: readonly [number, number];
}

/** The analogue prototype that the Recommendation's 48 kHz coefficients come from by the bilinear transform (found by inverting it). */
const SHELF = { hz: 1681.974450955533, gain: dbToAmplitude(3.999843853973347), bandGainExponent: 0.4996667741545416, q: 0.7071752369554196 };
const HIGH_PASS = { hz: 38.13547087602444, q: 0.5003270373238773 };

/**
 * The two stages of K-weighting at a sample rate: BS.1770-5 Annex 1, Tables 1 and 2, whose 48 kHz coefficients come out to 14 decimals.
 *
 * At other rates the same prototype is transformed. The bilinear transform bends the shelf a little differently there: from 44.1 to
 * 192 kHz the response stays within 0.041 dB of that at 48 kHz up to 20 kHz, the most near 2.7 kHz.
 */
export function kWeighting(sampleRateHz: number): readonly [Biquad, Biquad] {
  const section = (hz: number, q: number): { k: number; a0: number; a: readonly [number, number] } => {
    const k = Math.tan((Math.PI * hz) / sampleRateHz);
    const a0 = 1 + k / q + k * k;
    return { k, a0, a: [(2 * (k * k - 1)) / a0, (1 - k / q + k * k) / a0] };
  };
  const { k, a0, a } = section(SHELF.hz, SHELF.q);
  const high = SHELF.gain;
  const band = SHELF.gain ** SHELF.bandGainExponent;
  return [
    { b: [(high + (band * k) / SHELF.q + k * k) / a0, (2 * (k * k - high)) / a0, (high - (band * k) / SHELF.q + k * k) / a0], a },
    // Not scaled to unity: the offset of −0.691 dB accounts for its +0.04 dB.
    { b: [1, -2, 1], a: section(HIGH_PASS.hz, HIGH_PASS.q).a },
  ];
}

/** Gain of K-weighting at a frequency, dB, as the digital filter at that sample rate has it. */
export function kWeightingDb(hz: number, sampleRateHz: number): number {
  const w = (2 * Math.PI * hz) / sampleRateHz;
  const at = (c0: number, c1: number, c2: number): number => Math.hypot(c0 + c1 * Math.cos(w) + c2 * Math.cos(2 * w), c1 * Math.sin(w) + c2 * Math.sin(2 * w));
  return kWeighting(sampleRateHz).reduce((db, { b, a }) => db + amplitudeToDb(at(...b) / at(1, ...a)), 0);
}

/** Weights G of the channels, BS.1770-5 Annex 1 Table 3: front channels 1, surround channels 1.41, low-frequency effects not counted. */
export const CHANNEL_WEIGHT = { front: 1, surround: 1.41, lowFrequencyEffects: 0 } as const;

const OFFSET_DB = -0.691;
const ABSOLUTE_GATE_LUFS = -70;
const RELATIVE_GATE_LU = -10;
/** Gating blocks last 400 ms and overlap by 75 %: four steps of 100 ms. */
const STEPS_PER_SECOND = 10;
const STEPS_PER_BLOCK = 4;

export interface LoudnessResult {
  /** Gated integrated loudness, LUFS; null where no block passes the absolute gate of −70 LUFS. */
  readonly integratedLufs: number | null;
  /** The same over all blocks, without gates; null for silence and below 400 ms. */
  readonly ungatedLufs: number | null;
}

export interface LoudnessMeter {
  /** Next samples of all channels, in order. */
  push(channels: readonly Float64Array[], frames?: number): void;
  /** End of the samples; a block that is not whole is dropped. */
  finish(): LoudnessResult;
}

/** Runs both stages over the samples, in place of `state`, and returns the sum of squares of what comes out. */
function weightedSquares(stages: readonly [Biquad, Biquad], state: Float64Array, x: Float64Array, from: number, to: number): number {
  const [{ b: [p0, p1, p2], a: [p3, p4] }, { b: [q0, q1, q2], a: [q3, q4] }] = stages;
  let [s1, s2, t1, t2] = state as unknown as [number, number, number, number];
  let sum = 0;
  for (let n = from; n < to; n++) {
    const u = x[n]!;
    const v = p0 * u + s1;
    s1 = p1 * u - p3 * v + s2;
    s2 = p2 * u - p4 * v;
    const y = q0 * v + t1;
    t1 = q1 * v - q3 * y + t2;
    t2 = q2 * v - q4 * y;
    sum += y * y;
  }
  state.set([s1, s2, t1, t2]);
  return sum;
}

/**
 * Measures loudness as samples come in; it keeps one number per 100 ms.
 *
 * @param channelWeights - One per channel, see {@link CHANNEL_WEIGHT}.
 */
export function createLoudnessMeter(sampleRateHz: number, channelWeights: readonly number[]): LoudnessMeter {
  const stages = kWeighting(sampleRateHz);
  const states = channelWeights.map(() => new Float64Array(4));
  /** Σ G·z of each whole step. */
  const steps: number[] = [];
  let frame = 0;
  let sum = 0;
  const endOfStep = (): number => Math.round(((steps.length + 1) * sampleRateHz) / STEPS_PER_SECOND);
  let stepFrom = 0;
  return {
    push(channels, frames = channels[0]?.length ?? 0) {
      let taken = 0;
      while (taken < frames) {
        const end = endOfStep();
        const count = Math.min(frames - taken, end - frame);
        channelWeights.forEach((weight, c) => {
          if (weight !== 0) sum += weight * weightedSquares(stages, states[c]!, channels[c]!, taken, taken + count);
        });
        taken += count;
        frame += count;
        if (frame === end) {
          steps.push(sum / (end - stepFrom));
          stepFrom = end;
          sum = 0;
        }
      }
    },
    finish() {
      const blocks: number[] = [];
      for (let i = STEPS_PER_BLOCK; i <= steps.length; i++) {
        let block = 0;
        for (let j = i - STEPS_PER_BLOCK; j < i; j++) block += steps[j]!;
        blocks.push(block / STEPS_PER_BLOCK);
      }
      const lufs = (power: number): number => OFFSET_DB + powerToDb(power);
      const loudness = (powers: readonly number[]): number | null => {
        const mean = powers.reduce((s, p) => s + p, 0) / powers.length;
        return mean > 0 ? lufs(mean) : null;
      };
      const loud = blocks.filter((p) => lufs(p) > ABSOLUTE_GATE_LUFS);
      const first = loudness(loud);
      const gate = first === null ? Infinity : first + RELATIVE_GATE_LU;
      return { integratedLufs: loudness(loud.filter((p) => lufs(p) > gate)), ungatedLufs: loudness(blocks) };
    },
  };
}
