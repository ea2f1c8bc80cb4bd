/**
 * Dropouts and crackles in words.
 *
 * @module
 */
import { printable } from '../src/board/printable.js';
import type { FlexEvent } from '../src/measure/flex.js';
import { fixed } from '../src/units/format.js';

/** `12.35 s  dropout on A, 14 ms, -60 dB` */
export function flexLine({ atS, kind, outputs, lengthS, db }: FlexEvent): string {
  const where = outputs.map(printable).join(', ');
  return `${fixed(atS, 2).padStart(7)} s  ${kind} on ${where}, ${kind === 'dropout' ? `${fixed(1000 * lengthS, 0)} ms, ${fixed(Math.max(-99, db), 0)} dB` : `${fixed(db, 0)} dB against the tone`}`;
}

/** `no dropouts, 2 crackles` */
export function flexCounts(events: readonly FlexEvent[]): string {
  const of = (kind: FlexEvent['kind']): string => {
    const n = events.filter((e) => e.kind === kind).length;
    return `${n === 0 ? 'no' : n} ${kind}${n === 1 ? '' : 's'}`;
  };
  return `${of('dropout')}, ${of('crackle')}`;
}
