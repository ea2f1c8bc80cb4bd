/**
 * Do two outputs agree? Level, worst third-octave, polarity and delay between the responses of one take.
 *
 * @module
 */
import { normalCdf, normalQuantile } from '../numerics/statistics.js';
import { thirdOctavesWithin } from '../numerics/third-octave.js';
import { DB_PER_RELATIVE } from '../units/decibels.js';
import { frequencyText } from '../units/format.js';
import type { Curve } from './curve.js';
import { figure, part } from './figure.js';
import type { Figure, Place, UncertaintyPart } from './figure.js';
import { GRID_HZ, gridRange } from './frequency-grid.js';
import { BAND_METHOD_PART, METHOD_DB, METHOD_PART, isMeasured, magnitudeDb, magnitudeDbUncertainty, meanPower } from './response.js';
import type { ResponseEstimate } from './take.js';

/** Band of the level match and of polarity. */
const LEVEL_LOW_HZ = 200;
const LEVEL_HIGH_HZ = 5000;
/**
 * What the method leaves of the phase between two outputs of one take, rad: 3e-6 on closed forms. Between two takes the clocks, each
 * found anew, differ by more; that bends the phase, and is seen in the misfit of the line.
 */
const PHASE_METHOD_RAD = 3e-5;

export interface PhaseLine {
  /** Delay of the first against the second, seconds; positive is later. */
  readonly delayS: number;
  readonly delayUncertaintyS: number;
  /** +1 same polarity, −1 inverted, null where the phase is near neither. */
  readonly polarity: 1 | -1 | null;
  /** Phase at frequency zero of the straight line, radians, before it is called polarity. */
  readonly interceptRad: number;
}

/**
 * Delay and polarity from the phase of a ratio of responses: a straight line φ = φ0 − 2πfτ by weighted least squares,
 * 500 Hz to 12 kHz. The free intercept keeps the constant phase of a transformer or an all-pass out of the delay; the
 * multiple of π it is nearest to is the polarity.
 */
export function fitPhaseLine(r: ResponseEstimate): PhaseLine | null {
  const [first, last] = gridRange(500, 12000);
  const f: number[] = [];
  const phase: number[] = [];
  const variances: number[] = [];
  const weight: number[] = [];
  let previous = 0;
  for (let i = first; i <= last; i++) {
    if (!isMeasured(r, i) || !(Math.hypot(r.curve.re[i]!, r.curve.im[i]!) > 0)) continue;
    const hz = GRID_HZ[i]!;
    // The bulk of the delay is taken out first, so that the phase does not turn between points.
    const raw = Math.atan2(r.curve.im[i]!, r.curve.re[i]!) + 2 * Math.PI * hz * r.peakLagS;
    const turned: number = f.length === 0 ? raw - 2 * Math.PI * Math.round(raw / (2 * Math.PI)) : raw + 2 * Math.PI * Math.round((previous - raw) / (2 * Math.PI));
    previous = turned;
    f.push(hz);
    phase.push(turned);
    const square = r.curve.re[i]! ** 2 + r.curve.im[i]! ** 2;
    // Half of the complex error lies across the phase. Points stand for a stretch of frequency in proportion to f.
    const variance = r.variance[i]! / 2 / square + PHASE_METHOD_RAD ** 2;
    variances.push(variance);
    weight.push(hz / 1000 / variance);
  }
  if (f.length < 10) return null;
  const total = weight.reduce((p, q) => p + q, 0);
  const mean = (v: readonly number[]): number => v.reduce((s, x, i) => s + weight[i]! * x, 0) / total;
  const fMean = mean(f);
  const phaseMean = mean(phase);
  const spread = f.reduce((s, x, i) => s + weight[i]! * (x - fMean) ** 2, 0);
  const slope = f.reduce((s, x, i) => s + weight[i]! * (x - fMean) * (phase[i]! - phaseMean), 0) / spread;
  const intercept = phaseMean - slope * fMean;
  const slopeVariance = f.reduce((s, x, i) => s + weight[i]! ** 2 * variances[i]! * (x - fMean) ** 2, 0) / spread ** 2;
  // Where the phase is no straight line, the slope is only as good as the line.
  const misfit = f.reduce((s, x, i) => s + (phase[i]! - intercept - slope * x) ** 2 / variances[i]!, 0) / (f.length - 2);
  const wrapped = intercept - 2 * Math.PI * Math.round(intercept / (2 * Math.PI));
  const polarity = Math.abs(wrapped) < Math.PI / 4 ? 1 : Math.abs(wrapped) > (3 * Math.PI) / 4 ? -1 : null;
  return {
    delayS: r.peakLagS - slope / (2 * Math.PI),
    delayUncertaintyS: Math.sqrt(slopeVariance * Math.max(1, misfit)) / (2 * Math.PI),
    polarity,
    interceptRad: wrapped,
  };
}

