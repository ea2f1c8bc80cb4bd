/**
 * `boardproof compare <job> <state> <state>`, `boardproof compare <job> --against <job>`: what differs by more than both can
 * be wrong. Only results.json is read.
 *
 * @module
 */
import path from 'node:path';
import { nearest } from '../src/board/nearest.js';
import { printable } from '../src/board/printable.js';
import { listed } from '../src/judge/finding-context.js';
import { byChance, compareJobs, compareStates, placeOf } from '../src/judge/compare.js';
import type { ComparedSide, Comparison, CurveDifference, ReadingDifference } from '../src/judge/compare.js';
import type { Results } from '../src/judge/results.js';
import { exitCode, problem } from '../src/problems.js';
import { frequencyText } from '../src/units/format.js';
import { differenceOf, differenceText, isHeadline, isTrifle, nameOf, sideText, underNames } from './difference-text.js';
import { heading, paragraph, table } from './layout.js';
import type { Cell } from './layout.js';
import { nextStep, word } from './next-step.js';
import { readJobResults } from './results-file.js';
import { SIGN } from './results-summary.js';
import { note, paintFor, print, printJson } from './terminal.js';
import type { Context, Look } from './terminal.js';
import { timeText } from './time-text.js';
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
  else printComparison(context, comparison, first, second);
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
  const known = [...new Set(results.readings.map(({ state }) => state))];
  if (states.length !== 2) throw problem('cli.usage', { said: `compare takes two states, or --against with another job; the results of ${jobPath} have the states ${known.join(', ') || 'none'}` });
  for (const state of states) {
    if (!known.includes(state)) throw problem('judge.no-state', { job: jobPath, state, known, nearest: nearest(state, known) });
  }
  return compareStates(results, states[0]!, states[1]!);
}

const titleOf = ({ board, serial, measuredAt }: ComparedSide): string => `${printable(board)}${serial === null ? '' : `, ${printable(serial)}`}, measured ${timeText(measuredAt)}`;

function printComparison(context: Context, comparison: Comparison, earlier: Results, later: Results): void {
  const paint = paintFor(context, 'out');
  const { first, second, readings, curves } = comparison;
  const ofJobs = first.state === null;
  if (ofJobs) {
    paragraph(context, titleOf(first), '      ', 'Then: ');
    paragraph(context, titleOf(second), '      ', 'Now:  ');
  } else {
    paragraph(context, printable(`${first.board}, measured ${timeText(first.measuredAt)}: from ${first.state} to ${second.state!}`));
  }
  // Of two states one may have no limit at all, which is no change.
  const turned = readings.filter((r) => (r.first.verdict === 'fail') !== (r.second.verdict === 'fail') && (ofJobs || (r.first.verdict !== 'info' && r.second.verdict !== 'info')));
  const { sign, look, text } = verdictOf(comparison, turned);
  paragraph(context, printable(text), '  ', `${paint(look, sign)} `);
  for (const remark of comparison.remarks) paragraph(context, printable(remark), '      ', 'Note: ');

  const differing = readings.filter(({ significance }) => significance === 'higher' || significance === 'lower' || significance === 'changed');
  const of = (significance: ReadingDifference['significance']): ReadingDifference[] => readings.filter((r) => r.significance === significance);
  paragraph(context, summary(differing.length, of('same').length, of('open').length), '', '\n');

  if (turned.length > 0) {
    heading(context, 'Limits');
    const now = (r: ReadingDifference): boolean => r.second.verdict === 'fail';
    for (const of of groupsOf(turned, (r) => `${nameOf(r)} ${String(now(r))}`)) {
      const said = now(of[0]!) ? paint('red', 'outside its limit') : paint('green', 'no longer outside its limit');
      paragraph(context, `${printable(`${nameOf(of[0]!)} (${of[0]!.id})${placesOf(of, ofJobs)}`)}: ${said}`, '    ', '  ');
    }
  }

  const shown = differing.filter((r) => isHeadline(r) && !isTrifle(r));
  const oneSource = new Set(readings.flatMap(({ source }) => (source === null ? [] : [source]))).size < 2;
  if (shown.length > 0) {
    if (ofJobs) heading(context, 'Where each reading moved most; --json has every place');
    else print(context, '');
    printRows(context, shown, ofJobs ? null : headsOf(first.state, second.state!), oneSource);
  }
  const list = (title: string, items: readonly string[]): void => {
    if (items.length > 0) paragraph(context, `${title}: ${items.map(printable).join('; ')}.`, '', '\n');
  };
  list('They differ as well, by less than 0.1 dB or in detail that --json has', namesOf(differing.filter((r) => !shown.includes(r)), readings));
  if (!ofJobs) {
    list('Alike within their uncertainty', namesOf(of('same'), readings));
    for (const reason of new Set(of('open').map((r) => r.reason))) {
      list(`Cannot be compared, as ${(reason ?? '').replace(/^One of the two/, 'one of them').replace(/\.$/, '')}`, namesOf(of('open').filter((r) => r.reason === reason), readings));
    }
  }
  const said = curves.filter((c) => c.largest !== null && (!ofJobs || (c.differs ?? Math.abs(c.largest.difference) > NOISE_MOVED_DB)));
  if (said.length > 0) {
    heading(context, ofJobs ? 'Curves that moved, where each did most' : 'Curves, where they differ most');
    const most = (of: readonly CurveDifference[]): CurveDifference => of.reduce((a, b) => (Math.abs(b.largest!.difference) > Math.abs(a.largest!.difference) ? b : a));
    const rows = ofJobs ? groupsOf(said, (c) => [c.kind, c.source, c.output].join('\n')).map((of) => curveRow(most(of), andMore(most(of).first.state, of.length))) : said.map((c) => curveRow(c, null));
    table(context, ['  curve', 'out', 'by', ''], rows.map((row) => row.map(printable)));
  }
  list(`Only in ${first.state ?? 'the earlier'}`, onlyThere(comparison.onlyFirst, earlier, ofJobs, oneSource));
  list(`Only in ${second.state ?? 'the later'}`, onlyThere(comparison.onlySecond, later, ofJobs, oneSource));
}

