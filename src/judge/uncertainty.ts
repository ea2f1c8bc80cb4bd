/**
 * From a budget to an expanded uncertainty. JCGM 100:2008: u² = Σ uᵢ², νeff by Welch-Satterthwaite, U = k·u with k for 95 %.
 *
 * Where one part that is not normal is large, 1.96 is too wide for the sum (annex G.5.3): twice the standard uncertainty of a phase
 * that may be any is more than it can do. k is then that of the sum of this part and a normal one with all the rest.
 *
 * @module
 */
import { coverageFactor95, normalCdf } from '../numerics/statistics.js';
import type { BudgetPart, CombinedUncertainty } from './results.js';

/** A part as far as it counts in the sum. */
type Counted = Pick<BudgetPart, 'standard' | 'degreesOfFreedom' | 'distribution'>;

export function combined(parts: readonly Counted[]): CombinedUncertainty {
  const variance = parts.reduce((s, p) => s + p.standard ** 2, 0);
  const denominator = parts.reduce((s, p) => s + (p.degreesOfFreedom === null ? 0 : p.standard ** 4 / p.degreesOfFreedom), 0);
  const degreesOfFreedom = denominator > 0 ? (variance * variance) / denominator : null;
  const [odd] = parts.filter((p) => p.distribution !== undefined).sort((a, b) => b.standard - a.standard);
  const shape = odd === undefined || variance === 0 ? 1 : shapeFactor(odd.standard / Math.sqrt(variance), odd.distribution!);
  return { standard: Math.sqrt(variance), degreesOfFreedom, coverageFactor: coverageFactor95(degreesOfFreedom) * shape };
}

/** Expanded uncertainty, 95 %. */
export function expanded(parts: readonly Counted[]): number {
  const { standard, coverageFactor } = combined(parts);
  return coverageFactor * standard;
}

/** A part of less than this share of the standard uncertainty changes k by less than 0.1 %. */
const SMALL_SHARE = 0.3;
const POINTS = 64;

/**
 * Half-width that holds 95 % of the sum of a normal and one other part, over that of a normal sum of the same variance.
 *
 * @param share - of the standard uncertainty of the sum that is the other part's, 0 to 1.
 */
function shapeFactor(share: number, distribution: NonNullable<Counted['distribution']>): number {
  if (share < SMALL_SHARE) return 1;
  const rest = Math.sqrt(Math.max(1e-6, 1 - share * share));
  // Values of the other part that lie evenly in probability.
  const values = Array.from({ length: POINTS }, (_, i) => {
    const p = (i + 0.5) / POINTS;
    return share * (distribution === 'arcsine' ? Math.SQRT2 * Math.sin(Math.PI * (p - 0.5)) : Math.sqrt(3) * (2 * p - 1));
  });
  const held = (k: number): number => values.reduce((s, v) => s + normalCdf((k - v) / rest) - normalCdf((-k - v) / rest), 0) / POINTS;
  let [low, high] = [0.5, 3];
  for (let pass = 0; pass < 40; pass++) {
    const middle = (low + high) / 2;
    if (held(middle) < 0.95) low = middle;
    else high = middle;
  }
  return high / coverageFactor95(null);
}
