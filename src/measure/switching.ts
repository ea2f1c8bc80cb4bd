/**
 * Clicks in a switching capture, on one channel: when, how high, and with how much energy over the floor.
 *
 * Read above 100 Hz, by a second-order high-pass: hum and the slow return of a coupling capacitor stay below it. The capture is
 * cut into blocks of 5 ms; a block is part of a click where its power stands out of the capture's own scatter, or a single
 * sample is larger than noise makes one in a day. Blocks close to each other are one press: contacts bounce.
 *
 * @module
 */
import { rfft } from '../numerics/fft.js';
import { median, robustSpread } from '../numerics/statistics.js';
import { aWeighting } from '../numerics/weighting.js';
import { nextPowerOfTwo } from '../numerics/fft.js';
import { AT_FULL_SCALE } from '../units/decibels.js';
import { CREST_FRAMES, highestCrest } from './click-crest.js';
import type { QuietFloor } from './click-crest.js';
import type { Recording } from './recording.js';

export const CLICK_LOW_HZ = 100;
const CLICK_HIGH_HZ = 20000;
const BLOCK_S = 0.005;
/** In units of the robust scatter of block levels, and the least, dB: half as much again as what 12 000 blocks of noise reach by chance. */
const OUTLYING = 9;
const LEAST_DB = 3;
/** Largest sample over rms: Gaussian noise reaches 6.7 once in 5·10¹⁰ samples. */
const CREST = 6.7;
/** Blocks of one press lie no further apart; presses are a second apart. */
const ONE_PRESS_S = 0.15;
/** Energy is read from so long before the first block of a click, for so long. */
const BEFORE_S = 0.02;
const SPAN_S = 0.3;

export interface Click {
  readonly atS: number;
  /** Largest magnitude above 100 Hz, between the samples where it is smooth there; full scale 1. */
  readonly peak: number;
  /** Standard uncertainty that the floor gives it. */
  readonly peakSpread: number;
  /** Half the width of what its shape leaves open. */
  readonly peakSlack: number;
  /** ∫x² dt, A-weighted, less what the floor makes in the same time; full scale², seconds. Null where the capture ends within it. */
  readonly energy: number | null;
  /** Standard uncertainty of that energy. */
  readonly energySpread: number;
  /** Frequency below which half of that energy lies, Hz; null where too little of it is left. */
  readonly middleHz: number | null;
}

export interface SwitchingEstimate {
  readonly lengthS: number;
  readonly clicks: readonly Click[];
  /** Of several captures laid end to end: the clicks of each. Absent: there is one capture. */
  readonly captures?: readonly (readonly Click[])[];
  /** Rms between the clicks, above 100 Hz. */
  readonly floorRms: number;
  /** A-weighted energy that the floor makes in the time of a click, and by how much it scatters. */
  readonly floorEnergy: number;
  readonly floorEnergySpread: number;
  /** From so many stretches. */
  readonly floorStretches: number;
  /** Seconds that an energy is read over. */
  readonly spanS: number;
  readonly silent: boolean;
  readonly clippedAtFrame: number | null;
}

interface HighPass {
  /** Filters a block, its state going on. */
  run(x: Float64Array, out: Float64Array): void;
}

/** Second-order Butterworth high-pass by the bilinear transform. */
function highPass(cornerHz: number, rateHz: number): HighPass {
  const w = Math.tan((Math.PI * cornerHz) / rateHz);
  const norm = 1 / (1 + Math.SQRT2 * w + w * w);
  const [a1, a2] = [2 * (w * w - 1) * norm, (1 - Math.SQRT2 * w + w * w) * norm];
  let [x1, x2, y1, y2] = [0, 0, 0, 0];
  let isFirst = true;
  return {
    run(x, out) {
      // From rest at the capture's own direct voltage.
      if (isFirst && x.length > 0) x1 = x2 = x[0]!;
      isFirst = false;
      for (let n = 0; n < x.length; n++) {
        const y = norm * (x[n]! - 2 * x1 + x2) - a1 * y1 - a2 * y2;
        [x2, x1, y2, y1] = [x1, x[n]!, y1, y];
        out[n] = y;
      }
    },
  };
}

