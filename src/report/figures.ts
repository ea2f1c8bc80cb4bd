/**
 * Curves as figures: what stands in one chart together, its caption, and the table of its figures.
 *
 * @module
 */
import type { Curve, CurveMark, Reading, Results } from '../judge/results.js';
import type { ThirdOctave } from '../numerics/third-octave.js';
import { BANDS, highestBetween, nearestIndex, valueNear } from './charts/axis.js';
import { type ChartData, type LimitMark, type LineMark, type Series, type Stroke, cycle, strokes } from './charts/figure.js';
import { matchSpan } from './charts/match.js';
import { noiseSpan } from './charts/noise.js';
import { responseSpan } from './charts/response.js';
import { fixed, frequency, frequencyTick, listed, signed, unitText, withUnit } from './numbers.js';
import { isLineReading, limitText, threshold } from './reading-tables.js';
import { shorten } from './text.js';
import { type Phrase, listedPhrases, loopOf, lowered, opening, outputPhrase, pairOf, stateLabel, stateOrder, statePhrase, statePhraseAt, wherePhrase, withState } from './words.js';

export interface Figure {
  readonly title: Phrase;
  /** States the finding. */
  readonly caption: Phrase;
  readonly chart: ChartData;
  readonly size: 'full' | 'small';
  /** Ids of the curves drawn in it. */
  readonly curves: readonly string[];
}

/** Figures that share one table. */
export interface FigureGroup {
  /** Which readings it explains. */
  readonly topic: 'noise' | 'tone-loss' | 'response' | 'match' | 'player';
  /** What the lines and signs mean where the labels do not say it. */
  readonly key: Phrase;
  readonly figures: readonly Figure[];
  readonly table: FigureTable;
  readonly lines: LineTable | null;
}

/** The figures behind charts, at third-octave frequencies. */
export interface FigureTable {
  readonly caption: Phrase;
  readonly rule: string;
  /** A column for each curve: one figure, or mean and peak. */
  readonly columns: readonly { readonly name: Phrase; readonly sub: readonly string[] }[];
  readonly rows: readonly { readonly frequency: string; readonly cells: readonly string[] }[];
}

/** Hum and whine, line by line. */
export interface LineTable {
  readonly caption: Phrase;
  readonly rows: readonly { readonly state: Phrase; readonly kind: string; readonly frequency: string; readonly level: string; readonly label: string }[];
  /** Weaker lines that are left to the results file. */
  readonly more: number;
}

/** States drawn in one chart together; every other state gets a small chart of its own. */
const MAIN_STATES = ['rest', 'unbuffered', 'lead', 'all'];
/** Lines listed for each curve, strongest first. */
const MOST_LINES = 24;
/** What stands in a cell where a curve has no point. */
const NO_POINT = '–';

const strokeOf = (state: string, position: number): Stroke => {
  const main = MAIN_STATES.indexOf(state);
  if (state === 'bench') return strokes.reference;
  return cycle[main >= 0 ? main : position % cycle.length]!;
};

export const seriesOf = (curve: Curve, label: string, stroke: Stroke, banded = true): Series => ({
  label,
  stroke,
  x: curve.x.values,
  y: curve.y.values,
  low: banded ? curve.low : null,
  high: banded ? curve.high : null,
});

// ---- limits -------------------------------------------------------------------------------------------------

/** The frequency in a reading's id: `droop.5k`, `noise.density-1k`. */
function frequencyInId(id: string): number | null {
  const match = /[.-](\d+(?:\.\d+)?)(k?)$/.exec(id);
  return match === null ? null : Number(match[1]) * (match[2] === 'k' ? 1000 : 1);
}

/**
 * Limits of readings as marks on a chart. A droop is held against the straight lead, so its limit hangs on the lead's line.
 */
