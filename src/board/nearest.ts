/**
 * Edit distance with transposition of neighbours counted as one (optimal string alignment), without regard to case.
 */
function distance(a: string, b: string): number {
  let beforeLast: number[] = [];
  let last = Array.from({ length: b.length + 1 }, (_, j) => j);
  for (let i = 1; i <= a.length; i++) {
    const row = [i];
    for (let j = 1; j <= b.length; j++) {
      const change = a[i - 1] === b[j - 1] ? 0 : 1;
      let best = Math.min(last[j]! + 1, row[j - 1]! + 1, last[j - 1]! + change);
      if (i > 1 && j > 1 && a[i - 1] === b[j - 2] && a[i - 2] === b[j - 1]) best = Math.min(best, beforeLast[j - 2]! + 1);
      row.push(best);
    }
    beforeLast = last;
    last = row;
  }
  return last[b.length]!;
}

/** The known word that was most likely meant, or null where none is near (more than a third of its letters wrong). */
export function nearest(word: string, known: readonly string[]): string | null {
  if (word.length > 64) return null;
  const lower = word.toLowerCase();
  let best: { readonly word: string; readonly distance: number } | null = null;
  for (const candidate of known) {
    const d = distance(lower, candidate.toLowerCase());
    if (d <= Math.max(1, Math.ceil(candidate.length / 3)) && d < candidate.length && (best === null || d < best.distance)) best = { word: candidate, distance: d };
  }
  return best?.word ?? null;
}
