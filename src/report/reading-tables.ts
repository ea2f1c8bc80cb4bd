/**
 * Readings as a table with a column for each place: the figure with its uncertainty, the limit, the verdict; and, in lettered
 * notes, why a figure or an uncertainty is absent.
 *
 * @module
 */
import type { Reading } from '../judge/results.js';
import { differenceUnit } from '../units/format.js';
import { NBSP, decimalsFor, fixed, isPolarity, plusMinus, polarityWord, sentenceCase, signed, unitText, withUnit } from './numbers.js';
import type { OnChart } from './on-chart.js';
import { type Mark, type Phrase, sourceWords } from './words.js';

export interface ReadingCell {
  /** Without the unit, which stands with the label. */
  readonly figure: string;
  /** What of the label differs from place to place, such as the band that was worst, and when it was; empty where nothing does. */
  readonly detail: string;
  /** Its limit where that is not the row's; empty where it is, or where there is none. */
  readonly limit: string;
  readonly mark: Mark;
  /** Letters of the notes that belong to it. */
  readonly notes: readonly string[];
  /** Where it is to be seen; null where no chart shows it. */
  readonly at: OnChart | null;
}

export interface ReadingRow {
  readonly label: string;
  /** Such as `through plug10k`; empty where the label says it all. */
  readonly qualifier: string;
  /** As printed; empty for a word or a count. */
  readonly unit: string;
  /** The limit of most of its figures; empty where none has one. */
  readonly limit: string;
  /** One for each column; null where nothing was read there. */
  readonly cells: readonly (ReadingCell | null)[];
}

export interface ReadingTable {
  readonly caption: Phrase;
  readonly columns: readonly Phrase[];
  readonly rows: readonly ReadingRow[];
  /** Few readings at many places: it is printed with the places down the side. */
  readonly turned: boolean;
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

/** The figure with its expanded uncertainty and without its unit: `−92.3 ± 0.4`; a bound as `< −132.2 ± 0.1`. */
export function figureText(reading: Reading): string {
  const { value, unit, bound, uncertainty } = reading;
  if (value === null || !Number.isFinite(value)) return 'no figure';
  if (isPolarity(unit)) return polarityWord(value);
  const decimals = decimalsFor(value, uncertainty, unit);
  const number = `${bound === null ? '' : `${bound === 'upper' ? '<' : '>'}${NBSP}`}${fixed(value, decimals)}`;
  // An uncertainty of nothing, as of a bound that already holds it, is not printed.
  if (uncertainty === null || !(uncertainty > 0) || !Number.isFinite(uncertainty)) return number;
  return `${number} ${plusMinus(uncertainty, decimals)}`;
}

/** The same with its unit: `−92.3 ± 0.4 dBu`. */
export function measuredText(reading: Reading): string {
  const figure = figureText(reading);
  return valueText(reading) === null || isPolarity(reading.unit) ? figure : withUnit(figure, reading.unit);
}

/** A number and its unit, or what it is of, do not part at the end of a line. */
export const kept = (label: string): string => label.replace(/(\d) (?=[kM]?Hz|dB|pF|kΩ)/g, `$1${NBSP}`).replace(/ = (?=\d)/g, `${NBSP}=${NBSP}`);

const letter = (n: number): string => (n < 26 ? '' : letter(Math.floor(n / 26) - 1)) + String.fromCharCode(97 + (n % 26));

const asSentence = (text: string): string => sentenceCase(/[.!?…]$/.test(text.trim()) ? text.trim() : `${text.trim()}.`);

/** Lettered notes that several tables share; each text has one letter. */
export class Notes {
  readonly #letters = new Map<string, string>();

  letterOf(text: string): string {
    const known = this.#letters.get(text) ?? letter(this.#letters.size);
    this.#letters.set(text, known);
    return known;
  }

