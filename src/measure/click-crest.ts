/**
 * How high the crest of a click stands between its samples, and what the floor makes of that figure.
 *
 * @module
 */
import { leastSquares } from '../numerics/linear-solve.js';

export interface Crest {
  /** Largest magnitude; full scale 1. */
  readonly peak: number;
  /** Standard uncertainty that the floor gives it. */
  readonly spread: number;
  /** Half the width of what the shape leaves open. */
  readonly slack: number;
}

/** The floor behind the same filter: its rms, and stretches of it. */
export interface QuietFloor {
  readonly rms: number;
  readonly stretches: readonly Float64Array[];
}

/** Samples of at least this share of the largest lie on the same crest. */
const SAME_CREST = 0.75;
/** Two crests whose largest samples differ by less may each be the higher one: so much a sine of a fifth of the rate loses between two samples. */
const RIVAL = 0.8;
/** A crest reaches so many samples to either side at most. */
export const CREST_FRAMES = 96;
/** Constant to fourth power. */
const TERMS = 5;
/** A recorder’s filter makes a jump overshoot by so much at most (Gibbs). */
const OVERSHOOT = 0.09;

/** Crest as read from the samples y[first], y[first + 1], …: its height, and by how much it grows with each of them. */
interface Reading {
  readonly first: number;
  readonly height: number;
  readonly weights: Float64Array;
  readonly slack: number;
}

/**
 * The highest crest of y between two frames.
 *
 * Where a crest has five samples or more on it, with two on either side of the largest, a polynomial of the fourth power is laid through them by
 * least squares, and its crest counts. On fewer, three samples lie on a sine; at a jump, which has no crest, the largest sample is the
 * peak, and a recorder’s filter may have made it 9 % of itself too high or too low. Each is linear in the noise, so the floor through the same
 * weights tells its scatter, whatever its spectrum.
 */
export function highestCrest(y: Float64Array, from: number, to: number, floor: QuietFloor): Crest {
  const size = (n: number): number => Math.abs(y[n] ?? 0);
  let top = 0;
  for (let n = from; n < to; n++) top = Math.max(top, size(n));
  const rivals = [];
  for (let n = from; n < to; n++) if (size(n) >= RIVAL * top && size(n) >= size(n - 1) && size(n) > size(n + 1)) rivals.push(n);
  rivals.sort((a, b) => size(b) - size(a));
  let highest: Reading | null = null;
  const seen = new Set<number>();
  for (const at of rivals) {
    if (seen.has(at)) continue;
    const reading = crestAt(y, at, floor.rms);
    reading.weights.forEach((_, i) => seen.add(reading.first + i));
    if (highest === null || reading.height > highest.height) highest = reading;
  }
  highest ??= { first: from, height: top, weights: Float64Array.of(1), slack: OVERSHOOT * top };
  return { peak: highest.height, spread: throughWeights(highest.weights, floor), slack: highest.slack };
}

function crestAt(y: Float64Array, at: number, noise: number): Reading {
  const sign = Math.sign(y[at]!);
  const value = (n: number): number => sign * (y[n] ?? 0);
  const least = SAME_CREST * value(at) - 2 * noise;
  let [first, last] = [at, at];
  while (at - first < CREST_FRAMES && value(first - 1) > least) first--;
  while (last - at < CREST_FRAMES && value(last + 1) > least) last++;
  if (at - first >= 2 && last - at >= 2) {
    const fitted = polynomialCrest(Float64Array.from({ length: last - first + 1 }, (_, i) => value(first + i)));
    if (fitted) return { first, ...fitted, slack: 0 };
  }
  const three = [value(at - 1), value(at), value(at + 1)] as const;
  const height = sineCrest(three);
  if (height === null) return { first: at, height: value(at), weights: Float64Array.of(1), slack: OVERSHOOT * value(at) };
  const step = 1e-4 * value(at);
  const weights = Float64Array.from(three, (_, i) => ((sineCrest(three.map((v, k) => (k === i ? v + step : v)) as [number, number, number]) ?? height) - height) / step);
  return { first: at - 1, height, weights, slack: dyingAway(three) };
}

/** The largest value of a polynomial laid through the samples, by least squares. */
function polynomialCrest(samples: Float64Array): Pick<Reading, 'height' | 'weights'> | null {
  const half = (samples.length - 1) / 2;
  const powers = (t: number): number[] => Array.from({ length: TERMS }, (_, k) => t ** k);
  const rows = Array.from(samples, (_, i) => powers((i - half) / half));
  const columns = Array.from({ length: TERMS }, (_, k) => Float64Array.from(rows, (row) => row[k]!));
  const fit = leastSquares(columns, samples);
  if (!fit) return null;
  const at = (t: number): number => powers(t).reduce((sum, p, k) => sum + p * fit.x[k]!, 0);
  // Near a crest the height is flat: a grid of a hundredth of the crest's width leaves less than 1e-4 of what it falls to its edge.
  let crest = 0;
  for (let t = -1; t <= 1; t += 0.01) if (at(t) > at(crest)) crest = t;
  const p = powers(crest);
  // Height = p·(XᵀX)⁻¹·Xᵀ·samples.
  const across = p.map((_, k) => p.reduce((sum, v, j) => sum + v * fit.inverse[j * TERMS + k]!, 0));
  return { height: at(crest), weights: Float64Array.from(rows, (row) => row.reduce((sum, v, k) => sum + v * across[k]!, 0)) };
}

/** Three samples on a sine b·cos(ωt − θ) about the largest, b: cos ωT = (a + c)/2b, tan θ = (c − a)/(2b·sin ωT); the crest is b·√(1 + tan²θ). Null: they are not on one crest. */
function sineCrest([a, b, c]: readonly [number, number, number]): number | null {
  const cosine = (a + c) / (2 * b);
  if (Math.min(a, c) <= 0.5 * b || cosine >= 1) return null;
  return b * Math.sqrt(1 + (c - a) ** 2 / (4 * b * b * (1 - cosine * cosine)));
}

/**
 * What is open of that crest where the sine dies away by e within one turn or later, damping γ ≤ ω/2π: the third derivative at the crest, 2γω², moves
 * tan θ by γω²T³/3 over sin ωT, at most (ωT)²/6π, and the height by tan θ times that.
 */
function dyingAway([a, b, c]: readonly [number, number, number]): number {
  const cosine = (a + c) / (2 * b);
  const turn = Math.acos(cosine);
  return ((Math.abs(c - a) / (2 * Math.sin(turn))) * turn * turn) / (6 * Math.PI);
}

/** Rms of Σ wᵢ·floor[n + i]; without a stretch that is long enough, of a white floor. */
function throughWeights(weights: Float64Array, { rms, stretches }: QuietFloor): number {
  let [sum, count] = [0, 0];
  for (const x of stretches) {
    for (let n = 0; n + weights.length <= x.length; n++) {
      const v = weights.reduce((s, w, i) => s + w * x[n + i]!, 0);
      sum += v * v;
      count++;
    }
  }
  return count > 0 ? Math.sqrt(sum / count) : rms * Math.hypot(...weights);
}