function limitMarks(results: Results, readings: readonly Reading[], curves: readonly Curve[]): LimitMark[] {
  const marks = new Map<string, { hz: number; value: number; inside: LimitMark['inside']; states: string[] }>();
  for (const reading of readings) {
    const hz = frequencyInId(reading.id);
    const curve = curves.find((c) => c.state === reading.state && c.source === reading.source);
    if (hz === null || reading.limit === null || curve === undefined) continue;
    const lead = reading.id.startsWith('droop.') ? curves.find((c) => c.state === 'lead') : undefined;
    const from = lead === undefined ? 0 : (valueNear(lead.x.values, lead.y.values, hz) ?? 0);
    const add = (value: number, inside: LimitMark['inside']): void => {
      const key = JSON.stringify([hz, from + value, inside]);
      const mark = marks.get(key) ?? { hz, value: from + value, inside, states: [] };
      if (!mark.states.includes(reading.state)) mark.states.push(reading.state);
      marks.set(key, mark);
    };
    const { max, min, within } = reading.limit;
    if (within !== null) {
      add(within[0], 'above');
      add(within[1], 'below');
    } else if (max !== null) add(max, 'below');
    else if (min !== null) add(min, 'above');
  }
  const states = new Set([...marks.values()].flatMap((m) => m.states));
  return [...marks.values()].map(({ states: own, ...mark }) => ({
    ...mark,
    // Whose limit it is needs saying only where limits differ.
    label: states.size === 1 || own.length === states.size ? 'limit' : `limit, ${own.map((s) => stateLabel(results, s)).join(', ')}`,
  }));
}

/** The limit of the worst third-octave, across the band. */
function matchLimits(readings: readonly Reading[]): LimitMark[] {
  const reading = readings.find((r) => r.id === 'match.level-worst-band' && r.limit !== null);
  const limit = reading?.limit;
  if (reading === undefined || limit === null || limit === undefined) return [];
  const bounds = limit.within ?? (limit.max === null ? null : [-limit.max, limit.max]);
  if (bounds === null) return [];
  return [
    { hz: null, value: bounds[1]!, inside: 'below', label: `limit ${threshold(bounds[1]!, true)}` },
    { hz: null, value: bounds[0]!, inside: 'above', label: `limit ${threshold(bounds[0]!, true)}` },
  ];
}

// ---- tables -------------------------------------------------------------------------------------------------

export interface Column {
  readonly name: Phrase;
  readonly curve: Curve;
}

export function figureTable(caption: Phrase, columns: readonly Column[], kind: 'noise' | 'response' | 'match'): FigureTable {
  const unit = unitText(columns[0]?.curve.y.unit ?? '');
  const cellsOf = ({ curve }: Column, { midHz, lowHz, highHz }: ThirdOctave): string[] => {
    const { x, y, low, high, peak } = curve;
    const i = nearestIndex(x.values, midHz);
    const value = i < 0 ? null : (y.values[i] ?? null);
    if (kind === 'noise') {
      const cells = [value === null ? NO_POINT : fixed(value, 1)];
      if (peak !== null) {
        const highest = highestBetween(x.values, peak, lowHz, highHz);
        cells.push(highest === null ? NO_POINT : fixed(highest, 1));
      }
      return cells;
    }
    if (value === null) return [NO_POINT];
    const bottom = low?.[i] ?? null;
    const top = high?.[i] ?? null;
    const half = bottom === null || top === null ? null : Math.max(top - value, value - bottom, 0);
    return [half === null ? fixed(value, 2) : `${fixed(value, 2)} ± ${fixed(half, half > 0 && half < 0.01 ? 3 : 2)}`];
  };
  const band = columns.some((c) => c.curve.low !== null && c.curve.high !== null);
  const rule = [
    `In ${unit}, at the curve’s point nearest to each third-octave frequency.`,
    kind === 'noise' && columns.some((c) => c.curve.peak !== null) ? 'Peak: the largest density anywhere in that band.' : '',
    kind !== 'noise' && band ? '±: half of the 95 % band, the larger side.' : '',
    `${NO_POINT}: the curve has no point there${columns.some(({ curve: { y, high } }) => y.values.some((v, i) => v === null && (high?.[i] ?? null) !== null)) ? ', or noise hides it' : ''}.`,
    'The whole curve is in the results file.',
  ];
  return {
    caption,
    rule: rule.filter((s) => s !== '').join(' '),
    columns: columns.map((c) => ({ name: c.name, sub: kind === 'noise' ? (c.curve.peak === null ? ['mean'] : ['mean', 'peak']) : [unit] })),
    rows: BANDS.map((band) => ({ frequency: frequencyTick(band.nominalHz), cells: columns.flatMap((c) => cellsOf(c, band)) })),
  };
}

