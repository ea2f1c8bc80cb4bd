/**
 * What a strong line leaves of itself beside its own bins, and the floor without it: the skirts of the window.
 *
 * **One line.** The transform of a Hann window, d bins from a line, is sin(πd)/(πd·(1 − d²)) of its middle (Harris 1978). The line's
 * density there is its peak's times the square,
 *
 *     p(d) = c/(πd·(d² − 1))²,   c = peak·sin²(πd)
 *
 * and sin²(πd) is the same in every bin of a line that stands still: c is one number, wherever between two bins the line lies. It is read
 * from the line's own bins, where the skirts stand far above the floor, and carried on beyond them: −49 dB of the peak at 4 bins, −73 dB
 * at 10, −105 dB at 34, half-way between two harmonics of 50 Hz at the usual resolution.
 *
 * **A line that wanders** by x bins about its mean leaves the mean of p(d + x), which is p(d)·(1 + 21·⟨x²⟩/d² + 126·⟨x⁴⟩/d⁴ …), as p falls
 * like d⁻⁶; the mean of x itself is nothing at the centroid. ⟨x²⟩ is what the lobe's second moment has over 1/3, that of the window
 * (∫w′²/∫w² = 4π²/3, over 4π²). In the mean of the skirts each place counts by its own sin²(πd), by which ⟨x²⟩ is another there: up to 9/5 of it
 * where a line drifts about the middle of a bin, as sin² is x² there, ⟨x⁴⟩/⟨x²⟩. Half of the term is taken as its standard uncertainty
 * (4/5 as the half-width of a rectangle); of ⟨x⁴⟩ only the size is known. All harmonics of the mains wander as one, so that what is
 * left of this adds up over lines.
 *
 * **Two lines.** Where their skirts a and b meet they add as voltages, and 2·√(ab)·cos φ is not known. φ turns by π·Δ from one segment
 * to the next, Δ bins apart; in the mean of K segments |sin(πKΔ/2)/(K·sin(πΔ/2))| of the product is left, which is at most
 * 1/(K·|sin(πΔ/2)|); 1/√K where segments between were left out. The mean square of a cosine is a half.
 *
 * **A line and the noise** in a bin make 2·√(pn)·cos, of variance (2/ν)·2pn. Over bins it is correlated as the window has it, 1, −2/3 and 1/6
 * of neighbours: a fourth difference, so that the smooth skirts sum to next to nothing but where the sum begins or ends.
 *
 * **Which bins are a line's** must not be said by their own noise: those in which it happens to be high would be left out, those in which it
 * is low would stay, and what is left would be too small (by 0.03 dB at 1 kHz with twenty lines 57 dB over the hiss). The bins are those
 * in which the skirts, as computed, are over a threshold; others only where they are over it beyond the skirts.
 *
 * @module
 */
import { BINS_ALIKE } from '../numerics/psd.js';
import type { Psd } from '../numerics/psd.js';
import { FLOOR_HALF_WIDTH } from './local-floor.js';
import type { SpectralLine } from './spectral-lines.js';

/** One line's skirt. */
interface Skirt {
  /** Where the line stands, bins. */
  readonly at: number;
  /** c, its variance, and the standard uncertainty that all lines have alike. */
  readonly scale: number;
  readonly variance: number;
  readonly shared: number;
  /** ⟨x²⟩, bins². */
  readonly wander: number;
}

export interface Skirts {
  /** Density of all skirts together in the bins that are no line's. */
  readonly density: Float64Array;
  /** 1 for a bin that is a line's: the floor is not seen in it. */
  readonly taken: Uint8Array;
  readonly each: readonly Skirt[];
}

/** Nearer than this to the middle, bins, the main lobe is no skirt. */
const FROM = 2.5;
/** Half-width of a Hann line with its skirts: 3 bins hold all but 1e-4 of its power. */
export const LINE_HALF_WIDTH = 3;
/** A skirt is read as far as this share of the distance to a neighbour: there the neighbour's is 1.6 % of one as strong. */
const SHARE = 1 / 3;
/** Skirts are followed so far, bins: 1e-13 of the line. */
export const REACH = 100;
/** Second moment of the lobe of a line that stands still, bins². */
const LOBE_MOMENT = 1 / 3;
/** Relative standard uncertainty of the term of wandering. */
const OF_WANDER = 1 / 2;
/** Correlation of line times noise from bin to bin. */
const NEIGHBOURS = [-2 / 3, 1 / 6];