/** The first line: whether a limit was crossed, which way, and else whether anything moved. */
function verdictOf({ first, second, readings }: Comparison, turned: readonly ReadingDifference[]): { readonly sign: string; readonly look: Look; readonly text: string } {
  const worse = turned.filter((r) => r.second.verdict === 'fail').length;
  const better = turned.length - worse;
  const many = (n: number, one: string, more: string): string => (n === 1 ? `1 reading is ${one}` : `${n} readings are ${more}`);
  const mended = many(better, 'no longer outside its limit', 'no longer outside their limits');
  const where = second.state === null ? 'now' : `in ${second.state}`;
  const before = (was: string): string => (first.state === null ? `${was} not then` : `not in ${first.state}`);
  if (worse > 0) return { ...SIGN.fail, text: `${many(worse, `outside its limit ${where} and ${before('was')}`, `outside their limits ${where} and ${before('were')}`)}${better > 0 ? `; ${mended}` : ''}.` };
  if (better > 0) return { ...SIGN.pass, text: `${mended.charAt(0).toUpperCase()}${mended.slice(1)}${second.state === null ? '' : ` ${where}`}, and none is that was not.` };
  const still = readings.filter((r) => r.second.verdict === 'fail').length;
  return { sign: '=', look: 'dim', text: `No reading has crossed its limit${still === 0 ? '' : `; ${still} ${still === 1 ? 'is' : 'are'} outside in both`}.` };
}

/** What the readings of a list are called: with state and output only where others of the name are in no such list. Single harmonics are counted. */
function namesOf(items: readonly ReadingDifference[], all: readonly ReadingDifference[]): string[] {
  const single = items.filter(({ id }) => !HARMONIC.test(id));
  const names = [...new Set(single.map(nameOf))].map((name) => {
    const here = single.filter((r) => nameOf(r) === name);
    if (here.length === all.filter((r) => nameOf(r) === name).length) return name;
    return `${name}${placesOf(here, all.some((r) => r.first.state !== all[0]!.first.state))}`;
  });
  return [...names, ...harmonicsText(items.length - single.length)];
}

const HARMONIC = /^noise\.hum\.h\d+$/;
/** So many of them, as one entry of a list; none where there is none. */
const harmonicsText = (count: number): string[] => (count === 0 ? [] : [`${count} single harmonic${count === 1 ? '' : 's'} of the mains`]);

/** Readings that one side has alone, without their outputs; of a state that the other has not at all their number. */
function onlyThere(places: readonly string[], { readings }: Results, ofJobs: boolean, oneSource: boolean): string[] {
  const there = readings.filter((r) => places.includes(placeOf(r, ofJobs)));
  const single = there.filter(({ id }) => !HARMONIC.test(id));
  const states = new Map<string, Set<string>>();
  for (const r of single) {
    const name = `${nameOf(r)}${ofJobs ? ` in ${r.state}` : ''}${oneSource || r.source === null ? '' : ` through ${r.source}`}`;
    states.set(r.state, (states.get(r.state) ?? new Set()).add(name));
  }
  const said = [...states].flatMap(([state, names]) => (ofJobs && names.size > FEW ? [`${names.size} kinds of readings in ${state}`] : [...names]));
  return [...said, ...harmonicsText(there.length - single.length)];
}
const FEW = 5;

