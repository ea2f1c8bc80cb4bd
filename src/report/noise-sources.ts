/**
 * Where the noise at an output comes from, part by part.
 *
 * @module
 */
import type { LevelRange, NoiseAttribution, NoiseParts, NoiseSource, Results } from '../judge/results.js';
import { NBSP, fixed, withUnit } from './numbers.js';
import { NO_FIGURE, type PlainTable } from './plain-table.js';
import { type Phrase, loopName, outputPhrase } from './words.js';

const KIND_WORDS = { bench: 'The bench itself', input: 'Input stage', output: 'Output stage', path: 'Input and output stage together' } as const;

const rangeText = ({ level, low, high }: LevelRange): string => {
  if (level === null) return high === null ? NO_FIGURE : `<${NBSP}${fixed(high, 1)}`;
  if (low === null) return high === null ? fixed(level, 1) : `≤${NBSP}${fixed(high, 1)}`;
  return high === null ? fixed(level, 1) : `${fixed(level, 1)} (${fixed(low, 1)} to ${fixed(high, 1)})`;
};
const cellsOf = ({ hiss, hum, whine, total }: NoiseParts): string[] => [hiss, hum, whine, total].map(rangeText);

/** A part of the board, or the bench, at the start of a row. */
export const sourceWordsOf = (results: Results, source: NoiseSource): Phrase =>
  source.kind === 'loop' ? ['Loop ', { name: loopName(results, source.loop ?? '') }] : [KIND_WORDS[source.kind]];

/** One table for each output; none in files of earlier versions. */
export function noiseSources(results: Results, output: string): PlainTable | null {
  const found = results.attribution?.find((a) => a.output === output);
  if (found === undefined || found.sources.length === 0) return null;
  return {
    caption: ['Where the noise comes from, ', ...outputPhrase(results, output), `: what each part adds, ${withUnit('in', found.unit)}, 20 Hz–20 kHz`],
    head: ['Part', 'Hiss', 'Hum', 'Whine', 'Together'],
    rows: [
      ...found.sources.map((s) => ({ head: sourceWordsOf(results, s), cells: cellsOf(s.parts) })),
      ...found.sums.flatMap((s) => sumRows(results, s)),
    ],
    note: ['In brackets: the 95 % interval. Powers of the parts by least squares over the idle captures, none below nothing.', ...found.remarks].join(' '),
  };
}

/** `every loop in`, `every loop in but comp`, `comp and eq in`. */
function loopsIn(results: Results, ids: readonly string[]): Phrase {
  const out = results.board.loops.filter(({ id }) => !ids.includes(id));
  if (out.length === 0) return ['every loop in'];
  if (out.length === 1) return ['every loop in but ', { name: loopName(results, out[0]!.id) }];
  return [...ids.flatMap((id, i): Phrase => [i === 0 ? '' : i === ids.length - 1 ? ' and ' : ', ', { name: loopName(results, id) }]), ' in'];
}

function sumRows(results: Results, sum: NoiseAttribution['sums'][number]): PlainTable['rows'] {
  const name = loopsIn(results, sum.loops);
  const clash = sum.interacts === null ? [] : (['hiss', 'hum', 'whine'] as const).filter((k) => sum.interacts![k]);
  return [
    { head: ['Sum of the parts, ', ...name], cells: cellsOf(sum.predicted) },
    ...(sum.measured === null ? [] : [{ head: ['Measured, ', ...name, ...(clash.length === 0 ? [] : [`: differs in ${clash.join(' and ')}`])] as Phrase, cells: cellsOf(sum.measured) }]),
  ];
}
