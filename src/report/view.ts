/**
 * Results → what stands on paper, in words and order, before any markup. Every reading and every curve has exactly one place.
 *
 * @module
 */
import type { Curve, Finding, Reading, Results } from '../judge/results.js';
import { frequencyText } from '../units/format.js';
import { type BoardParts, boardParts, isBenchState } from './board-parts.js';
import { bandFigures } from './band-figures.js';
import { type FigureGroup, benchFigures, isMatchCurve, loopFigures, matchFigures, outputFigures } from './figures.js';
import { type Sentence, firstPageSentences } from './first-page.js';
import { type FlexView, flexViews } from './flex-view.js';
import { type ListeningView, listeningView } from './listening-view.js';
import { NBSP, counted, dateInWords, duration, fixed, sentenceCase, signed, withUnit } from './numbers.js';
import { type OnChart, onChart } from './on-chart.js';
import { type Plate, clicksPlate, sourcesPlate, stairsPlate } from './plates.js';
import { type PlayerView, playerView } from './player-view.js';
import { type BudgetRow, type BudgetSummary, type LimitRow, Notes, type PlaceGroup, type ReadingTable, budgetRow, budgetSummary, hasBudget, isLineReading, limitRows, measuredText, readingTables } from './reading-tables.js';
import { LONGEST_NAME, shorten } from './text.js';
import { type Mark, type Phrase, gravest, loopName, loopOf, lowered, markOfAll, opening, outputName, outputPhrase, overallWords, pairOf, statePhrase, statePhraseAt, stateOrder, wherePhrase } from './words.js';

/** A labelled box of the sheet's head. */
export interface Field {
  readonly label: string;
  readonly value: Phrase;
}

/** The part of the report about one output, pair, loop, or the bench. */
export interface Section {
  /** Fragment id; never made of a stranger's text. */
  readonly id: string;
  readonly heading: Phrase;
  readonly mark: Mark;
  readonly why: Phrase;
  readonly topics: readonly Topic[];
  /** Only charts, and small ones: all beside each other. */
  readonly close: boolean;
  /** What the letters in its tables stand for. */
  readonly notes: readonly { readonly letter: string; readonly text: string }[];
}

/** Charts and the readings that they explain. */
export interface Topic {
  readonly heading: Phrase;
  readonly figures: readonly FigureGroup[];
  readonly readings: readonly ReadingTable[];
  /** Hum and whine line by line, where there are such readings. */
  readonly lineReadings: readonly ReadingTable[];
  /** Charts that are no curves over frequency. */
  readonly plates: readonly Plate[];
}

export interface FindingView {
  readonly severity: 'fault' | 'caution' | 'note';
  readonly mark: Mark;
  readonly where: Phrase;
  readonly title: string;
  readonly evidence: readonly Phrase[];
  readonly cause: string;
  readonly tryNext: string;
  /** How sure the cause is, as its heading. */
  readonly causeWord: string;
  /** Null in results of earlier versions. */
  readonly confirm: string | null;
  readonly basis: string;
}

export interface CaptureView {
  readonly step: string;
  readonly what: string;
  /** Empty where it is that of the step. */
  readonly file: string;
  /** Both empty where they are those of all, which {@link ReportView.captures} says once. */
  readonly when: string;
  readonly format: string;
  readonly length: string;
  readonly take: string;
  readonly sha256: string;
  readonly remarks: readonly string[];
}