const shape = (d: number, wander: number): number => (1 + (21 * wander) / (d * d)) / (Math.PI * d * (d * d - 1)) ** 2;
/** What is not known of it, relative; ⟨x⁴⟩ as of a drift, 9/5·⟨x²⟩². */
const shapeUncertainty = (d: number, wander: number): number => (OF_WANDER * 21 * wander) / (d * d) + (126 * 1.8 * wander * wander) / d ** 4;

/** Of the product of two skirts, so many bins apart, in the mean of half-overlapped segments. */
const leftOfProduct = (bins: number, segments: number): number => Math.max(1 / Math.sqrt(segments), Math.min(1, 1 / (segments * Math.abs(Math.sin((Math.PI * bins) / 2)))));

/**
 * Skirts of lines, in the order of their frequency, that stand over a floor.
 *
 * @param threshold - A bin so many times over what should be in it is no chance.
 * @param before - What is known of them so far: a neighbour's skirt is no part of a line's own.
 */
export function skirtsOf({ density, binHz, degreesOfFreedom: nu, segments }: Psd, lines: readonly SpectralLine[], floor: Float64Array, threshold: number, before: Skirts | null): Skirts {
  const each = lines.map((line, i): Skirt => {
    const { at, wander } = lobeOf(density, floor, line.hz / binHz);
    const [low, high] = [lines[i - 1], lines[i + 1]].map((other) => (other ? SHARE * Math.abs(other.hz / binHz - at) : Infinity));
    const beside = before?.each.filter((other, k) => k !== i && Math.abs(other.at - at) < REACH) ?? [];
    const own = before?.each[i];
    const [first, last] = own ? [Math.ceil(at - REACH), Math.floor(at + REACH)] : [line.firstBin, line.lastBin];
    let [top, bottom, met, shared] = [0, 0, 0, 0];
    for (let k = Math.max(2, first); k <= Math.min(density.length - 1, last); k++) {
      const d = k - at;
      const expected = own && own.scale * shape(k - own.at, own.wander);
      if (Math.abs(d) < FROM || Math.abs(d) > (d < 0 ? low! : high!)) continue;
      if (expected !== undefined && Math.abs(d) > LINE_HALF_WIDTH + 0.5 && expected < (threshold - 1) * floor[k]!) continue;
      const s = shape(d, wander);
      const others = beside.map((other) => other.scale * shape(k - other.at, other.wander));
      const over = density[k]! - floor[k]! - others.reduce((sum, p) => sum + p, 0);
      const p = expected ?? Math.max(0, over);
      const n = Math.max(0, floor[k]!);
      // The line's frequency moves both its skirts, one up and one down.
      const meeting = beside.reduce((sum, other, j) => sum + 2 * p * others[j]! * leftOfProduct(other.at - at, segments) ** 2, 0);
      const model = Math.hypot(p * shapeUncertainty(d, wander), (6 * p * line.hzUncertainty) / binHz / d);
      const weight = 1 / ((2 / nu) * (2 * p * n + n * n) + model ** 2 + meeting || 1e-300);
      top += weight * s * over;
      bottom += weight * s * s;
      met += weight * s * Math.sqrt(meeting);
      shared += weight * s * model;
    }
    const scale = bottom > 0 ? Math.max(0, top / bottom) : 0;
    // What shape and neighbours leave open is alike in all of the bins.
    return bottom > 0 ? { at, scale, wander, variance: 1 / bottom + (met / bottom) ** 2, shared: shared / bottom } : { at, scale, wander, variance: 0, shared: 0 };
  });

  const all = new Float64Array(density.length);
  const taken = new Uint8Array(density.length);
  for (const { at, scale, wander } of each) {
    for (let k = Math.max(0, Math.ceil(at - REACH)); k <= Math.min(all.length - 1, at + REACH); k++) {
      if (Math.abs(k - at) < FROM) taken[k] = 1;
      else all[k]! += scale * shape(k - at, wander);
    }
    taken.fill(1, Math.max(0, Math.round(at) - LINE_HALF_WIDTH), Math.round(at) + LINE_HALF_WIDTH + 1);
  }
  for (let k = 0; k < all.length; k++) if (before && all[k]! > (threshold - 1) * floor[k]!) taken[k] = 1;
  for (const { firstBin, lastBin } of lines) for (let k = firstBin; k <= lastBin; k++) if (!before || density[k]! > threshold * (floor[k]! + all[k]!)) taken[k] = 1;
  return { density: all.map((p, k) => (taken[k] ? 0 : p)), taken, each };
}

