/**
 * A comparison → what stands on its sheet, in words and order.
 *
 * @module
 */
import { byChance, placeOf } from '../judge/compare.js';
import type { Comparison, CurveDifference, ReadingDifference, Side, Significance } from '../judge/compare.js';
import type { Curve, Finding, Listening, PlayerCurve, Reading, Results } from '../judge/results.js';
import { releveled } from '../measure/excerpt.js';
import { matchSpan } from './charts/match.js';
import { noiseSpan } from './charts/noise.js';
import { responseSpan } from './charts/response.js';
import { type ChartData, strokes } from './charts/figure.js';
import { type Figure, type FigureGroup, figureTable, seriesOf } from './figures.js';
import type { ListeningView } from './listening-view.js';
import { counted, dateInWords, decimalsFor, fixed, frequency, isPolarity, plusMinus, polarityWord, sentenceCase, signed, unitText, withUnit } from './numbers.js';
import { NO_FIGURE, type PlainTable } from './plain-table.js';
import { isLineReading, kept, withoutBand } from './reading-tables.js';
import { LONGEST_NAME, shorten } from './text.js';
import { type Mark, type Phrase, lowered, opening, outputPhrase, overallWords, sourceWords, stateLabel, statePhrase, wherePhrase } from './words.js';

export interface ComparisonView {
  readonly title: string;
  readonly invented: boolean;
  readonly runningHead: string;
  readonly tool: string;
  readonly sides: readonly [ComparedView, ComparedView];
  readonly summary: string;
  readonly remarks: readonly string[];
  /** Of two visits: what was found at one and not at the other. */
  readonly found: readonly { readonly heading: string; readonly list: readonly { readonly mark: Mark; readonly title: string }[] }[];
  /** Readings that came into their limits, or left them. */
  readonly turned: readonly { readonly mark: Mark; readonly text: Phrase }[];
  readonly curves: readonly { readonly heading: string; readonly groups: readonly FigureGroup[] }[];
  readonly figures: readonly Figure[];
  /** Pairs of curves that were not drawn. */
  readonly undrawn: number;
  readonly listening: ListeningView | null;
  readonly differing: readonly PlainTable[];
  /** What is alike, or cannot be said. */
  readonly rest: readonly PlainTable[];
  /** What only one of the two has: of which, and the readings. */
  readonly only: readonly { readonly heading: string; readonly names: readonly string[]; readonly more: number }[];
  /** Of two visits it is for the screen only: it would fill more sheets than what differs. */
  readonly restOnPaper: boolean;
}

export interface ComparedView {
  readonly role: string;
  readonly name: Phrase;
  readonly detail: string;
  readonly mark: Mark | null;
}

const DIFFERS: readonly Significance[] = ['higher', 'lower', 'changed'];
/** A sign beside the word, so that a column is taken in at a glance. */
const SIGNIFICANCE: Readonly<Record<Significance, string>> = { higher: '▲ higher', lower: '▼ lower', changed: '✕ changed', same: '= same', open: '? cannot be said' };
/** Pairs of curves drawn, those that differ most first. */
const MOST_PAIRS = 12;
/** Of two visits curves that moved by less are not drawn, nor those that moved as they did with every loop out, dB. */
const MOVED_DB = 0.1;
/** A noise spectrum has no band; a point of it wanders by less, dB. */
const NOISE_MOVED_DB = 3;
const DRAWN: readonly CurveDifference['kind'][] = ['player-response', 'tone-loss', 'response', 'noise-density'];
const TOPIC_WORDS: Readonly<Record<FigureGroup['topic'], string>> = { player: 'The player’s instrument', 'tone-loss': 'Through the source plug', response: 'Response', noise: 'Noise', match: 'Outputs against each other' };
const KIND_WORDS: Readonly<Record<string, string>> = { 'player-response': 'The player’s instrument', 'tone-loss': 'Through the source plug', response: 'Response', 'noise-density': 'Noise' };