export interface ReportView {
  readonly boardName: string;
  readonly invented: boolean;
  readonly fields: readonly Field[];
  readonly verdict: { readonly word: string; readonly mark: Mark; readonly sentence: string; readonly missing: readonly string[] };
  readonly sentences: readonly Sentence[];
  readonly parts: BoardParts;
  readonly findings: readonly FindingView[];
  /** What to put right, gravest first: titles of faults, and how many more there are. */
  readonly faults: { readonly titles: readonly string[]; readonly more: number };
  readonly listening: ListeningView | null;
  readonly player: { readonly view: PlayerView; readonly section: Section } | null;
  readonly outputs: readonly Section[];
  readonly matches: readonly Section[];
  /** The readings of all loops side by side; none without loops. */
  readonly loopTables: readonly Section[];
  /** The charts of each loop. */
  readonly loops: readonly Section[];
  /** What happened while leads were moved. */
  readonly flex: readonly FlexView[];
  /** Readings and curves of the bench, and of what the board file does not name. */
  readonly others: readonly Section[];
  readonly conditions: readonly Field[];
  readonly conditionRemarks: readonly string[];
  readonly limits: readonly LimitRow[];
  readonly budget: readonly BudgetRow[];
  readonly budgetSummary: readonly BudgetSummary[];
  readonly methods: readonly { readonly title: string; readonly text: string; readonly source: string; readonly checked: readonly string[] }[];
  /** `alike`: what is true of every one of them. */
  readonly captures: { readonly alike: readonly string[]; readonly list: readonly CaptureView[] };
  readonly problems: readonly string[];
  readonly footer: { readonly tool: string; readonly files: readonly Field[] };
  /** The line that repeats on every printed page. */
  readonly runningHead: string;
}

type Place = { readonly kind: 'player' | 'bench' | 'loop' | 'pair' | 'output' | 'other'; readonly key: string };

/** The one section that a reading or a curve belongs to. */
function placeOf(results: Results, item: { readonly state: string; readonly output: string | null; readonly loop: string | null; readonly id: string }): Place {
  if (item.id.startsWith('player.') && !item.id.startsWith('player.hiss')) return { kind: 'player', key: '' };
  if (isBenchState(item.state)) return { kind: 'bench', key: '' };
  const loop = loopOf(item);
  if (loop !== null) return results.board.loops.some((l) => l.id === loop) ? { kind: 'loop', key: loop } : { kind: 'other', key: '' };
  const pair = pairOf(results, item.output);
  // What is read both ways stands where the two are matched.
  if (pair !== null) return { kind: 'pair', key: results.board.match.some(([a, b]) => a === pair[1] && b === pair[0]) ? `${pair[1]}:${pair[0]}` : item.output! };
  if (results.board.outputs.some((o) => o.id === item.output)) return { kind: 'output', key: item.output! };
  return { kind: 'other', key: '' };
}

interface Contents {
  readonly readings: readonly Reading[];
  readonly curves: readonly Curve[];
}

export function reportView(results: Results): ReportView {
  const contents = (kind: Place['kind'], key: string): Contents => {
    const here = (item: Reading | Curve): boolean => {
      const place = placeOf(results, item);
      return place.kind === kind && place.key === key;
    };
    return { readings: results.readings.filter(here), curves: results.curves.filter(here) };
  };
  const bench = contents('bench', '');
  const loops = results.board.loops.map(({ id }) => ({ id, contents: contents('loop', id) }));
  const parts = boardParts(results);
  const pairs = [
    ...new Set([...results.board.match.map(([a, b]) => `${a}:${b}`), ...[...results.readings, ...results.curves].map((i) => placeOf(results, i)).filter((p) => p.kind === 'pair').map((p) => p.key)]),
  ];
  const word = overallWords[results.verdict.word];
  const budgeted = results.readings.filter((r) => hasBudget(r) && !isLineReading(r));
  return {
    boardName: shorten(results.board.name, LONGEST_NAME),
    invented: results.board.invented,
    fields: headFields(results),
    verdict: {
      word: word.word,
      mark: word.mark,
      sentence: besideStamp(results),
      missing: results.verdict.missing,
    },
    sentences: firstPageSentences(results, parts),
    parts,
    findings: results.findings.map((f) => findingView(results, f)),
    faults: faultsOf(results),
    listening: listeningView(results),
    player: playerPart(results, contents('player', '').readings),
    outputs: results.board.outputs.map((o, i) => outputSection(results, `output-${String(i + 1)}`, o.id, contents('output', o.id), bench, parts.outputs[i]!)),
    matches: pairs.map((pair, i) => matchSection(results, `match-${String(i + 1)}`, pair, contents('pair', pair))),
    loopTables: loopTables(results, loops, gravest(parts.loops.map((l) => l.mark))),
    loops: loops.map((l, i) => loopSection(results, `loop-${String(i + 1)}`, l.id, l.contents, parts.loops[i]!)),
    flex: flexViews(results),
    others: otherSections(results, bench, contents('other', '')),
    conditions: conditionFields(results),
    conditionRemarks: results.conditions.remarks,
    limits: limitRows(results.readings),
    // Of what has no limit nothing hangs on the parts; the results file has them.
    budget: budgeted.filter((r) => r.limit !== null).map((r) => budgetRow(r, wherePhrase(results, r))),
    budgetSummary: budgetSummary(budgeted),
    methods: results.methods.map(({ title, text, source, checked }) => ({ title, text, source, checked: checked ?? [] })),
    captures: withoutWhatAllShare(results.captures.map(captureView)),
    // A reading without a value says so in its own row.
    problems: results.problems.filter((p) => p.code !== 'reading.no-value').map((p) => p.message),
    footer: {
      tool: `${results.tool.name} ${results.tool.version}`,
      files: [
        { label: 'board.yaml, SHA-256', value: [results.board.sha256] },
        { label: 'bench.yaml, SHA-256', value: [results.bench.sha256] },
      ],
    },
    runningHead: [shorten(results.board.name, 60), ...(results.board.serial === null ? [] : [`serial ${shorten(results.board.serial, 30)}`])].join(', '),
  };
}