/** Centroid of a lobe, bins, and what its second moment has over that of a line that stands still. */
function lobeOf(density: Float64Array, floor: Float64Array, near: number): { readonly at: number; readonly wander: number } {
  const peak = Math.round(near);
  let [sum, first, second] = [0, 0, 0];
  for (let j = -LINE_HALF_WIDTH; j <= LINE_HALF_WIDTH; j++) {
    const over = Math.max(0, (density[peak + j] ?? 0) - (floor[peak + j] ?? 0));
    sum += over;
    first += j * over;
    second += j * j * over;
  }
  if (!(sum > 0)) return { at: near, wander: 0 };
  const mean = first / sum;
  return { at: peak + mean, wander: Math.max(0, second / sum - mean * mean - LOBE_MOMENT) };
}

/** Local floor, and its standard uncertainty where too few bins are seen for one. */
interface Floor {
  readonly floor: Float64Array;
  readonly unseen: Float64Array;
}

/** A mean square with its standard uncertainties. */
export interface BesideLines {
  readonly power: number;
  /** From the scatter of the estimate. */
  readonly statistics: number;
  /** From what is not known of the skirts taken off. */
  readonly skirts: number;
}

/** Variance of a median against that of a mean. */
const MEDIAN = Math.PI / 2;

/**
 * The noise between lines, their skirts taken off.
 *
 * Where the floor stands for the bins of lines (`carried`), it is the median of those around that are seen: a bin k that is seen then counts
 * 1 + gₖ times, gₖ the sum over lines' bins nearby of one over the number of bins that each has its floor from. A median's variance is π/2
 * that of a mean, and its covariance with it the mean's, so that the sum has (2/ν)·1.94·Σ n²·(1 + 2g + g²·π/2).
 *
 * @param weights - What each bin counts, Hz ({@link bandWeights}).
 */
export function besideLines(psd: Psd, { floor, unseen }: Floor, { density, taken, each }: Skirts, weights: Float64Array, carried: boolean): BesideLines {
  const { degreesOfFreedom: nu, segments } = psd;
  const n = weights.length;
  const seenBelow = new Float64Array(n + 1);
  for (let k = 0; k < n; k++) seenBelow[k + 1] = seenBelow[k]! + (k > 1 && !taken[k] ? 1 : 0);
  const within = (sums: Float64Array, k: number): number => sums[Math.min(n, k + FLOOR_HALF_WIDTH + 1)]! - sums[Math.max(0, k - FLOOR_HALF_WIDTH)]!;
  const countBelow = new Float64Array(n + 1);
  for (let k = 0; k < n; k++) countBelow[k + 1] = countBelow[k]! + (taken[k] && carried && !(unseen[k]! > 0) ? weights[k]! / Math.max(1, within(seenBelow, k)) : 0);
  let [power, ofNoise, ofCross, hidden] = [0, 0, 0, 0];
  const amplitude = (k: number): number => (taken[k] ? 0 : Math.sqrt(density[k]! * floor[k]!) * weights[k]!);
  for (let k = 0; k < n; k++) {
    const w = weights[k]!;
    if (w === 0) continue;
    if (taken[k]) {
      if (!carried) continue;
      power += w * floor[k]!;
      hidden += w * unseen[k]!;
      continue;
    }
    power += w * (psd.density[k]! - density[k]!);
    const g = within(countBelow, k);
    ofNoise += floor[k]! ** 2 * (w * w + 2 * w * g + MEDIAN * g * g);
    const a = amplitude(k);
    ofCross += a * (a + 2 * NEIGHBOURS.reduce((sum, c, j) => sum + c * (k > j ? amplitude(k - j - 1) : 0), 0));
  }
  let [variance, shared] = [hidden ** 2, 0];
  each.forEach((own, i) => {
    const next = each[i + 1];
    let [shapes, met] = [0, 0];
    for (let k = Math.max(0, Math.ceil(own.at - REACH)); k <= Math.min(n - 1, own.at + REACH); k++) {
      if (taken[k] || weights[k] === 0) continue;
      const s = shape(k - own.at, own.wander);
      shapes += s * weights[k]!;
      if (next && k > own.at && k < next.at) met += 2 * Math.sqrt(own.scale * next.scale * s * shape(k - next.at, next.wander)) * weights[k]!;
    }
    shared += own.shared * shapes;
    variance += own.variance * shapes ** 2 + (next ? (leftOfProduct(next.at - own.at, segments) * met) ** 2 / 2 : 0);
  });
  return { power, statistics: Math.sqrt((2 / nu) * (BINS_ALIKE * ofNoise + 2 * Math.max(0, ofCross))), skirts: Math.hypot(Math.sqrt(variance), shared) };
}
