/**
 * `boardproof compare <job> <state> <state>`, `boardproof compare <job> --against <job>`: what differs by more than both can
 * be wrong. Only results.json is read.
 *
 * @module
 */
import path from 'node:path';
import { nearest } from '../src/board/nearest.js';
import { printable } from '../src/board/printable.js';
import { byChance, compareJobs, compareStates } from '../src/judge/compare.js';
import type { ComparedSide, Comparison, CurveDifference, ReadingDifference } from '../src/judge/compare.js';
import type { Results } from '../src/judge/results.js';
import { exitCode, problem } from '../src/problems.js';
import { fixed, signed } from '../src/units/format.js';
import { differenceText, digitsOf, isHeadline, isTrifle, sideText } from './difference-text.js';
import { heading, paragraph, table } from './layout.js';
import type { Cell } from './layout.js';
import { nextStep, word } from './next-step.js';
import { readJobResults } from './results-file.js';
import { note, paintFor, print, printJson } from './terminal.js';
import type { Context, Look } from './terminal.js';
import { refuseOverOther, writeComparison } from './write-report.js';

export const COMPARISON_FORMAT = 'boardproof-comparison/1';

export async function run(
  context: Context,
  [jobPath, ...states]: readonly string[],
  options: { readonly against?: string; readonly report?: string; readonly json?: boolean },
): Promise<number> {
  const load = (job: string): Promise<Results> => readJobResults(path.resolve(context.cwd, job), job);
  const report = options.report === undefined ? null : path.resolve(context.cwd, options.report);
  if (report !== null) refuseOverOther(context, options.report!);
  if (states.length > 0 && options.against !== undefined) throw problem('cli.usage', { said: 'compare takes two states, or --against with another job, not both' });
  const second = await load(jobPath!);
  const first = options.against === undefined ? second : await load(options.against);
  const comparison = options.against === undefined ? statesOf(second, jobPath!, states) : compareJobs(first, second);
  if (report !== null) await writeComparison(context, comparison, first, second, report);
  if (options.json) printJson(context, { format: COMPARISON_FORMAT, coverage: 0.95, ...comparison, ...(report === null ? {} : { report }) });
  else printComparison(context, comparison);
  if (report !== null) note(context, `\nWritten: ${report}`);
  sayNext(context, [jobPath!, ...states], options, comparison);
  return exitCode.done;
}

function sayNext(context: Context, words: readonly string[], { against, report }: { readonly against?: string; readonly report?: string }, comparison: Comparison): void {
  const worse = comparison.readings.some((r) => r.first.verdict !== 'fail' && r.second.verdict === 'fail');
  if (against !== undefined && worse) nextStep(context, 'see what may be the cause of what is outside its limit now', `boardproof measure ${word(words[0]!)}`);
  else if (report === undefined) nextStep(context, 'put the two side by side on paper', `boardproof compare ${words.map(word).join(' ')}${against === undefined ? '' : ` --against ${word(against)}`} --report comparison.html`);
  else nextStep(context, 'open it in any browser; print it, and keep it with the report');
}

function statesOf(results: Results, jobPath: string, states: readonly string[]): Comparison {
  if (states.length !== 2) throw problem('cli.usage', { said: 'compare takes two states, or --against with another job' });
  const known = [...new Set(results.readings.map(({ state }) => state))];
  for (const state of states) {
    if (!known.includes(state)) throw problem('judge.no-state', { job: jobPath, state, known, nearest: nearest(state, known) });
  }
  return compareStates(results, states[0]!, states[1]!);
}

const WORDS: Readonly<Record<ReadingDifference['significance'], { word: string; look: Look }>> = {
  higher: { word: 'higher', look: 'yellow' },
  lower: { word: 'lower', look: 'yellow' },
  changed: { word: 'changed', look: 'red' },
  same: { word: 'same', look: 'dim' },
  open: { word: 'open', look: 'dim' },
};

const nameOf = ({ board, serial, state, measuredAt }: ComparedSide): string =>
  state ?? `${printable(board)}${serial === null ? '' : `, ${printable(serial)}`}, measured ${measuredAt.slice(0, 10)}`;