/** A noise spectrum has no band; a point of it wanders by less. */
const NOISE_MOVED_DB = 3;

/** States by their names where there is room, which the first line has in any case. */
const headsOf = (first: string, second: string): readonly [string, string] => (first.length + second.length <= 2 * LONGEST_HEAD ? [first, second] : ['from', 'to']);
const LONGEST_HEAD = 10;

/** @param heads - The two states; null for two visits, of which each reading is shown where it moved most. */
function printRows(context: Context, rows: readonly ReadingDifference[], heads: readonly [string, string] | null, oneSource: boolean): void {
  const sourced = (d: ReadingDifference): string => (oneSource || d.source === null ? '' : `+${d.source}`);
  const groups = groupsOf(rows, (d) => (heads === null ? [d.id, nameOf(d), sourced(d), d.output] : [d.id, d.first.state, d.source, d.output]).join('\n'));
  const told = new Map(groups.map((of) => [of.reduce((a, b) => (distanceOf(b) > distanceOf(a) ? b : a)), of.length]));
  const [first, second] = heads ?? ['then', 'now'];
  table(
    context,
    [...(heads === null ? ['  state'] : oneSource ? [] : ['  plug']), heads !== null && oneSource ? '  out' : 'out', { text: printable(first), right: true }, { text: printable(second), right: true }, { text: 'difference', right: true }],
    underNames([...told.keys()], (d): Cell[] => {
      const where = [...(heads === null ? [andMore(`${d.first.state}${sourced(d)}`, told.get(d)!)] : oneSource ? [] : [d.source ?? '']), d.output ?? 'all'];
      // A sign that turned has no number, nor has what is beyond a bound.
      const number = differenceText(d);
      const difference: Cell = d.significance === 'changed' ? ['red', 'changed'] : number === '' ? d.significance : number;
      return [...[`  ${where[0]!}`, ...where.slice(1), sideText(d.first, d.unit, d.uncertainty), sideText(d.second, d.unit, d.uncertainty)].map(printable), difference];
    }),
  );
}

/** How far apart the two are; what has no number comes first. */
const distanceOf = ({ difference, significance }: ReadingDifference): number => (difference === null || significance === 'changed' ? Infinity : Math.abs(difference));

function groupsOf<T>(items: readonly T[], keyOf: (item: T) => string): T[][] {
  const groups = new Map<string, T[]>();
  for (const item of items) groups.set(keyOf(item), [...(groups.get(keyOf(item)) ?? []), item]);
  return [...groups.values()];
}

/** `loop-eq and 3 more` */
const andMore = (one: string, count: number): string => (count > 1 ? `${one} and ${count - 1} more` : one);

/** ` in loop-comp and all on A and B`; many states are counted, and a pair of outputs is named by the label. */
function placesOf(of: readonly ReadingDifference[], withState: boolean): string {
  const states = [...new Set(of.map((r) => r.first.state))];
  const outputs = [...new Set(of.flatMap(({ output }) => (output === null || output.includes(':') ? [] : [output])))].sort();
  return `${withState ? ` in ${states.length > FEW ? `${states.length} states` : listed(states)}` : ''}${outputs.length === 0 ? '' : ` on ${listed(outputs)}`}`;
}

function summary(differing: number, same: number, open: number): string {
  const decided = differing + same;
  if (decided === 0) return 'There is nothing that both have and that can be set against each other.';
  return [
    `${differing === 0 ? 'None' : differing} of ${decided} readings ${differing === 1 || differing === 0 ? 'differs' : 'differ'} by more than the uncertainty of both (95 %).`,
    ...(differing === 0 ? [] : byChance(decided)),
    ...(open > 0 ? [`${open} more cannot be compared.`] : []),
  ].join(' ');
}

const CURVE_WORDS: Readonly<Record<CurveDifference['kind'], string>> = {
  'noise-density': 'noise',
  response: 'response',
  'tone-loss': 'through the plug',
  'match-third-octave': 'match',
  'match-response': 'match, fine',
  'player-response': 'player’s instrument',
};

function curveRow({ kind, source, output, largest, differenceUnit, differs }: CurveDifference, state: string | null): string[] {
  const { frequencyHz, difference, uncertainty } = largest!;
  return [
    `  ${CURVE_WORDS[kind]}${state === null ? '' : `, ${state}`}${source === null ? '' : `, ${source}`}`,
    output ?? '',
    `${differenceOf(difference, uncertainty, differenceUnit)} at ${frequencyText(frequencyHz, 3)}`,
    differs === null ? '' : differs ? 'differs' : 'alike',
  ];
}