function headFields(results: Results): Field[] {
  const { board, bench, conditions } = results;
  return [
    { label: 'Serial', value: [board.serial === null ? 'none given' : { name: shorten(board.serial, 60) }] },
    { label: 'Measured', value: [dateInWords(conditions.measuredAt)] },
    { label: 'Limits', value: [{ name: shorten(conditions.limits, 60) }] },
    { label: 'Bench', value: [{ name: shorten(bench.name, 60) }, bench.calibrated ? ', calibrated' : ', not calibrated: levels in dBFS'] },
  ];
}

/** Titles that fit on the first page beside everything else. */
const MOST_FAULTS = 4;

function faultsOf({ findings }: Results): ReportView['faults'] {
  const titles = findings.filter((f) => f.severity === 'fault').map((f) => shorten(f.title, 140));
  return { titles: titles.slice(0, MOST_FAULTS), more: Math.max(0, titles.length - MOST_FAULTS) };
}

function playerPart(results: Results, readings: readonly Reading[]): ReportView['player'] {
  const view = playerView(results);
  if (view === null && readings.length === 0) return null;
  const made = section(results, 'player', ['The player’s instrument'], markOfAll(readings), readings, view?.figures ?? [], (list) => {
    const keyOf = (r: Reading): string => JSON.stringify([r.output, r.state]);
    return [...new Set(list.map(keyOf))].map((key) => {
      const here = list.filter((r) => keyOf(r) === key);
      return { heading: wherePhrase(results, here[0]!), readings: here };
    });
  });
  return { view: view ?? { instrument: [], figures: [], tables: [], assumed: [] }, section: made };
}

/** The verdict's sentence without the words that the stamp beside it says. */
function besideStamp({ verdict }: Results): string {
  const { passed, failed, undecided } = verdict;
  const said = sentenceCase(verdict.sentence.replace(/^(?:Not within limits|Within limits|Not complete|Not decided): /, ''));
  return passed + failed + undecided === 0 ? `${said} No figure was held against a limit.` : said;
}

const LINE_CAPTION = 'Hum and whine, line by line';