function printComparison(context: Context, comparison: Comparison): void {
  const paint = paintFor(context, 'out');
  const { first, second, readings, curves } = comparison;
  const ofJobs = first.state === null;
  if (ofJobs) {
    paragraph(context, nameOf(first), '      ', 'Then: ');
    paragraph(context, nameOf(second), '      ', 'Now:  ');
  } else {
    paragraph(context, printable(`${first.board}: from ${first.state} to ${second.state!}`));
  }
  for (const remark of comparison.remarks) paragraph(context, printable(remark), '      ', 'Note: ');

  const differing = readings.filter(({ significance }) => significance === 'higher' || significance === 'lower' || significance === 'changed');
  const of = (significance: ReadingDifference['significance']): ReadingDifference[] => readings.filter((r) => r.significance === significance);
  paragraph(context, summary(differing.length, of('same').length, of('open').length), '', '\n');

  const turned = readings.filter((r) => (r.first.verdict === 'fail') !== (r.second.verdict === 'fail'));
  if (turned.length > 0) {
    heading(context, 'Limits');
    for (const r of turned) {
      const now = r.second.verdict === 'fail';
      const said = now ? paint('red', 'outside its limit') : paint('green', 'no longer outside its limit');
      paragraph(context, `${printable(`${r.id}${ofJobs ? ` in ${r.first.state}` : ''}${r.output === null ? '' : ` on ${r.output}`}`)}: ${said}`, '    ', '  ');
    }
  }

  const shown = differing.filter((r) => isHeadline(r) && !isTrifle(r));
  const oneSource = new Set(readings.flatMap(({ source }) => (source === null ? [] : [source]))).size < 2;
  const heads = ofJobs ? (['then', 'now'] as const) : headsOf(first.state, second.state!);
  if (ofJobs) {
    for (const state of new Set(shown.map((r) => r.first.state))) {
      heading(context, printable(state));
      printRows(context, shown.filter((r) => r.first.state === state), heads, oneSource);
    }
  } else if (shown.length > 0) {
    print(context, '');
    printRows(context, shown, heads, oneSource);
  }
  const list = (title: string, items: readonly string[]): void => {
    if (items.length > 0) paragraph(context, `${title}: ${[...new Set(items)].map(printable).join(', ')}.`, '', '\n');
  };
  const left = differing.filter((r) => !shown.includes(r));
  list('They differ as well, by less than 0.1 dB or in detail that --json has', left.map(({ id }) => id.replace(/\.h\d+$/, '.h<n>')));
  if (!ofJobs) {
    list('Alike within their uncertainty', of('same').map(({ id }) => id.replace(/\.h\d+$/, '.h<n>')));
    list('Not to be said, as one has no value, is a bound or has no uncertainty', of('open').map(({ id }) => id));
  }
  const said = curves.filter((c) => c.largest !== null && (!ofJobs || (c.differs ?? Math.abs(c.largest.difference) > NOISE_MOVED_DB)));
  if (said.length > 0) {
    heading(context, ofJobs ? 'Curves that moved, and where most' : 'Curves, where they differ most');
    table(context, ['  curve', 'out', 'by', ''], said.map((c) => curveRow(c, ofJobs).map(printable)));
  }
  list(`Only in ${first.state ?? 'the earlier'}`, comparison.onlyFirst.map(withoutPlace));
  list(`Only in ${second.state ?? 'the later'}`, comparison.onlySecond.map(withoutPlace));
}

/** A noise spectrum has no band; a point of it wanders by less. */
const NOISE_MOVED_DB = 3;

/** States by their names where there is room, which the first line has in any case. */
const headsOf = (first: string, second: string): readonly [string, string] => (first.length + second.length <= 2 * LONGEST_HEAD ? [first, second] : ['from', 'to']);
const LONGEST_HEAD = 10;

function printRows(context: Context, rows: readonly ReadingDifference[], [first, second]: readonly [string, string], oneSource: boolean): void {
  table(
    context,
    ['  reading', 'out', { text: printable(first), right: true }, { text: printable(second), right: true }, { text: 'difference', right: true }, ''],
    rows.map((d): Cell[] => {
      const { word: said, look } = WORDS[d.significance];
      const cells = [`  ${d.id}${oneSource || d.source === null ? '' : ` ${d.source}`}`, d.output ?? '', sideText(d.first, d.unit, d.uncertainty), sideText(d.second, d.unit, d.uncertainty), differenceText(d)];
      return [...cells.map(printable), [look, said]];
    }),
  );
}

function summary(differing: number, same: number, open: number): string {
  const decided = differing + same;
  if (decided === 0) return 'There is nothing that both have and that can be set against each other.';
  return [
    `${differing} of ${decided} readings differ by more than the uncertainty of both (95 %).`,
    ...byChance(decided),
    ...(open > 0 ? [`Of ${open} more nothing can be said.`] : []),
  ].join(' ');
}

const withoutPlace = (item: string): string => item.replace(/ on [^ ]+$/, '').replace(/\.h\d+/, '.h<n>');

const CURVE_WORDS: Readonly<Record<CurveDifference['kind'], string>> = {
  'noise-density': 'noise',
  response: 'response',
  'tone-loss': 'through the plug',
  'match-third-octave': 'match',
  'match-response': 'match, fine',
  'player-response': 'player’s instrument',
};

function curveRow({ kind, first, source, output, largest, unit, differs }: CurveDifference, withState: boolean): string[] {
  const { frequencyHz, difference, uncertainty } = largest!;
  const digits = digitsOf(uncertainty);
  const hz = frequencyHz < 1000 ? `${fixed(frequencyHz, 0)} Hz` : `${fixed(frequencyHz / 1000, 1)} kHz`;
  return [
    `  ${CURVE_WORDS[kind]}${withState ? `, ${first.state}` : ''}${source === null ? '' : `, ${source}`}`,
    output ?? '',
    `${signed(difference, digits)}${uncertainty === null ? '' : ` ±${fixed(uncertainty, digits)}`} ${unit.startsWith('dB') ? 'dB' : unit} at ${hz}`,
    differs === null ? 'no band' : differs ? 'differs' : 'alike',
  ];
}
