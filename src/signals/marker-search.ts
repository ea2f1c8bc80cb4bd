/**
 * Finds the sync chirps of takes in a recording of any length, block after block, and reads what they say.
 *
 * A block is transformed once; of its spectrum only the band of the sync is kept, as a one-sided (analytic) signal at a
 * few kilohertz, and correlated there with both syncs. What is compared with the threshold is the correlation
 * coefficient |⟨y, s⟩| / (‖y‖·‖s‖) over the length of the sync, which knows nothing of level and polarity: 1 for a
 * clean marker, about 0.03 for noise (1/√900).
 *
 * @module
 */
import { complexInverse, nextPowerOfTwo, rfft, zeroSpectrum } from '../numerics/fft.js';
import type { Spectrum } from '../numerics/fft.js';
import { DATA_GAP_S, MARKER_S, SYMBOL_S, SYNC_HIGH_HZ, SYNC_LOW_HZ, SYNC_S, WORD_BITS, decodeWord, symbolAt, syncAt } from './marker.js';
import type { TakeIdentity } from './marker.js';

/** Where a sync seems to be. */
export interface SyncHit {
  readonly end: 'start' | 'end';
  /** Frame of its first sample, to within a few frames. */
  readonly frame: number;
  /** Correlation coefficient, 0…1. */
  readonly likeness: number;
}

/** A hit is a coefficient above this; data that decodes is what makes it a marker. */
const THRESHOLD = 0.3;
const BAND_LOW_HZ = 300;
const BAND_HIGH_HZ = 4500;
/** Two peaks closer than this are one. */
const NEIGHBOUR_S = 0.1;

/** A sync from its first sample on. */
function sampleSync(end: 'start' | 'end', sampleRateHz: number): Float64Array {
  const samples = new Float64Array(Math.ceil(SYNC_S * sampleRateHz) + 1);
  for (let n = 0; n < samples.length; n++) samples[n] = syncAt(end, n / sampleRateHz);
  return samples;
}

export interface MarkerSearch {
  /** Next samples of one channel, in order. */
  push(samples: Float64Array): void;
  /** No more samples: all hits, in order of time. */
  finish(): SyncHit[];
}

const ENDS = ['start', 'end'] as const;

/** How blocks of a recording are compared with the syncs; the same for all recordings at one rate. */
interface Plan {
  /** Frames of a block, and by how many it moves on: blocks overlap by a sync and the neighbourhood of a peak, so that each peak lies whole in one of them. */
  readonly size: number;
  readonly hop: number;
  readonly lowBin: number;
  readonly highBin: number;
  /** Points of the analytic signal of a block. */
  readonly points: number;
  readonly framesPerPoint: number;
  readonly syncPoints: number;
  /** Points at which a whole sync may begin in a block. */
  readonly searched: number;
  /** Half the neighbourhood of a peak, points. */
  readonly neighbour: number;
  /** Spectra of the syncs and their energies, in the order of {@link ENDS}. */
  readonly templates: readonly { readonly spectrum: Spectrum; readonly energy: number }[];
}

let latestPlan: { readonly sampleRateHz: number; readonly plan: Plan } | null = null;

function planAt(sampleRateHz: number): Plan {
  if (latestPlan?.sampleRateHz === sampleRateHz) return latestPlan.plan;
  const size = nextPowerOfTwo(2 * sampleRateHz);
  const syncFrames = Math.ceil(SYNC_S * sampleRateHz) + 1;
  const binHz = sampleRateHz / size;
  const lowBin = Math.ceil(BAND_LOW_HZ / binHz);
  const highBin = Math.floor(BAND_HIGH_HZ / binHz);
  const points = nextPowerOfTwo(highBin + 1);
  const framesPerPoint = size / points;
  const plan = {
    size,
    hop: size - syncFrames - Math.ceil(NEIGHBOUR_S * sampleRateHz),
    lowBin,
    highBin,
    points,
    framesPerPoint,
    syncPoints: Math.floor(syncFrames / framesPerPoint),
    searched: Math.floor((size - syncFrames) / framesPerPoint),
    neighbour: Math.round((NEIGHBOUR_S * sampleRateHz) / framesPerPoint),
    templates: ENDS.map((end) => {
      const spectrum = rfft(sampleSync(end, sampleRateHz), size);
      const z = new Float64Array(2 * points);
      copyBand(spectrum, { lowBin, highBin }, z);
      return { spectrum, energy: complexInverse(z).reduce((sum, v) => sum + v * v, 0) };
    }),
  };
  latestPlan = { sampleRateHz, plan };
  return plan;
}

