/**
 * Fewer points for a smooth line, none missed by more than a hair.
 *
 * @module
 */

/**
 * Indices of the points that a polyline needs so that no point lies further from it than `tolerance` (Ramer 1972, Douglas
 * and Peucker 1973). The first and last points stay.
 */
export function simplify(x: readonly number[], y: readonly number[], tolerance: number): number[] {
  const last = x.length - 1;
  if (last < 2) return x.map((_, i) => i);
  const kept = new Set([0, last]);
  const spans: [number, number][] = [[0, last]];
  for (let span = spans.pop(); span !== undefined; span = spans.pop()) {
    const [a, b] = span;
    const [dx, dy] = [x[b]! - x[a]!, y[b]! - y[a]!];
    const length = Math.hypot(dx, dy);
    let furthest = -1;
    let most = tolerance;
    for (let i = a + 1; i < b; i++) {
      const [px, py] = [x[i]! - x[a]!, y[i]! - y[a]!];
      const off = length === 0 ? Math.hypot(px, py) : Math.abs(px * dy - py * dx) / length;
      if (off > most) {
        most = off;
        furthest = i;
      }
    }
    if (furthest < 0) continue;
    kept.add(furthest);
    spans.push([a, furthest], [furthest, b]);
  }
  return [...kept].sort((p, q) => p - q);
}
