/**
 * Distortion against frequency, from the sweep of a take: the harmonics of every played frequency, in bands of a sixth of an octave.
 *
 * @module
 */
import type { SweepReference } from '../numerics/deconvolution.js';
import { linearResponse } from '../numerics/deconvolution.js';
import { harmonicResponses } from '../numerics/sweep-harmonics.js';
import { SWEEP_RATE_S } from '../signals/sweep.js';
import { powerToDb } from '../units/decibels.js';
import type { DistortionCurve } from './curve.js';
import type { Place } from './figure.js';

/** Harmonics up to this order. */
const HIGHEST = 5;
const POINTS = 8;
/** Middles of the bands, Hz: from 20 Hz to where the second harmonic reaches 20 kHz. */
const BANDS_HZ: readonly number[] = Array.from({ length: 53 }, (_, i) => 20 * 2 ** ((i + 0.5) / 6));
const PLAYED_HZ = Float64Array.from(BANDS_HZ.flatMap((middle) => Array.from({ length: POINTS }, (_, j) => middle * 2 ** ((j + 0.5) / POINTS / 6 - 1 / 12))));
/** Harmonics are heard up to here, Hz. */
const HEARD_TO_HZ = 20_000;
/** How far the density of the noise, read from silences of a second, may be from that under the sweep, relative. */
const OF_NOISE = 0.2;
/** In standard uncertainties: what is less is a bound. */
const STANDS_OUT = 3;

/** One harmonic over the bands, as power against that of the fundamental that came out. */
export interface HarmonicLevels {
  /** 2 is the second harmonic. */
  readonly order: number;
  /** Mean power, the noise taken off; may be below zero. NaN where the harmonic is beyond 20 kHz or the sweep. */
  readonly power: Float64Array;
  /** Its variance. */
  readonly variance: Float64Array;
}

/**
 * Harmonics of one channel.
 *
 * Each played frequency gives |r|² with r the harmonic over the fundamental, noise of mean power N in it; the mean of K independent ones less
 * N scatters by (N² + 2·S·N)/K, S the harmonic's own. K is the width of the band at the harmonic times the length of the window it was cut out with.
 *
 * @param h - impulse response of the recording.
 * @param density - one-sided density of the noise in the recording, (full scale)²/Hz.
 */
export function harmonicLevels(h: Float64Array, reference: SweepReference, density: (hz: number) => number): HarmonicLevels[] {
  const { re, im } = linearResponse(h, reference, PLAYED_HZ).response;
  return harmonicResponses(h, reference, SWEEP_RATE_S, PLAYED_HZ, HIGHEST).map(({ order, response, noiseGain, windowS }) => {
    const power = new Float64Array(BANDS_HZ.length).fill(NaN);
    const variance = new Float64Array(BANDS_HZ.length).fill(NaN);
    BANDS_HZ.forEach((middle, band) => {
      if (order * middle * 2 ** (1 / 12) > HEARD_TO_HZ) return;
      let [heard, noise] = [0, 0];
      for (let i = band * POINTS; i < (band + 1) * POINTS; i++) {
        const fundamental = re[i]! ** 2 + im[i]! ** 2;
        heard += (response.re[i]! ** 2 + response.im[i]! ** 2) / fundamental / POINTS;
        noise += (noiseGain[i]! * density(order * PLAYED_HZ[i]!)) / fundamental / POINTS;
      }
      const independent = Math.max(1, Math.min(POINTS, order * middle * (2 ** (1 / 12) - 2 ** (-1 / 12)) * windowS));
      power[band] = heard - noise;
      variance[band] = (noise ** 2 + 2 * Math.max(0, heard - noise) * noise) / independent + (OF_NOISE * noise) ** 2;
    });
    return { order, power, variance };
  });
}

/** Several takes of one step: powers averaged. */
export const joinHarmonics = (takes: readonly (readonly HarmonicLevels[])[]): HarmonicLevels[] =>
  takes[0]!.map(({ order, power }, k) => ({
    order,
    power: power.map((_, band) => takes.reduce((sum, t) => sum + t[k]!.power[band]!, 0) / takes.length),
    variance: power.map((_, band) => takes.reduce((sum, t) => sum + t[k]!.variance[band]!, 0) / takes.length ** 2),
  }));

/** Curves to draw: all harmonics up to the fifth and 20 kHz together, then the second and the third. */
export function distortionCurves(place: Place, harmonics: readonly HarmonicLevels[], label: string): DistortionCurve[] {
  const sum = (of: (h: HarmonicLevels) => Float64Array): Float64Array =>
    Float64Array.from(BANDS_HZ, (_, band) => harmonics.map((h) => of(h)[band]!).filter(Number.isFinite).reduce((total, v) => total + v, 0));
  const [second, third] = [2, 3].map((order) => harmonics.find((h) => h.order === order)!) as [HarmonicLevels, HarmonicLevels];
  return [
    curveOf('distortion', place, 'Harmonics 2 to 5', label, { power: sum((h) => h.power), variance: sum((h) => h.variance) }),
    curveOf('harmonic-2', place, 'Second harmonic', label, second),
    curveOf('harmonic-3', place, 'Third harmonic', label, third),
  ];
}

function curveOf(kind: DistortionCurve['kind'], place: Place, name: string, label: string, { power, variance }: Pick<HarmonicLevels, 'power' | 'variance'>): DistortionCurve {
  const bands = BANDS_HZ.flatMap((hz, band) => {
    const [own, standard] = [power[band]!, Math.sqrt(variance[band]!)];
    const high = Math.max(0, own) + 2 * standard;
    if (!(high > 0)) return [];
    const stands = own >= STANDS_OUT * standard;
    return [{ hz, db: stands ? powerToDb(own) : null, low: stands ? powerToDb(own - 2 * standard) : null, high: powerToDb(high) }];
  });
  return {
    id: `${kind}/${place.state}/${place.output ?? ''}`,
    kind,
    label: `${name}, ${label}`,
    state: place.state,
    source: place.source,
    output: place.output,
    loop: place.loop,
    x: { label: 'Frequency played', unit: 'Hz', values: bands.map((b) => b.hz) },
    y: { label: `${name}, against the fundamental`, unit: 'dB', values: bands.map((b) => b.db) },
    low: bands.map((b) => b.low),
    high: bands.map((b) => b.high),
    peak: null,
    marks: [],
    capture: place.capture,
  };
}
