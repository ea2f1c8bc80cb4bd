/**
 * Readings as the rows of a table: the figure with its uncertainty and unit, the limit, the verdict; and, in lettered notes
 * beneath, what each limit rests on and why a figure or an uncertainty is absent.
 *
 * @module
 */
import type { Reading } from '../judge/results.js';
import { NBSP, decimalsFor, fixed, isPolarity, polarityWord, sentenceCase, signed, unitText, withUnit } from './numbers.js';
import type { OnChart } from './on-chart.js';
import { type Mark, type Phrase, sourceWords } from './words.js';

export interface ReadingRow {
  readonly label: string;
  /** Such as `through plug10k`; empty where the label says it all. */
  readonly qualifier: string;
  readonly measured: string;
  readonly limit: string;
  readonly mark: Mark;
  /** Letters of the notes that belong to the figure, and to the limit. */
  readonly figureNotes: readonly string[];
  readonly limitNotes: readonly string[];
  /** Where it is to be seen; null where no chart shows it. */
  readonly at: OnChart | null;
}

export interface ReadingTable {
  readonly caption: Phrase;
  readonly groups: readonly { readonly heading: Phrase; readonly rows: readonly ReadingRow[] }[];
  readonly notes: readonly { readonly letter: string; readonly text: string }[];
}

/** A threshold with the digits that it was written with. */
export function threshold(value: number, always: boolean): string {
  const decimals = Math.min(6, (String(value).split('.')[1] ?? '').replace(/e.*/, '').length);
  return always ? signed(value, decimals) : fixed(value, decimals);
}

/** `≤ −90 dBu`, `± 0.5 dB`, `−1 to +0.5 dB`, or null where there is no limit. */
export function limitText(limit: Reading['limit'], unit: string): string | null {
  if (limit === null) return null;
  const { max, min, within } = limit;
  if (isPolarity(unit)) {
    const wanted = min ?? max ?? within?.[0] ?? null;
    return wanted === null ? null : polarityWord(wanted);
  }
  if (within !== null) {
    return within[0] === -within[1]
      ? `±${NBSP}${withUnit(threshold(within[1], false), unit)}`
      : withUnit(`${threshold(within[0], true)} to ${threshold(within[1], true)}`, unit);
  }
  if (max !== null) return `≤${NBSP}${withUnit(threshold(max, false), unit)}`;
  if (min !== null) return `≥${NBSP}${withUnit(threshold(min, false), unit)}`;
  return null;
}

/** The figure alone, with unit and bound: `−92.3 dBu`, `< −101 dBu`, `inverted`; null where there is none. */
export function valueText(reading: Reading): string | null {
  const { value, unit, bound, uncertainty } = reading;
  if (value === null || !Number.isFinite(value)) return null;
  if (isPolarity(unit)) return polarityWord(value);
  const number = withUnit(fixed(value, decimalsFor(value, uncertainty, unit)), unit);
  return bound === null ? number : `${bound === 'upper' ? '<' : '>'}${NBSP}${number}`;
}

/** The figure with its expanded uncertainty: `−92.3 ± 0.4 dBu`; a bound as `< −132.2 ± 0.1 dBu`. */
export function measuredText(reading: Reading): string {
  const { value, unit, bound, uncertainty } = reading;
  const alone = valueText(reading);
  if (alone === null || value === null) return 'no figure';
  // An uncertainty of nothing, as of a bound that already holds it, is not printed.
  if (uncertainty === null || !(uncertainty > 0) || !Number.isFinite(uncertainty) || isPolarity(unit)) return alone;
  const decimals = decimalsFor(value, uncertainty, unit);
  const least = 10 ** -decimals;
  const spread = uncertainty < least / 2 ? `<${NBSP}${fixed(least, decimals)}` : fixed(uncertainty, decimals);
  return `${bound === null ? '' : `${bound === 'upper' ? '<' : '>'}${NBSP}`}${withUnit(`${fixed(value, decimals)} ±${NBSP}${spread}`, unit)}`;
}

/** A number and its unit do not part at the end of a line. */
const kept = (label: string): string => label.replace(/(\d) (?=[kM]?Hz|dB|pF|kΩ)/g, `$1${NBSP}`);

const letter = (n: number): string => (n < 26 ? '' : letter(Math.floor(n / 26) - 1)) + String.fromCharCode(97 + (n % 26));

const asSentence = (text: string): string => sentenceCase(/[.!?…]$/.test(text.trim()) ? text.trim() : `${text.trim()}.`);