/** Measures every channel. */
export function measureSwitching(recording: Recording): SwitchingEstimate[] {
  const rate = recording.sampleRateHz;
  const blockFrames = Math.round(BLOCK_S * rate);
  const tallies = Array.from({ length: recording.channelCount }, () => ({ filter: highPass(CLICK_LOW_HZ, rate), power: [] as number[], peak: [] as number[], sum: 0, top: 0, count: 0, highest: 0, run: 0, clippedAtFrame: null as number | null }));
  let filtered = new Float64Array(0);
  recording.forEachBlock((block) => {
    if (filtered.length < block.frames) filtered = new Float64Array(block.frames);
    tallies.forEach((t, c) => {
      const x = block.channels[c]!.subarray(0, block.frames);
      t.filter.run(x, filtered);
      for (let n = 0; n < x.length; n++) {
        const size = Math.abs(filtered[n]!);
        t.sum += size * size;
        if (size > t.top) t.top = size;
        if (++t.count === blockFrames) {
          t.power.push(t.sum / blockFrames);
          t.peak.push(t.top);
          t.sum = t.top = t.count = 0;
        }
        const raw = Math.abs(x[n]!);
        if (raw > t.highest) t.highest = raw;
        t.run = raw < AT_FULL_SCALE ? 0 : t.run + 1;
        if (t.run === 3) t.clippedAtFrame ??= block.frame + n - 2;
      }
    });
  });
  return tallies.map(({ power, peak, highest, clippedAtFrame }, c) => {
    const found = clicksOf(power, peak);
    return { lengthS: recording.frames / rate, ...withEnergy(recording, c, found.clicks, blockFrames, found.floorRms), floorRms: found.floorRms, silent: highest === 0, clippedAtFrame };
  });
}

/**
 * Several captures of one step, laid end to end with the first at the beginning: every press counts, and so the loudest of all. A click that
 * is not found can hide in the loudest floor.
 */
export function joinSwitching(captures: readonly SwitchingEstimate[]): SwitchingEstimate {
  let atS = 0;
  const moved = captures.map(({ clicks, lengthS }) => {
    const own = clicks.map((c) => ({ ...c, atS: c.atS + atS }));
    atS += lengthS;
    return own;
  });
  const heard = captures.filter((c) => !c.silent);
  const of = heard.length > 0 ? heard : captures;
  return {
    lengthS: atS,
    clicks: moved.flat(),
    captures: moved,
    floorRms: Math.max(...of.map((c) => c.floorRms)),
    floorEnergy: of.reduce((s, c) => s + c.floorEnergy, 0) / of.length,
    floorEnergySpread: Math.max(...of.map((c) => c.floorEnergySpread)),
    floorStretches: of.reduce((s, c) => s + c.floorStretches, 0),
    spanS: captures[0]!.spanS,
    silent: heard.length === 0,
    clippedAtFrame: captures.find((c) => c.clippedAtFrame !== null)?.clippedAtFrame ?? null,
  };
}

/** Where a press begins, its largest sample, and the block that holds it. */
interface Press {
  readonly block: number;
  peak: number;
  peakBlock: number;
}

function clicksOf(power: readonly number[], peak: readonly number[]): { clicks: Press[]; floorRms: number } {
  // The filter's own beginning is no click.
  const levels = power.map((p) => 10 * Math.log10(Math.max(p, 1e-30)));
  if (levels.length < 20) return { clicks: [], floorRms: 0 };
  const middle = median(levels);
  const slack = Math.max(LEAST_DB, OUTLYING * robustSpread(levels));
  const floorRms = 10 ** (middle / 20);
  const clicks: Press[] = [];
  let last = -Infinity;
  levels.forEach((level, b) => {
    if (b < 4 || (level - middle <= slack && peak[b]! <= CREST * floorRms)) return;
    const current = clicks.at(-1);
    if (!current || (b - last) * BLOCK_S >= ONE_PRESS_S) clicks.push({ block: b, peak: peak[b]!, peakBlock: b });
    else if (peak[b]! > current.peak) [current.peak, current.peakBlock] = [peak[b]!, b];
    last = b;
  });
  return { clicks, floorRms };
}

/** The high-pass has forgotten what was before after so long. */
const FORGOTTEN_S = 0.06;
/** So many stretches of floor, each as long as a click, tell what it makes of a crest. */
const QUIET_STRETCHES = 3;

/** Frames of a channel behind the high-pass; what is before them is let settle. */
function filtered(recording: Recording, channel: number, from: number, to: number): Float64Array {
  const first = Math.max(0, from - Math.round(FORGOTTEN_S * recording.sampleRateHz));
  const x = recording.read(first, Math.min(recording.frames, to) - first)[channel]!;
  const y = new Float64Array(x.length);
  highPass(CLICK_LOW_HZ, recording.sampleRateHz).run(x, y);
  return y.subarray(from - first);
}

