/**
 * Two states of a board, or two visits of it, set against each other: what differs by more than both can be wrong.
 *
 * The difference is the second less the first. What both have in common cannot make them differ and is left out of its
 * uncertainty: the calibration of an input that both were read with, and, as far as it goes, a source plug. A count and a sign
 * have none: any difference of theirs is one.
 *
 * @module
 */
import { differenceUnit } from '../units/format.js';
import type { Curve, PlayerCurve, Reading, Results, BudgetPart, Verdict } from './results.js';
import { expanded } from './uncertainty.js';

/** `higher`, `lower`: beyond the uncertainty of both; `same`: within it; `changed`: a sign; `open`: cannot be said. */
export type Significance = 'higher' | 'lower' | 'changed' | 'same' | 'open';

export interface Side {
  readonly state: string;
  readonly value: number | null;
  readonly uncertainty: number | null;
  readonly bound: Reading['bound'];
  readonly verdict: Verdict;
}

export interface ReadingDifference {
  readonly id: string;
  readonly label: string;
  readonly source: string | null;
  readonly output: string | null;
  readonly loop: string | null;
  /** Of the two values. */
  readonly unit: string;
  readonly first: Side;
  readonly second: Side;
  /** Null where one of them is missing or a bound. */
  readonly difference: number | null;
  /** Of the difference and its uncertainty: of two levels it is in dB. */
  readonly differenceUnit: string;
  /** Expanded, 95 %; null with the reason in `reason`. */
  readonly uncertainty: number | null;
  readonly reason: string | null;
  readonly significance: Significance;
}

export interface CurveDifference {
  readonly kind: Curve['kind'] | PlayerCurve['kind'];
  readonly label: string;
  readonly first: { readonly state: string; readonly id: string };
  readonly second: { readonly state: string; readonly id: string };
  readonly source: string | null;
  readonly output: string | null;
  /** Of the two curves. */
  readonly unit: string;
  readonly frequencyHz: readonly number[];
  readonly difference: readonly (number | null)[];
  /** Of the difference and its uncertainty: of two levels it is in dB. */
  readonly differenceUnit: string;
  /** Half of the 95 % band, from both bands; null where a curve has none. */
  readonly uncertainty: readonly (number | null)[] | null;
  /** Where they differ most. */
  readonly largest: { readonly frequencyHz: number; readonly difference: number; readonly uncertainty: number | null } | null;
  /** Null where a curve has no band. */
  readonly differs: boolean | null;
}

export interface ComparedSide {
  readonly board: string;
  readonly serial: string | null;
  readonly measuredAt: string;
  /** Null for a whole job. */
  readonly state: string | null;
}

export interface Comparison {
  readonly first: ComparedSide;
  readonly second: ComparedSide;
  readonly readings: readonly ReadingDifference[];
  readonly curves: readonly CurveDifference[];
  /** Readings that only one of them has: ids, with their places. */
  readonly onlyFirst: readonly string[];
  readonly onlySecond: readonly string[];
  readonly remarks: readonly string[];
}

/** Numbered by how loud they are, so that the same number is not the same line. */
const RANKED = /^noise\.whine\.\d+$/;

/** What both have in common: the calibrations where they are those of one bench file, and source plugs by name. */
interface Shared {
  readonly calibration: boolean;
  readonly plugs: boolean;
}

/** Sets two states of one job against each other. */
export function compareStates(results: Results, first: string, second: string): Comparison {
  const sideOf = (state: string): ComparedSide => ({ board: results.board.name, serial: results.board.serial, measuredAt: results.conditions.measuredAt, state });
  const of = (state: string): { readings: Reading[]; curves: (Curve | PlayerCurve)[] } => ({
    readings: results.readings.filter((r) => r.state === state),
    curves: curvesOf(results).filter((c) => c.state === state),
  });
  return compared(sideOf(first), sideOf(second), of(first), of(second), { calibration: true, plugs: true }, () => '', []);
}

/** Sets a job against an earlier one, state by state. */
export function compareJobs(earlier: Results, later: Results): Comparison {
  const sideOf = ({ board, conditions }: Results): ComparedSide => ({ board: board.name, serial: board.serial, measuredAt: conditions.measuredAt, state: null });
  const of = (results: Results): { readings: readonly Reading[]; curves: (Curve | PlayerCurve)[] } => ({ readings: results.readings, curves: curvesOf(results) });
  const sameBench = earlier.bench.sha256 === later.bench.sha256;
  const remarks = [
    ...(earlier.board.name === later.board.name && earlier.board.serial === later.board.serial ? [] : [`The boards are not named alike: ${titleOf(earlier)} and ${titleOf(later)}.`]),
    ...(earlier.board.sha256 === later.board.sha256 ? [] : ['board.yaml has changed between the two.']),
    sameBench ? 'Both were measured with the same bench file: its calibration is taken to have stayed as it was.' : 'The bench files differ, so the calibration of each counts.',
    ...(earlier.bench.calibrated === later.bench.calibrated ? [] : ['One bench is calibrated and the other is not: levels in dBu and in dBFS are not set against each other.']),
    ...(earlier.conditions.limits === later.conditions.limits ? [] : [`The limits differ: ${earlier.conditions.limits} and ${later.conditions.limits}.`]),
  ];
  return compared(sideOf(earlier), sideOf(later), of(earlier), of(later), { calibration: sameBench, plugs: sameBench }, (item) => item.state, remarks);
}

