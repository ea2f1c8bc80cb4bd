/**
 * The player's instrument at the board: what it will hear as board.yaml has it, and as it was measured, side by side.
 *
 * @module
 */
import type { Curve, PredictedTone, Reading, Results } from '../judge/results.js';
import { type FigureGroup, playerGroup } from './figures.js';
import { NBSP, fixed, frequency, listed, sentenceCase, signed, withUnit } from './numbers.js';
import { NO_FIGURE, type PlainTable } from './plain-table.js';
import { figureText } from './reading-tables.js';
import { shorten } from './text.js';
import { type Phrase, plain, stateLabel, stateOrder, withState } from './words.js';

export interface PlayerView {
  /** The instrument of board.yaml, part by part; empty where it has none. */
  readonly instrument: readonly string[];
  readonly figures: readonly FigureGroup[];
  readonly tables: readonly PlainTable[];
  readonly assumed: readonly string[];
}

/** Null where neither the file nor the captures say anything of a player. */
export function playerView(results: Results): PlayerView | null {
  const { predicted } = results;
  const figures = playerFigures(results);
  if (predicted === undefined && figures.length === 0) return null;
  return {
    instrument: (predicted?.instrument ?? []).map((p) => shorten(p, 120)),
    figures,
    tables: predicted === undefined ? [] : [besideTable(results), toneTable(results), metreTable(results), causeTable(results)].filter((t) => t.rows.length > 0),
    assumed: predicted?.assumed ?? [],
  };
}

/** The straight lead as the circuit has it: the bench's own ends in every recorder input at once, which no amplifier does. */
function asCurve(results: Results, row: PredictedTone): Curve {
  return {
    id: `predicted/${row.state}/${row.output ?? ''}/${String(row.volume)}`, kind: 'response', label: 'Predicted', state: row.state, source: null, output: row.output, loop: null,
    x: { label: 'Frequency', unit: 'Hz', values: results.predicted!.curveHz }, y: { label: 'Level from 200–500 Hz', unit: 'dB', values: row.curveDb },
    low: null, high: null, peak: null, marks: [], capture: [],
  };
}

function playerFigures(results: Results): FigureGroup[] {
  const measured = (results.playerCurves ?? []).filter((c) => c.state !== 'lead');
  const predicted = (results.predicted?.player ?? []).filter((p) => p.volume === 10);
  const lead = predicted.find((p) => p.state === 'lead');
  const outputs = results.board.outputs.map((o) => o.id).filter((id) => measured.some((c) => c.output === id) || predicted.some((p) => p.output === id));
  return outputs.flatMap((output) => {
    // The last of a state is of all its plugs together, which is the firmest.
    const own = stateOrder(measured.filter((c) => c.output === output).map((c) => c.state)).map((state) => measured.findLast((c) => c.output === output && c.state === state)!);
    const designed = predicted.filter((p) => p.output === output);
    const group = playerGroup(results, output, own.map((c): Curve => ({ ...c, kind: 'response' })), designed.map((p) => asCurve(results, p)), lead === undefined ? null : asCurve(results, lead), captionOf(results, output));
    return group === null ? [] : [group];
  });
}

const figureOf = (results: Results, id: string, state: string, output: string | null): Reading | undefined =>
  results.readings.findLast((r) => r.id === id && r.state === state && r.output === output && r.value !== null && r.bound === null);

/** What the caption of a chart says of its resonances. */
function captionOf(results: Results, output: string): Phrase {
  const lead = results.predicted?.player.find((p) => p.state === 'lead' && p.volume === 10)?.resonance ?? null;
  const moved = stateOrder(results.readings.filter((r) => r.id === 'player.resonance' && r.output === output && r.state !== 'lead').map((r) => r.state)).flatMap((state): Phrase[] => {
    const r = figureOf(results, 'player.resonance', state, output);
    return r === undefined ? [] : [[{ figure: frequency(r.value!) }, ' with ', ...withState(results, state)]];
  });
  if (moved.length === 0) return lead === null ? [] : ['On the straight lead the instrument resonates at ', { figure: frequency(lead.frequencyHz) }, '.'];
  const said = moved.flatMap((p, i): Phrase => (i === 0 ? p : [i === moved.length - 1 ? ' and ' : ', ', ...p]));
  return ['The instrument resonates at ', ...said, ...(lead === null ? [] : [', against ', { figure: frequency(lead.frequencyHz) }, ' on the straight lead']), '.'];
}

/** A row of a table of predictions: a state, what of it, and its cells. */
interface PredictedRow {
  readonly state: string;
  readonly output: string | null;
  readonly what: Phrase;
  readonly cells: readonly string[];
}

/** Outputs of which the same is to be said share a row. */
function sharedRows(results: Results, rows: readonly PredictedRow[]): PlainTable['rows'] {
  const keyOf = ({ state, what, cells }: PredictedRow): string => JSON.stringify([state, what, cells]);
  return [...new Set(rows.map(keyOf))].map((key) => {
    const alike = rows.filter((r) => keyOf(r) === key);
    const { state, what, cells } = alike[0]!;
    return { head: [...predictedState(results, state, alike.flatMap((r) => r.output ?? [])), ...what], cells };
  });
}

const predictedState = (results: Results, state: string, outputs: readonly string[]): Phrase =>
  outputs.length === 0
    ? ['Straight lead']
    : [
        sentenceCase(stateLabel(results, state)),
        ...(results.board.outputs.length > 1 ? [outputs.length > 1 ? ', outputs ' : ', output ', ...listed(outputs.map((o) => ({ name: shorten(o, 24) })))] : []),
      ];