/** The marks of curves whose lines are no readings of their own. */
function lineTable(results: Results, caption: Phrase, curves: readonly Curve[], readings: readonly Reading[]): LineTable | null {
  let more = 0;
  const listed = (c: Curve): boolean => readings.some((r) => isLineReading(r) && r.state === c.state && r.output === c.output);
  const rows = curves.filter((c) => !listed(c)).flatMap((curve) => {
    const strongest = [...curve.marks].sort((a, b) => b.level - a.level || a.hz - b.hz);
    more += Math.max(0, strongest.length - MOST_LINES);
    return strongest.slice(0, MOST_LINES).map((m) => ({
      state: statePhrase(results, curve.state),
      kind: m.kind,
      frequency: frequency(m.hz),
      level: withUnit(fixed(m.level, 1), m.unit),
      label: m.label,
    }));
  });
  return rows.length === 0 ? null : { caption, rows, more };
}

// ---- noise --------------------------------------------------------------------------------------------------

function marksOn(curve: Curve): LineMark[] {
  const heights = curve.peak ?? curve.y.values;
  const strongest = (kind: CurveMark['kind']): number => Math.max(...curve.marks.filter((m) => m.kind === kind).map((m) => m.level));
  const top = { hum: strongest('hum'), whine: strongest('whine') };
  return curve.marks.flatMap((m) => {
    // The line may fall between two points of the curve.
    const y = highestBetween(curve.x.values, heights, m.hz / 1.03, m.hz * 1.03) ?? valueNear(curve.x.values, heights, m.hz);
    if (y === null) return [];
    const name = frequency(m.hz);
    return [{ kind: m.kind, hz: m.hz, y, level: m.level, label: m.level === top[m.kind] ? `${m.kind} ${name}` : name }];
  });
}

function noiseChart(curve: Curve, reference: { curve: Curve; label: string } | null, limits: readonly LimitMark[]): ChartData {
  const series: Series[] = [];
  if (reference !== null) series.push(seriesOf(reference.curve, reference.label, strokes.reference, false));
  if (curve.peak !== null) series.push({ ...seriesOf(curve, 'peak', strokes.peak, false), y: curve.peak });
  series.push(seriesOf(curve, 'mean', strokes.first, false));
  return { shape: 'noise', unit: unitText(curve.y.unit), series, limits, marks: marksOn(curve), span: null };
}

const isEmpty = (curve: Curve): boolean => curve.y.values.every((v) => v === null);

/** @param where - Empty where the title says it. */
const after = (where: Phrase, ...said: Phrase): Phrase => (where.length === 0 ? opening(said) : [...opening(where), ': ', ...said]);

function noiseCaption(curve: Curve, where: Phrase): Phrase {
  if (isEmpty(curve)) return after(where, 'the curve has no figures, so nothing is drawn.');
  const floor = valueNear(curve.x.values, curve.y.values, 1000);
  const loudest = (kind: 'hum' | 'whine'): Phrase => {
    const mark = curve.marks.filter((m) => m.kind === kind).sort((a, b) => b.level - a.level)[0];
    if (mark === undefined) return [];
    return [`${kind} is strongest at `, { figure: frequency(mark.hz) }, ', ', { figure: withUnit(fixed(mark.level, 1), mark.unit) }];
  };
  const lines = [loudest('hum'), loudest('whine')].filter((p) => p.length > 0);
  const said: Phrase = lines.length === 0 ? ['no hum or whine line stands above it'] : lines.flatMap((p, i) => (i === 0 ? [...p] : ['; ', ...p]));
  return after(
    where,
    floor === null ? 'there is no figure at 1 kHz; ' : 'the floor is ',
    ...(floor === null ? [] : [{ figure: withUnit(fixed(floor, 1), curve.y.unit) }, ' at 1 kHz; ']),
    ...said,
    '.',
  );
}

