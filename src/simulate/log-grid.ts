/**
 * Curves solved on a grid of equal steps in log frequency, carried to the bins of a transform by third-order (Lagrange)
 * interpolation. At 48 points an octave the error at a resonance of Q is about 4e-7·Q⁴ of its height (0.002 dB for the
 * sharpest pickup, Q = 5; 1e-7 for anything without a coil), which lets a circuit be solved a thousand times instead of
 * half a million.
 *
 * @module
 */

export interface LogGrid {
  readonly frequenciesHz: Float64Array;
  readonly pointsPerOctave: number;
}

/** A grid that covers lowHz…highHz with two points to spare at each end. */
export function logGrid(lowHz: number, highHz: number, pointsPerOctave = 48): LogGrid {
  const count = Math.ceil(pointsPerOctave * Math.log2(highHz / lowHz)) + 5;
  return { frequenciesHz: Float64Array.from({ length: count }, (_, k) => lowHz * 2 ** ((k - 2) / pointsPerOctave)), pointsPerOctave };
}

/** Where the bins at k·binHz, k = 1…bins − 1, lie between the points of a grid. */
export interface BinMap {
  readonly bins: number;
  /** First bin at or above each grid point; one entry more than there are points. */
  readonly firstBin: Int32Array;
  /** Position of each bin between the grid point below it and the next, 0…1. */
  readonly between: Float64Array;
}

export function binMap(grid: LogGrid, binHz: number, bins: number): BinMap {
  const points = grid.frequenciesHz.length;
  const origin = Math.log2(grid.frequenciesHz[0]);
  const between = new Float64Array(bins);
  const firstBin = new Int32Array(points + 1).fill(bins);
  let filled = 0;
  for (let k = 1; k < bins; k++) {
    const position = grid.pointsPerOctave * (Math.log2(k * binHz) - origin);
    const below = Math.floor(position);
    between[k] = position - below;
    while (filled <= below) firstBin[filled++] = k;
  }
  return { bins, firstBin, between };
}

/** A curve on the grid, at the bins; bin 0 gets 0, as nothing here passes 0 Hz. */
export function toBins(map: BinMap, curve: Float64Array, out: Float64Array = new Float64Array(map.bins)): Float64Array {
  const { firstBin, between } = map;
  out[0] = 0;
  for (let point = 1; point + 2 < curve.length; point++) {
    const end = firstBin[point + 1];
    let k = firstBin[point];
    if (k === end) continue;
    // The cubic through four neighbours, as a polynomial in the position between the middle two.
    const [p, q, r, s] = [curve[point - 1], curve[point], curve[point + 1], curve[point + 2]];
    const c1 = -p / 3 - q / 2 + r - s / 6;
    const c2 = (p + r) / 2 - q;
    const c3 = (s - p) / 6 + (q - r) / 2;
    for (; k < end; k++) {
      const t = between[k];
      out[k] = q + t * (c1 + t * (c2 + t * c3));
    }
  }
  return out;
}