/** The crest of a press, in the block of its largest sample. */
function crestOf(recording: Recording, channel: number, { peakBlock }: Press, blockFrames: number, floor: QuietFloor): Pick<Click, 'peak' | 'peakSpread' | 'peakSlack'> {
  const around = Math.min(CREST_FRAMES, peakBlock * blockFrames);
  const y = filtered(recording, channel, peakBlock * blockFrames - around, (peakBlock + 1) * blockFrames + CREST_FRAMES);
  const { peak, spread, slack } = highestCrest(y, around, around + blockFrames, floor);
  return { peak, peakSpread: spread, peakSlack: slack };
}

function withEnergy(recording: Recording, channel: number, clicks: readonly Press[], blockFrames: number, floorRms: number): Pick<SwitchingEstimate, 'clicks' | 'floorEnergy' | 'floorEnergySpread' | 'floorStretches' | 'spanS'> {
  const rate = recording.sampleRateHz;
  const span = Math.round(SPAN_S * rate);
  const size = nextPowerOfTwo(span);
  const weight = Float64Array.from({ length: size / 2 + 1 }, (_, k) => {
    const hz = (k * rate) / size;
    // Parseval: Σx² = (2/size)·Σ|X|² over the bins above 0.
    return hz < CLICK_LOW_HZ || hz > CLICK_HIGH_HZ ? 0 : (2 * aWeighting(hz) ** 2) / size / rate;
  });
  const spectrumAt = (frame: number): Float64Array | null => {
    if (frame < 0 || frame + span > recording.frames) return null;
    const x = recording.read(frame, span)[channel]!;
    // The line from one end to the other is taken out: cut off straight, what is slow would splash over the whole band.
    const [from, to] = [x[0]!, x[span - 1]!];
    for (let n = 0; n < span; n++) x[n]! -= from + ((to - from) * n) / (span - 1);
    const { re, im } = rfft(x, size);
    return weight.map((w, k) => w * (re[k]! * re[k]! + im[k]! * im[k]!));
  };
  const sum = (v: Float64Array): number => v.reduce((s, e) => s + e, 0);
  const starts = clicks.map(({ block }) => block * blockFrames - Math.round(BEFORE_S * rate));
  const quiet: number[] = [];
  for (let frame = Math.round(0.1 * rate); frame + span <= recording.frames && quiet.length < 60; frame += span) {
    if (starts.every((s) => frame + span <= s || frame >= s + span)) quiet.push(frame);
  }
  const floor = quiet.map((frame) => spectrumAt(frame)!);
  const heard: QuietFloor = { rms: floorRms, stretches: clicks.length > 0 ? quiet.slice(0, QUIET_STRETCHES).map((frame) => filtered(recording, channel, frame, frame + span)) : [] };
  const energies = floor.map(sum);
  const floorEnergy = energies.length > 0 ? energies.reduce((s, e) => s + e, 0) / energies.length : 0;
  const floorEnergySpread = energies.length > 1 ? Math.sqrt(energies.reduce((s, e) => s + (e - floorEnergy) ** 2, 0) / (energies.length - 1)) : 0;
  const meanFloor = weight.map((_, k) => floor.reduce((s, f) => s + f[k]!, 0) / Math.max(1, floor.length));
  return {
    spanS: SPAN_S,
    floorEnergy,
    floorEnergySpread,
    floorStretches: floor.length,
    clicks: clicks.map((press, i) => {
      const atS = (press.block * blockFrames) / rate;
      const crest = { atS, ...crestOf(recording, channel, press, blockFrames, heard) };
      const spectrum = floor.length > 0 ? spectrumAt(starts[i]!) : null;
      if (!spectrum) return { ...crest, energy: null, energySpread: 0, middleHz: null };
      const own = spectrum.map((e, k) => e - meanFloor[k]!);
      const energy = sum(own);
      // The floor's own scatter, that of its mean, and click times noise: |s + n|² of a bin has 2·|s|²·E|n|², in bins of the stretch without its padding.
      const met = (2 * size * own.reduce((s, e, k) => s + Math.max(0, e) * meanFloor[k]!, 0)) / span;
      const energySpread = Math.sqrt(floorEnergySpread ** 2 * (1 + 1 / floor.length) + met);
      if (!(energy > 3 * floorEnergySpread)) return { ...crest, energy, energySpread, middleHz: null };
      let reached = 0;
      const half = own.findIndex((e) => (reached += e) >= energy / 2);
      return { ...crest, energy, energySpread, middleHz: (half * rate) / size };
    }),
  };
}