function outputSection(results: Results, id: string, output: string, { readings, curves }: Contents, bench: Contents, part: { mark: Mark }): Section {
  const tone = gravest([part.mark, markOfAll(readings)]);
  const plates = (plate: Plate | null): readonly Plate[] => (plate === null ? [] : [plate]);
  const made = section(
    results,
    id,
    ['Output ', { name: outputName(results, output) }],
    tone,
    readings,
    [...outputFigures(results, output, curves, bench.curves, readings), ...bandFigures(results, output)],
    (list) => stateOrder(list.map((r) => r.state)).map((state) => ({ heading: statePhraseAt(results, state, output), readings: list.filter((r) => r.state === state) })),
    { noise: plates(sourcesPlate(results, output)), response: plates(stairsPlate(results, output)), switching: plates(clicksPlate(results, output)) },
  );
  return { ...made, heading: ['Output ', { name: outputName(results, output, LONGEST_NAME) }] };
}

function matchSection(results: Results, id: string, pair: string, { readings, curves }: Contents): Section {
  const heading: Phrase = ['Match of ', ...outputPhrase(results, pair)];
  return section(results, id, heading, markOfAll(readings), readings, matchFigures(results, pair, curves, readings), (list) =>
    stateOrder(list.map((r) => r.state)).map((state) => ({ heading: statePhrase(results, state), readings: list.filter((r) => r.state === state) })),
  );
}

/** Every loop in one table for each output, so that they can be told apart at a glance. */
function loopTables(results: Results, loops: readonly { readonly id: string; readonly contents: Contents }[], mark: Mark): Section[] {
  const readings = loops.flatMap((l) => l.contents.readings);
  if (readings.length === 0) return [];
  const at = (r: Reading): OnChart | null => onChart(results, r);
  const notes = new Notes();
  const outputs = [...new Set(readings.map((r) => r.output))];
  const topics = outputs.map((output): Topic => {
    const name: Phrase = output === null ? ['the whole board'] : outputPhrase(results, output);
    const places = (wanted: (r: Reading) => boolean): PlaceGroup[] =>
      loops.map((l) => ({ heading: [{ name: loopName(results, l.id) }], readings: l.contents.readings.filter((r) => r.output === output && wanted(r)) }));
    return {
      heading: opening(name),
      figures: [],
      readings: readingTables(['Readings of the loops, ', ...name], places((r) => !isLineReading(r)), notes, at),
      lineReadings: readingTables([`${LINE_CAPTION}, loops, `, ...name], places(isLineReading), notes, at),
      plates: [],
    };
  });
  return [{ id: 'loops', heading: ['The loops side by side'], mark, why: [], topics, close: false, notes: notes.list }];
}

function loopSection(results: Results, id: string, loop: string, { readings, curves }: Contents, part: { mark: Mark; why: Phrase }): Section {
  const heading: Phrase = ['Loop ', { name: loopName(results, loop) }];
  const atRest = results.curves.filter((c) => c.state === 'rest');
  const made = section(results, id, heading, part.mark, [], loopFigures(results, loop, [...curves, ...atRest], readings), () => []);
  return { ...made, heading: ['Loop ', { name: loopName(results, loop, LONGEST_NAME) }], close: true, why: part.why };
}

function otherSections(results: Results, bench: Contents, other: Contents): Section[] {
  const byPlace = (list: readonly Reading[]): PlaceGroup[] => {
    const keyOf = (r: Reading): string => JSON.stringify([r.state, r.output, r.loop]);
    return [...new Set(list.map(keyOf))].map((key) => {
      const here = list.filter((r) => keyOf(r) === key);
      return { heading: wherePhrase(results, here[0]!), readings: here };
    });
  };
  const made = (id: string, heading: string, { readings, curves }: Contents): Section[] =>
    readings.length + curves.length === 0
      ? []
      : [
          section(
            results,
            id,
            [heading],
            markOfAll(readings),
            readings,
            [
              ...benchFigures(results, curves, readings),
              ...[...new Set(curves.filter(isMatchCurve).map((c) => c.output))].flatMap((pair) =>
                matchFigures(results, pair, curves.filter((c) => isMatchCurve(c) && c.output === pair), readings),
              ),
            ],
            byPlace,
          ),
        ];
  return [...made('bench', 'The bench and the straight lead', bench), ...made('other', 'Other readings', other)];
}

type TopicName = FigureGroup['topic'] | 'switching';

