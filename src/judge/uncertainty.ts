/**
 * From a budget to an expanded uncertainty. JCGM 100:2008: u² = Σ uᵢ², νeff by Welch-Satterthwaite, U = k·u with k for 95 %.
 *
 * @module
 */
import type { UncertaintyPart } from '../measure/figure.js';
import { coverageFactor95 } from '../numerics/statistics.js';

export function combinedStandard(parts: readonly UncertaintyPart[]): { standard: number; degreesOfFreedom: number | null } {
  const variance = parts.reduce((s, p) => s + p.standard ** 2, 0);
  const denominator = parts.reduce((s, p) => s + (p.degreesOfFreedom === null ? 0 : p.standard ** 4 / p.degreesOfFreedom), 0);
  return { standard: Math.sqrt(variance), degreesOfFreedom: denominator > 0 ? (variance * variance) / denominator : null };
}

/** Expanded uncertainty, 95 %. */
export function expanded(parts: readonly UncertaintyPart[]): number {
  const { standard, degreesOfFreedom } = combinedStandard(parts);
  return standard === 0 ? 0 : coverageFactor95(degreesOfFreedom) * standard;
}