// Each loop over points is a function of its own: the engine then compiles it once, and need not guess what follows it.

/** Bins of the band, interleaved; the others are left alone. */
function copyBand({ re, im }: Spectrum, { lowBin, highBin }: Pick<Plan, 'lowBin' | 'highBin'>, out: Float64Array): void {
  for (let k = lowBin; k <= highBin; k++) {
    out[2 * k] = re[k]!;
    out[2 * k + 1] = im[k]!;
  }
}

/** Y·S* in the band. */
function correlateBand(y: Spectrum, s: Spectrum, { lowBin, highBin }: Plan, out: Float64Array): void {
  for (let k = lowBin; k <= highBin; k++) {
    const yr = y.re[k]!;
    const yi = y.im[k]!;
    const sr = s.re[k]!;
    const si = s.im[k]!;
    out[2 * k] = yr * sr + yi * si;
    out[2 * k + 1] = yi * sr - yr * si;
  }
}

/** Running sum of |z|², beginning with 0. */
function cumulate(z: Float64Array, sums: Float64Array): void {
  for (let i = 0; i + 1 < sums.length; i++) sums[i + 1] = sums[i]! + z[2 * i]! * z[2 * i]! + z[2 * i + 1]! * z[2 * i + 1]!;
}

/**
 * Square of the correlation coefficient at each point: |c|² / (E_y·E_s). Both energies are sums over points, as is the correlation (the
 * inverse of Y·S* is Σ y·s* on the same points).
 */
function squaredLikeness(correlation: Float64Array, cumulative: Float64Array, templateEnergy: number, syncPoints: number, out: Float64Array): void {
  const points = cumulative.length - 1;
  // Never below the block's numerical floor, or digital silence would match anything.
  const least = 1e-12 * cumulative[points]!;
  for (let i = 0; i < out.length; i++) {
    const local = cumulative[Math.min(points, i + syncPoints)]! - cumulative[i]!;
    const re = correlation[2 * i]!;
    const im = correlation[2 * i + 1]!;
    out[i] = (re * re + im * im) / ((local > least ? local : least) * templateEnergy);
  }
}

/** Points above the threshold with none higher in their neighbourhood. */
function peaks(square: Float64Array, neighbour: number): number[] {
  const found: number[] = [];
  for (let i = 0; i < square.length; i++) {
    if (square[i]! >= THRESHOLD ** 2 && isHighest(square, i, neighbour)) found.push(i);
  }
  return found;
}

function isHighest(square: Float64Array, i: number, neighbour: number): boolean {
  const to = Math.min(square.length - 1, i + neighbour);
  for (let j = Math.max(0, i - neighbour); j <= to; j++) if (j !== i && square[j]! >= square[i]!) return false;
  return true;
}

