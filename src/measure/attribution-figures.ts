/**
 * The sources of the noise as readings.
 *
 * @module
 */
import { DB_PER_RELATIVE, meanSquareToDbfs } from '../units/decibels.js';
import { inSentence } from '../units/format.js';
import { NOISE_CLASSES } from './attribution.js';
import type { Attribution, NoiseClass, PowerRange, SourceOfNoise } from './attribution.js';
import { figure, part } from './figure.js';
import type { Figure, Place, UncertaintyPart } from './figure.js';

const NAMES: Readonly<Record<SourceOfNoise['kind'], string>> = { bench: 'the bench', input: 'the input stage', output: 'the output itself', path: 'input stage and output', loop: 'the loop' };
const CLASS_NAMES: Readonly<Record<NoiseClass, string>> = { hiss: 'Hiss', hum: 'Hum', whine: 'Whine' };
/** Where a source's figure stands. */
const STATES: Readonly<Record<SourceOfNoise['kind'], string>> = { bench: 'bench', input: 'rest', output: 'rest', path: 'rest', loop: '' };

/** Many phases together are no longer one that may be any. */
const phasesOf = ({ power, phase, otherPhases }: PowerRange): UncertaintyPart[] => [
  ...(phase > 0 ? [part('method', 'phase at which lines of two sources met', (DB_PER_RELATIVE * phase) / power, { distribution: 'arcsine' })] : []),
  ...(otherPhases > 0 ? [part('method', 'other such phases', (DB_PER_RELATIVE * otherPhases) / power)] : []),
];
const shownDb = (ratio: number): string => (ratio > 0 ? `${inSentence(10 * Math.log10(ratio), 1)} dB` : 'nothing');

/** The sources as readings: `noise.from-loop.hum` and the like, and what `all` shows over the sum of its parts. */
export function attributionFigures(attributions: readonly Attribution[]): Figure[] {
  return attributions.flatMap(({ output, scale, sources, sums, captures }) => {
    const level = (power: number): number => scale.offsetDb + meanSquareToDbfs(power);
    const figures: Figure[] = sources.flatMap(({ kind, loop, parts }) => {
      const place: Place = { state: kind === 'loop' ? `loop-${loop!}` : STATES[kind], source: null, output, loop, capture: captures };
      return NOISE_CLASSES.map((of): Figure => {
        const source = parts[of];
        const { power, low, high } = source;
        const common = { id: `noise.from-${kind}.${of}`, label: `${CLASS_NAMES[of]} from ${NAMES[kind]}`, unit: scale.unit, method: 'noise.sources' };
        if (!(high > 0)) return figure(place, { ...common, value: null, parts: null, uncertaintyReason: 'nothing of it', remarks: ['No capture shows any of it.'] });
        if (!(low > 0)) {
          return figure(place, { ...common, value: level(high), bound: 'upper', parts: [...scale.parts], remarks: ['At most this: the captures are as well explained without it.'] });
        }
        return figure(place, {
          ...common,
          value: level(power),
          parts: [part('fit', 'scatter of the captures it is solved from', (DB_PER_RELATIVE * source.scatter) / power), ...phasesOf(source), ...scale.parts],
        });
      });
    });
    const all = sums.find(({ measured }) => measured !== null);
    if (all) {
      const place: Place = { state: 'all', source: null, output, loop: null, capture: [...captures, 'all.idle'] };
      for (const of of NOISE_CLASSES) {
        const { predicted, measured } = all;
        const common = { id: `noise.over-sum.${of}`, label: `${CLASS_NAMES[of]} with every loop in, over the sum of its sources`, unit: 'dB', method: 'noise.sources' };
        const [p, m] = [predicted[of], measured![of]];
        if (!(p.power > 0) || !(m.power > 0)) {
          figures.push(figure(place, { ...common, value: null, parts: null, uncertaintyReason: 'nothing to compare', remarks: ['There is none of it in the sum, or in the capture.'] }));
          continue;
        }
        const range = of === 'hiss' ? [] : [`Lines of one origin add up to ${shownDb(p.high / p.power)}, or cancel to ${shownDb(p.low / p.power)}, as their phases have it.`];
        figures.push(
          figure(place, {
            ...common,
            value: 10 * Math.log10(m.power / p.power),
            parts: [
              part('fit', 'scatter of the sum', (DB_PER_RELATIVE * p.scatter) / p.power),
              ...phasesOf(p),
              part('spectral statistics', 'scatter of the capture', (DB_PER_RELATIVE * m.scatter) / m.power),
            ],
            remarks: [...range, ...(all.interacts![of] ? ['More apart than both can be wrong: the loops interact.'] : [])],
          }),
        );
      }
    }
    return figures;
  });
}