export function comparisonView(comparison: Comparison, first: Results, second: Results): ComparisonView {
  const ofJobs = comparison.first.state === null;
  const names: readonly [string, string] = ofJobs ? ['then', 'now'] : [stateLabel(first, comparison.first.state!), stateLabel(second, comparison.second.state!)];
  const drawn = comparison.curves.filter((c) => DRAWN.includes(c.kind) && c.largest !== null && (!ofJobs || (c.differs ?? Math.abs(c.largest.difference) > NOISE_MOVED_DB)));
  const groups = chosenPairs(ofJobs ? withoutRepeats(drawn) : drawn).flatMap((c) => pairGroup(c, first, second, names, ofJobs) ?? []);
  const differing = comparison.readings.filter((r) => DIFFERS.includes(r.significance));
  return {
    title: shorten(second.board.name, LONGEST_NAME),
    invented: first.board.invented || second.board.invented,
    runningHead: [shorten(second.board.name, 60), ...(second.board.serial === null ? [] : [`serial ${shorten(second.board.serial, 30)}`])].join(', '),
    tool: `${second.tool.name} ${second.tool.version}`,
    sides: [sideView(comparison, first, 0), sideView(comparison, second, 1)],
    summary: summaryOf(comparison),
    remarks: comparison.remarks,
    found: ofJobs ? foundAtOne(first, second) : [],
    turned: comparison.readings.filter(hasTurned).map((r) => ({ mark: r.second.verdict, text: crossed(first, r, names, ofJobs) })),
    curves: [...new Set(groups.map((g) => g.topic))].map((topic) => ({ heading: TOPIC_WORDS[topic], groups: groups.filter((g) => g.topic === topic) })),
    figures: groups.flatMap((g) => g.figures),
    undrawn: drawn.length - groups.length,
    listening: listeningOf(comparison, first, second),
    differing: tables(first, differing.filter((r) => !isLine(r)), names, ofJobs),
    rest: tables(first, [...differing.filter(isLine), ...comparison.readings.filter((r) => !DIFFERS.includes(r.significance))], names, ofJobs),
    only: [onlyIn(first, comparison.onlyFirst, names[0], ofJobs), onlyIn(second, comparison.onlySecond, names[1], ofJobs)].filter((o) => o.names.length > 0),
    restOnPaper: !ofJobs,
  };
}

const distance = ({ largest }: CurveDifference): number => Math.abs(largest!.difference);

/** Of two visits: each state at the output where it moved most, and none that tells again what is told with every loop out. */
function withoutRepeats(curves: readonly CurveDifference[]): CurveDifference[] {
  const movedAlike = (c: CurveDifference): boolean =>
    c.first.state !== 'rest' && curves.some((r) => r.first.state === 'rest' && r.kind === c.kind && r.source === c.source && r.output === c.output && Math.abs(r.largest!.difference - c.largest!.difference) < MOVED_DB);
  const moved = curves.filter((c) => distance(c) >= MOVED_DB && !movedAlike(c));
  const atOutputs = (c: CurveDifference): CurveDifference[] => moved.filter((o) => o.kind === c.kind && o.source === c.source && o.first.state === c.first.state);
  return moved.filter((c) => c === atOutputs(c).reduce((most, o) => (distance(o) > distance(most) ? o : most)));
}

/** As many as there is room for: by turns of every kind, those that differ most first; in the order of the kinds. */
function chosenPairs(curves: readonly CurveDifference[]): CurveDifference[] {
  const kinds = DRAWN.map((kind) => curves.filter((c) => c.kind === kind).sort((a, b) => distance(b) - distance(a)));
  const turns = Array.from({ length: MOST_PAIRS }, (_, i) => kinds.flatMap((list) => list.slice(i, i + 1))).flat().slice(0, MOST_PAIRS);
  return kinds.flat().filter((c) => turns.includes(c));
}

function foundAtOne(first: Results, second: Results): ComparisonView['found'] {
  const only = (here: Results, there: Results): ComparisonView['found'][number]['list'] =>
    here.findings.filter((f) => !there.findings.some(({ id }) => id === f.id)).map((f) => ({ mark: severityMark[f.severity], title: shorten(f.title, 240) }));
  return [{ heading: 'Found now and not then', list: only(second, first) }, { heading: 'Found then and no longer', list: only(first, second) }].filter(({ list }) => list.length > 0);
}

/** Kinds of readings named of what only one of the two has. */
const MOST_ALONE = 24;

function onlyIn(results: Results, places: readonly string[], name: string, ofJobs: boolean): ComparisonView['only'][number] {
  const alone = new Set(places);
  const readings = results.readings.filter((r) => alone.has(placeOf(r, ofJobs)) && !isLineReading(r));
  const names = [...new Set(readings.map((r) => `${withoutBand(r.label)}${ofJobs ? ` (${stateLabel(results, r.state)})` : ''}`))];
  return { heading: ofJobs ? `Only ${name}` : `Only “${name}”`, names: names.slice(0, MOST_ALONE), more: Math.max(0, names.length - MOST_ALONE) };
}

const severityMark: Readonly<Record<Finding['severity'], Mark>> = { fault: 'fail', caution: 'caution', note: 'info' };

/** Both had a limit, and one of them is outside. */
const hasTurned = ({ first, second }: ReadingDifference): boolean => first.verdict !== 'info' && second.verdict !== 'info' && (first.verdict === 'fail') !== (second.verdict === 'fail');

const isLine = (r: ReadingDifference): boolean => isLineReading({ id: r.id } as Reading);