/** Searches one channel. */
export function createMarkerSearch(sampleRateHz: number): MarkerSearch {
  const plan = planAt(sampleRateHz);
  const { size, hop, points, framesPerPoint, syncPoints, searched, neighbour, templates } = plan;
  const block = new Float64Array(size);
  let filled = 0;
  let blockStart = 0;
  const hits: SyncHit[] = [];
  const spectrum = zeroSpectrum(size);
  const banded = new Float64Array(2 * points);
  const wave = new Float64Array(2 * points);
  const cumulative = new Float64Array(points + 1);
  const square = new Float64Array(searched);

  const searchBlock = (): void => {
    rfft(block, size, spectrum);
    copyBand(spectrum, plan, banded);
    complexInverse(banded, wave);
    cumulate(wave, cumulative);
    const total = cumulative[points]!;
    if (!(total > 0)) return;
    templates.forEach((template, e) => {
      correlateBand(spectrum, template.spectrum, plan, banded);
      complexInverse(banded, wave);
      squaredLikeness(wave, cumulative, template.energy, syncPoints, square);
      for (const i of peaks(square, neighbour)) hits.push({ end: ENDS[e]!, frame: blockStart + i * framesPerPoint, likeness: Math.sqrt(square[i]!) });
    });
  };

  return {
    push(samples) {
      let taken = 0;
      while (taken < samples.length) {
        const count = Math.min(size - filled, samples.length - taken);
        block.set(samples.subarray(taken, taken + count), filled);
        filled += count;
        taken += count;
        if (filled === size) {
          searchBlock();
          block.copyWithin(0, hop);
          filled = size - hop;
          blockStart += hop;
        }
      }
    },
    finish() {
      block.fill(0, filled);
      searchBlock();
      // Overlapping blocks see a peak twice: keep the likelier.
      const sorted = [...hits].sort((a, b) => b.likeness - a.likeness);
      const kept: SyncHit[] = [];
      for (const hit of sorted) {
        const near = kept.some((k) => k.end === hit.end && Math.abs(k.frame - hit.frame) < NEIGHBOUR_S * sampleRateHz);
        if (!near) kept.push(hit);
      }
      return kept.sort((a, b) => a.frame - b.frame);
    },
  };
}

const STRETCH = 64;
const turning = new Float64Array(2 * STRETCH);

/** How much recording before and after a hit {@link timeSync} and {@link readWord} want. */
export const MARKER_MARGIN_S = 0.05;

/**
 * The exact time of a sync, by the maximum of the envelope of its band-limited correlation, evaluated between samples.
 *
 * The maximum over continuous time of |Σ Y(f)·S*(f)·e^(j2πfτ)|², found by Newton steps, has none of the bias that a
 * parabola through three samples has.
 *
 * @param samples - Recording around the sync, from {@link MARKER_MARGIN_S} before the hit's frame.
 * @param sampleRateHz - Samples per second of the player's clock: the nominal rate times the clock ratio.
 * @param nearFrame - Where in `samples` it should be.
 * @param isClose - True where that is right to a fraction of the envelope's width: no search around it is needed.
 * @returns Frame of the sync's beginning in `samples`, fractional.
 */
