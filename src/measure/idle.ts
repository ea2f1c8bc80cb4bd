/**
 * One idle capture: every noise figure of every channel, as mean squares at the recorder (full scale 1).
 *
 * @module
 */
import { BINS_ALIKE, bandWeights, createPsdAccumulator, weightedPower } from '../numerics/psd.js';
import type { Psd } from '../numerics/psd.js';
import { createQuasiPeakMeter } from '../numerics/quasi-peak.js';
import { aWeighting, ccirRmsWeighting } from '../numerics/weighting.js';
import { MAINS_TOLERANCE, sortLines } from './hum-and-whine.js';
import type { HumAndWhine } from './hum-and-whine.js';
import { COVERAGE } from './hum-range.js';
import { besideLines } from './line-skirts.js';
import type { BesideLines } from './line-skirts.js';
import { LEAST_BINS } from './local-floor.js';
import { linePowerVariance, powerReader } from './power-estimate.js';
import type { PowerEstimate } from './power-estimate.js';
import type { Recording } from './recording.js';
import { findLines, unseenLinePower } from './spectral-lines.js';
import type { LineSearch } from './spectral-lines.js';
import { checkStationarity } from './stationarity.js';
import type { Stationarity } from './stationarity.js';

/** The audio band of every noise figure. */
export const NOISE_LOW_HZ = 20;
export const NOISE_HIGH_HZ = 20000;

export interface IdleSpectrum {
  readonly psd: Psd;
  readonly search: LineSearch;
  readonly lines: HumAndWhine;
  readonly unweighted: PowerEstimate;
  readonly aWeighted: PowerEstimate;
  readonly ccirRms: PowerEstimate;
  readonly quasiPeak468: PowerEstimate;
  /** Density of the floor around 1 kHz (a third of an octave, lines left out), (full scale)²/Hz. */
  readonly densityAt1k: PowerEstimate;
  /** All lines of the mains; where none was found, what could hide (see `humIsBound`). */
  readonly hum: PowerEstimate;
  /** True where no mains line stood out: `hum` is then what ten harmonics just too weak to be seen would make. */
  readonly humIsBound: boolean;
  readonly hiss: PowerEstimate;
  /** All lines that are no mains harmonic; where there is none, the strongest that could be there unseen (see `whineIsBound`). */
  readonly whine: PowerEstimate;
  readonly whineIsBound: boolean;
}

export interface IdleEstimate {
  readonly stationarity: Stationarity;
  /** Null where no whole segment was left to average. */
  readonly spectrum: IdleSpectrum | null;
}

/** Where the skirts of strong lines are not known to a quarter of what is beside them, 1 dB, they hide it. */
const MOST_SKIRTS = 0.25;

/** About 1.4 s at any rate; shorter for short captures, so that at least 12 segments are averaged. */
export function segmentSize(sampleRateHz: number, frames: number): number {
  let size = 2 ** Math.round(Math.log2(1.365 * sampleRateHz));
  while (size > 4096 && frames < 6.5 * size) size /= 2;
  return size;
}

/** Seconds until the quasi-peak meter has come up to a steady noise. */
const QUASI_PEAK_SETTLE_S = 1.5;

/**
 * Measures every channel.
 *
 * @param mainsHz - Nominal, 50 or 60.
 * @param withQuasiPeak - False leaves the quasi-peak reading at zero: a check of a capture does without the dearest figure.
 */
export function measureIdle(recording: Recording, mainsHz: number, withQuasiPeak = true): IdleEstimate[] {
  const rate = recording.sampleRateHz;
  const size = segmentSize(rate, recording.frames);
  const steadiness = checkStationarity(recording);
  // What spoils one output spoils the segment for all: they are averaged together, and crackle is rarely alone.
  const out = steadiness.flatMap((s) => s.leftOut).sort((a, b) => a[0] - b[0]);
  const isClean = (first: number, frames: number): boolean => !out.some(([from, to]) => first < to && first + frames > from);
  const accumulator = createPsdAccumulator(recording.channelCount, rate, size, (first) => isClean(first, size));
  const settleS = Math.min(QUASI_PEAK_SETTLE_S, recording.frames / rate / 3);
  const meters = Array.from({ length: recording.channelCount }, () => createQuasiPeakMeter(rate, settleS));
  recording.forEachBlock((block) => {
    accumulator.push(block.channels, block.frames);
    if (!withQuasiPeak) return;
    for (const [from, to] of cleanStretches(out, block.frame, block.frames)) {
      meters.forEach((meter, c) => {
        meter.push(block.channels[c]!.subarray(from, to));
      });
    }
  });
  const psds = accumulator.finish();
  return steadiness.map((stationarity, c) => {
    if (!psds) return { stationarity, spectrum: null };
    const psd = psds[c]!;
    // A noise that grows averages few of its loudest segments, and scatters as those few do.
    const scattered = { ...psd, degreesOfFreedom: Math.max(2, psd.degreesOfFreedom * stationarity.evenness) };
    return { stationarity, spectrum: readSpectrum(scattered, meters[c]!.finish(), mainsHz) };
  });
}