function sideView(comparison: Comparison, results: Results, which: 0 | 1): ComparedView {
  const side = which === 0 ? comparison.first : comparison.second;
  const measured = dateInWords(side.measuredAt);
  if (side.state !== null) return { role: which === 0 ? 'From' : 'To', name: statePhrase(results, side.state), detail: `measured ${measured}`, mark: null };
  return { role: which === 0 ? 'Then' : 'Now', name: [{ name: shorten(side.board, LONGEST_NAME) }], detail: [...(side.serial === null ? [] : [`serial ${shorten(side.serial, 40)}`]), `measured ${measured}`].join(', '), mark: overallWords[results.verdict.word].mark };
}

function summaryOf({ readings }: Comparison): string {
  const count = (...words: readonly Significance[]): number => readings.filter((r) => words.includes(r.significance)).length;
  const differing = count(...DIFFERS);
  const decided = differing + count('same');
  if (decided === 0) return 'There is nothing that both have and that can be set against each other.';
  return [
    `${sentenceCase(counted(differing, 'reading'))} of ${String(decided)} ${differing === 1 ? 'differs' : 'differ'} by more than the uncertainty of both (95 %).`,
    ...byChance(decided),
    ...(count('open') > 0 ? [`Of ${counted(count('open'), 'more', 'more')} nothing can be said.`] : []),
  ].join(' ');
}

const placed = (results: Results, r: ReadingDifference, withState: boolean): Phrase => [
  { name: r.label },
  ...(r.source === null ? [] : [`, ${sourceWords(r.source)}`]),
  ...(withState ? [', ' as const, ...lowered(wherePhrase(results, { state: r.first.state, output: r.output }))] : r.output === null ? [] : [', ' as const, ...outputPhrase(results, r.output)]),
];

const AGAINST_LIMIT: Readonly<Record<Reading['verdict'], string>> = { pass: 'within its limit', fail: 'outside its limit', undecided: 'too close to its limit to decide', 'bench-limited': 'hidden by the bench', info: 'without a limit' };

/** What a reading that crossed its limit is on the second side, and was on the first. */
function crossed(results: Results, r: ReadingDifference, names: readonly [string, string], ofJobs: boolean): Phrase {
  const side = (s: Side, name: string): Phrase => [{ figure: sideText(s, r) }, ` ${name}, ${AGAINST_LIMIT[s.verdict]}`];
  return [...placed(results, r, ofJobs), ': ', ...side(r.second, names[1]), '; ', ...side(r.first, names[0])];
}

// ---- readings -----------------------------------------------------------------------------------------------------

function tables(results: Results, readings: readonly ReadingDifference[], names: readonly [string, string], ofJobs: boolean): PlainTable[] {
  const keyOf = (r: ReadingDifference): string => JSON.stringify([ofJobs ? r.first.state : '', r.output]);
  return [...new Set(readings.map(keyOf))].map((key) => {
    const here = readings.filter((r) => keyOf(r) === key);
    const [one] = here;
    const where: Phrase = ofJobs ? wherePhrase(results, { state: one!.first.state, output: one!.output }) : one!.output === null ? ['The whole board'] : opening(outputPhrase(results, one!.output));
    return {
      caption: where,
      head: ['Reading', sentenceCase(names[0]), sentenceCase(names[1]), 'Difference', 'Result'],
      rows: here.map((r) => ({ head: [{ name: kept(r.label) }, ...(r.source === null ? [] : [`, ${sourceWords(r.source)}`])], cells: [sideText(r.first, r), sideText(r.second, r), differenceText(r), SIGNIFICANCE[r.significance]] })),
      note: '',
    };
  });
}

function sideText({ value, bound, uncertainty }: Side, { unit }: ReadingDifference): string {
  if (value === null) return NO_FIGURE;
  if (isPolarity(unit)) return polarityWord(value);
  return `${bound === 'upper' ? '<\u00a0' : bound === 'lower' ? '>\u00a0' : ''}${withUnit(fixed(value, decimalsFor(value, uncertainty, unit)), unit)}`;
}

function differenceText({ difference, uncertainty, unit, differenceUnit }: ReadingDifference): string {
  if (difference === null || isPolarity(unit)) return '';
  const decimals = decimalsFor(difference, uncertainty, differenceUnit);
  return withUnit(`${signed(difference, decimals)}${uncertainty === null ? '' : ` ${plusMinus(uncertainty, decimals)}`}`, differenceUnit);
}

// ---- curves -------------------------------------------------------------------------------------------------------

