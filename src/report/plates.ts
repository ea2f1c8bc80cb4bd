/**
 * Charts that are no curves over frequency: where the noise comes from, what the footswitches make, how far up the level goes.
 *
 * @module
 */
import type { Reading, Results } from '../judge/results.js';
import type { Dot, DotChart, Sign } from './charts/dots.js';
import { cycle } from './charts/figure.js';
import { ONE_PERCENT_DB, type StairsChart } from './charts/stairs.js';
import { noiseSources, sourceWordsOf } from './noise-sources.js';
import { fixed, withUnit } from './numbers.js';
import { NO_FIGURE, type PlainTable } from './plain-table.js';
import { limitText, measuredText, threshold } from './reading-tables.js';
import { type Phrase, listedPhrases, loopName, opening, outputPhrase, plain, stateLabel, stateOrder, statePhrase, withState } from './words.js';

export interface Plate {
  readonly title: Phrase;
  /** States the finding. */
  readonly caption: Phrase;
  /** What the signs mean. */
  readonly key: string;
  readonly chart: DotChart | StairsChart;
  readonly table: PlainTable;
}

const KINDS = ['hiss', 'hum', 'whine'] as const;

/** What each part adds to the noise at one output; null in files of earlier versions. */
export function sourcesPlate(results: Results, output: string): Plate | null {
  const found = results.attribution?.find((a) => a.output === output);
  const table = noiseSources(results, output);
  if (found === undefined || table === null) return null;
  const all = found.sums.find((s) => s.loops.length === results.board.loops.length && s.measured !== null);
  const parts = [...found.sources.map((s) => ({ name: plain(sourceWordsOf(results, s)), parts: s.parts })), ...(all === undefined ? [] : [{ name: 'Measured, every loop in', parts: all.measured! }])];
  const dots = parts.flatMap((p, row) =>
    KINDS.flatMap((sign): Dot[] => {
      const { level, low, high } = p.parts[sign];
      const value = level !== null && low !== null ? level : high;
      return value === null ? [] : [{ row, sign, value, low, high, isBound: level === null || low === null }];
    }),
  );
  const loudest = (sign: Sign): Phrase => {
    const dot = dots.filter((d) => d.sign === sign && !d.isBound && d.row < found.sources.length).sort((a, b) => b.value - a.value)[0];
    return dot === undefined ? [] : [`most ${sign} comes from `, { name: sourceName(parts[dot.row]!.name) }, ', ', { figure: withUnit(fixed(dot.value, 1), found.unit) }];
  };
  const said = KINDS.map(loudest).filter((p) => p.length > 0);
  return {
    title: ['Where the noise comes from, ', ...outputPhrase(results, output)],
    caption: said.length === 0 ? ['No part stands out.'] : [...opening(listedPhrases(said)), '.'],
    key: 'Circle: hiss. Triangle: hum. Diamond: whine. Hair: 95 % interval. Open sign: at most this, perhaps nothing. The loudest of each row is named.',
    chart: { shape: 'dots', unit: found.unit, rows: parts.map((p) => p.name), dots, limits: [] },
    table,
  };
}

const sourceName = (name: string): string => (name.startsWith('Loop ') ? `loop ${name.slice('Loop '.length)}` : `the ${name.replace(/^The /, '').toLowerCase()}`);