const ONE_SCALE: Phrase = [' All to one scale.'];
const NOISE_KEY: Phrase = ['Mean density and the peak of each bin. Filled triangle: mains hum. Open diamond: whine.'];

// ---- responses ----------------------------------------------------------------------------------------------

/** Where the caption reads a response: the treble that a cable takes, as far up as the curve goes. */
function readAt(curves: readonly Curve[]): number {
  return [10_000, 5000, 2000, 1000].find((hz) => curves.some((c) => valueNear(c.x.values, c.y.values, hz) !== null)) ?? 1000;
}

function responseCaption(results: Results, curves: readonly Curve[], where: Phrase): Phrase {
  const hz = readAt(curves);
  const clauses = curves.flatMap((c): Phrase[] => {
    const value = valueNear(c.x.values, c.y.values, hz);
    if (value === null) return [];
    return [[{ figure: withUnit(signed(value, 2), c.y.unit) }, ...(where.length === 0 ? [] : [' with ' as const, ...withState(results, c.state)])]];
  });
  const said = listedPhrases(clauses);
  if (curves.every(isEmpty)) return after(where, 'the curve has no figures, so nothing is drawn.');
  if (said.length === 0) return after(where, 'the curve has no figure between 1 and 10 kHz.');
  return after(where, `${frequency(hz)} comes out at `, ...said, '.');
}

// ---- groups -------------------------------------------------------------------------------------------------

/** Figures of one output: noise first, then tone loss and responses for each source. */
export function outputFigures(results: Results, output: string, curves: readonly Curve[], bench: readonly Curve[], readings: readonly Reading[]): FigureGroup[] {
  const name = outputPhrase(results, output);
  const groups: FigureGroup[] = [];
  const noise = ordered(curves.filter((c) => c.kind === 'noise-density'));
  const [main, ...others] = noise;
  if (main !== undefined) {
    const floor = bench.find((c) => c.kind === 'noise-density' && c.output === output && c.y.unit === main.y.unit);
    const limits = limitMarks(results, readings.filter((r) => r.id.startsWith('noise.density')), [main]);
    groups.push({
      topic: 'noise',
      key: floor === undefined ? NOISE_KEY : [...NOISE_KEY, ' Grey dashes: the bench alone.'],
      figures: [
        {
          title: ['Noise spectrum, ', ...name],
          caption: noiseCaption(main, statePhrase(results, main.state)),
          chart: noiseChart(main, floor === undefined ? null : { curve: floor, label: 'bench' }, limits),
          size: 'full',
          curves: [main.id],
        },
      ],
      table: figureTable(
        ['Noise density, ', ...name],
        [{ name: statePhrase(results, main.state), curve: main }, ...(floor === undefined ? [] : [{ name: ['Bench alone'], curve: floor }])],
        'noise',
      ),
      lines: lineTable(results, ['Lines found, ', ...name], [main], readings),
    });
    groups.push(...smallNoise(results, name, others, () => main, (c) => statePhraseAt(results, c.state, output), readings));
  }
  for (const kind of ['tone-loss', 'response'] as const) {
    const ofKind = curves.filter((c) => c.kind === kind);
    for (const source of new Set(ofKind.map((c) => c.source))) {
      const ofSource = ordered(ofKind.filter((c) => c.source === source));
      const leads = bench.filter((c) => c.kind === kind && c.source === source && c.state === 'lead');
      const lead = leads.find((c) => c.output === output) ?? leads.find((c) => c.output === null) ?? leads[0];
      const together = ordered([...ofSource.filter((c) => MAIN_STATES.includes(c.state)), ...(lead === undefined ? [] : [lead])]);
      const apart = ofSource.filter((c) => !MAIN_STATES.includes(c.state));
      if (together.length > 0) groups.push(responseGroup(results, name, kind, source, together, readings));
      const rest = together.find((c) => c.state === 'rest') ?? null;
      groups.push(...smallResponses(results, name, apart, () => rest, (c) => statePhraseAt(results, c.state, output)));
    }
  }
  return groups;
}

