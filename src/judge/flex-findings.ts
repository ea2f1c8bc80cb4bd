/**
 * Findings on contacts that fail when leads are moved. Where it was heard says where to look: at every output alike, in
 * what all of them share; at one alone, behind the point where they part.
 *
 * @module
 */
import type { FlexEvent } from '../measure/flex.js';
import type { FlexRecord } from '../measure/flex-record.js';
import { fixed, inSentence } from '../units/format.js';
import { MEASURED, NOWHERE, key, listed } from './finding-context.js';
import type { FindingContext } from './finding-context.js';
import type { Finding, Reading } from './results.js';

/** More times than this are left to the report's table. */
const MOST_TIMES = 8;

export function flexFindings(context: FindingContext, explained: Set<Reading>): Finding[] {
  return context.flex.flatMap((record) => placesOf(record).map(({ outputs, events }) => finding(context, record, outputs, events, explained)));
}

/** Events by the set of outputs that heard them: a cause each. */
function placesOf({ events }: FlexRecord): { outputs: readonly string[]; events: readonly FlexEvent[] }[] {
  const keyOf = (e: FlexEvent): string => JSON.stringify([...e.outputs].sort());
  return [...new Set(events.map(keyOf))].map((of) => ({ outputs: JSON.parse(of) as string[], events: events.filter((e) => keyOf(e) === of) }));
}

function finding(context: FindingContext, { capture, levels }: FlexRecord, outputs: readonly string[], events: readonly FlexEvent[], explained: Set<Reading>): Finding {
  const dropouts = events.filter((e) => e.kind === 'dropout');
  const ids = new Set(events.map((e) => `flex.${e.kind}s`));
  const evidence = context.readings.filter((r) => ids.has(r.id) && r.capture.includes(capture) && outputs.includes(r.output ?? ''));
  for (const r of evidence) if (r.verdict === 'fail') explained.add(r);
  const verdicts = evidence.map((r) => r.verdict);
  const isAlone = levels.length < 2;
  const isShared = !isAlone && outputs.length === levels.length;
  const at = isAlone ? '' : isShared ? ' at every output' : ` at output${outputs.length > 1 ? 's' : ''} ${listed(outputs)} only`;
  const longest = Math.max(...dropouts.map((e) => e.lengthS));
  const heard = [count(dropouts.length, 'dropout'), count(events.length - dropouts.length, 'crackle')].filter((s) => s !== '');
  return {
    id: `flex/${capture}/${isShared || isAlone ? 'shared' : outputs.join('+')}`,
    severity: verdicts.includes('fail') ? 'fault' : verdicts.every((v) => v === 'pass') ? 'note' : 'caution',
    where: { ...NOWHERE, output: isShared || outputs.length > 1 ? null : outputs[0]! },
    title: `Moving the leads ${dropouts.length > 0 ? 'interrupts the signal' : 'makes the signal crackle'}${at}: ${listed(heard)}${dropouts.length > 0 ? `, the longest ${fixed(1000 * longest, 0)} ms` : ''}.`,
    evidence: [...evidence.map(key), `${capture}: ${events.slice(0, MOST_TIMES).map(timeOf).join(', ')}${events.length > MOST_TIMES ? `, and ${events.length - MOST_TIMES} more` : ''}`],
    cause: isAlone
      ? 'A plug, jack, switch or joint that makes and breaks, anywhere from the lead into the board to the lead out of it.'
      : isShared
        ? 'A plug, jack, switch or joint that makes and breaks in what all outputs share: the lead into the board, a send or return lead, a contact of a loop, or a supply plug.'
        : `A plug, jack or joint that makes and breaks behind the point where the outputs part: the lead at ${listed(outputs)}, its jack, or the joint behind the jack.`,
    certainty: 'likely',
    tryNext: `Run "boardproof flex" again and move one plug at a time, from ${isShared || isAlone ? 'the input onwards' : `output ${listed(outputs)} inwards`}: the bell rings at the bad one. Change its lead first; where another lead rings as well, it is the jack or the joint behind it.`,
    confirm: `Capture ${capture} again and move the same plugs for as long: no dropout, no crackle.`,
    basis: MEASURED,
  };
}

const count = (n: number, word: string): string => (n === 0 ? '' : `${n} ${word}${n === 1 ? '' : 's'}`);

const timeOf = ({ kind, atS, lengthS, db }: FlexEvent): string =>
  `${kind} at ${fixed(atS, 2)} s (${kind === 'dropout' ? `${fixed(1000 * lengthS, 0)} ms` : `${inSentence(db, 0)} dB against the tone`})`;