/** One table of readings in groups; empty groups are left out. */
export function readingTable(
  caption: Phrase,
  groups: readonly { heading: Phrase; readings: readonly Reading[] }[],
  at: (reading: Reading) => OnChart | null = () => null,
): ReadingTable {
  const letters = new Map<string, string>();
  const note = (text: string): string => {
    let known = letters.get(text);
    if (known === undefined) {
      known = letter(letters.size);
      letters.set(text, known);
    }
    return known;
  };
  const rowOf = (reading: Reading): ReadingRow => {
    const figureNotes = reading.remarks.map((r) => note(asSentence(r)));
    const measured = measuredText(reading);
    if (valueText(reading) === null && reading.remarks.length === 0) figureNotes.push(note('No figure, and the results give no reason.'));
    if (valueText(reading) !== null && reading.uncertainty === null) {
      figureNotes.push(note(reading.uncertaintyReason === null ? 'No uncertainty is stated.' : asSentence(`No uncertainty is stated: ${reading.uncertaintyReason}`)));
    }
    const limit = limitText(reading.limit, reading.unit);
    return {
      label: kept(reading.label),
      qualifier: sourceWords(reading.source),
      measured,
      limit: limit ?? 'none',
      mark: reading.verdict,
      at: at(reading),
      figureNotes: [...new Set(figureNotes)],
      limitNotes: limit === null || reading.limit === null ? [] : [note(asSentence(`Limit: ${reading.limit.basis}`))],
    };
  };
  const filled = groups
    .filter((g) => g.readings.length > 0)
    .map((g) => ({ heading: g.heading, rows: g.readings.map(rowOf) }));
  return { caption, groups: filled, notes: [...letters].map(([text, l]) => ({ letter: l, text })) };
}

/** A reading of one line of hum or one family of whine, of which there may be dozens. */
export const isLineReading = (reading: Reading): boolean => /^noise\.(hum|whine)\./.test(reading.id);

/** The parts of one reading's uncertainty, for the budget. */
export interface BudgetRow {
  readonly label: string;
  readonly where: Phrase;
  readonly parts: readonly { readonly name: string; readonly standard: string; readonly evaluation: 'A' | 'B' | null; readonly degreesOfFreedom: string | null }[];
  readonly expanded: string;
}

export function budgetRow(reading: Reading, where: Phrase): BudgetRow {
  const digits = (x: number): string => fixed(x, decimalsFor(x, x, ''));
  return {
    label: [reading.label, sourceWords(reading.source)].filter((s) => s !== '').join(', '),
    where,
    parts: reading.budget.map((p) => ({
      name: p.name,
      standard: withUnit(digits(p.standard), reading.unit),
      evaluation: p.evaluation ?? null,
      degreesOfFreedom: p.degreesOfFreedom === null ? null : fixed(p.degreesOfFreedom, p.degreesOfFreedom < 10 ? 1 : 0),
    })),
    expanded: reading.uncertainty === null ? 'not stated' : `±${NBSP}${withUnit(digits(reading.uncertainty), reading.unit)}`,
  };
}

/** Distance to the limit in the reading's unit, positive inside; null without a limit or a figure. */
export function marginOf(reading: Reading): number | null {
  const { value, limit } = reading;
  if (value === null || limit === null) return null;
  if (limit.within !== null) return Math.min(value - limit.within[0], limit.within[1] - value);
  if (limit.max !== null) return limit.max - value;
  return limit.min === null ? null : value - limit.min;
}

/** The unit of a difference: decibels lose their reference. */
export const differenceUnit = (unit: string): string => (/^dB[A-Za-z]/.test(unit) ? 'dB' : unitText(unit));

/** The budgets of all readings of one kind, as ranges. */
export interface BudgetSummary {
  readonly label: string;
  readonly count: number;
  readonly parts: readonly { readonly name: string; readonly range: string }[];
  readonly expanded: string;
}

/** One row for each reading id and unit. */
export function budgetSummary(readings: readonly Reading[]): BudgetSummary[] {
  const digits = (x: number): string => fixed(x, decimalsFor(x, x, ''));
  const range = (values: readonly number[], unit: string): string => {
    const [low, high] = [digits(Math.min(...values)), digits(Math.max(...values))];
    return withUnit(low === high ? low : `${low} to ${high}`, unit);
  };
  const keyOf = (r: Reading): string => JSON.stringify([r.id, r.unit]);
  return [...new Set(readings.map(keyOf))].map((key) => {
    const own = readings.filter((r) => keyOf(r) === key);
    const { label, unit } = own[0]!;
    const names = [...new Set(own.flatMap((r) => r.budget.map((p) => p.name)))];
    const stated = own.flatMap((r) => (r.uncertainty === null ? [] : [r.uncertainty]));
    return {
      // What differs from place to place stands in brackets at the end of a label.
      label: own.every((r) => r.label === label) ? label : label.replace(/ \([^)]*\)$/, ''),
      count: own.length,
      parts: names.map((name) => ({ name, range: range(own.flatMap((r) => r.budget.filter((p) => p.name === name).map((p) => p.standard)), unit) })),
      expanded: stated.length === 0 ? 'not stated' : `±${NBSP}${range(stated, unit)}`,
    };
  });
}