export function timeSync(end: 'start' | 'end', samples: Float64Array, sampleRateHz: number, nearFrame: number, isClose = false): number {
  const frames = Math.min(samples.length, Math.ceil(nearFrame + (SYNC_S + MARKER_MARGIN_S) * sampleRateHz));
  const size = nextPowerOfTwo(frames + SYNC_S * sampleRateHz);
  const y = rfft(samples.subarray(0, frames), size);
  const s = rfft(sampleSync(end, sampleRateHz), size);
  const binHz = sampleRateHz / size;
  const low = Math.ceil(SYNC_LOW_HZ / binHz);
  const high = Math.floor(SYNC_HIGH_HZ / binHz);
  const re = new Float64Array(high - low + 1);
  const im = new Float64Array(high - low + 1);
  for (let k = low; k <= high; k++) {
    re[k - low] = y.re[k]! * s.re[k]! + y.im[k]! * s.im[k]!;
    im[k - low] = y.im[k]! * s.re[k]! - y.re[k]! * s.im[k]!;
  }
  // Frequencies from the middle of the band, so that the carrier's turning does not hide the envelope's curve.
  const middle = (low + high) / 2;
  const envelope = (tau: number): { value: number; slope: number; curve: number } => {
    let ar = 0, ai = 0, br = 0, bi = 0, cr = 0, ci = 0;
    // e^(jwτ) turns by the same angle from bin to bin: a table of 64, turned on for each next 64.
    const radians = (2 * Math.PI) / size;
    for (let i = 0; i < STRETCH; i++) {
      turning[2 * i] = Math.cos(radians * i * tau);
      turning[2 * i + 1] = Math.sin(radians * i * tau);
    }
    for (let from = 0; from < re.length; from += STRETCH) {
      const c0 = Math.cos(radians * (low + from - middle) * tau);
      const s0 = Math.sin(radians * (low + from - middle) * tau);
      const count = Math.min(STRETCH, re.length - from);
      for (let i = 0; i < count; i++) {
        const c = c0 * turning[2 * i]! - s0 * turning[2 * i + 1]!;
        const sn = s0 * turning[2 * i]! + c0 * turning[2 * i + 1]!;
        const w = radians * (low + from + i - middle);
        const pr = re[from + i]! * c - im[from + i]! * sn;
        const pi = re[from + i]! * sn + im[from + i]! * c;
        ar += pr; ai += pi;
        br -= w * pi; bi += w * pr;
        cr -= w * w * pr; ci -= w * w * pi;
      }
    }
    return { value: ar * ar + ai * ai, slope: 2 * (ar * br + ai * bi), curve: 2 * (br * br + bi * bi + ar * cr + ai * ci) };
  };
  // Coarse: whole eighths of the envelope's width (1/3600 s) around the expected frame.
  const width = sampleRateHz / (SYNC_HIGH_HZ - SYNC_LOW_HZ);
  let best = nearFrame;
  let bestValue = -1;
  for (let i = -24; i <= 24 && !isClose; i++) {
    const { value } = envelope(nearFrame + (i * width) / 8);
    if (value > bestValue) [best, bestValue] = [nearFrame + (i * width) / 8, value];
  }
  for (let pass = 0; pass < 20; pass++) {
    const { slope, curve } = envelope(best);
    if (!(curve < 0)) break;
    const step = Math.max(-width / 8, Math.min(width / 8, -slope / curve));
    best += step;
    if (Math.abs(step) < 1e-7) break;
  }
  return best;
}

/**
 * The word of the marker whose sync begins at `syncFrame` of `samples`.
 *
 * Each bit is the larger of two envelope correlations, so level and polarity do not matter.
 *
 * @returns null where the check does not hold.
 */
export function readWord(samples: Float64Array, sampleRateHz: number, syncFrame: number): TakeIdentity | null {
  const bits = new Uint8Array(WORD_BITS);
  const length = Math.floor(SYMBOL_S * sampleRateHz);
  for (let i = 0; i < WORD_BITS; i++) {
    const at = syncFrame + (SYNC_S + DATA_GAP_S + i * SYMBOL_S) * sampleRateHz;
    const first = Math.ceil(at);
    if (first + length > samples.length) return null;
    bits[i] = strengthOf(1, samples, first, length, at, sampleRateHz) > strengthOf(0, samples, first, length, at, sampleRateHz) ? 1 : 0;
  }
  return decodeWord(bits);
}

/** Envelope of the correlation with one data chirp that begins at frame `at`. */
function strengthOf(bit: number, samples: Float64Array, first: number, length: number, at: number, sampleRateHz: number): number {
  // Quadrature by a quarter period of the middle frequency (2 kHz).
  let inPhase = 0;
  let quadrature = 0;
  for (let n = first; n < first + length; n++) {
    const t = (n - at) / sampleRateHz;
    inPhase += samples[n]! * symbolAt(bit, t);
    quadrature += samples[n]! * symbolAt(bit, t - 0.000125);
  }
  return Math.hypot(inPhase, quadrature);
}

/** Length of recording that holds a marker and its margins. */
export const markerWindowFrames = (sampleRateHz: number): number => Math.ceil((MARKER_S + 3 * MARKER_MARGIN_S) * sampleRateHz);
