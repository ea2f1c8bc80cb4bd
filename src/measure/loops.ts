/**
 * What a loop does when it is switched in: its take against the take with every loop out; and what the polarity
 * switch of an output does.
 *
 * @module
 */
import type { Bench, Board } from '../board/model.js';
import { figure, part } from './figure.js';
import type { Figure, Place } from './figure.js';
import { fitPhaseLine, noSignal, thirdOctaveRatios } from './match.js';
import { METHOD_PART, meanPower, ratio } from './response.js';
import type { ResponseEstimate, TakeEstimate } from './take.js';

const DB_PER_RELATIVE = 10 / Math.LN10;

/** Readings per loop and per polarity switch, on every output. */
export function loopFigures(board: Board, bench: Bench, takeOf: (id: string) => readonly TakeEstimate[] | null): Figure[] {
  const rest = takeOf('rest.take');
  if (!rest) return [];
  const figures: Figure[] = [];
  for (const loop of board.loops) {
    const take = takeOf(`loop-${loop.id}.take`);
    if (!take) continue;
    bench.inputs.forEach((input, i) => {
      const place = { state: `loop-${loop.id}`, source: null, output: input.output, loop: loop.id, capture: [`loop-${loop.id}.take`, 'rest.take'] };
      figures.push(...inAgainstOut(place, ratio(take[i]!.response, rest[i]!.response)));
    });
  }
  for (const output of board.outputs) {
    const take = takeOf(`invert-${output.id}.take`);
    const i = bench.inputs.findIndex((input) => input.output === output.id);
    if (!take || i < 0) continue;
    const place = { state: `invert-${output.id}`, source: null, output: output.id, loop: null, capture: [`invert-${output.id}.take`, 'rest.take'] };
    figures.push(sign(place, 'switch.polarity', 'Polarity with the switch over, against the switch at rest', ratio(take[i]!.response, rest[i]!.response)));
  }
  return figures;
}

function sign(place: Place, id: string, label: string, r: ResponseEstimate): Figure {
  const polarity = fitPhaseLine(r)?.polarity ?? null;
  return figure(place, {
    id,
    label,
    value: polarity,
    unit: 'sign',
    method: 'match.delay',
    parts: null,
    uncertaintyReason: 'a sign has none; it is given only where the phase is within 45° of it',
    remarks: polarity === null ? ['The phase fits neither polarity.'] : [],
  });
}

function inAgainstOut(place: Place, r: ResponseEstimate): Figure[] {
  const { power, relativeUncertainty } = meanPower(r, 200, 5000);
  const bands = thirdOctaveRatios(r);
  if (!(power > 0) || !Number.isFinite(power) || bands.length === 0) {
    return noSignal(place, ['loop.gain', 'loop.worst-band', 'loop.polarity'], 'The loop, in against out');
  }
  const level = 10 * Math.log10(power);
  const worst = bands.reduce((w, b) => (Math.abs(b.db - level) > Math.abs(w.db - level) ? b : w), bands[0]!);
  return [
    figure(place, {
      id: 'loop.gain',
      label: 'Gain of the loop, in against out, 200 Hz–5 kHz',
      value: level,
      unit: 'dB',
      method: 'loop.gain',
      parts: [part('spectral statistics', 'noise in the sweep', DB_PER_RELATIVE * relativeUncertainty), METHOD_PART],
    }),
    figure(place, {
      id: 'loop.worst-band',
      label: `Response of the loop, worst third-octave (${worst.nominalHz} Hz) from its gain`,
      value: worst.db - level,
      unit: 'dB',
      method: 'loop.gain',
      parts: [part('spectral statistics', 'noise in the sweep', Math.hypot(worst.uncertainty, DB_PER_RELATIVE * relativeUncertainty)), METHOD_PART],
    }),
    sign(place, 'loop.polarity', 'Polarity of the loop, in against out', r),
  ];
}