const titleOf = ({ board }: Results): string => `${board.name}${board.serial === null ? '' : ` (${board.serial})`}`;

const curvesOf = (results: Results): (Curve | PlayerCurve)[] => [...results.curves, ...(results.playerCurves ?? [])];

interface Held {
  readonly readings: readonly Reading[];
  readonly curves: readonly (Curve | PlayerCurve)[];
}

interface Placed {
  readonly state: string;
  readonly source: string | null;
  readonly output: string | null;
}

function compared(
  first: ComparedSide,
  second: ComparedSide,
  a: Held,
  b: Held,
  shared: Shared,
  stateKey: (item: Placed) => string,
  remarks: readonly string[],
): Comparison {
  const keyOf = (r: Reading): string => [r.id, stateKey(r), r.source ?? '', r.output ?? '', r.unit].join('\n');
  const comparable = (readings: readonly Reading[]): Reading[] => readings.filter(({ id }) => !RANKED.test(id));
  const seconds = new Map(comparable(b.readings).map((r) => [keyOf(r), r]));
  const firsts = new Map(comparable(a.readings).map((r) => [keyOf(r), r]));
  const readings = [...firsts].flatMap(([key, r]) => {
    const other = seconds.get(key);
    return other ? [readingDifference(r, other, shared)] : [];
  });
  const curveKey = (c: Curve | PlayerCurve): string => [c.kind, stateKey(c), c.source ?? '', c.output ?? '', c.y.unit].join('\n');
  const secondCurves = new Map(b.curves.map((c) => [curveKey(c), c]));
  const curves = a.curves.flatMap((c) => {
    const other = secondCurves.get(curveKey(c));
    return other ? [curveDifference(c, other)] : [];
  });
  return {
    first,
    second,
    readings,
    curves,
    onlyFirst: [...firsts].filter(([key]) => !seconds.has(key)).map(([, r]) => placeOf(r, first.state === null)),
    onlySecond: [...seconds].filter(([key]) => !firsts.has(key)).map(([, r]) => placeOf(r, first.state === null)),
    remarks,
  };
}

/** A reading by its id and its place: `gain.1k in rest on A`. */
export const placeOf = ({ id, state, source, output }: Reading, withState: boolean): string => `${id}${withState ? ` in ${state}` : ''}${source === null ? '' : ` through ${source}`}${output === null ? '' : ` on ${output}`}`;

const sideOfReading = ({ state, value, uncertainty, bound, verdict }: Reading): Side => ({ state, value, uncertainty, bound, verdict });

function readingDifference(a: Reading, b: Reading, shared: Shared): ReadingDifference {
  const { id, label, source, output, loop, unit } = a;
  const common = { id, label, source, output, loop, unit, differenceUnit: differenceUnit(unit), first: sideOfReading(a), second: sideOfReading(b) };
  const open = (reason: string): ReadingDifference => ({ ...common, difference: null, uncertainty: null, reason, significance: 'open' });
  if (a.value === null || b.value === null) return open('One of the two has no value.');
  if (unit === 'sign') return { ...common, difference: b.value - a.value, uncertainty: null, reason: 'A sign has no uncertainty.', significance: a.value === b.value ? 'same' : 'changed' };
  if (a.bound !== null || b.bound !== null) {
    const [lowA, highA] = intervalOf(a);
    const [lowB, highB] = intervalOf(b);
    const reason = 'One of the two is a bound.';
    return { ...open(reason), significance: lowB > highA ? 'higher' : highB < lowA ? 'lower' : 'open' };
  }
  const difference = b.value - a.value;
  // What was counted was counted: it is told as it is, as the verdict takes it.
  if (unit === '') return { ...common, difference, uncertainty: null, reason: 'A count has no uncertainty.', significance: difference === 0 ? 'same' : difference > 0 ? 'higher' : 'lower' };
  if (a.uncertainty === null || b.uncertainty === null) return { ...common, difference, uncertainty: null, reason: 'One of the two has no uncertainty.', significance: 'open' };
  const uncertainty = expanded(partsOfDifference(a.budget, b.budget, shared));
  return { ...common, difference, uncertainty, reason: null, significance: Math.abs(difference) <= uncertainty ? 'same' : difference > 0 ? 'higher' : 'lower' };
}

