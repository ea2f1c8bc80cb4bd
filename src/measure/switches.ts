/**
 * Do the switches of the outputs do what they say, and no more? A polarity switch inverts the signal and leaves level and
 * the other outputs alone; a ground lift changes hum and nothing else.
 *
 * @module
 */
import type { Bench, Board } from '../board/model.js';
import { DB_PER_RELATIVE } from '../units/decibels.js';
import { figure, part } from './figure.js';
import type { Figure, Place } from './figure.js';
import type { IdleEstimate } from './idle.js';
import { polarityFigure } from './loops.js';
import { fitPhaseLine } from './match.js';
import { BAND_METHOD_PART, LEAST_OVER_NOISE, meanNoise, meanPower, ratio } from './response.js';
import type { ResponseEstimate, TakeEstimate } from './take.js';

interface Estimates {
  readonly takeOf: (id: string) => readonly TakeEstimate[] | null;
  readonly idleOf: (id: string) => readonly IdleEstimate[] | null;
}

/** Readings per switch, on the output that it belongs to. */
export function switchFigures(board: Board, bench: Bench, { takeOf, idleOf }: Estimates): Figure[] {
  const rest = takeOf('rest.take');
  const quiet = idleOf('rest.idle');
  return board.outputs.flatMap((output) => {
    const i = bench.inputs.findIndex((input) => input.output === output.id);
    if (i < 0) return [];
    const [inverted, lifted, idle] = [takeOf(`invert-${output.id}.take`), takeOf(`lift-${output.id}.take`), idleOf(`lift-${output.id}.idle`)];
    const at = (state: string, kind: string): Place => ({ state, source: null, output: output.id, loop: null, capture: [`${state}.${kind}`, `rest.${kind}`] });
    const figures: Figure[] = [];
    if (inverted && rest) {
      const place = at(`invert-${output.id}`, 'take');
      const change = bench.inputs.map((_, k) => ratio(inverted[k]!.response, rest[k]!.response));
      figures.push(
        polarityFigure(place, 'switch.polarity', 'Polarity with the switch inverted, against at rest', change[i]!),
        ...levelChange(place, 'switch.level', 'Level with the polarity switch inverted, against at rest', change[i]!),
        ...othersFigure(place, change.filter((_, k) => bench.inputs[k]!.output !== output.id)),
      );
    }
    if (lifted && rest) figures.push(...levelChange(at(`lift-${output.id}`, 'take'), 'lift.level', 'Level with the ground lift engaged, against without', ratio(lifted[i]!.response, rest[i]!.response)));
    if (idle && quiet) figures.push(...humChange(at(`lift-${output.id}`, 'idle'), idle[i]!, quiet[i]!));
    return figures;
  });
}

function levelChange(place: Place, id: string, label: string, change: ResponseEstimate): Figure[] {
  const { power, relativeUncertainty } = meanPower(change, 200, 5000);
  if (!(power > 0) || !Number.isFinite(power)) return [];
  const isNoise = power < LEAST_OVER_NOISE * meanNoise(change, 200, 5000);
  return [
    figure(place, {
      id,
      label: `${label}, 200 Hz–5 kHz`,
      value: 10 * Math.log10(power),
      unit: 'dB',
      bound: isNoise ? 'upper' : null,
      method: 'switch.level',
      parts: [part('spectral statistics', 'noise in the sweep', DB_PER_RELATIVE * relativeUncertainty), BAND_METHOD_PART],
    }),
  ];
}

/** +1 where every other output keeps its polarity, −1 where one of them is inverted. */
function othersFigure(place: Place, others: readonly ResponseEstimate[]): Figure[] {
  if (others.length === 0) return [];
  const signs = others.map((r) => fitPhaseLine(r)?.polarity ?? null);
  const value = signs.includes(-1) ? -1 : signs.includes(null) ? null : 1;
  return [
    figure(place, {
      id: 'switch.others',
      label: 'Polarity of the other outputs with the switch inverted, against at rest',
      value,
      unit: 'sign',
      method: 'match.delay',
      parts: null,
      uncertaintyReason: 'a sign has none; it is given only where the phase is within 45° of it',
      remarks: value === null ? ['The phase of another output fits neither polarity.'] : [],
    }),
  ];
}

/** Hum with the lift engaged over that without it, as power, the bench's own in both; where neither shows a line there is nothing to compare. */
function humChange(place: Place, idle: IdleEstimate, quiet: IdleEstimate): Figure[] {
  const [lifted, out] = [idle.spectrum, quiet.spectrum];
  if (!lifted || !out || (lifted.humIsBound && out.humIsBound) || !(lifted.hum.power > 0) || !(out.hum.power > 0)) return [];
  const bound = lifted.humIsBound ? ('upper' as const) : out.humIsBound ? ('lower' as const) : null;
  return [
    figure(place, {
      id: 'lift.hum',
      label: 'Hum with the ground lift engaged, against without',
      value: 10 * Math.log10(lifted.hum.power / out.hum.power),
      unit: 'dB',
      bound,
      method: 'lift.hum',
      parts: [lifted.hum, out.hum].map((p, k) => part('spectral statistics', `spectral statistics, lift ${k === 0 ? 'engaged' : 'off'}`, DB_PER_RELATIVE * p.relativeUncertainty, { degreesOfFreedom: p.degreesOfFreedom ?? null })),
    }),
  ];
}