const ordered = (curves: readonly Curve[]): Curve[] => {
  const order = stateOrder(curves.map((c) => c.state));
  return [...curves].sort((a, b) => order.indexOf(a.state) - order.indexOf(b.state));
};

function responseGroup(
  results: Results,
  name: Phrase,
  kind: 'tone-loss' | 'response',
  source: string | null,
  curves: readonly Curve[],
  readings: readonly Reading[],
): FigureGroup {
  const through: Phrase = source === null ? [' (bench output direct)'] : [' (through ', { name: source }, ')'];
  const title: Phrase = [kind === 'tone-loss' ? 'Tone loss, ' : 'Response, ', ...name, ...through];
  const series = curves.map((c, i) => seriesOf(c, stateLabel(results, c.state), strokeOf(c.state, i)));
  const limits = limitMarks(results, readings.filter((r) => r.id.startsWith(kind === 'tone-loss' ? 'droop.' : 'gain.')), curves);
  const banded = curves.some((c) => c.low !== null && c.high !== null);
  return {
    topic: kind,
    key: [{ name: curves[0]!.y.label }, '. ', banded ? 'Shaded: where the line lies with 95 % confidence.' : 'The curves carry no uncertainty band.'],
    figures: [
      {
        title,
        caption: responseCaption(results, curves, name),
        chart: { shape: 'response', unit: unitText(curves[0]!.y.unit), series, limits, marks: [], span: null },
        size: 'full',
        curves: curves.map((c) => c.id),
      },
    ],
    table: figureTable(title, curves.map((c) => ({ name: statePhrase(results, c.state), curve: c })), 'response'),
    lines: null,
  };
}

/**
 * The player's instrument at one output: each state as measured with its band, the straight lead as the circuit has it, and,
 * thin, each state as it was designed. Null where there is nothing to draw.
 */
export function playerGroup(
  results: Results,
  output: string,
  measured: readonly Curve[],
  designed: readonly Curve[],
  lead: Curve | null,
  said: Phrase,
): FigureGroup | null {
  const first = measured[0] ?? designed[0];
  if (first === undefined) return null;
  const isMeasured = measured.length > 0;
  const shown = isMeasured ? measured : designed;
  const name = outputPhrase(results, output);
  const title: Phrase = [isMeasured ? 'What the player’s instrument gives, ' : 'Predicted: what the player’s instrument gives, ', ...name];
  const series: Series[] = [
    // With every line measured, the design stands behind it; with none, it is the line.
    ...(isMeasured ? designed.map((c) => seriesOf(c, designLabel(results, c.state), strokes.reference)) : []),
    ...(lead === null ? [] : [seriesOf(lead, 'straight lead', strokes.third)]),
    ...shown.map((c, i) => seriesOf(c, stateLabel(results, c.state), strokeOf(c.state, i))),
  ];
  const key: Phrase = [
    'Level from 200–500 Hz, volume and tone at 10. ',
    isMeasured ? 'What was fitted through the source plug, put behind the instrument of board.yaml; shaded: 95 %. Grey dashes: as board.yaml has it. ' : 'From board.yaml alone. ',
    lead === null ? '' : 'Straight lead: the player’s own into an amplifier of 1 MΩ, computed.',
  ];
  return {
    topic: 'player',
    key,
    figures: [{ title, caption: said, chart: { shape: 'response', unit: unitText(first.y.unit), series, limits: [], marks: [], span: null }, size: 'full', curves: shown.map((c) => c.id) }],
    table: figureTable(title, [...(lead === null ? [] : [{ name: ['Straight lead, computed'] as Phrase, curve: lead }]), ...shown.map((c) => ({ name: statePhrase(results, c.state), curve: c }))], 'response'),
    lines: null,
  };
}

