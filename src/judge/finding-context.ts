/**
 * What findings are read from, and the words and look-ups that all of them share.
 *
 * @module
 */
import type { Board, Loop } from '../board/model.js';
import type { Attribution } from '../measure/attribution.js';
import type { Curve } from '../measure/curve.js';
import type { FlexRecord } from '../measure/flex-record.js';
import { fixed } from '../units/format.js';
import type { Finding, Reading } from './results.js';

export interface FindingContext {
  readonly board: Board;
  readonly readings: readonly Reading[];
  readonly curves: readonly Curve[];
  /** Where the noise comes from, per output. */
  readonly attribution: readonly Attribution[];
  /** What happened while leads were moved. */
  readonly flex: readonly FlexRecord[];
  /** Steps whose take was recorded, but holds nothing of what was played. */
  readonly unheard: readonly string[];
}

export const NOWHERE: Finding['where'] = { loop: null, output: null, supply: null };
export const CUSTOM = 'common practice, no source';
export const MEASURED = `Measured; the cause is ${CUSTOM}.`;

/** A reading as evidence: its id and where it was read. */
export const key = (r: Reading): string => `${r.id} in ${r.state}${r.source ? ` through ${r.source}` : ''}${r.output ? ` on ${r.output}` : ''}`;

export const shown = (v: number): string => fixed(Math.abs(v), Math.abs(v) < 1 ? 2 : 1);
export const capital = (s: string): string => s.charAt(0).toUpperCase() + s.slice(1);
export const listed = (items: readonly string[]): string => (items.length < 2 ? items.join('') : `${items.slice(0, -1).join(', ')} and ${items.at(-1)!}`);

export const loopOf = (board: Board, id: string | null): Loop | null => board.loops.find((l) => l.id === id) ?? null;
/** The two outputs that a reading is between; null where it is of one. */
export function pairOf(r: Reading): readonly [string, string] | null {
  const [a, b] = (r.output ?? '').split(':');
  return a !== undefined && b !== undefined ? [a, b] : null;
}

/** Readings of one id that are outside their limit, each with its value, and not explained yet. */
export const failing = ({ readings }: FindingContext, id: string, explained: ReadonlySet<Reading> = new Set()): (Reading & { readonly value: number })[] =>
  readings.flatMap((r) => (r.id === id && r.verdict === 'fail' && r.value !== null && !explained.has(r) ? [{ ...r, value: r.value }] : []));

/** `loop eq (equaliser set flat)`; the id alone where the name adds nothing. */
export const loopName = ({ id, name }: Loop): string => (name === id ? `loop ${id}` : `loop ${id} (${name})`);

/** A state of the board in a sentence: `with loop eq in`, `with the ground lift of output A engaged`. */
export function withState(state: string): string {
  const words: Readonly<Record<string, string>> = { bench: 'on the bench alone', lead: 'on the straight lead', rest: 'with every loop out', unbuffered: 'with the buffer out', all: 'with every loop in' };
  const dash = state.indexOf('-');
  const [kind, at] = [state.slice(0, Math.max(dash, 0)), state.slice(dash + 1)];
  if (kind === 'loop') return `with loop ${at} in`;
  if (kind === 'lift') return `with the ground lift of output ${at} engaged`;
  if (kind === 'invert') return `with the polarity switch of output ${at} inverted`;
  if (kind === 'into') return `played into output ${at}`;
  return words[state] ?? `in the state ${state}`;
}

interface Place {
  readonly state?: string;
  readonly output?: string | null;
  readonly source?: string | null;
}

/** The reading of an id at a place, with a value; null where there is none. */
export function readingAt(readings: readonly Reading[], id: string, place: Place): (Reading & { readonly value: number }) | null {
  const found = readings.find(
    (r) => r.id === id && r.value !== null && (place.state === undefined || r.state === place.state) && (place.output === undefined || r.output === place.output) && r.source === (place.source ?? null),
  );
  return found === undefined || found.value === null ? null : { ...found, value: found.value };
}

/** Whether two levels of one state and output can be told apart at all: a line or a noise this far under the hiss is not heard. */
export function isHeard(readings: readonly Reading[], level: Reading, underHissDb: number): boolean {
  if (level.verdict === 'fail') return true;
  if (level.value === null || level.bound === 'upper') return false;
  const hiss = readingAt(readings, 'noise.hiss', { state: level.state, output: level.output });
  return hiss === null || level.value > hiss.value - underHissDb;
}

/** True where these parts make up at least half of the unweighted noise beside a reading: then they are its cause. */
export function dominates(readings: readonly Reading[], of: Reading, parts: readonly string[]): boolean {
  const power = (id: string): number => {
    const r = readings.find((o) => o.id === id && o.state === of.state && o.source === of.source && o.output === of.output);
    return r?.value == null || r.bound !== null ? 0 : 10 ** (r.value / 10);
  };
  return parts.reduce((s, id) => s + power(id), 0) >= power('noise.unweighted') / 2;
}

/** States in which a source is heard: its loop's and `all`; every state of the board for what is there at rest. */
export const hears = (r: Reading, loop: string | null): boolean => (loop === null ? r.state !== 'bench' && r.state !== 'lead' : r.loop === loop || r.state === 'all');

/** Marks what failed, of these ids, where a source is heard. */
export function explain(explained: Set<Reading>, readings: readonly Reading[], where: (r: Reading) => boolean, ids: readonly string[]): void {
  for (const r of readings) if (r.verdict === 'fail' && where(r) && ids.some((id) => r.id === id || (id.endsWith('*') && r.id.startsWith(id.slice(0, -1))))) explained.add(r);
}
