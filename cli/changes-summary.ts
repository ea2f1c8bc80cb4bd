/**
 * What has changed since the last run, for the terminal.
 *
 * @module
 */
import { printable } from '../src/board/printable.js';
import { isUnchanged } from '../src/judge/changes.js';
import type { Changes } from '../src/judge/changes.js';
import type { ReadingDifference } from '../src/judge/compare.js';
import { markWord, overallWords } from '../src/report/words.js';
import { differenceText, isHeadline, isTrifle, sideText, underNames } from './difference-text.js';
import { paragraph, table } from './layout.js';
import type { Cell } from './layout.js';
import { paintFor, print } from './terminal.js';
import type { Context } from './terminal.js';
import { timeText } from './time-text.js';

/** More than these are counted. */
const MOST_ROWS = 12;

export function printChanges(context: Context, changes: Changes): void {
  const paint = paintFor(context, 'out');
  const when = timeText(changes.since);
  print(context, '');
  if (isUnchanged(changes)) {
    paragraph(context, `Nothing has changed since the last run, ${when}.`);
    return;
  }
  paragraph(context, `${paint('bold', 'Since the last run')}, ${when}`);
  const { verdict, captures, inputs, findings, turned } = changes;
  const line = (head: string, text: string): void => {
    if (text !== '') paragraph(context, printable(text), ' '.repeat(18), `  ${head.padEnd(16)}`);
  };
  if (verdict.from !== verdict.to) line('verdict', `${overallWords[verdict.from].word} → ${overallWords[verdict.to].word.toLowerCase()}`);
  line('captured', captures.added.join(', '));
  line('captured again', captures.again.join(', '));
  line('no longer used', captures.gone.join(', '));
  line('also changed', inputs.join(', '));
  // Without its captures a fault is not seen, which does not mean that it is mended.
  for (const title of findings.gone) line(captures.gone.length > 0 ? 'not seen now' : 'gone', title);
  for (const title of findings.added) line('new', title);

  const judged = turned.filter(({ from, to }) => from !== 'info' && to !== 'info');
  if (judged.length > 0) {
    print(context, '');
    table(context, ['  verdict in', 'out', 'was', 'is'], underNames(few(judged), (r): Cell[] => [`  ${stateOf(r)}`, r.output ?? '', markWord[r.from], [r.to === 'fail' ? 'red' : r.to === 'pass' ? 'green' : 'yellow', markWord[r.to]]]));
    more(context, judged.length, 'verdicts');
  }
  printMoved(context, changes);
}

function printMoved(context: Context, { moved, comparable, inputs }: Changes): void {
  const shown = moved.filter((d) => isHeadline(d) && !isTrifle(d));
  if (shown.length > 0) {
    print(context, '');
    const row = (d: ReadingDifference): Cell[] => [`  ${stateOf({ state: d.second.state, source: d.source })}`, d.output ?? '', sideText(d.first, d.unit, d.uncertainty), sideText(d.second, d.unit, d.uncertainty), d.significance === 'changed' ? 'changed' : differenceText(d)];
    table(context, ['  moved in', 'out', 'was', 'is', 'by'], underNames(few(shown), row));
    more(context, shown.length, 'readings');
  }
  const trifles = moved.length - shown.length;
  if (trifles > 0) paragraph(context, `${trifles} more moved by less than 0.1 dB or in detail that --json has.`, '  ');
  const chance = Math.round(0.05 * comparable);
  if (moved.length === 0) return;
  // What other files of the job or another program do to a reading is no chance.
  const byChance = chance > 0 && inputs.length === 0 ? ` Of the ${comparable} readings of new captures about ${chance} would by chance.` : '';
  paragraph(context, `Each moved by more than the uncertainty of both (95 %).${byChance}`, '  ');
}

const few = <T>(list: readonly T[]): readonly T[] => list.slice(0, MOST_ROWS);

function more(context: Context, count: number, what: string): void {
  if (count > MOST_ROWS) paragraph(context, `and ${count - MOST_ROWS} more ${what}, which --json has`, '  ');
}

const stateOf = ({ state, source }: { readonly state: string; readonly source: string | null }): string => `${state}${source === null ? '' : `+${source}`}`;
