/**
 * The level of a measured response at any frequency, where it is known to be smooth: at each point of the grid a straight
 * line in log frequency through those within a quarter of an octave, each weighed by its error and its distance; between
 * them a curve without kinks, which a peak could catch on.
 *
 * @module
 */
import { GRID_HZ, gridRange } from './frequency-grid.js';
import { METHOD_DB, isMeasured, magnitudeDb, magnitudeDbUncertainty, referenceDb } from './response.js';
import type { ResponseEstimate } from './take.js';

export interface SmoothLevel {
  readonly levelDb: number;
  /** Standard uncertainty of the level, dB. */
  readonly levelUncertaintyDb: number;
  /** Standard uncertainty of the slope, dB per unit of ln f. */
  readonly slopeUncertainty: number;
}

export interface SmoothResponse {
  /** Beyond what was measured, as at its end. */
  readonly at: (hz: number) => SmoothLevel;
  /** Of the mean level in dB of a band, every octave weighing the same. */
  readonly bandUncertaintyDb: (lowHz: number, highHz: number) => number;
  /** Of the level at 200 to 500 Hz. */
  readonly referenceUncertaintyDb: number;
  readonly highestHz: number;
}

/** A quarter of an octave, in ln f. */
const REACH = Math.LN2 / 4;

export function smoothResponse(response: ResponseEstimate): SmoothResponse {
  const points = Array.from(GRID_HZ.keys()).filter((i) => isMeasured(response, i));
  const x = points.map((i) => Math.log(GRID_HZ[i]));
  const raw = points.map((i) => magnitudeDb(response, i));
  const sigma = points.map((i) => magnitudeDbUncertainty(response, i));
  const lines = x.map((_, p) => lineAt(x, sigma, p));
  const variance = (weights: ReadonlyMap<number, number>): number => [...weights].reduce((sum, [q, w]) => sum + (w * sigma[q]) ** 2, 0);
  const level = lines.map((weights) => [...weights].reduce((sum, [q, w]) => sum + w * raw[q], 0));
  const nodes = x.map((at, p): Node => {
    // The slope between the neighbours, and its error from what the two do not have in common.
    const [before, after] = [Math.max(0, p - 1), Math.min(x.length - 1, p + 1)];
    const apart = x[after] - x[before];
    const difference = new Map(lines[after]);
    for (const [q, w] of lines[before]) difference.set(q, (difference.get(q) ?? 0) - w);
    return {
      x: at,
      levelDb: level[p],
      levelUncertaintyDb: Math.sqrt(variance(lines[p])),
      slope: apart > 0 ? (level[after] - level[before]) / apart : 0,
      slopeUncertainty: apart > 0 ? Math.sqrt(variance(difference)) / apart : 0,
    };
  });
  const bandUncertaintyDb = (lowHz: number, highHz: number): number => {
    const [first, last] = gridRange(lowHz, highHz);
    const inside = points.filter((i) => i >= first && i <= last);
    // Points share the band evenly; what the method leaves is alike in all of them.
    return Math.hypot(METHOD_DB, Math.sqrt(inside.reduce((sum, i) => sum + magnitudeDbUncertainty(response, i) ** 2, 0)) / Math.max(1, inside.length));
  };
  return {
    at: (hz) => between(Math.log(hz), nodes),
    bandUncertaintyDb,
    referenceUncertaintyDb: referenceDb(response).uncertainty,
    highestHz: GRID_HZ[points.at(-1)!],
  };
}

interface Node extends SmoothLevel {
  readonly x: number;
  readonly slope: number;
}

/** How much each point counts in the level of a weighted straight line at one of them. */
function lineAt(x: readonly number[], sigma: readonly number[], p: number): Map<number, number> {
  let [s, sx, sxx] = [0, 0, 0];
  const taken: (readonly [q: number, d: number, w: number])[] = [];
  const take = (q: number): boolean => {
    const d = x[q] - x[p];
    const far = Math.abs(d) / REACH;
    if (far >= 1) return false;
    // Tricube: the weight fades without a step (Cleveland 1979).
    const w = (1 - far ** 3) ** 3 / sigma[q] ** 2;
    s += w;
    sx += w * d;
    sxx += w * d * d;
    taken.push([q, d, w]);
    return true;
  };
  for (let q = p; q < x.length && take(q); q++);
  for (let q = p - 1; q >= 0 && take(q); q--);
  const determinant = s * sxx - sx * sx;
  return new Map(taken.map(([q, d, w]) => [q, determinant > 0 ? (w * (sxx - sx * d)) / determinant : w / s]));
}

/** A cubic through two neighbours with the slopes that they have (Hermite); the errors straight between them. */
function between(at: number, nodes: readonly Node[]): SmoothLevel {
  let low = 0;
  let high = nodes.length - 1;
  if (at <= nodes[low].x) return nodes[low];
  if (at >= nodes[high].x) return nodes[high];
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (nodes[middle].x <= at) low = middle;
    else high = middle;
  }
  const [a, b] = [nodes[low], nodes[high]];
  const width = b.x - a.x;
  const t = (at - a.x) / width;
  const u = 1 - t;
  const mix = (of: (node: Node) => number): number => u * of(a) + t * of(b);
  return {
    levelDb: u * u * (1 + 2 * t) * a.levelDb + t * t * (3 - 2 * t) * b.levelDb + width * t * u * (u * a.slope - t * b.slope),
    levelUncertaintyDb: mix((node) => node.levelUncertaintyDb),
    slopeUncertainty: mix((node) => node.slopeUncertainty),
  };
}