const designLabel = (results: Results, state: string): string => (results.board.buffer === null ? 'designed' : state === 'rest' ? 'designed, in' : 'designed, out');

type ReferenceOf = (curve: Curve) => Curve | null;

function smallNoise(
  results: Results,
  name: Phrase,
  curves: readonly Curve[],
  referenceOf: ReferenceOf,
  titleOf: (c: Curve) => Phrase,
  readings: readonly Reading[],
): FigureGroup[] {
  if (curves.length === 0) return [];
  const references = curves.map((c) => comparable(c, referenceOf(c)));
  const charts = curves.map((c, i) => noiseChart(c, references[i]! === null ? null : { curve: references[i]!, label: 'at rest' }, []));
  const span = noiseSpan(charts);
  return [
    {
      topic: 'noise',
      key: [...NOISE_KEY, ...(references.every((r) => r === null) ? [] : [' Grey dashes: the mean with every loop out.']), ...ONE_SCALE],
      figures: curves.map((c, i) => ({
        title: ['Noise: ', ...lowered(titleOf(c))],
        caption: noiseCaption(c, []),
        chart: { ...charts[i]!, span },
        size: 'small' as const,
        curves: [c.id],
      })),
      table: figureTable(['Noise density, ', ...name], curves.map((c) => ({ name: titleOf(c), curve: c })), 'noise'),
      lines: lineTable(results, ['Lines found, ', ...name], curves, readings),
    },
  ];
}

const comparable = (curve: Curve, reference: Curve | null): Curve | null =>
  reference !== null && reference.id !== curve.id && reference.y.unit === curve.y.unit && reference.source === curve.source ? reference : null;

function smallResponses(results: Results, name: Phrase, curves: readonly Curve[], referenceOf: ReferenceOf, titleOf: (c: Curve) => Phrase): FigureGroup[] {
  const groups: FigureGroup[] = [];
  for (const kind of ['tone-loss', 'response'] as const) {
    const ofKind = curves.filter((c) => c.kind === kind);
    if (ofKind.length === 0) continue;
    const references = ofKind.map((c) => comparable(c, referenceOf(c)));
    const charts = ofKind.map((c, i): ChartData => {
      const reference = references[i]!;
      const series = [...(reference === null ? [] : [seriesOf(reference, 'at rest', strokes.reference, false)]), seriesOf(c, 'measured', strokes.first)];
      return { shape: 'response', unit: unitText(c.y.unit), series, limits: [], marks: [], span: null };
    });
    const span = responseSpan(charts);
    const word = kind === 'tone-loss' ? 'Tone loss' : 'Response';
    groups.push({
      topic: kind,
      key: [...(references.every((r) => r === null) ? [] : ['Grey dashes: every loop out.']), ...ONE_SCALE],
      figures: ofKind.map((c, i) => ({
        title: [`${word}: `, ...lowered(titleOf(c)), ...(c.source === null ? [] : [', through ', { name: c.source }])],
        caption: responseCaption(results, [c], []),
        chart: { ...charts[i]!, span },
        size: 'small' as const,
        curves: [c.id],
      })),
      table: figureTable([`${word}, `, ...name], ofKind.map((c) => ({ name: titleOf(c), curve: c })), 'response'),
      lines: null,
    });
  }
  return groups;
}

/** Small charts of one loop, one for each output, against the board with every loop out. */
export function loopFigures(results: Results, loop: string, all: readonly Curve[], readings: readonly Reading[]): FigureGroup[] {
  const own = all.filter((c) => loopOf(c) === loop);
  const name: Phrase = statePhrase(results, `loop-${loop}`);
  const titleOf = (c: Curve): Phrase => (c.output === null ? statePhrase(results, c.state) : outputPhrase(results, c.output));
  const atRest: ReferenceOf = (c) =>
    all.find((r) => r.state === 'rest' && loopOf(r) === null && r.kind === c.kind && r.output === c.output && r.source === c.source) ?? null;
  const pairs = own.filter(isMatchCurve);
  return [
    ...smallNoise(results, name, own.filter((c) => c.kind === 'noise-density'), atRest, titleOf, readings),
    ...loopResponses(results, name, own.filter(isResponseCurve), atRest, titleOf),
    ...[...new Set(pairs.map((c) => c.output))].flatMap((pair) => matchFigures(results, pair, pairs.filter((c) => c.output === pair), readings, 'of a loop')),
  ];
}

