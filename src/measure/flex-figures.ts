/**
 * Readings of a flex capture: how often the tone dropped out, and how often it crackled, with times.
 *
 * @module
 */
import { fixed } from '../units/format.js';
import { figure } from './figure.js';
import type { Figure, Place } from './figure.js';
import type { FlexEstimate, FlexEvent } from './flex.js';

/** More times than this are not written out. */
const MOST_TIMES = 12;

const COUNTED = [
  { kind: 'dropout', id: 'flex.dropouts', label: 'Dropouts while leads were moved' },
  { kind: 'crackle', id: 'flex.crackles', label: 'Crackles while leads were moved' },
] as const;

export function flexFigures(place: Place, { events, lengthS, tone }: FlexEstimate): Figure[] {
  return COUNTED.map(({ kind, id, label }) => {
    const common = { id, label, unit: '', method: 'flex.events', parts: null };
    if (tone === 0) return figure(place, { ...common, value: null, uncertaintyReason: 'no signal', remarks: ['There was no steady tone to follow.'] });
    const own = events.filter((e) => e.kind === kind);
    return figure(place, { ...common, value: own.length, uncertaintyReason: 'a count', remarks: [own.length === 0 ? `None in ${fixed(lengthS, 0)} s.` : `In ${fixed(lengthS, 0)} s, at ${timesOf(own)}.`] });
  });
}

function timesOf(events: readonly FlexEvent[]): string {
  const each = events.slice(0, MOST_TIMES).map((e) => `${fixed(e.atS, 2)} s${e.kind === 'dropout' ? ` (${fixed(1000 * e.lengthS, 0)} ms)` : ''}`);
  return `${each.join(', ')}${events.length > MOST_TIMES ? ', …' : ''}`;
}