/** The parts of a block, relative to its first frame, that no left-out stretch touches. */
function cleanStretches(out: readonly (readonly [number, number])[], firstFrame: number, frames: number): [number, number][] {
  const parts: [number, number][] = [];
  let at = 0;
  for (const [from, to] of out) {
    const a = Math.max(0, from - firstFrame);
    const b = Math.min(frames, to - firstFrame);
    if (b <= 0 || a >= frames) continue;
    if (a > at) parts.push([at, a]);
    at = Math.max(at, b);
  }
  if (at < frames) parts.push([at, frames]);
  return parts;
}

/** Several captures of one step on one channel: their spectra averaged by degrees of freedom, and read as one. */
export function combineIdle(estimates: readonly IdleEstimate[], mainsHz: number): IdleEstimate {
  const [first] = estimates as [IdleEstimate];
  const spectra = estimates.flatMap(({ spectrum }) => (spectrum === null ? [] : [spectrum]));
  const steadiness = estimates.map((e) => e.stationarity);
  const stationarity: Stationarity = {
    ...first.stationarity,
    events: steadiness.flatMap((s) => s.events),
    leftOut: steadiness.flatMap((s) => s.leftOut),
    leftOutShare: steadiness.reduce((sum, s) => sum + s.leftOutShare, 0) / steadiness.length,
    // The drift of the one that drifts most.
    ...pickDrift(steadiness.reduce((a, b) => (Math.abs(b.driftDb) > Math.abs(a.driftDb) ? b : a))),
    dc: steadiness.reduce((sum, s) => sum + s.dc, 0) / steadiness.length,
    gated: steadiness.some((s) => s.gated),
    silent: steadiness.every((s) => s.silent),
    peak: Math.max(...steadiness.map((s) => s.peak)),
  };
  if (spectra.length === 0) return { stationarity, spectrum: null };
  const nu = spectra.reduce((sum, { psd }) => sum + psd.degreesOfFreedom, 0);
  const share = spectra.map(({ psd }) => psd.degreesOfFreedom / nu);
  const density = new Float64Array(spectra[0]!.psd.density.length);
  spectra.forEach(({ psd }, s) => {
    for (let k = 0; k < density.length; k++) density[k]! += share[s]! * psd.density[k]!;
  });
  const psd: Psd = { density, binHz: spectra[0]!.psd.binHz, segments: spectra.reduce((sum, s) => sum + s.psd.segments, 0), degreesOfFreedom: nu };
  // The quasi-peak reading is a mean over time, not a power: readings are averaged as they are.
  const readings = spectra.map(({ quasiPeak468: { power, relativeUncertainty } }) => ({ mean: Math.sqrt(power), relative: relativeUncertainty / 2 }));
  const mean = readings.reduce((sum, r, s) => sum + share[s]! * r.mean, 0);
  const relativeUncertainty = mean > 0 ? Math.hypot(...readings.map((r, s) => share[s]! * r.mean * r.relative)) / mean : 0;
  const degreesOfFreedom = spectra.reduce((sum, { quasiPeak468 }) => sum + (quasiPeak468.degreesOfFreedom ?? Infinity), 0);
  return { stationarity, spectrum: readSpectrum(psd, { mean, relativeUncertainty, degreesOfFreedom }, mainsHz) };
}

const pickDrift = ({ driftDb, driftUncertaintyDb, driftDegreesOfFreedom }: Stationarity): Pick<Stationarity, 'driftDb' | 'driftUncertaintyDb' | 'driftDegreesOfFreedom'> => ({ driftDb, driftUncertaintyDb, driftDegreesOfFreedom });

