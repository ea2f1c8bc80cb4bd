/**
 * Results as a summary for the terminal: the verdict, what was found, the board at rest, what is outside its limit, and
 * what has changed since the last run.
 *
 * @module
 */
import type { Step } from '../src/board/model.js';
import { printable } from '../src/board/printable.js';
import { isUnchanged } from '../src/judge/changes.js';
import type { Finding, OverallWord, Reading, Results, Verdict } from '../src/judge/results.js';
import { markWord } from '../src/report/words.js';
import { fixed } from '../src/units/format.js';
import { printChanges } from './changes-summary.js';
import { heading, paragraph, table } from './layout.js';
import type { Cell } from './layout.js';
import { isOfCapture } from './measuring.js';
import type { Measured } from './measuring.js';
import { paintFor, print } from './terminal.js';
import type { Context, Look } from './terminal.js';

/** A sign beside each word, so that neither colour nor reading is needed to see which lines matter. */
export const SIGN: Readonly<Record<Verdict, { readonly sign: string; readonly look: Look }>> = {
  pass: { sign: '✓', look: 'green' },
  fail: { sign: '✗', look: 'red' },
  undecided: { sign: '?', look: 'yellow' },
  'bench-limited': { sign: '≈', look: 'yellow' },
  info: { sign: ' ', look: 'dim' },
};

const OVERALL: Readonly<Record<OverallWord, Verdict>> = { pass: 'pass', fail: 'fail', undecided: 'undecided', 'not complete': 'undecided' };

const SEVERITY: Readonly<Record<Finding['severity'], { readonly sign: string; readonly look: Look }>> = {
  fault: { sign: '✗', look: 'red' },
  caution: { sign: '!', look: 'yellow' },
  note: { sign: '-', look: 'dim' },
};

/** Value, uncertainty and unit in at most 22 characters; what has no unit is a count. */
export function valueText(r: Reading): string {
  if (r.value === null) return '—';
  if (r.unit === 'sign') return r.value > 0 ? 'same' : 'inverted';
  if (r.unit === '') return fixed(r.value, 0);
  const u = r.uncertainty;
  const mark = r.bound === 'upper' ? '< ' : r.bound === 'lower' ? '> ' : '';
  if (r.bound !== null || u === null || u === 0) return `${mark}${fixed(r.value, 1)} ${r.unit}`;
  // Two significant digits of the uncertainty, three decimals at most, and the value to the same place.
  const digits = Math.max(0, Math.min(u < 0.0095 ? 3 : 2, 1 - Math.floor(Math.log10(u))));
  return `${fixed(r.value, digits)} ± ${u < 0.0005 ? '0.001' : fixed(u, digits)} ${r.unit}`;
}

export function limitText(r: Reading): string {
  const { limit } = r;
  if (!limit) return '';
  if (r.unit === 'sign') return limit.within?.[0] === -1 ? 'inverted' : 'same';
  if (limit.within) {
    const [a, b] = limit.within;
    return a === -b ? `±${b}` : `${a} … ${b}`;
  }
  return limit.max !== null ? `≤ ${limit.max}` : `≥ ${limit.min}`;
}

/** Sign and word. */
export const verdictCell = (verdict: Verdict): Cell => (verdict === 'info' ? '' : [SIGN[verdict].look, `${SIGN[verdict].sign} ${markWord[verdict]}`]);

export const place = (r: Pick<Reading, 'state' | 'source'>): string => `${r.state}${r.source ? `+${r.source}` : ''}`;

/** How sure a cause is: told by the captures themselves, what such captures usually come from, or one of several that would look like this. */
const CERTAINTY: Readonly<Record<NonNullable<Finding['certainty']>, string>> = { measured: 'cause:', likely: 'likely:', possible: 'maybe:' };

