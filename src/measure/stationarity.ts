/**
 * Is an idle capture one steady noise? Thumps, crackle, drop-outs, gating and drift are found before anything is averaged.
 *
 * The capture is cut into blocks of 100 ms (five or six whole mains periods, so that hum does not make blocks differ). Two
 * figures per block: its power about its mean, and the power of its first difference, which stresses crackle. A
 * block is unlike the rest where either stands out of the capture's own scatter, or a single step of the difference is
 * larger than noise makes one in a day.
 *
 * @module
 */
import { median, robustSpread } from '../numerics/statistics.js';
import { AT_FULL_SCALE } from '../units/decibels.js';
import type { Recording } from './recording.js';

const BLOCK_S = 0.1;
/** In units of the robust scatter of block levels; with 10⁵ blocks, normal scatter reaches 4.4. */
const OUTLYING = 7;
/** A block must also differ by this much, dB: below it no floor is harmed. */
const LEAST_DB = 1;
/** Largest step over rms step: Gaussian noise reaches 6.7 once in 5·10¹⁰ samples (72 h at 192 kHz). */
const CREST = 6.7;

export interface Event {
  readonly kind: 'thump' | 'crackle' | 'drop-out';
  readonly atS: number;
  readonly lengthS: number;
}

export interface Stationarity {
  readonly events: readonly Event[];
  /** Stretches to leave out, [from, to) in frames, in order. */
  readonly leftOut: readonly (readonly [number, number])[];
  /** Share of the capture left out. */
  readonly leftOutShare: number;
  /** Level of the last quarter against the first, dB, and its standard uncertainty. */
  readonly driftDb: number;
  readonly driftUncertaintyDb: number;
  /** Degrees of freedom of that uncertainty. */
  readonly driftDegreesOfFreedom: number;
  /**
   * How alike in power the steady stretches are, (Σp)²/(n·Σp²): 1 for a steady noise. An average over unlike stretches has so
   * many times fewer degrees of freedom than its count says.
   */
  readonly evenness: number;
  /** Mean of the samples: DC at the recorder, full scale 1. */
  readonly dc: number;
  /** True where stretches of the capture are digital zero while others are not: a gate or noise suppression. */
  readonly gated: boolean;
  /** True where every sample is zero. */
  readonly silent: boolean;
  /** Largest magnitude, and how many samples in a row stood at full scale. */
  readonly peak: number;
  readonly clippedAtFrame: number | null;
}

interface Tally {
  sum: number;
  squares: number;
  differences: number;
  largestStep: number;
  zeros: number;
  count: number;
}

const empty = (): Tally => ({ sum: 0, squares: 0, differences: 0, largestStep: 0, zeros: 0, count: 0 });

interface Channel {
  readonly power: number[];
  readonly step: number[];
  readonly crest: number[];
  readonly zeroShare: number[];
  /** Of the whole blocks. */
  sum: number;
  tally: Tally;
  last: number;
  peak: number;
  /** Samples in a row at the top code. */
  run: number;
  clippedAtFrame: number | null;
}

/** Takes samples from..to of x into the tally; every sample passes here, so the running figures are kept in plain variables. */
function look(c: Channel, x: Float64Array, from: number, to: number, blockFrame: number): void {
  let { sum, squares, differences, largestStep, zeros } = c.tally;
  let { last, peak, run } = c;
  for (let i = from; i < to; i++) {
    const v = x[i]!;
    const step = v - last;
    last = v;
    sum += v;
    squares += v * v;
    differences += step * step;
    const size = step < 0 ? -step : step;
    if (size > largestStep) largestStep = size;
    if (v === 0) zeros++;
    const magnitude = v < 0 ? -v : v;
    if (magnitude > peak) peak = magnitude;
    if (magnitude < AT_FULL_SCALE) {
      run = 0;
      continue;
    }
    // Three samples in a row at the top code: the converter ran out.
    if (++run === 3) c.clippedAtFrame ??= blockFrame + i - 2;
  }
  c.tally = { sum, squares, differences, largestStep, zeros, count: c.tally.count + to - from };
  c.last = last;
  c.peak = peak;
  c.run = run;
}

/** Ends a block: the tally becomes its figures. */
function close(c: Channel, blockFrames: number): void {
  const { sum, squares, differences, largestStep, zeros } = c.tally;
  const mean = sum / blockFrames;
  c.power.push(Math.max(0, squares / blockFrames - mean * mean));
  c.step.push(differences / blockFrames);
  c.crest.push(differences > 0 ? largestStep / Math.sqrt(differences / blockFrames) : 0);
  c.zeroShare.push(zeros / blockFrames);
  c.sum += sum;
  c.tally = empty();
}

/** One pass over the recording; one result per channel. */
export function checkStationarity(recording: Recording): Stationarity[] {
  const blockFrames = Math.round(BLOCK_S * recording.sampleRateHz);
  const channels = Array.from(
    { length: recording.channelCount },
    (): Channel => ({ power: [], step: [], crest: [], zeroShare: [], sum: 0, tally: empty(), last: 0, peak: 0, run: 0, clippedAtFrame: null }),
  );
  recording.forEachBlock((block) => {
    channels.forEach((c, index) => {
      const x = block.channels[index]!;
      for (let from = 0; from < block.frames; ) {
        const to = Math.min(block.frames, from + blockFrames - c.tally.count);
        look(c, x, from, to, block.frame);
        if (c.tally.count === blockFrames) close(c, blockFrames);
        from = to;
      }
    });
  });
  return channels.map((c) => judgeChannel(c, blockFrames, recording));
}