/** Ratio per third-octave, dB, as power mean over the band; its uncertainty from the noise alone. */
export function thirdOctaveRatios(r: ResponseEstimate): BandRatio[] {
  return thirdOctavesWithin(20, 20000).flatMap((band) => {
    const [first, last] = gridRange(band.lowHz, band.highHz);
    for (let i = first; i <= last; i++) if (!isMeasured(r, i)) return [];
    const { power, relativeUncertainty } = meanPower(r, band.lowHz, band.highHz);
    return [{ nominalHz: band.nominalHz, midHz: band.midHz, db: 10 * Math.log10(power), uncertainty: DB_PER_RELATIVE * relativeUncertainty }];
  });
}

export interface BandRatio {
  readonly nominalHz: number;
  readonly midHz: number;
  readonly db: number;
  /** Standard uncertainty from the noise alone. */
  readonly uncertainty: number;
}

/**
 * The band that lies furthest from `centreDb`, and the standard uncertainty of its level as the worst of them.
 *
 * Of bands that are alike, noise chooses the one whose error lies furthest out, so that its error is larger than one band's own. U is
 * such that no band that could be the worst errs outwards by more than it, nor the one chosen inwards, but once in twenty:
 * Σ Φ(−U/uᵦ) + Φ(−U/u) = 0.05, over all bands within three standard uncertainties of the one chosen; on both sides where its own sign is
 * open. For a single such band U = 1.96·u. U/1.96 is given.
 */
export function worstBand<B extends BandRatio>(bands: readonly B[], centreDb: number): { readonly band: B; readonly standard: number } {
  const off = (b: B): number => b.db - centreDb;
  const band = bands.reduce((w, b) => (Math.abs(off(b)) > Math.abs(off(w)) ? b : w), bands[0]!);
  const side = Math.sign(off(band));
  const couldBe = (b: B, sign: number): boolean => Math.abs(off(band)) - sign * off(b) < 3 * Math.hypot(b.uncertainty, band.uncertainty);
  const rivals = [side, -side].flatMap((sign) => bands.filter((b) => b !== band && couldBe(b, sign)));
  const missed = (u: number): number => [band, band, ...rivals].reduce((sum, b) => sum + normalCdf(-u / b.uncertainty), 0);
  let [low, high] = [0, 10 * Math.max(band.uncertainty, ...rivals.map((b) => b.uncertainty))];
  for (let pass = 0; pass < 50 && high > 0; pass++) {
    const middle = (low + high) / 2;
    if (missed(middle) > 0.05) low = middle;
    else high = middle;
  }
  return { band, standard: high / normalQuantile(0.975) };
}

/**
 * Figures of a pair. `r` is the response of the second output over that of the first.
 *
 * @param calibration - Parts from the recorder inputs' calibrations, where the bench's own response was not divided out.
 */
