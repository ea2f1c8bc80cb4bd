/**
 * What happened while leads were moved: a strip of the tone's level per output, and the events one by one.
 *
 * @module
 */
import type { FlexRecord, Results } from '../judge/results.js';
import { NBSP, counted, duration, fixed, listed, withUnit } from './numbers.js';
import { NO_FIGURE, type PlainTable } from './plain-table.js';
import { type Mark, type Phrase, markOfAll, outputPhrase, statePhrase } from './words.js';

/** The level of the tone against time, and where something happened. */
export interface Strip {
  readonly title: Phrase;
  readonly stepS: number;
  readonly lengthS: number;
  /** dB against the usual level, within each step. */
  readonly lowDb: readonly number[];
  readonly highDb: readonly number[];
  readonly events: readonly { readonly kind: 'dropout' | 'crackle'; readonly atS: number; readonly lengthS: number }[];
  /** What it shows, in words. */
  readonly caption: string;
}

export interface FlexView {
  readonly id: string;
  readonly heading: Phrase;
  readonly mark: Mark;
  readonly strips: readonly Strip[];
  /** Null where nothing happened. */
  readonly table: PlainTable | null;
}

/** Events listed on paper; the results file has all. */
const MOST_EVENTS = 60;
/** A tone this low is gone. */
const GONE_DB = -60;

export function flexViews(results: Results): FlexView[] {
  return (results.flex ?? []).map((record, i) => ({
    id: `flex-${String(i + 1)}`,
    heading: record.state === 'rest' ? ['While leads were moved'] : ['While leads were moved, ', ...statePhrase(results, record.state)],
    mark: markOfAll(results.readings.filter((r) => r.id.startsWith('flex.') && r.capture.includes(record.capture))),
    strips: record.levels.map(({ output, stepS, lowDb, highDb }) => {
      const events = record.events.filter((e) => e.outputs.includes(output));
      return { title: ['Level of the tone at ', ...outputPhrase(results, output)], stepS, lengthS: record.durationS, lowDb, highDb, events, caption: captionOf(events, record.durationS) };
    }),
    table: record.events.length === 0 ? null : tableOf(results, record),
  }));
}

function captionOf(events: FlexRecord['events'], lengthS: number): string {
  const of = (kind: FlexRecord['events'][number]['kind']): string => {
    const n = events.filter((e) => e.kind === kind).length;
    return n === 0 ? `no ${kind}` : counted(n, kind);
  };
  return `In ${duration(lengthS)}: ${of('dropout')}, ${of('crackle')}.`;
}

const tableOf = (results: Results, { capture, events }: FlexRecord): PlainTable => ({
  caption: [`Dropouts and crackles of ${capture}`],
  head: ['At', 'What', 'Length', 'Level', 'Heard at'],
  rows: events.slice(0, MOST_EVENTS).map(({ kind, atS, lengthS, db, outputs }) => ({
    head: [withUnit(fixed(atS, 2), 's')],
    cells: [
      kind,
      kind === 'dropout' ? withUnit(fixed(1000 * lengthS, 0), 'ms') : NO_FIGURE,
      kind === 'dropout' && db < GONE_DB ? 'gone' : withUnit(fixed(db, 1), 'dB'),
      listed(outputs.map((o) => results.board.outputs.find((known) => known.id === o)?.id ?? o)).join(''),
    ],
  })),
  note: `Level: of a dropout its lowest, of a crackle its loudest 4${NBSP}ms, both against the tone.${events.length > MOST_EVENTS ? ` ${String(events.length - MOST_EVENTS)} more in the results file.` : ''}`,
});