/** The loudest click of each loop's switch against its limit, at one output; null where none was captured. */
export function clicksPlate(results: Results, output: string): Plate | null {
  const peaks = results.readings.filter((r) => r.id === 'click.peak' && r.output === output && r.value !== null);
  const [first] = peaks;
  if (first === undefined) return null;
  const own = results.board.loops.flatMap((l) => peaks.filter((r) => r.loop === l.id).slice(-1));
  // Where the presses could not be told apart there is the loudest of all.
  const shown = own.length > 0 ? own : peaks.slice(0, 1);
  const nameOf = (r: Reading): string => (r.loop === null ? 'Any switch' : loopName(results, r.loop));
  const limits = [...new Map(shown.flatMap((r) => (r.limit?.max == null ? [] : [[r.limit.max, limitText(r.limit, r.unit)!] as const])))];
  const loudest = shown.filter((r) => r.bound === null).sort((a, b) => b.value! - a.value!)[0];
  return {
    title: ['Clicks of the footswitches, ', ...outputPhrase(results, output)],
    caption:
      loudest === undefined
        ? ['No click stands out of the noise.']
        : ['The loudest click is that of ', { name: loudest.loop === null ? 'any switch' : `loop ${nameOf(loudest)}` }, ', ', { figure: measuredText(loudest) }, ...(limits[0] === undefined ? [] : [`; the limit is ${limits[0][1].replace(/^≤\s/u, '')}`]), '.'],
    key: 'Peak above 100 Hz, as the level of a sine of that peak. Hair: 95 % interval. Open sign: at most this, none was found.',
    chart: {
      shape: 'dots',
      unit: first.unit,
      rows: shown.map(nameOf),
      dots: shown.map((r, row) => ({ row, sign: 'click', value: r.value!, low: r.value! - (r.uncertainty ?? 0), high: r.value! + (r.uncertainty ?? 0), isBound: r.bound === 'upper' })),
      limits: limits.map(([value]) => ({ value, label: `limit ${threshold(value, false)}` })),
    },
    table: {
      caption: ['Loudest click of each switch, ', ...outputPhrase(results, output)],
      head: ['Switch', 'Peak', 'Limit'],
      rows: shown.map((r) => ({ head: [{ name: nameOf(r) }], cells: [measuredText(r), limitText(r.limit, r.unit) ?? NO_FIGURE] })),
      note: '',
    },
  };
}

/** Distortion against level at one output, a line for each state whose stairs were captured; null where none was. */
export function stairsPlate(results: Results, output: string): Plate | null {
  const records = (results.stairs ?? []).flatMap(({ state, levels }) => levels.filter((l) => l.output === output).map((l) => ({ state, ...l })));
  const order = stateOrder(records.map((r) => r.state));
  const lines = order.map((state) => records.findLast((r) => r.state === state)!);
  const [first] = lines;
  if (first === undefined) return null;
  const headrooms = order.flatMap((state) => results.readings.filter((r) => r.id === 'headroom' && r.output === output && r.state === state && r.value !== null).slice(-1));
  const said = headrooms.map((r): Phrase => [{ figure: measuredText(r) }, ' with ', ...withState(results, r.state)]);
  const limits = [...new Set(headrooms.flatMap((r) => r.limit?.min ?? []))];
  return {
    title: ['Headroom, ', ...outputPhrase(results, output)],
    caption: said.length === 0 ? ['One per cent of harmonics is not reached.'] : ['One per cent of harmonics comes at ', ...listedPhrases(said), '.'],
    key: 'Harmonics of a 997 Hz tone against the level that comes out, one dot for each stair. Hair: 95 % interval. Open triangle: at most this. Across: 1 %. Upright: the level that must be reached before it.',
    chart: {
      shape: 'stairs',
      unit: first.unit,
      lines: lines.map((l, i) => ({
        label: stateLabel(results, l.state), stroke: cycle[i % cycle.length]!, points: l.stairs.map((s) => ({ level: s.level, thdDb: s.thdDb, low: s.lowDb, high: s.highDb })),
      })),
      limits: limits.map((level) => ({ level, label: `limit ${threshold(level, false)}` })),
    },
    table: {
      caption: ['Harmonics against level, ', ...outputPhrase(results, output)],
      head: ['State', `Level, ${first.unit}`, 'Harmonics, dB', '95 % interval'],
      rows: lines.flatMap((l) =>
        l.stairs.map((s) => ({
          head: statePhrase(results, l.state),
          cells: [fixed(s.level, 1), s.thdDb === null ? `<\u00a0${fixed(s.highDb, 1)}` : fixed(s.thdDb, 1), s.lowDb === null ? NO_FIGURE : `${fixed(s.lowDb, 1)} to ${fixed(s.highDb, 1)}`],
        })),
      ),
      note: `${withUnit(fixed(ONE_PERCENT_DB, 0), 'dB')} is 1 %.`,
    },
  };
}
