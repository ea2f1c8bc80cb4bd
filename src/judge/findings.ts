/**
 * Findings: what is wrong or odd, where, what to try and how to confirm it, from judged readings set against each other.
 *
 * Each cause is told once: what it makes fail is explained by it and not told again. What failed and no cause explains is told
 * as that, so that nothing that fails goes unsaid.
 *
 * @module
 */
import type { Board } from '../board/model.js';
import { crosstalkFindings } from './crosstalk-findings.js';
import { key, listed, withState } from './finding-context.js';
import type { FindingContext } from './finding-context.js';
import { flexFindings } from './flex-findings.js';
import { hissFindings } from './hiss-findings.js';
import { humFindings } from './hum-findings.js';
import { inputFindings } from './input-findings.js';
import { levelFindings } from './level-findings.js';
import { loopFindings } from './loop-findings.js';
import { outputFindings } from './output-findings.js';
import type { Finding, Reading } from './results.js';
import { whineFindings } from './whine-findings.js';

export type { FindingContext } from './finding-context.js';

/**
 * What to do first: what stops the signal, then what spoils other measurements (contacts, switches, polarity, level), then hum,
 * whine and hiss in the order in which they are easiest to find, then tone, then what is left.
 */
const ORDER: readonly string[] = [
  'loop-silent',
  'intermittent',
  'flex',
  'crackle',
  'crossed',
  'polarity',
  'polarity-switch',
  'polarity-in',
  'loop-inverted',
  'level',
  'output-resistance',
  'switch-level',
  'lift-level',
  'loop-level',
  'output-response',
  'loop-response',
  'delay',
  'bleed',
  'crosstalk',
  'hum',
  'interaction',
  'clocks',
  'whine',
  'click',
  'clipping',
  'drift',
  'hiss',
  'buffer-stuck',
  'input-load',
  'capacitance',
  'player',
];
const SEVERITIES: readonly Finding['severity'][] = ['fault', 'caution', 'note'];

export function findingsOf(context: FindingContext): Finding[] {
  const explained = new Set<Reading>();
  const findings = [
    ...loopFindings(context, explained),
    ...flexFindings(context, explained),
    ...outputFindings(context, explained),
    ...crosstalkFindings(context, explained),
    ...humFindings(context, explained),
    ...whineFindings(context, explained),
    ...hissFindings(context, explained),
    ...levelFindings(context, explained),
    ...inputFindings(context, explained),
  ];
  return [...findings.sort(byOrder), ...leftOver(context, explained)];
}

function byOrder(a: Finding, b: Finding): number {
  const rank = ({ id }: Finding): number => {
    const at = ORDER.indexOf(id.split('/')[0]!);
    return at < 0 ? ORDER.length : at;
  };
  return SEVERITIES.indexOf(a.severity) - SEVERITIES.indexOf(b.severity) || rank(a) - rank(b);
}

/** The band that was the worst, as a label has it: it differs from place to place. */
const BAND = / \(([^)]*Hz)\)/;

/** Places told one by one; more are counted. */
const MOST_PLACES = 4;

/** Where readings of one name are outside: states, outputs and bands. A pair of outputs is named by the label. */
function placesOf(board: Board, of: readonly Reading[]): string {
  const places = [...new Set(of.map((r) => r.state))].map((state) => {
    const here = of.filter((r) => r.state === state);
    const outputs = board.outputs.map(({ id }) => id).filter((id) => here.some((r) => r.output === id));
    const bands = (list: readonly Reading[]): string => [...new Set(list.flatMap((r) => BAND.exec(r.label)?.[0] ?? []))].join('');
    const at = outputs.map((id) => `${id}${bands(here.filter((r) => r.output === id))}`);
    return `${withState(state)}${at.length === 0 ? bands(here) : ` at output${at.length > 1 ? 's' : ''} ${listed(at)}`}`;
  });
  return `${places.slice(0, MOST_PLACES).join('; ')}${places.length > MOST_PLACES ? `; and in ${places.length - MOST_PLACES} more` : ''}`;
}

/** Whatever failed and is not explained yet: one finding per kind of reading, which names each pair of outputs that is outside. */
function leftOver({ board, readings }: FindingContext, explained: Set<Reading>): Finding[] {
  const failed = readings.filter((r) => r.verdict === 'fail' && !explained.has(r));
  const kinds = [...new Set(failed.map((r) => r.id))];
  return kinds.map((id): Finding => {
    const of = failed.filter((r) => r.id === id);
    const [first] = of;
    const named = (r: Reading): string => r.label.replace(BAND, '');
    const names = [...new Set(of.map(named))];
    const loops = [...new Set(of.map((r) => r.loop))];
    const outputs = [...new Set(of.map((r) => r.output))];
    return {
      id: `limit/${id}`,
      severity: 'fault',
      where: { loop: loops.length === 1 ? loops[0]! : null, output: outputs.length === 1 ? outputs[0]! : null, supply: null },
      title: names.map((name) => `${name} is outside its limit ${placesOf(board, of.filter((r) => named(r) === name))}.`).join(' '),
      evidence: of.map(key),
      cause: 'Not known from these captures alone.',
      certainty: 'possible',
      tryNext: 'Compare with the neighbouring states: where the figure changes is where to look.',
      confirm: `Capture ${first!.capture[0] ?? first!.state} again after a change: it must be within its limit.`,
      basis: 'Measured against the limit.',
    };
  });
}
