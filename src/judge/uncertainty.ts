/**
 * From a budget to an expanded uncertainty. JCGM 100:2008: u² = Σ uᵢ², νeff by Welch-Satterthwaite, U = k·u with k for 95 %.
 *
 * @module
 */
import { coverageFactor95 } from '../numerics/statistics.js';
import type { BudgetPart, CombinedUncertainty } from './results.js';

/** A part as far as it counts in the sum. */
type Counted = Pick<BudgetPart, 'standard' | 'degreesOfFreedom'>;

export function combined(parts: readonly Counted[]): CombinedUncertainty {
  const variance = parts.reduce((s, p) => s + p.standard ** 2, 0);
  const denominator = parts.reduce((s, p) => s + (p.degreesOfFreedom === null ? 0 : p.standard ** 4 / p.degreesOfFreedom), 0);
  const degreesOfFreedom = denominator > 0 ? (variance * variance) / denominator : null;
  return { standard: Math.sqrt(variance), degreesOfFreedom, coverageFactor: coverageFactor95(degreesOfFreedom) };
}

/** Expanded uncertainty, 95 %. */
export function expanded(parts: readonly Counted[]): number {
  const { standard, coverageFactor } = combined(parts);
  return coverageFactor * standard;
}