/** Prints the whole summary. @param all - Every reading that is outside or open, not one line for those of a kind. */
export function printSummary(context: Context, { results, changes, unreadable }: Measured, all = false): void {
  const paint = paintFor(context, 'out');
  const { verdict, board, findings, readings } = results;
  paragraph(context, paint('bold', `${printable(board.name)}${board.serial ? `, ${printable(board.serial)}` : ''}`) + (board.invented ? '   (invented: this board does not exist)' : ''));
  const { sign, look } = SIGN[OVERALL[verdict.word]];
  paragraph(context, verdict.sentence, '  ', `${paint(look, sign)} `);
  for (const remark of results.conditions.remarks) paragraph(context, printable(remark), '      ', 'Note: ');
  for (const p of results.problems.filter(isOfCapture)) paragraph(context, printable(p.message), '          ', `${paint('red', 'Not used:')} `);
  if (verdict.missing.length > 0) paragraph(context, verdict.missing.join(', '), '         ', 'Missing: ');
  if (changes && !isUnchanged(changes)) printChanges(context, changes);

  if (findings.length > 0) heading(context, 'Found');
  findings.forEach((f, i) => {
    const mark = SEVERITY[f.severity];
    paragraph(context, printable(f.title), '     ', `${paint(mark.look, mark.sign)} ${`${i + 1}.`.padEnd(3)}`);
    paragraph(context, printable(f.cause), '             ', `     ${CERTAINTY[f.certainty ?? 'likely'].padEnd(8)}`);
    paragraph(context, printable(f.tryNext), '             ', '     try:    ');
    if (f.confirm !== undefined) paragraph(context, printable(f.confirm), '             ', '     then:   ');
  });

  printAtRest(context, readings);

  // What is inside its limit is counted; what is not is shown.
  const open = readings.filter((r) => r.verdict !== 'info' && r.verdict !== 'pass');
  if (open.length > 0) {
    const ids = [...new Set([...open].sort((a, b) => Number(b.verdict === 'fail') - Number(a.verdict === 'fail')).map((r) => r.id))];
    const rows = ids.flatMap((id) => {
      const of = open.filter((r) => r.id === id);
      const lines = all ? of.map((r) => [r]) : ofAKind(of);
      return [`${printable(of[0]!.label)}  (${id})`, ...lines.map((kind): Cell[] => [`  ${few(kind.map(place))}`, few(kind.map((r) => r.output ?? '')), valueText(kind[0]!), limitText(kind[0]!), verdictCell(kind[0]!.verdict)])];
    });
    const isShort = rows.length < ids.length + open.length;
    heading(context, `Outside a limit or not decided${isShort ? ', the worst of each kind; --all has every reading' : ''}`);
    table(context, ['  state', 'out', 'value', 'limit', 'verdict'], rows);
  }
  if (unreadable !== null) {
    print(context, '');
    paragraph(context, `What has changed cannot be said: ${printable(unreadable)} The file is kept.`);
  }
  if (changes && isUnchanged(changes)) printChanges(context, changes);
}

/** Readings with the same limit and verdict together, the worst of each first. */
function ofAKind(readings: readonly Reading[]): Reading[][] {
  const kinds = new Map<string, Reading[]>();
  for (const r of readings) {
    const kind = `${r.verdict} ${limitText(r)} ${r.bound ?? ''}`;
    kinds.set(kind, [...(kinds.get(kind) ?? []), r]);
  }
  return [...kinds.values()].map((kind) => (kind.some((r) => r.value === null) ? kind : kind.sort((a, b) => badness(b) - badness(a))));
}

/** `all, loop-eq`, `all and 3 more` */
function few(names: readonly string[]): string {
  const each = [...new Set(names)].filter((name) => name !== '');
  return each.length > 2 ? `${each[0]!} and ${each.length - 1} more` : each.join(', ');
}

/** What a board is first asked for, in few words, in this order. */
const AT_REST: Readonly<Record<string, string>> = {
  'noise.a': 'Noise floor, A-weighted',
  'noise.hum': 'Mains hum',
  'noise.whine': 'Whine',
  'snr.a': 'Signal to noise, A',
  'gain.1k': 'Gain at 1 kHz',
  'thd-n': 'THD+N at 997 Hz',
  'droop.10k': 'Droop at 10 kHz',
  'player.loss-2-5k': 'Player loses, 2–5 kHz',
  'match.level': 'Level between outputs',
  'match.delay': 'Delay between outputs',
};

/** The board with every loop out: each figure at the output where it is worst. */
function printAtRest(context: Context, readings: readonly Reading[]): void {
  const rows = Object.entries(AT_REST).flatMap(([id, words]): Cell[][] => {
    const [worst] = readings.filter((r) => r.id === id && r.state === 'rest' && r.value !== null).sort((a, b) => badness(b) - badness(a));
    return worst ? [[words, valueText(worst), worst.output ?? '', limitText(worst), verdictCell(worst.verdict)]] : [];
  });
  if (rows.length === 0) return;
  heading(context, 'With every loop out, at the output where it is worst');
  table(context, ['figure', 'value', 'out', 'limit', 'verdict'], rows);
}

/** More is worse, against the limit where there is one; else the level of what should not be there. */
function badness({ value, limit, id }: Reading): number {
  const v = value!;
  if (limit?.within) return Math.max(v - limit.within[1], limit.within[0] - v);
  if (limit?.min != null) return limit.min - v;
  return limit?.max != null ? v - limit.max : id.startsWith('snr') ? -v : Math.abs(v) * (v < 0 && id.startsWith('noise') ? -1 : 1);
}

/** What to do with a board that is not to be signed off yet, and `then`; the step that is to be captured for it, where one is named. */
export function whatToMend({ findings, problems, verdict }: Results, steps: readonly Step[], then = 'sign off again'): { readonly says: string; readonly step: Step | null } {
  const [first] = findings.filter(({ severity }) => severity === 'fault');
  if (problems.some(isOfCapture)) return { says: `capture again what could not be used, then ${then}`, step: null };
  if (verdict.missing.length > 0 && !first) return { says: `capture what is missing, then ${then}`, step: steps.find(({ id }) => id === verdict.missing[0]) ?? null };
  if (!first) return { says: `see what is outside or not decided, then ${then}`, step: null };
  const step = steps.find(({ id }) => first.confirm?.split(/[\s:,]+/).includes(id)) ?? null;
  const number = findings.indexOf(first) + 1;
  return { says: step ? `try what is said under ${number}., capture ${step.id} again and ${then}` : `try what is said under ${number}., capture it again, and ${then}`, step };
}