/** A white burst of a few milliseconds scatters by half of this between the two; what hardly stands out is asked for half of itself. */
const SLOW_DB = 2;
/** Blocks to each side of one that say what is usual around it: 7.5 s, so that noise suppression that closes for two seconds does not become usual itself. */
const AROUND = 75;

/**
 * What is usual around each block: the median of the blocks around it, on the slope between the medians of their first and last
 * third, which at the ends of a capture stands in for the blocks that are missing.
 */
function runningMedian(levels: readonly number[]): number[] {
  const width = Math.min(levels.length, 2 * AROUND + 1);
  const third = Math.max(1, Math.floor(width / 3));
  return levels.map((_, b) => {
    const from = Math.max(0, Math.min(b - AROUND, levels.length - width));
    const around = levels.slice(from, from + width);
    const slope = (median(around.slice(-third)) - median(around.slice(0, third))) / (width - third);
    return median(around) + slope * (b - from - (width - 1) / 2);
  });
}

function judgeChannel(c: Channel, blockFrames: number, recording: Recording): Stationarity {
  const blocks = c.power.length;
  const silentBlocks = c.zeroShare.filter((z) => z === 1).length;
  const level = (p: number): number => 10 * Math.log10(Math.max(p, 1e-30));
  const powers = c.power.map(level);
  const steps = c.step.map(level);
  const events: Event[] = [];
  const out = new Uint8Array(blocks);
  if (blocks >= 5 && silentBlocks < blocks) {
    // Against the blocks around: a noise that grows or falls is no row of thumps.
    const limits = [powers, steps].map((l) => {
      const middle = runningMedian(l);
      return { middle, slack: Math.max(LEAST_DB, OUTLYING * robustSpread(l.map((v, b) => v - middle[b]!))) };
    });
    for (let b = 0; b < blocks; b++) {
      const power = powers[b]! - limits[0]!.middle[b]!;
      const step = steps[b]! - limits[1]!.middle[b]!;
      // The crest against the typical step: one click of a sample or two hardly moves a block's power.
      const click = c.crest[b]! * Math.sqrt(c.step[b]!) > CREST * 10 ** (limits[1]!.middle[b]! / 20);
      const outlying = step > limits[1]!.slack || power > limits[0]!.slack || click;
      // A thump is slow: it adds more to the power than to the steps. A spark is white, and on a white floor adds alike to both.
      const kind = outlying ? (power > step + Math.min(SLOW_DB, power / 2) ? 'thump' : 'crackle') : power < -limits[0]!.slack ? 'drop-out' : null;
      if (kind === null) continue;
      out[b] = 1;
      const previous = events.at(-1);
      if (previous && previous.kind === kind && Math.abs(previous.atS + previous.lengthS - b * BLOCK_S) < BLOCK_S / 2) {
        events[events.length - 1] = { ...previous, lengthS: previous.lengthS + BLOCK_S };
      } else {
        events.push({ kind, atS: b * BLOCK_S, lengthS: BLOCK_S });
      }
    }
  }
  const leftOut: [number, number][] = [];
  for (let b = 0; b < blocks; b++) {
    if (!out[b]) continue;
    const previous = leftOut.at(-1);
    if (previous && previous[1] === b * blockFrames) previous[1] = (b + 1) * blockFrames;
    else leftOut.push([b * blockFrames, (b + 1) * blockFrames]);
  }
  const steady = powers.filter((_, b) => !out[b]);
  const quarter = Math.floor(steady.length / 4);
  const mean = (v: readonly number[]): number => v.reduce((p, q) => p + q, 0) / v.length;
  const driftDb = quarter > 0 ? mean(steady.slice(-quarter)) - mean(steady.slice(0, quarter)) : 0;
  // From one block to the next, so that the drift itself is not taken for scatter.
  const scatter = steady.length > 2 ? robustSpread(steady.slice(1).map((v, b) => v - steady[b]!)) / Math.SQRT2 : 0;
  return {
    events,
    leftOut,
    leftOutShare: blocks > 0 ? leftOut.reduce((s, [a, b]) => s + b - a, 0) / (blocks * blockFrames) : 0,
    driftDb,
    evenness: Math.min(evennessOf(c.power, out), evennessOf(c.step, out)),
    driftUncertaintyDb: quarter > 0 ? scatter * Math.sqrt(2 / quarter) : 0,
    // A median of magnitudes is worth 0.37 of a standard deviation, and of steps that share each block with the next 1.5 are worth one.
    driftDegreesOfFreedom: Math.max(1, (0.37 / 1.5) * (steady.length - 1)),
    dc: recording.frames > 0 ? (c.sum + c.tally.sum) / recording.frames : 0,
    gated: silentBlocks > 0 && silentBlocks < blocks,
    silent: recording.frames > 0 && c.peak === 0,
    peak: c.peak,
    clippedAtFrame: c.clippedAtFrame,
  };
}

/** Blocks are taken by the second, so that what scatters from one to the next is not counted again. */
function evennessOf(power: readonly number[], out: Uint8Array): number {
  const perSecond = Math.round(1 / BLOCK_S);
  const seconds: number[] = [];
  for (let b = 0; b + perSecond <= power.length; b += perSecond) {
    const kept = power.slice(b, b + perSecond).filter((_, k) => !out[b + k]);
    if (kept.length > 0) seconds.push(kept.reduce((sum, p) => sum + p, 0) / kept.length);
  }
  const sum = seconds.reduce((total, p) => total + p, 0);
  const squares = seconds.reduce((total, p) => total + p * p, 0);
  return squares > 0 ? (sum * sum) / (seconds.length * squares) : 1;
}