  get list(): { readonly letter: string; readonly text: string }[] {
    return [...this.#letters].map(([text, l]) => ({ letter: l, text }));
  }
}

/** More columns than this do not fit on paper. */
const MOST_COLUMNS = 6;

/** What stands in brackets in a label, and the label without it. */
const BRACKETS = / \(([^)]*)\)/;
export const withoutBand = (label: string): string => label.replace(BRACKETS, '');

/** A remark that says no more than when it was: it stands beside the figure. */
const MOMENT = /^At ([\d.]+ s)\.$/;

/** One place where readings were taken. */
export interface PlaceGroup {
  readonly heading: Phrase;
  readonly readings: readonly Reading[];
}

/** The readings as tables of a few columns each; none where there are no readings. */
export function readingTables(caption: Phrase, places: readonly PlaceGroup[], notes: Notes, at: (reading: Reading) => OnChart | null = () => null): ReadingTable[] {
  const filled = places.filter((p) => p.readings.length > 0);
  if (filled.length === 0) return [];
  const rows = rowsOf(filled);
  const turned = filled.length > MOST_COLUMNS && rows.length <= MOST_COLUMNS;
  const widest = turned ? filled.length : Math.ceil(filled.length / Math.ceil(filled.length / MOST_COLUMNS));
  const tables: ReadingTable[] = [];
  for (let from = 0; from < filled.length; from += widest) {
    const columns = filled.slice(from, from + widest);
    const made = rows
      .map((r) => r.slice(from, from + widest))
      .filter((r) => r.some((c) => c !== null))
      .map((r) => rowOf(r, notes, at));
    // What all rows come through is said once.
    const through = made[0]!.qualifier;
    const shared = through !== '' && made.every((r) => r.qualifier === through);
    tables.push({
      caption: shared ? [...caption, ', ', through] : caption,
      columns: columns.map((p) => p.heading),
      rows: shared ? made.map((r) => ({ ...r, qualifier: '' })) : made,
      turned,
    });
  }
  return tables;
}

/** Readings that belong side by side, one for each place; two of one kind at one place take two rows. */
function rowsOf(places: readonly PlaceGroup[]): (Reading | null)[][] {
  const rows: { key: string; cells: (Reading | null)[] }[] = [];
  places.forEach((place, column) => {
    let after = -1;
    for (const reading of place.readings) {
      const key = JSON.stringify([reading.id, reading.source, reading.unit, withoutBand(reading.label)]);
      let row = rows.findIndex((r) => r.key === key && r.cells[column] === null);
      if (row < 0) {
        // A row that only later places have stands after what comes before it there.
        row = after + 1;
        rows.splice(row, 0, { key, cells: places.map(() => null) });
      }
      rows[row]!.cells[column] = reading;
      after = row;
    }
  });
  return rows.map((r) => r.cells);
}

function rowOf(readings: readonly (Reading | null)[], notes: Notes, at: (reading: Reading) => OnChart | null): ReadingRow {
  const taken = readings.filter((r) => r !== null);
  const first = taken[0]!;
  const alike = taken.every((r) => r.label === first.label);
  const limits = taken.flatMap((r) => limitText(r.limit, r.unit) ?? []);
  const count = (text: string): number => limits.filter((l) => l === text).length;
  const common = limits.reduce((best, l) => (count(l) > count(best) ? l : best), limits[0] ?? '');
  return {
    label: kept(alike ? first.label : withoutBand(first.label)),
    qualifier: sourceWords(first.source),
    unit: isPolarity(first.unit) || first.unit === '1' ? '' : unitText(first.unit),
    limit: common,
    cells: readings.map((r): ReadingCell | null => {
      if (r === null) return null;
      const limit = limitText(r.limit, r.unit) ?? '';
      return {
        figure: figureText(r),
        detail: [alike ? '' : kept(BRACKETS.exec(r.label)?.[1] ?? ''), ...r.remarks.flatMap((text) => (MOMENT.test(text) ? `at ${MOMENT.exec(text)![1]!}` : []))].filter((t) => t !== '').join(', '),
        limit: limit === common ? '' : limit,
        mark: r.verdict,
        notes: [...new Set(remarksOf(r).map((text) => notes.letterOf(text)))],
        at: at(r),
      };
    }),
  };
}

/** What must be said of a figure, beneath its table: its remarks, and why it or its uncertainty is not there. */
function remarksOf(reading: Reading): string[] {
  const said = reading.remarks.filter((text) => !MOMENT.test(text)).map(asSentence);
  if (valueText(reading) === null) return said.length > 0 ? said : ['No figure, and the results give no reason.'];
  if (reading.uncertainty !== null) return said;
  return [...said, reading.uncertaintyReason === null ? 'No uncertainty is stated.' : asSentence(`No uncertainty is stated: ${reading.uncertaintyReason}`)];
}

/** A limit, whose readings it is for, and what it rests on. */
export interface LimitRow {
  readonly label: string;
  readonly limit: string;
  readonly count: number;
  readonly basis: string;
}

/** Every limit that a reading was held against, once. */
export function limitRows(readings: readonly Reading[]): LimitRow[] {
  const rows = new Map<string, { label: string; limit: string; count: number; basis: string }>();
  for (const r of readings) {
    const limit = limitText(r.limit, r.unit);
    if (limit === null || r.limit === null) continue;
    const label = withoutBand(r.label);
    const key = JSON.stringify([r.id, label, limit, r.limit.basis]);
    const row = rows.get(key) ?? { label: kept(label), limit, count: 0, basis: asSentence(r.limit.basis) };
    row.count++;
    rows.set(key, row);
  }
  return [...rows.values()];
}

/** A reading of one line of hum or one family of whine, of which there may be dozens. */
export const isLineReading = (reading: Reading): boolean => /^noise\.(hum|whine)\./.test(reading.id);

/** The parts of one reading's uncertainty, for the budget. */
export interface BudgetRow {
  readonly label: string;
  readonly where: Phrase;
  readonly parts: readonly { readonly name: string; readonly standard: string; /** What kind of part it is, how it was evaluated and its degrees of freedom, as far as each is known. */ readonly how: string }[];
  /** Captures that count together in it; empty where each step was captured once. */
  readonly repeats: string;
  readonly expanded: string;
}

type BudgetPart = Reading['budget'][number];

/** `fit, A, ν 11`: a kind that the name of the part says already is left out. */
function partWords({ kind, name, evaluation, degreesOfFreedom }: BudgetPart, withFreedom: boolean): string {
  return [
    kind === undefined || name.includes(kind) ? '' : kind,
    evaluation ?? '',
    !withFreedom || degreesOfFreedom === null ? '' : `ν${NBSP}${fixed(degreesOfFreedom, degreesOfFreedom < 10 ? 1 : 0)}`,
  ].filter((s) => s !== '').join(', ');
}

/** What is smaller weighs nothing in any budget. */
const LEAST_SHOWN = 1e-4;
const digits = (x: number): string => fixed(x, decimalsFor(x, x, ''));

/** Uncertainties from the smallest to the largest, each behind a sign where one is wanted; what is smaller than is shown is no figure. */
function span(values: readonly number[], unit: string, sign = ''): string {
  const [low, high] = [Math.min(...values), Math.max(...values)];
  const shown = (x: number): string => `${sign}${digits(x)}`;
  const text = high < LEAST_SHOWN ? `under ${sign}${fixed(LEAST_SHOWN, 4)}` : low < LEAST_SHOWN ? `up to ${shown(high)}` : digits(low) === digits(high) ? shown(high) : `${shown(low)} to ${digits(high)}`;
  return withUnit(text, differenceUnit(unit));
}
const HALF = `±${NBSP}`;

/** A part that is nothing is none. */
const weighs = ({ standard }: BudgetPart): boolean => standard > 0;

/** Has something to add up: a bound that holds its uncertainty already has not. */
export const hasBudget = ({ budget }: Reading): boolean => budget.some(weighs);

export function budgetRow(reading: Reading, where: Phrase): BudgetRow {
  return {
    label: [kept(reading.label), sourceWords(reading.source)].filter((s) => s !== '').join(', '),
    where,
    parts: reading.budget.filter(weighs).map((p) => ({
      name: p.name,
      standard: span([p.standard], reading.unit),
      how: partWords(p, true),
    })),
    repeats: (reading.repeats ?? []).map(({ step, values, agree }) => `${String(values.length)} captures of ${step} together${agree ? '' : ', which do not agree'}`).join('; '),
    expanded: reading.uncertainty === null ? 'not stated' : span([reading.uncertainty], reading.unit, HALF),
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

/** The budgets of all readings of one kind, as ranges. */
export interface BudgetSummary {
  readonly label: string;
  readonly count: number;
  /** Some of them are held against a limit. */
  readonly limited: boolean;
  readonly parts: readonly { readonly name: string; readonly range: string; /** As in {@link BudgetRow}, without degrees of freedom. */ readonly how: string }[];
  /** The most captures of one step that count together in one of them. */
  readonly captures: number;
  readonly expanded: string;
}

/** One row for each reading id and unit. */
export function budgetSummary(readings: readonly Reading[]): BudgetSummary[] {
  const keyOf = (r: Reading): string => JSON.stringify([r.id, r.unit]);
  return [...new Set(readings.map(keyOf))].map((key) => {
    const own = readings.filter((r) => keyOf(r) === key);
    const { label, unit } = own[0]!;
    const names = [...new Set(own.flatMap((r) => r.budget.filter(weighs).map((p) => p.name)))];
    const stated = own.flatMap((r) => (r.uncertainty === null ? [] : [r.uncertainty]));
    return {
      // What differs from place to place stands in brackets at the end of a label.
      label: kept(own.every((r) => r.label === label) ? label : label.replace(/ \([^)]*\)$/, '')),
      count: own.length,
      limited: own.some((r) => r.limit !== null),
      parts: names.map((name) => {
        const same = own.flatMap((r) => r.budget.filter((p) => p.name === name && weighs(p)));
        return { name, range: span(same.map((p) => p.standard), unit), how: partWords(same[0]!, false) };
      }),
      captures: Math.max(1, ...own.flatMap((r) => (r.repeats ?? []).map(({ values }) => values.length))),
      expanded: stated.length === 0 ? 'not stated' : span(stated, unit, HALF),
    };
  });
}
