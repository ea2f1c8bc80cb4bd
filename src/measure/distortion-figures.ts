/**
 * Readings of distortion from the tone of a take: harmonics, and everything that is not the tone.
 *
 * @module
 */
import { DB_PER_RELATIVE, powerToDb } from '../units/decibels.js';
import { BESIDE_DEGREES_OF_FREEDOM, NOTCH_Q } from './distortion.js';
import type { ResidualEstimate } from './distortion.js';
import { figure, part, phasePart } from './figure.js';
import type { Figure, Place, UncertaintyPart } from './figure.js';
import type { ToneEstimate } from './take.js';

/** Power ratio to the bench's own residual below which too little of the board is left: 3 dB. */
const LEAST_OVER_BENCH = 10 ** 0.3;

/** All distortion readings of one output. `bench` is the tone of the interface looped to itself, heard by the same input. */
export function distortionFigures(place: Place, tone: ToneEstimate, bench: ToneEstimate | null): Figure[] {
  return [thdFigure(place, tone, bench), ...RESIDUAL_READINGS.map((r) => residualFigure(place, r, tone, bench))];
}

function thdFigure(place: Place, tone: ToneEstimate, bench: ToneEstimate | null): Figure {
  const common = { id: 'thd', label: 'Total harmonic distortion, 997 Hz', unit: 'dB', method: 'take.thd' };
  const fundamental = tone.amplitude ** 2;
  const { harmonicSquares: squares, harmonicSquaresUncertainty: u } = tone;
  if (squares < 3 * u) {
    return figure(place, { ...common, value: powerToDb((Math.max(0, squares) + 2 * u) / fundamental), bound: 'upper', remarks: ['No harmonic stands out of the noise; the value is the most that could hide in it.'] });
  }
  // Distortions of bench and board add as voltages of unknown phase: only well above the bench's is it the board's.
  const ofBench = bench && bench.harmonicSquares > 0 ? bench.harmonicSquares / bench.amplitude ** 2 : 0;
  if (squares / fundamental < 4 * ofBench) {
    const parts = [noisePart('noise beside the harmonics', u / squares)];
    return figure(place, { ...common, value: powerToDb(squares / fundamental), parts, bound: 'upper', benchLimited: true, remarks: ['Within 6 dB of the bench’s own distortion: the board has at most this.'] });
  }
  // |h + b|² is h² + b² in the mean over all phases, and scatters by √2·h·b about it.
  const own = squares - ofBench * fundamental;
  const phases = bench
    ? tone.harmonics.reduce((s, a, i) => {
        const b2 = ((bench.harmonics[i] ?? 0) / bench.amplitude) ** 2 * fundamental;
        return s + 2 * (a * a + b2) * b2;
      }, 0)
    : 0;
  return figure(place, {
    ...common,
    value: powerToDb(own / fundamental),
    parts: [
      noisePart('noise beside the harmonics', u / own),
      ...(bench ? [phasePart('phase between harmonics of bench and board', Math.sqrt(phases) / own)] : []),
    ],
  });
}

const noisePart = (name: string, relative: number): UncertaintyPart => part('spectral statistics', name, DB_PER_RELATIVE * relative, { degreesOfFreedom: BESIDE_DEGREES_OF_FREEDOM });

interface ResidualReading {
  readonly id: string;
  readonly label: string;
  readonly method: string;
  readonly key: keyof ResidualEstimate;
  /** `ratio`: residual over the whole signal. `inverse`: tone over residual. */
  readonly as: 'ratio' | 'inverse';
}

const RESIDUAL_READINGS: readonly ResidualReading[] = [
  { id: 'thd-n', label: 'THD+N, 997 Hz, FFT rule of IEC 61606-2', method: 'take.thd-n', key: 'apart', as: 'ratio' },
  { id: 'thd-n.notch', label: `THD+N, 997 Hz, notch of AES17 with Q = ${NOTCH_Q}`, method: 'take.thd-n.notch', key: 'notched', as: 'ratio' },
  { id: 'sinad', label: 'SINAD, 997 Hz', method: 'take.sinad', key: 'whole', as: 'inverse' },
];

function residualFigure(place: Place, { id, label, method, key, as }: ResidualReading, tone: ToneEstimate, bench: ToneEstimate | null): Figure {
  const common = { id, label, unit: 'dB', method };
  const read = tone.residual?.[key] ?? null;
  if (!read || !tone.residual || !(read.power > 0)) {
    return figure(place, { ...common, value: null, parts: null, uncertaintyReason: 'nothing but the tone', remarks: ['Nothing but the tone was heard.'] });
  }
  const tonePower = tone.amplitude ** 2 / 2;
  const valueOf = (power: number): number => (as === 'ratio' ? powerToDb(power / (tonePower + tone.residual!.whole.power)) : powerToDb(tonePower / power));
  const inDb = (absolute: number, power: number): number => (DB_PER_RELATIVE * absolute) / power;
  const own = read.power * read.relativeUncertainty;
  const inBench = bench?.residual?.[key] ?? null;
  if (!bench || !inBench) {
    const remarks = place.state === 'bench' ? [] : ['The bench’s own noise and distortion are in it: there is no bench.take to take them off.'];
    return figure(place, { ...common, value: valueOf(read.power), parts: [part('spectral statistics', 'noise in the residual', inDb(own, read.power))], remarks });
  }
  // What the generator adds passes the board and what the recorder adds does not: the bench's share lies between these two.
  const through = inBench.power * (tone.amplitude / bench.amplitude) ** 2;
  const [least, most] = [Math.min(inBench.power, through), Math.max(inBench.power, through)];
  if (read.power < LEAST_OVER_BENCH * most) {
    return figure(place, {
      ...common,
      value: valueOf(read.power),
      bound: as === 'ratio' ? 'upper' : 'lower',
      benchLimited: true,
      parts: [part('spectral statistics', 'noise in the residual', inDb(own, read.power))],
      remarks: [`Less than 3 dB above the bench’s own: the board has at ${as === 'ratio' ? 'most' : 'least'} this.`],
    });
  }
  const share = (least + most) / 2;
  const power = read.power - share;
  // Noises add as powers. Harmonics add as voltages of unknown phase: |h + b|² scatters by √2·h·b. The board's own h is not known, only
  // the sum a; over all phases its square is a² + b² in the mean.
  const phases = tone.harmonics.reduce((s, a, i) => {
    const b2 = ((bench.harmonics[i] ?? 0) ** 2 * share) / inBench.power;
    return s + ((a * a + b2) * b2) / 2;
  }, 0);
  return figure(place, {
    ...common,
    value: valueOf(power),
    parts: [
      part('spectral statistics', 'noise in the residual', inDb(own, power)),
      part('bench floor', 'bench’s residual taken off', inDb(share * inBench.relativeUncertainty, power)),
      phasePart('phase between harmonics of bench and board', Math.sqrt(phases) / power),
      // Anywhere between the two: half the width over √3.
      part('bench floor', 'how much of the bench’s residual passed the board', inDb((most - least) / 2 / Math.sqrt(3), power), { evaluation: 'B', distribution: 'rectangular' }),
    ],
  });
}