/** Predicted against measured: a column for each state and output, and what was measured beneath what was promised. */
function besideTable(results: Results): PlainTable {
  const { terminated, player, input } = results.predicted!;
  const places = terminated.map(({ state, output, dbu }) => {
    const own = player.find((p) => p.state === state && p.output === output && p.volume === 10);
    const measured = (id: string): Reading | undefined => figureOf(results, id, state, output);
    const hiss = measured('noise.hiss');
    const whole = measured('capacitance');
    const beyond = measured('capacitance.over-design');
    const design = whole !== undefined && beyond !== undefined ? whole.value! - beyond.value! : (input.find((i) => i.state === state)?.capacitancePf ?? null);
    return { state, output, dbu, own, design, loss: measured('player.loss-2-5k'), resonance: measured('player.resonance'), whole, hiss: hiss?.unit === 'dBu' ? hiss : undefined };
  });
  type Place = (typeof places)[number];
  const read = (r: Reading | undefined): string => (r === undefined ? NO_FIGURE : figureText(r));
  const quantities: readonly [string, string, (p: Place) => string, (p: Place) => Reading | undefined][] = [
    ['Loss in 2–5 kHz', 'dB', (p) => (p.own?.loss == null ? NO_FIGURE : fixed(p.own.loss.band2to5kDb, 2)), (p) => p.loss],
    ['Resonance', 'Hz', (p) => (p.own?.resonance == null ? NO_FIGURE : fixed(p.own.resonance.frequencyHz, 0)), (p) => p.resonance],
    ['Capacitance at the input', 'pF', (p) => (p.design === null ? NO_FIGURE : fixed(p.design, 0)), (p) => p.whole],
    ['Hiss, input shorted', 'dBu', (p) => (p.dbu < -140 ? `<${NBSP}${fixed(-140, 0)}` : fixed(p.dbu, 1)), (p) => p.hiss],
  ];
  return {
    caption: ['As designed and as built'],
    head: ['Quantity', ...places.map((p) => plain(predictedState(results, p.state, p.output === null ? [] : [p.output])))],
    rows: quantities.flatMap(([what, unit, designed, measured]) => [
      { head: [`${what}, ${unit}: by board.yaml`] as Phrase, cells: places.map(designed) },
      { head: ['measured'] as Phrase, cells: places.map((p) => read(measured(p))) },
    ]).filter((r) => r.cells.some((c) => c !== NO_FIGURE)),
    note: 'Hiss by board.yaml is thermal noise alone: what no path of these resistors can be without.',
  };
}

const dB = (value: number | undefined): string => (value === undefined ? NO_FIGURE : withUnit(fixed(value, 2), 'dB'));

function toneTable(results: Results): PlainTable {
  return {
    caption: ['Predicted for the player: loss against the straight lead, resonance, −3 dB corner, thermal noise'],
    head: ['Where', 'Volume', '2–5 kHz', '5 kHz', '10 kHz', 'Resonance', 'Height', '−3 dB', 'Noise, dBu(A)'],
    rows: sharedRows(results, results.predicted!.player.map((p) => ({
      state: p.state,
      output: p.output,
      what: [],
      cells: [
        String(p.volume),
        ...(p.loss === null ? [NO_FIGURE, NO_FIGURE, NO_FIGURE] : [dB(p.loss.band2to5kDb), dB(p.loss.at5kDb), dB(p.loss.at10kDb)]),
        p.resonance === null ? 'none' : frequency(p.resonance.frequencyHz),
        p.resonance === null ? NO_FIGURE : withUnit(fixed(p.resonance.heightDb, 1), 'dB'),
        p.cornerHz === null ? `>${NBSP}${frequency(20_000)}` : frequency(p.cornerHz),
        fixed(p.noiseDbuA, 1),
      ],
    }))),
    note: 'Computed from board.yaml alone. Volume: the knob, 0 to 10.',
  };
}

function metreTable(results: Results): PlainTable {
  const { player, metrePf } = results.predicted!;
  const rows = player.filter((p) => p.volume === 10).flatMap((p) =>
    p.metreMore.map((m): PredictedRow => ({
      state: p.state,
      output: p.output,
      what: [m.where === 'before-board' ? (p.output === null ? ': lead longer' : ': before the board') : ': behind the board'],
      cells: [Math.abs(m.loses2to5kDb) < 0.005 ? 'nothing' : dB(m.loses2to5kDb), m.resonanceShiftHz === null ? NO_FIGURE : Math.abs(m.resonanceShiftHz) < 0.5 ? 'stays' : withUnit(signed(m.resonanceShiftHz, 0), 'Hz')],
    })),
  );
  return { caption: [`One metre of lead more${metrePf === null ? '' : `, ${withUnit(fixed(metrePf, 0), 'pF')}`}: what it costs the player at volume 10`], head: ['Where', 'Loss in 2–5 kHz', 'Resonance'], rows: sharedRows(results, rows), note: '' };
}

function causeTable(results: Results): PlainTable {
  const rows = results.predicted!.player.filter((p) => p.volume === 10).flatMap((p) =>
    p.causes.map((c): PredictedRow => ({
      state: p.state,
      output: p.output,
      what: [': ', { name: shorten(c.part, 80) }],
      cells: [c.capacitancePf !== null ? withUnit(fixed(c.capacitancePf, 0), 'pF') : c.resistanceOhm === null ? NO_FIGURE : withUnit(fixed(c.resistanceOhm / 1000, 0), 'kΩ'), dB(c.costs2to5kDb)],
    })),
  );
  return { caption: ['What of the board the instrument feels, each part taken away alone'], head: ['Part', 'Value', 'Costs in 2–5 kHz'], rows: sharedRows(results, rows), note: '' };
}

