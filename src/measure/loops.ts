/**
 * What a loop does when it is switched in: its take and its noise against those with every loop out.
 *
 * @module
 */
import type { Bench, Board, Loop } from '../board/model.js';
import { DB_PER_RELATIVE, meanSquareToDbfs } from '../units/decibels.js';
import { frequencyText } from '../units/format.js';
import { levelScale } from './calibration.js';
import type { LevelScale } from './calibration.js';
import { figure, part } from './figure.js';
import type { Figure, Place } from './figure.js';
import { gridRange } from './frequency-grid.js';
import type { IdleEstimate } from './idle.js';
import { leastHumAdded } from './mains-lines.js';
import { fitPhaseLine, noSignal, thirdOctaveRatios, worstBand } from './match.js';
import { octaveSlope } from './octave-slope.js';
import { BAND_METHOD_PART, LEAST_OVER_NOISE, METHOD_PART, meanNoise, meanPower, ratio } from './response.js';
import type { ResponseEstimate, TakeEstimate } from './take.js';
import { droopFigures } from './tone-loss.js';

/** A loop through which the signal is weaker than this is as good as not there, dB: what is left says how it was lost. */
const BARELY_HEARD_DB = -20;

const GAIN_LABEL = 'Gain of the loop, in against out, 200 Hz–5 kHz';

interface Estimates {
  readonly takeOf: (id: string) => readonly TakeEstimate[] | null;
  readonly idleOf: (id: string) => readonly IdleEstimate[] | null;
}

/** Readings per loop, on every output. */
export function loopFigures(board: Board, bench: Bench, { takeOf, idleOf }: Estimates): Figure[] {
  return board.loops.flatMap((loop) => {
    const state = `loop-${loop.id}`;
    const at = (i: number, source: string | null, ...steps: readonly string[]): Place => ({ state, source, output: bench.inputs[i]!.output, loop: loop.id, capture: steps });
    const figures: Figure[] = [];
    const [take, rest] = [takeOf(`${state}.take`), takeOf('rest.take')];
    const [idle, quiet] = [idleOf(`${state}.idle`), idleOf('rest.idle')];
    bench.inputs.forEach((_, i) => {
      if (take && rest) figures.push(...inAgainstOut(at(i, null, `${state}.take`, 'rest.take'), ratio(take[i]!.response, rest[i]!.response), loop));
      for (const { id } of bench.plugs) {
        const [plugged, out] = [takeOf(`${state}+${id}.take`), takeOf(`rest+${id}.take`)];
        if (plugged && out) figures.push(...addedDroop(at(i, id, `${state}+${id}.take`, `rest+${id}.take`), ratio(plugged[i]!.response, out[i]!.response)));
      }
      if (!idle || !quiet) return;
      const place = at(i, null, `${state}.idle`, 'rest.idle');
      figures.push(...noiseChange(place, idle[i]!, quiet[i]!), ...humAdded(place, idle[i]!, quiet[i]!, board.mainsHz, take && rest ? ratio(take[i]!.response, rest[i]!.response) : null, levelScale(bench.inputs[i]!)));
    });
    return figures;
  });
}

