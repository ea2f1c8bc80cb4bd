/**
 * Where the labels at the ends of lines go, so that none covers another.
 *
 * @module
 */

/**
 * Moves positions apart to at least `gap`, keeping their order and staying within [top, bottom] where there is room;
 * each run of crowded labels is centred on its own.
 *
 * @returns a position for each input, in input order
 */
export function spread(positions: readonly number[], gap: number, top: number, bottom: number): number[] {
  const order = positions.map((_, i) => i).sort((a, b) => positions[a]! - positions[b]! || a - b);
  // Runs of labels that touch, each with the mean of what its members want.
  const runs: { members: number[]; centre: number }[] = [];
  const start = (r: { members: number[]; centre: number }): number => r.centre - ((r.members.length - 1) * gap) / 2;
  const end = (r: { members: number[]; centre: number }): number => r.centre + ((r.members.length - 1) * gap) / 2;
  const settle = (r: { members: number[]; centre: number }): void => {
    const wanted = r.members.reduce((sum, i) => sum + positions[i]!, 0) / r.members.length;
    const half = ((r.members.length - 1) * gap) / 2;
    r.centre = Math.max(top + half, Math.min(bottom - half, wanted));
  };
  for (const i of order) {
    let run = { members: [i], centre: positions[i]! };
    settle(run);
    let last = runs[runs.length - 1];
    while (last !== undefined && end(last) + gap > start(run) + 1e-9) {
      runs.pop();
      run = { members: [...last.members, ...run.members], centre: 0 };
      settle(run);
      last = runs[runs.length - 1];
    }
    runs.push(run);
  }
  const out = [...positions];
  for (const run of runs) run.members.forEach((i, k) => (out[i] = start(run) + k * gap));
  return out;
}

export interface Box {
  /** Centre and size, pixels. */
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
}

const overlap = (a: Box, b: Box): boolean => Math.abs(a.x - b.x) < (a.width + b.width) / 2 && Math.abs(a.y - b.y) < (a.height + b.height) / 2;

/**
 * Picks at most so many labels in order of weight, leaving out each that would cover an obstacle or one already picked.
 * Returns their indices.
 */
export function fitting(items: readonly (Box & { readonly weight: number })[], most: number, obstacles: readonly Box[]): number[] {
  const order = items.map((_, i) => i).sort((a, b) => items[b]!.weight - items[a]!.weight || a - b);
  const picked: number[] = [];
  for (const i of order) {
    if (picked.length === most) break;
    const label = items[i]!;
    if (picked.every((j) => !overlap(label, items[j]!)) && obstacles.every((o) => !overlap(label, o))) picked.push(i);
  }
  return picked.sort((a, b) => a - b);
}