export function matchFigures(place: Place, pair: readonly [string, string], r: ResponseEstimate, calibration: readonly UncertaintyPart[]): Figure[] {
  const at = { ...place, output: `${pair[0]}:${pair[1]}` };
  const { power, relativeUncertainty } = meanPower(r, LEVEL_LOW_HZ, LEVEL_HIGH_HZ);
  const bands = thirdOctaveRatios(r);
  if (!(power > 0) || !Number.isFinite(power) || bands.length === 0) {
    return noSignal(at, ['match.level', 'match.level-worst-band', 'match.polarity', 'match.delay'], `${pair[1]} against ${pair[0]}`);
  }
  const { band: worst, standard: worstStandard } = worstBand(bands, 0);
  const line = fitPhaseLine(r);
  const unlike = 'The phase between the two fits neither polarity: they do not carry the same signal.';
  const level = 10 * Math.log10(power);
  const figures = [
    figure(at, {
      id: 'match.level',
      label: `Level of ${pair[1]} against ${pair[0]}, 200 Hz–5 kHz`,
      value: level,
      unit: 'dB',
      method: 'match.level',
      parts: [part('spectral statistics', 'noise in the sweep', DB_PER_RELATIVE * relativeUncertainty), BAND_METHOD_PART, ...calibration],
    }),
    figure(at, {
      id: 'match.level-worst-band',
      label: `Level of ${pair[1]} against ${pair[0]}, worst third-octave (${frequencyText(worst.nominalHz)})`,
      value: worst.db,
      unit: 'dB',
      method: 'match.level',
      parts: [part('spectral statistics', 'noise in the sweep, in the worst of the bands', worstStandard), METHOD_PART, ...calibration],
    }),
    figure(at, {
      id: 'match.polarity',
      label: `Polarity of ${pair[1]} against ${pair[0]}`,
      value: line?.polarity ?? null,
      unit: 'sign',
      method: 'match.delay',
      parts: null,
      uncertaintyReason: 'a sign has none; it is given only where the phase is within 45° of it',
      remarks: line?.polarity ? [] : [unlike],
    }),
    figure(at, {
      id: 'match.delay',
      label: `Delay of ${pair[1]} against ${pair[0]}`,
      value: line === null ? null : line.delayS * 1e6,
      unit: 'µs',
      method: 'match.delay',
      parts: line === null ? null : [part('fit', 'scatter of the phase', line.delayUncertaintyS * 1e6)],
      uncertaintyReason: line === null ? 'no phase to read' : null,
      remarks: line === null ? [unlike] : [],
    }),
  ];
  if (line?.polarity) {
    // Two equal signals cancel first where the delay is half a period, or, inverted, a whole one (and at zero).
    const notch = (line.polarity === 1 ? 0.5 : 1) / Math.max(Math.abs(line.delayS), 1e-12);
    figures.push(
      figure(at, {
        id: 'match.first-notch',
        label: `First notch if ${pair[0]} and ${pair[1]} are summed`,
        value: Math.min(notch, 20000),
        unit: 'Hz',
        bound: notch > 20000 ? 'lower' : null,
        method: 'match.delay',
        parts: [part('fit', 'scatter of the phase', notch > 20000 ? 0 : (notch * line.delayUncertaintyS) / Math.abs(line.delayS))],
        remarks: line.polarity === -1 ? ['The two are of opposite polarity: summed, they also cancel towards low frequencies.'] : [],
      }),
    );
  }
  return figures;
}

/** Readings that say why there is no value: one of two responses holds no signal. */
export function noSignal(place: Place, ids: readonly string[], label: string): Figure[] {
  return ids.map((id) =>
    figure(place, {
      id,
      label,
      value: null,
      unit: id.endsWith('polarity') ? 'sign' : id.endsWith('delay') ? 'µs' : 'dB',
      method: id.endsWith('polarity') || id.endsWith('delay') ? 'match.delay' : id.startsWith('loop') ? 'loop.gain' : 'match.level',
      parts: null,
      uncertaintyReason: 'no signal',
      remarks: ['One of the two takes holds no signal.'],
    }),
  );
}

/** The ratio per third-octave, and finely, as curves. */
export function matchCurves(place: Place, pair: readonly [string, string], r: ResponseEstimate): Curve[] {
  const bands = thirdOctaveRatios(r).filter((b) => Number.isFinite(b.db));
  const common = { label: `${pair[1]} against ${pair[0]}`, state: place.state, source: place.source, output: `${pair[0]}:${pair[1]}`, loop: place.loop, peak: null, marks: [], capture: place.capture };
  const points = Array.from(GRID_HZ.keys()).filter((i) => isMeasured(r, i) && Number.isFinite(magnitudeDb(r, i)));
  const value = points.map((i) => magnitudeDb(r, i));
  const slack = points.map((i) => 2 * magnitudeDbUncertainty(r, i));
  return [
    {
      ...common,
      id: `match-third-octave/${place.state}/${pair.join(':')}`,
      kind: 'match-third-octave',
      x: { label: 'Third-octave band', unit: 'Hz', values: bands.map((b) => b.nominalHz) },
      y: { label: 'Level difference', unit: 'dB', values: bands.map((b) => b.db) },
      low: bands.map((b) => b.db - 2 * Math.hypot(METHOD_DB, b.uncertainty)),
      high: bands.map((b) => b.db + 2 * Math.hypot(METHOD_DB, b.uncertainty)),
    },
    {
      ...common,
      id: `match-response/${place.state}/${pair.join(':')}`,
      kind: 'match-response',
      x: { label: 'Frequency', unit: 'Hz', values: points.map((i) => GRID_HZ[i]!) },
      y: { label: 'Level difference', unit: 'dB', values: value },
      low: value.map((v, i) => v - slack[i]!),
      high: value.map((v, i) => v + slack[i]!),
    },
  ];
}
