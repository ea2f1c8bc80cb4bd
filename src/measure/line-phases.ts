/**
 * What lines of several sources do to each other where they fall on one frequency: they add as voltages of unknown phase.
 *
 * Two lines of power a and b make a + b + 2·√(a·b)·cos φ. In the mean over φ that is the sum of powers, about which it scatters by
 * √(2·a·b). Sources that are told apart from sums of powers are wrong by as much; those whose lines lie apart are not.
 *
 * @module
 */
import type { NoiseClass } from './attribution.js';
import type { IdleSpectrum } from './idle.js';
import { linePowerVariance } from './power-estimate.js';
import type { SpectralLine } from './spectral-lines.js';

/** A line of one capture: its frequency, or which harmonic of the mains it is, its mean square, and the variance of that. */
export interface NamedLine {
  readonly at: number;
  readonly power: number;
  readonly variance: number;
}

/** Lines of a class: hum by harmonic, whine by frequency. */
export function linesOf({ lines, search, psd }: IdleSpectrum, of: NoiseClass): readonly NamedLine[] {
  const named = (line: SpectralLine, at: number): NamedLine => ({ at, power: line.power, variance: linePowerVariance(line, search, psd) });
  if (of === 'hum') return lines.hum.map((line) => named(line, line.harmonic));
  if (of === 'whine') return lines.whine.flatMap((family) => family.lines.map((line) => named(line, line.hz)));
  return [];
}

/** One line in every capture; 0 where it is not. */
export interface MetLine {
  readonly powers: readonly number[];
  readonly variances: readonly number[];
}

/** Lines of several captures that lie within `apart` of each other are one. */
export function meetingLines(captures: readonly (readonly NamedLine[])[], apart: number): MetLine[] {
  const all = captures.flatMap((lines, capture) => lines.map((line) => ({ ...line, capture }))).sort((a, b) => a.at - b.at);
  const met: { powers: number[]; variances: number[] }[] = [];
  let last = -Infinity;
  for (const { at, power, variance, capture } of all) {
    if (at - last > apart) met.push({ powers: captures.map(() => 0), variances: captures.map(() => 0) });
    met.at(-1)!.powers[capture]! += power;
    met.at(-1)!.variances[capture]! += variance;
    last = at;
  }
  return met;
}

/** What one phase, that may be any, does to the powers of the sources: a variance, and how far each moves with its root. */
export interface PhaseTerm {
  readonly variance: number;
  /**
   * The most by which the later source can be more than its estimate. Of b only P = |√a + √b·e^(jφ)|² is seen, and b ≤ (√P + √a)² whatever
   * the phase; where the two cancel, that is further over P − a than any number of standard uncertainties.
   */
  readonly most: number;
  readonly moves: readonly number[];
}

/** A source has a line where the line changes with it by more than so many standard uncertainties: else chance would make it meet all. */
const CHANGES = 3;

/**
 * One term for every two sources that have a line in common.
 *
 * @param inverse - source by capture: what a capture's power does to a source's.
 * @param shares - of each source's power in each capture.
 * @param isAlone - whether a source is heard without the other: both powers are then known for themselves, and 2·a·b holds as it is. Of a
 *   later source only the sum with the earlier is known, so that a + b stands for its power, as where the bench is taken off (`phasePart`).
 */
export function phaseTerms(lines: readonly MetLine[], inverse: readonly (readonly number[])[], shares: readonly (readonly number[])[], isAlone: (i: number, j: number) => boolean): PhaseTerm[] {
  return lines.flatMap(({ powers, variances }) => {
    const own = inverse.map((row) => {
      const power = row.reduce((sum, g, c) => sum + g * powers[c]!, 0);
      return Math.abs(power) > CHANGES * Math.sqrt(row.reduce((sum, g, c) => sum + g * g * variances[c]!, 0)) ? power : 0;
    });
    return own.flatMap((later, j) =>
      own.slice(0, j).flatMap((earlier, i): PhaseTerm[] => {
        const [a, met] = [Math.max(0, earlier), Math.max(0, isAlone(i, j) ? later : earlier + later)];
        const variance = later === 0 ? 0 : 2 * a * met;
        const most = isAlone(i, j) ? 2 * Math.sqrt(a * met) : 2 * a + 2 * Math.sqrt(a * met);
        const moves = inverse.map((row) => row.reduce((sum, g, c) => sum + g * Math.sqrt(shares[c]![i]! * shares[c]![j]!), 0));
        return variance > 0 ? [{ variance, most, moves }] : [];
      }),
    );
  });
}

/**
 * Standard uncertainties that the phases leave in Σ shareₖ·xₖ: from the one that matters most, and from all others together; and how far
 * at most the sum can be over its estimate by that one.
 */
export function phaseSpread(terms: readonly PhaseTerm[], shares: readonly number[]): { readonly one: number; readonly others: number; readonly most: number } {
  const each = terms
    .map(({ variance, most, moves }) => {
      const move = Math.abs(moves.reduce((sum, m, k) => sum + m * shares[k]!, 0));
      return { one: Math.sqrt(variance) * move, most: most * move };
    })
    .sort((a, b) => b.one - a.one);
  return { one: each[0]?.one ?? 0, others: Math.hypot(...each.slice(1).map(({ one }) => one)), most: each[0]?.most ?? 0 };
}