/** Polarity of one response against another, as a reading. */
export function polarityFigure(place: Place, id: string, label: string, r: ResponseEstimate): Figure {
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

/** A-weighted noise with the loop in over that with every loop out, the bench's own in both: a short makes it fall. */
function noiseChange(place: Place, idle: IdleEstimate, quiet: IdleEstimate): Figure[] {
  const [inLoop, out] = [idle.spectrum?.aWeighted, quiet.spectrum?.aWeighted];
  if (!inLoop || !out || !(inLoop.power > 0) || !(out.power > 0)) return [];
  const scatter = [inLoop, out].map((p, k) =>
    part('spectral statistics', `spectral statistics, loop ${k === 0 ? 'in' : 'out'}`, DB_PER_RELATIVE * p.relativeUncertainty, { degreesOfFreedom: p.degreesOfFreedom ?? null }),
  );
  return [figure(place, { id: 'loop.noise-change', label: 'A-weighted noise, loop in against out', value: 10 * Math.log10(inLoop.power / out.power), unit: 'dB', method: 'loop.noise-change', parts: scatter })];
}

/** Where hum is; a loop's gain there says what it does to hum that stands before it. */
const HUM_BAND_HZ = [60, 1000] as const;

/** The least hum that the loop itself must add, whatever its phase against what is there with it out. */
function humAdded(place: Place, idle: IdleEstimate, quiet: IdleEstimate, mainsHz: number, r: ResponseEstimate | null, scale: LevelScale): Figure[] {
  if (!idle.spectrum || !quiet.spectrum) return [];
  const [first, last] = gridRange(...HUM_BAND_HZ);
  let gainChange = 0;
  if (r) for (let k = first; k <= last; k++) gainChange = Math.max(gainChange, Math.hypot(r.curve.re[k]! - 1, r.curve.im[k]!));
  const power = leastHumAdded(idle.spectrum, quiet.spectrum, mainsHz, gainChange);
  if (!(power > 0)) return [];
  const remarks = ['Harmonic by harmonic, at whatever phase: the loop adds at least this, and may add more.'];
  return [figure(place, { id: 'loop.hum', label: 'Hum that the loop itself adds', value: scale.offsetDb + meanSquareToDbfs(power), unit: scale.unit, bound: 'lower', method: 'loop.hum', parts: [...scale.parts], remarks })];
}

const DROOPS = [
  { id: 'loop.droop.5k', from: 'droop.5k', label: 'Droop that the loop adds at 5 kHz' },
  { id: 'loop.droop.10k', from: 'droop.10k', label: 'Droop that the loop adds at 10 kHz' },
  { id: 'loop.droop.20k', from: 'droop.20k', label: 'Droop that the loop adds at 20 kHz' },
];

function addedDroop(place: Place, r: ResponseEstimate): Figure[] {
  const figures = droopFigures(place, r, []);
  return DROOPS.flatMap(({ id, from, label }) => figures.filter((f) => f.id === from).map((f) => ({ ...f, id, label, method: 'loop.gain' })));
}

/** How what is left through a loop rises: where a conductor has parted, or past a short. */
function slopeFigure(place: Place, r: ResponseEstimate): Figure[] {
  const slope = octaveSlope(r);
  return slope ? [figure(place, { id: 'loop.slope', label: 'Slope of what is left through the loop', value: slope.dbPerOctave, unit: 'dB/octave', method: 'loop.slope', parts: [slope.part] })] : [];
}

function inAgainstOut(place: Place, r: ResponseEstimate, { expect }: Loop): Figure[] {
  const { power, relativeUncertainty } = meanPower(r, 200, 5000);
  const bands = thirdOctaveRatios(r);
  if (!(power > 0) || !Number.isFinite(power) || bands.length === 0) {
    return noSignal(place, ['loop.gain', 'loop.worst-band', 'loop.polarity'], 'The loop, in against out');
  }
  const level = 10 * Math.log10(power);
  if (power < LEAST_OVER_NOISE * meanNoise(r, 200, 5000)) {
    return [figure(place, { id: 'loop.gain', label: GAIN_LABEL, value: level, unit: 'dB', bound: 'upper', method: 'loop.gain', remarks: ['Nothing of the sweep stands out of the noise: at most this comes through.'] })];
  }
  const { band: furthest, standard: furthestStandard } = worstBand(bands, 0);
  const { band: worst, standard: worstStandard } = worstBand(bands, level);
  return [
    figure(place, {
      id: 'loop.gain',
      label: GAIN_LABEL,
      value: level,
      unit: 'dB',
      method: 'loop.gain',
      parts: [part('spectral statistics', 'noise in the sweep', DB_PER_RELATIVE * relativeUncertainty), BAND_METHOD_PART],
    }),
    figure(place, {
      id: 'loop.worst-band',
      label: `Response of the loop, worst third-octave (${frequencyText(worst.nominalHz)}) from its gain`,
      value: worst.db - level,
      unit: 'dB',
      method: 'loop.gain',
      parts: [part('spectral statistics', 'noise in the sweep, in the worst of the bands', Math.hypot(worstStandard, DB_PER_RELATIVE * relativeUncertainty)), METHOD_PART],
    }),
    ...(expect === 'unity'
      ? [
          figure(place, {
            id: 'loop.unity-error',
            label: `Error of unity, worst third-octave (${frequencyText(furthest.nominalHz)})`,
            value: furthest.db,
            unit: 'dB',
            method: 'loop.gain',
            parts: [part('spectral statistics', 'noise in the sweep, in the worst of the bands', furthestStandard), METHOD_PART],
          }),
        ]
      : []),
    polarityFigure(place, 'loop.polarity', 'Polarity of the loop, in against out', r),
    ...(level < BARELY_HEARD_DB ? slopeFigure(place, r) : addedDroop(place, r)),
  ];
}