/** What belongs together: the kind of its charts, and the readings that they explain. The first that fits takes a reading. */
const TOPICS: readonly { readonly topic: TopicName; readonly heading: string; readonly holds: RegExp }[] = [
  { topic: 'noise', heading: 'Noise', holds: /^(noise|hum|snr|player\.hiss)/ },
  { topic: 'player', heading: 'At the player’s end', holds: /^player\./ },
  { topic: 'tone-loss', heading: 'Through the source plug', holds: /^(droop|corner|capacitance|input-resistance|buffer)/ },
  { topic: 'match', heading: 'Outputs against each other', holds: /^match/ },
  { topic: 'switching', heading: 'Footswitches', holds: /^click/ },
  { topic: 'response', heading: 'Level, response and distortion', holds: /^/ },
];

function section(
  results: Results,
  id: string,
  heading: Phrase,
  mark: Mark,
  readings: readonly Reading[],
  figures: readonly FigureGroup[],
  groupsOf: (readings: readonly Reading[]) => readonly PlaceGroup[],
  plates: Partial<Record<TopicName, readonly Plate[]>> = {},
): Section {
  const at = (r: Reading): OnChart | null => onChart(results, r);
  const topicOf = (r: Reading): TopicName => TOPICS.find((t) => t.holds.test(r.id))!.topic;
  const filled = TOPICS.map((t) => ({ ...t, own: readings.filter((r) => topicOf(r) === t.topic), drawn: figures.filter((f) => f.topic === t.topic), plates: plates[t.topic] ?? [] })).filter(
    (t) => t.own.length + t.drawn.length + t.plates.length > 0,
  );
  const notes = new Notes();
  const topics = filled.map((t): Topic => {
    const name: Phrase = filled.length === 1 ? lowered(heading) : [`${t.heading.charAt(0).toLowerCase()}${t.heading.slice(1)}, `, ...lowered(heading)];
    return {
      heading: [t.heading],
      figures: t.drawn,
      readings: readingTables(['Readings, ', ...name], groupsOf(t.own.filter((r) => !isLineReading(r))), notes, at),
      lineReadings: readingTables([`${LINE_CAPTION}, `, ...lowered(heading)], groupsOf(t.own.filter(isLineReading)), notes, at),
      plates: t.plates,
    };
  });
  return { id, heading, mark, why: readings.length === 0 ? ['No reading was taken here.'] : [], topics, close: false, notes: notes.list };
}

const CAUSE = { measured: 'Cause', likely: 'Likely cause', possible: 'Possible cause' } as const;

function findingView(results: Results, finding: Finding): FindingView {
  const { loop, output, supply } = finding.where;
  const places: Phrase = [
    ...(loop === null ? [] : ['loop ', { name: loopName(results, loop) }]),
    ...(output === null ? [] : [loop === null ? '' : ', ', ...outputPhrase(results, output)]),
    ...(supply === null ? [] : [loop === null && output === null ? '' : ', ', 'supply ', { name: shorten(supply, 60) }]),
  ];
  return {
    severity: finding.severity,
    mark: finding.severity === 'fault' ? 'fail' : finding.severity === 'caution' ? 'caution' : 'info',
    where: places.length === 0 ? ['the whole board'] : places,
    title: finding.title,
    evidence: finding.evidence.map((e) => evidencePhrase(results, e)),
    cause: finding.cause,
    tryNext: finding.tryNext,
    causeWord: CAUSE[finding.certainty ?? 'likely'],
    confirm: finding.confirm ?? null,
    basis: finding.basis,
  };
}

/**
 * Evidence in words stays as it is; where it names readings (`noise.hum`, or `droop.5k in rest through plug10k on A`), their figures
 * take its place.
 */