function readSpectrum(
  psd: Psd,
  quasiPeak: { mean: number; relativeUncertainty: number; degreesOfFreedom: number },
  mainsHz: number,
): IdleSpectrum {
  const { binHz, density } = psd;
  const search = findLines(psd, NOISE_LOW_HZ, NOISE_HIGH_HZ);
  const lines = sortLines(search, mainsHz, binHz);
  const read = powerReader(psd, search);
  const weighted = (weighting?: (hz: number) => number): PowerEstimate => read(NOISE_LOW_HZ, NOISE_HIGH_HZ, weighting);
  const unweighted = weighted();
  const sumOfLines = (list: readonly { power: number; firstBin: number; lastBin: number }[]): PowerEstimate => {
    const power = list.reduce((s, l) => s + l.power, 0);
    const variance = list.reduce((s, l) => s + linePowerVariance(l, search, psd), 0);
    return { power, relativeUncertainty: power > 0 ? Math.sqrt(variance) / power : 0 };
  };
  const unseenLine = (floor: number): number => unseenLinePower(search, binHz, floor);
  let whine = sumOfLines(lines.whine.flatMap((f) => f.lines));
  const whineIsBound = lines.whine.length === 0;
  if (whineIsBound) {
    let floor = 0;
    for (let k = Math.ceil(500 / binHz); k <= NOISE_HIGH_HZ / binHz && k < density.length; k++) floor = Math.max(floor, search.floor[k]!);
    whine = { power: unseenLine(floor), relativeUncertainty: 0 };
  }
  let hum = sumOfLines(lines.hum);
  const humIsBound = lines.hum.length === 0;
  if (humIsBound) {
    // Ten harmonics, each just under the threshold where the floor within the mains' tolerance is highest.
    let power = 0;
    for (let n = 1; n <= 10; n++) {
      let floor = 0;
      const [first, last] = [n * mainsHz * (1 - MAINS_TOLERANCE), n * mainsHz * (1 + MAINS_TOLERANCE)].map((hz) => Math.round(hz / binHz));
      for (let k = first!; k <= last!; k++) floor = Math.max(floor, search.floor[k]!);
      power += unseenLine(floor);
    }
    hum = { power, relativeUncertainty: 0 };
  }

  return {
    psd,
    search,
    lines,
    unweighted,
    aWeighted: weighted(aWeighting),
    ccirRms: weighted(ccirRmsWeighting),
    quasiPeak468: { power: quasiPeak.mean * quasiPeak.mean, relativeUncertainty: 2 * quasiPeak.relativeUncertainty, degreesOfFreedom: quasiPeak.degreesOfFreedom },
    densityAt1k: densityAround1k(psd, search),
    hum,
    humIsBound,
    hiss: hissOf(psd, search, unweighted.power),
    whine,
    whineIsBound,
  };
}

/** All that is no line. */
function hissOf(psd: Psd, search: LineSearch, unweighted: number): PowerEstimate {
  const weights = bandWeights(psd, NOISE_LOW_HZ, NOISE_HIGH_HZ);
  const { degreesOfFreedom } = weightedPower({ ...psd, density: search.floor }, weights);
  return search.skirts ? cleared(besideLines(psd, search, search.skirts, weights, true)) : { power: unweighted, relativeUncertainty: Math.sqrt(2 / degreesOfFreedom) };
}

/** In the third-octave around 1 kHz; of the bins of lines only where hardly any others are left. */
function densityAround1k(psd: Psd, search: LineSearch): PowerEstimate {
  const { skirts } = search;
  const [first, last] = [Math.ceil(891.25 / psd.binHz), Math.floor(1122.02 / psd.binHz)];
  const weights = new Float64Array(psd.density.length);
  const put = (carried: boolean): number => {
    let count = 0;
    for (let k = first; k <= last; k++) if (carried || !skirts?.taken[k]) [weights[k], count] = [1, count + 1];
    return count;
  };
  let count = put(false);
  const carried = count < LEAST_BINS;
  if (carried) count = put(true);
  if (skirts) {
    for (let k = first; k <= last; k++) weights[k]! /= count;
    return cleared(besideLines(psd, search, skirts, weights, carried));
  }
  let sum = 0;
  for (let k = first; k <= last; k++) sum += psd.density[k]!;
  // ν of a mean of n bins is ν·n/1.94.
  return { power: sum / count, relativeUncertainty: Math.sqrt((2 * BINS_ALIKE) / (psd.degreesOfFreedom * count)) };
}

/** What lines and their skirts leave; where they hide it, the most that it can be. */
function cleared({ power, statistics, skirts }: BesideLines): PowerEstimate {
  // Below a tenth of the scatter they make less than half a percent of both together.
  if (power * MOST_SKIRTS > skirts) return { power, relativeUncertainty: statistics / power, ...(skirts > statistics / 10 ? { skirts: skirts / power } : {}) };
  const most = Math.max(0, power) + COVERAGE * skirts;
  return { power: most, relativeUncertainty: most > 0 ? statistics / most : 0, isHidden: true };
}