/** More outputs than this would crowd one small chart. */
const MOST_TOGETHER = 3;

/** The responses of a loop at all outputs in one chart for each source, so that what parts them is seen as well. */
function loopResponses(results: Results, name: Phrase, curves: readonly Curve[], atRest: ReferenceOf, titleOf: (c: Curve) => Phrase): FigureGroup[] {
  const sets = [...new Set(curves.map((c) => JSON.stringify([c.kind, c.source, c.y.unit])))].map((key) => curves.filter((c) => JSON.stringify([c.kind, c.source, c.y.unit]) === key));
  return sets.flatMap((set): FigureGroup[] => {
    if (set.length < 2 || set.length > MOST_TOGETHER || set.some((c) => c.output === null)) return smallResponses(results, name, set, atRest, titleOf);
    const word = set[0]!.kind === 'tone-loss' ? 'Tone loss' : 'Response';
    const label = (c: Curve): string => shorten(c.output!, 8);
    const rests = set.flatMap((c) => {
      const reference = comparable(c, atRest(c));
      return reference === null ? [] : [seriesOf(reference, `${label(c)} at rest`, strokes.reference, false)];
    });
    const chart: ChartData = { shape: 'response', unit: unitText(set[0]!.y.unit), series: [...rests, ...set.map((c, i) => seriesOf(c, label(c), cycle[i]!))], limits: [], marks: [], span: null };
    const hz = readAt(set);
    const clauses = set.flatMap((c): Phrase[] => {
      const value = valueNear(c.x.values, c.y.values, hz);
      return value === null ? [] : [[{ figure: withUnit(signed(value, 2), c.y.unit) }, ' at ', { name: label(c) }]];
    });
    return [
      {
        topic: set[0]!.kind as 'tone-loss' | 'response',
        key: rests.length === 0 ? [] : ['Response, grey dashes: every loop out.'],
        figures: [
          {
            title: [word, ' at ', ...listed(set.map((c) => ({ name: label(c) }))), ...(set[0]!.source === null ? [] : [', through ' as const, { name: set[0]!.source }])],
            caption: clauses.length === 0 ? after([], 'the curves have no figure between 1 and 10 kHz.') : after([], `${frequency(hz)} comes out at `, ...listedPhrases(clauses), '.'),
            chart: { ...chart, span: responseSpan([chart]) },
            size: 'small',
            curves: set.map((c) => c.id),
          },
        ],
        table: figureTable([`${word}, `, ...name], set.map((c) => ({ name: titleOf(c), curve: c })), 'response'),
        lines: null,
      },
    ];
  });
}

const isResponseCurve = (c: Curve): boolean => c.kind === 'response' || c.kind === 'tone-loss';
export const isMatchCurve = (c: Curve): boolean => c.kind === 'match-third-octave' || c.kind === 'match-response';