function evidencePhrase(results: Results, evidence: string): Phrase {
  const [, id, state, source, output] = /^(\S+) in (\S+)(?: through (\S+))?(?: on (.+))?$/s.exec(evidence) ?? [null, evidence, null];
  const named = results.readings.filter((r) => r.id === id && r.value !== null && (state == null || (r.state === state && r.source === (source ?? null) && r.output === (output ?? null))));
  if (named.length === 0 || named.length > 4) return [{ name: evidence }];
  return named.flatMap((r, i): Phrase => [i > 0 ? '; ' : '', { name: r.label }, ', ', ...lowered(wherePhrase(results, r)), ': ', { figure: measuredText(r) }]);
}

function conditionFields(results: Results): Field[] {
  const { board, bench, conditions } = results;
  return [
    { label: 'Measured', value: [dateInWords(conditions.measuredAt)] },
    { label: 'Limits', value: [{ name: shorten(conditions.limits, LONGEST_NAME) }] },
    { label: 'Decision rule', value: [conditions.decisionRule] },
    { label: 'Uncertainty', value: [conditions.coverage] },
    { label: 'Mains', value: [withUnit(fixed(board.mainsHz, 0), 'Hz')] },
    {
      label: 'Bench',
      value: [{ name: shorten(bench.name, LONGEST_NAME) }, bench.calibrated ? ', calibrated: levels are in dBu' : ', not calibrated: levels are in dBFS and say nothing about volts'],
    },
    ...(bench.roundTripS == null ? [] : [{ label: 'Round trip', value: [`${withUnit(fixed(1000 * bench.roundTripS, 1), 'ms')} from playing to recording, the bench looped to itself; takes are placed by their markers, so that it is in no figure`] }]),
    {
      label: 'Recorder inputs',
      value:
        bench.inputs.length === 0
          ? ['none given']
          : bench.inputs.flatMap((input, i): Phrase => [
              i > 0 ? '; ' : '',
              `channel ${String(input.channel)} hears output `,
              { name: shorten(input.output, 40) },
              input.fullScale === null ? ', full scale not known' : `, full scale ${shorten(input.fullScale, 40)}`,
            ]),
    },
    {
      label: 'Source plugs',
      value: bench.plugs.length === 0 ? ['none given'] : bench.plugs.flatMap((plug, i): Phrase => [i > 0 ? '; ' : '', { name: shorten(plug.id, 40) }, `, ${shorten(plug.resistance, 40)}`]),
    },
  ];
}

/** What every capture has alike is said once, and not of each. */
function withoutWhatAllShare(list: readonly CaptureView[]): ReportView['captures'] {
  const shared = (of: (c: CaptureView) => string): string => (list.length > 1 && list.every((c) => of(c) === of(list[0]!)) ? of(list[0]!) : '');
  const format = shared((c) => c.format);
  // The minute, or at least the day: `filed 26 November 2026`, and `06:36 UTC` at each.
  const day = shared((c) => c.when.split(', ')[0]!);
  const when = shared((c) => c.when) || day;
  return {
    alike: [when, format].filter((s) => s !== ''),
    list: list.map((c) => ({ ...c, when: when === '' ? c.when : c.when.slice(when.length).replace(', ', ''), format: format === '' ? c.format : '' })),
  };
}

function captureView(c: Results['captures'][number]): CaptureView {
  const filed = c.recordedAt ?? c.filedAt;
  return {
    step: c.step,
    what: [c.kind, c.how ?? ''].filter((s) => s !== '').join(', '),
    file: c.file === `captures/${c.step}.wav` ? '' : c.file,
    when: filed === null ? 'time not recorded' : `${c.recordedAt === null ? 'filed ' : ''}${dateInWords(filed)}`,
    format: [c.format, frequencyText(c.sampleRateHz).replace(' ', NBSP), counted(c.channels, 'channel')].join(', '),
    length: duration(c.durationS),
    take:
      c.take === null
        ? ''
        : `clock ${withUnit(signed(c.take.clockRatioPpm, 2), 'ppm')}, level ${withUnit(fixed(c.take.levelDbfs, 1), 'dBFS')}, starts at ${withUnit(fixed(c.take.startS, 2), 's')}`,
    sha256: c.sha256,
    remarks: c.remarks,
  };
}