/** Both curves in one chart, and beside it what separates them with its 95 % band. */
function pairGroup(c: CurveDifference, first: Results, second: Results, names: readonly [string, string], ofJobs: boolean): FigureGroup | null {
  const find = (results: Results, id: string): Curve | PlayerCurve | undefined => [...results.curves, ...(results.playerCurves ?? [])].find((k) => k.id === id);
  const [a, b] = [find(first, c.first.id), find(second, c.second.id)];
  if (a === undefined || b === undefined || c.largest === null) return null;
  const plainCurve = (k: Curve | PlayerCurve): Curve => ({ ...k, kind: k.kind === 'player-response' ? 'response' : k.kind });
  const where: Phrase = [
    ...(ofJobs ? lowered(wherePhrase(first, { state: c.first.state, output: c.output })) : c.output === null ? [] : outputPhrase(first, c.output)),
    ...(c.source === null || c.kind === 'player-response' ? [] : [`, ${sourceWords(c.source)}`]),
  ];
  const title = opening(where);
  const noise = c.kind === 'noise-density';
  const both: ChartData = {
    shape: noise ? 'noise' : 'response', unit: unitText(a.y.unit), limits: [], span: null,
    series: [seriesOf(plainCurve(a), names[0], strokes.second, !noise), seriesOf(plainCurve(b), names[1], strokes.first, !noise)],
    marks: [],
  };
  const apart: ChartData = {
    shape: 'match', unit: unitText(c.differenceUnit), limits: [], marks: [], span: null,
    series: [{
      label: 'apart', stroke: strokes.fourth, x: c.frequencyHz, y: c.difference,
      low: c.uncertainty === null ? null : c.difference.map((d, i) => (d === null || c.uncertainty![i] === null ? null : d - c.uncertainty![i]!)),
      high: c.uncertainty === null ? null : c.difference.map((d, i) => (d === null || c.uncertainty![i] === null ? null : d + c.uncertainty![i]!)),
    }],
  };
  const { largest } = c;
  const decimals = decimalsFor(largest.difference, largest.uncertainty, 'dB');
  const most: Phrase = [
    'Most at ', { figure: frequency(largest.frequencyHz) }, ': ', { figure: withUnit(signed(largest.difference, decimals), c.differenceUnit) },
    ...(largest.uncertainty === null ? [] : [` ${plusMinus(largest.uncertainty, decimals)}`]),
    c.differs === null ? '; a spectrum has no band, and wanders from point to point.' : c.differs ? '; more than both can be wrong.' : '; within what both can be wrong.',
  ];
  return {
    topic: c.kind === 'player-response' ? 'player' : noise ? 'noise' : c.kind === 'tone-loss' ? 'tone-loss' : 'response',
    key: [`Left: both. Right: “${names[1]}” less “${names[0]}”${c.uncertainty === null ? '.' : '; shaded: the 95 % band of both together.'}`],
    figures: [
      { title, caption: [`Dashed: ${names[0]}; solid: ${names[1]}.`], chart: { ...both, span: noise ? noiseSpan([both]) : responseSpan([both]) }, size: 'small', curves: [a.id, b.id] },
      { title: ['What separates them'], caption: most, chart: { ...apart, span: matchSpan(apart) }, size: 'small', curves: [] },
    ],
    table: figureTable([`${KIND_WORDS[c.kind] ?? 'Curve'}, `, ...where], [{ name: [names[0]], curve: plainCurve(a) }, { name: [names[1]], curve: plainCurve(b) }], noise ? 'noise' : 'response'),
    lines: null,
  };
}

// ---- listening ----------------------------------------------------------------------------------------------------

/** The same states of both, raised alike; null where one of them has none, or it is of another output. */
function listeningOf(comparison: Comparison, first: Results, second: Results): ListeningView | null {
  const [a, b] = [first.listening ?? null, second.listening ?? null];
  if (a === null || b === null || a.output !== b.output) return null;
  const raisedDb = Math.min(a.raisedDb, b.raisedDb);
  const [then, now] = [releveled(a, raisedDb), releveled(b, raisedDb)];
  const clip = (l: Listening, results: Results, state: string, role: string): ListeningView['clips'] =>
    l.excerpts.filter((e) => e.state === state).map(({ wav }) => ({ title: role === '' ? opening(statePhrase(results, state)) : [`${role}: `, ...statePhrase(results, state)], level: '', wav }));
  const { first: from, second: to } = comparison;
  const clips =
    from.state !== null && to.state !== null
      ? [...clip(then, first, from.state, ''), ...clip(now, second, to.state, '')]
      : ['rest', 'all'].flatMap((state) => {
          const pair = [...clip(then, first, state, 'Then'), ...clip(now, second, state, 'Now')];
          return pair.length === 2 ? pair : [];
        });
  if (clips.length < 2) return null;
  return {
    output: outputPhrase(second, b.output),
    raised: raisedDb < 0 ? `lowered by ${withUnit(fixed(-raisedDb, 0), 'dB')}` : `raised by ${withUnit(fixed(raisedDb, 0), 'dB')}`,
    duration: withUnit(fixed(b.durationS, 0), 's'),
    band: withUnit(fixed((b.sampleRateHz * 0.45) / 1000, 1), 'kHz'),
    clips,
    left: 0,
  };
}