/** Charts of one pair of outputs, one for each state. */
export function matchFigures(results: Results, pair: string | null, curves: readonly Curve[], readings: readonly Reading[], first: 'full' | 'of a loop' = 'full'): FigureGroup[] {
  const groups = stateOrder(curves.map((c) => c.state)).flatMap((state, i) => {
    const group = matchGroup(results, pair, curves.filter((c) => c.state === state), readings.filter((r) => r.state === state), i === 0 ? first : 'small');
    return group === null ? [] : [group];
  });
  const [head, ...rest] = groups;
  if (head === undefined || rest.length < 2) return groups;
  // Small ones stand beside each other, and their figures in one table.
  const tables = rest.map((g) => g.table);
  return [
    head,
    {
      ...rest[0]!,
      figures: rest.flatMap((g) => g.figures),
      table: {
        ...tables[0]!,
        caption: ['Match of ', ...(pair === null ? ['outputs'] : outputPhrase(results, pair)), ', other states'],
        columns: tables.flatMap((t, i) => t.columns.map((c) => ({ ...c, name: [...statePhrase(results, rest[i]!.state), ': ', ...lowered(c.name)] }))),
        rows: tables[0]!.rows.map((row, i) => ({ ...row, cells: tables.flatMap((t) => t.rows[i]!.cells) })),
      },
    },
  ];
}

function matchGroup(results: Results, output: string | null, curves: readonly Curve[], readings: readonly Reading[], drawn: Figure['size'] | 'of a loop'): (FigureGroup & { readonly state: string }) | null {
  const first = curves[0];
  if (first === undefined) return null;
  const name: Phrase = output === null ? ['outputs'] : outputPhrase(results, output);
  const state = statePhrase(results, first.state);
  const where = drawn === 'full' ? state : [];
  const bands = curves.filter((c) => c.kind === 'match-third-octave');
  const deciding = bands[0] ?? first;
  let worst = -1;
  deciding.y.values.forEach((y, i) => {
    if (y !== null && deciding.x.values[i] !== null && (worst < 0 || Math.abs(y) > Math.abs(deciding.y.values[worst]!))) worst = i;
  });
  const pair = pairOf(results, output);
  const [a, b] = pair ?? ['', ''];
  const who: Phrase = pair === null ? ['the outputs'] : [{ name: a }, ' and ', { name: b }];
  const limited = readings.find((r) => r.id === 'match.level-worst-band');
  const limit = limited === undefined ? null : limitText(limited.limit, limited.unit);
  const caption: Phrase =
    worst < 0
      ? after(where, 'the curve has no figures, so nothing is drawn.')
      : after(
          where,
          ...who,
          ' differ most at ',
          { figure: frequency(deciding.x.values[worst]!) },
          ', by ',
          { figure: withUnit(fixed(Math.abs(deciding.y.values[worst]!), 2), deciding.y.unit) },
          ...(limit === null ? [] : [` (limit ${limit})`]),
          '.',
        );
  const series = curves.map((c, i) => seriesOf(c, c.kind === 'match-third-octave' ? 'per band' : 'response', i === 0 ? strokes.first : strokes.second));
  const chart: ChartData = { shape: 'match', unit: unitText(first.y.unit), series, limits: matchLimits(readings), marks: [], span: null };
  return {
    state: first.state,
    topic: 'match',
    key: [{ name: deciding.y.label }, deciding.low === null ? '.' : '. Columns from zero; the hair through each dot spans its 95 % interval.'],
    figures: [{ title: ['Match of ', ...name, ...(drawn === 'of a loop' ? [] : [', ' as const, ...lowered(state)])], caption, chart: { ...chart, span: matchSpan(chart) }, size: drawn === 'full' ? 'full' : 'small', curves: curves.map((c) => c.id) }],
    table: figureTable(['Match of ', ...name, ', ', ...lowered(state)], curves.map((c) => ({ name: [c.kind === 'match-third-octave' ? 'Third-octave level' : 'Response'], curve: c })), 'match'),
    lines: null,
  };
}

/** Charts of the bench by itself: its own noise and response, and the straight lead. */
export function benchFigures(results: Results, curves: readonly Curve[], readings: readonly Reading[]): FigureGroup[] {
  const titleOf = (c: Curve): Phrase => wherePhrase(results, c);
  const name: Phrase = ['bench and straight lead'];
  const none: ReferenceOf = () => null;
  return [
    ...smallNoise(results, name, curves.filter((c) => c.kind === 'noise-density'), none, titleOf, readings),
    ...smallResponses(results, name, curves.filter(isResponseCurve), none, titleOf),
  ];
}