/** Where the true value lies, with 95 %. */
function intervalOf({ value, uncertainty, bound }: Reading): [low: number, high: number] {
  const u = uncertainty ?? 0;
  return [bound === 'upper' ? -Infinity : value! - u, bound === 'lower' ? Infinity : value! + u];
}

const isCalibration = ({ name }: BudgetPart): boolean => name.startsWith('calibration');
const isPlug = ({ name }: BudgetPart): boolean => name === 'tolerance of the source plug';

/** The parts of both, what they share once or not at all. A plug moves both readings one way, by unlike amounts: the larger counts. */
function partsOfDifference(a: readonly BudgetPart[], b: readonly BudgetPart[], shared: Shared): BudgetPart[] {
  const parts = [...a, ...b];
  const plugs = parts.filter(isPlug);
  const [largest] = [...plugs].sort((p, q) => q.standard - p.standard);
  return [
    ...parts.filter((p) => !isPlug(p) && !(shared.calibration && isCalibration(p))),
    ...(shared.plugs ? (largest ? [largest] : []) : plugs),
  ];
}

/**
 * A band of 95 % per point leaves one point of twenty outside by chance; twice the band is four standard uncertainties,
 * which one point of sixteen thousand passes.
 */
const FAR = 2;

function curveDifference(a: Curve | PlayerCurve, b: Curve | PlayerCurve): CurveDifference {
  const bands = a.low && a.high && b.low && b.high ? { a: halfBand(a), b: halfBand(b) } : null;
  const frequencyHz: number[] = [];
  const difference: (number | null)[] = [];
  const uncertainty: (number | null)[] = [];
  const ofB = sampler(b.x.values, [b.y.values, ...(bands ? [bands.b] : [])]);
  a.x.values.forEach((hz, i) => {
    const there = hz === null ? null : ofB(hz);
    if (hz === null || there === null) return;
    const own = a.y.values[i]!;
    const [value, band] = there;
    frequencyHz.push(hz);
    difference.push(own === null || value === null ? null : value! - own);
    const ownBand = bands?.a[i] ?? null;
    uncertainty.push(ownBand === null || band == null ? null : Math.hypot(ownBand, band));
  });
  let largest: CurveDifference['largest'] = null;
  let differs: boolean | null = bands === null ? null : false;
  difference.forEach((d, i) => {
    if (d === null) return;
    const u = bands === null ? null : uncertainty[i]!;
    if (u !== null && Math.abs(d) > FAR * u) differs = true;
    if (largest === null || Math.abs(d) > Math.abs(largest.difference)) largest = { frequencyHz: frequencyHz[i]!, difference: d, uncertainty: u };
  });
  return {
    kind: a.kind,
    label: a.label,
    first: { state: a.state, id: a.id },
    second: { state: b.state, id: b.id },
    source: a.source,
    output: a.output,
    unit: a.y.unit,
    frequencyHz,
    difference,
    differenceUnit: differenceUnit(a.y.unit),
    uncertainty: bands === null ? null : uncertainty,
    largest,
    differs,
  };
}

const halfBand = ({ low, high }: Curve | PlayerCurve): (number | null)[] =>
  low!.map((l, i) => {
    const h = high![i] ?? null;
    return l === null || h === null ? null : (h - l) / 2;
  });

/** Values at any frequency within the axis, straight in log frequency between its points; null outside it. */
function sampler(x: readonly (number | null)[], series: readonly (readonly (number | null)[])[]): (hz: number) => (number | null)[] | null {
  const at = x as readonly number[];
  return (hz) => {
    if (at.length === 0 || hz < at[0]! || hz > at.at(-1)!) return null;
    let low = 0;
    let high = at.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (at[middle]! <= hz) low = middle;
      else high = middle;
    }
    if (at[high] === hz) low = high;
    if (at[low] === hz) return series.map((values) => values[low] ?? null);
    const part = Math.log(hz / at[low]!) / Math.log(at[high]! / at[low]!);
    return series.map((values) => {
      const [p, q] = [values[low] ?? null, values[high] ?? null];
      return p === null || q === null ? null : p + (q - p) * part;
    });
  };
}

/** Said beside readings that differ: how many of `decided` would by chance. Nothing for a few. */
export function byChance(decided: number): string[] {
  const chance = Math.round(0.05 * decided);
  return chance > 0 ? [`About ${chance} would by chance, and only just; what moved by many times its uncertainty has changed.`] : [];
}
