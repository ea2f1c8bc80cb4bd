/**
 * Crosstalk between outputs, from a take that is played into the jack of one of them, the board's input shorted: both are recorded in
 * one capture, and whatever another output hears has come across.
 *
 * With the voltage Va at the jack that is played into, and Zb the output resistance of another: a capacitance C between the two gives
 * jωC·Zb·Va, 6 dB more per octave; a resistance R that both have in their return R/(Za + R)·Va, the same at every frequency. The ratio needs
 * neither Za nor the generator's resistance, and by the substitution theorem it is also what any change of the one output makes of
 * the other: isolation.
 *
 * @module
 */
import type { Bench } from '../board/model.js';
import { thirdOctave } from '../numerics/third-octave.js';
import type { ThirdOctave } from '../numerics/third-octave.js';
import { DB_PER_RELATIVE } from '../units/decibels.js';
import { frequencyText } from '../units/format.js';
import { betweenInputs } from './between-inputs.js';
import type { BetweenInputs } from './between-inputs.js';
import { figure, part } from './figure.js';
import type { Figure, Place } from './figure.js';
import { GRID_HZ } from './frequency-grid.js';
import { worstBand } from './match.js';
import type { BandRatio } from './match.js';
import { octaveSlope } from './octave-slope.js';
import { LEAST_OVER_NOISE, METHOD_PART, isMeasured, meanPower, ratio } from './response.js';
import type { ResponseEstimate, TakeEstimate } from './take.js';

/** Third-octaves of 100 Hz to 10 kHz. */
const BANDS: readonly ThirdOctave[] = Array.from({ length: 21 }, (_, k) => thirdOctave(k - 10));
const BAND_1K = BANDS[10]!;
/** Below every level, dB: the band furthest from there is the loudest. */
const BELOW_ALL_DB = -1000;

/**
 * A jack takes so much off a generator at least, dB: half of what 20 kΩ takes off 100 Ω. Levels of one interface repeat to a hundredth
 * (common practice, no source).
 */
const LEAST_LOSS_DB = 0.02;

/** Whether the output that is played into takes anything off the generator; if not, its plug is in no jack. Null where noise hides it. */
export function isLoaded(into: TakeEstimate, looped: TakeEstimate): boolean | null {
  const { power, relativeUncertainty } = meanPower(ratio(into.response, looped.response), 200, 5000);
  if (3 * DB_PER_RELATIVE * relativeUncertainty > LEAST_LOSS_DB) return null;
  return Math.abs(10 * Math.log10(power)) > LEAST_LOSS_DB;
}

interface Level {
  readonly db: number;
  /** Standard uncertainty, from the noise alone; 0 of a bound. */
  readonly uncertainty: number;
  /** It lies in the noise, and is at most this. */
  readonly isBound: boolean;
}

/**
 * Mean power of a band, every octave weighing the same, noise taken off. A point counts for what of its share lies in the band: where the
 * power rises as the square of the frequency, half a step of the grid too many at the upper edge is 0.06 dB.
 */
function levelIn(r: ResponseEstimate, lowHz: number, highHz: number): Level {
  let [power, noise, total, variance] = [0, 0, 0, 0];
  GRID_HZ.forEach((hz, i) => {
    const [below, above] = [GRID_HZ[i - 1] ?? hz, GRID_HZ[i + 1] ?? hz];
    const weight = Math.log(Math.min(highHz, Math.sqrt(hz * above)) / Math.max(lowHz, Math.sqrt(hz * below)));
    if (!(weight > 0) || !isMeasured(r, i)) return;
    const [square, own] = [r.curve.re[i]! ** 2 + r.curve.im[i]! ** 2, r.variance[i]!];
    power += weight * square;
    noise += weight * own;
    total += weight;
    // As in the mean power of any response: |d + e|² of an error with E|e|² = n has variance 2·|d|²·n + n², at most 2·|d + e|²·n in the mean.
    variance += weight * weight * 2 * square * own;
  });
  const own = Math.max(0, power - noise);
  if (power > LEAST_OVER_NOISE * noise) return { db: 10 * Math.log10(own / total), uncertainty: (DB_PER_RELATIVE * Math.sqrt(variance)) / own, isBound: false };
  return { db: 10 * Math.log10((own + 3 * noise) / total), uncertainty: 0, isBound: true };
}

/** Four readings for every output that was played into and every other. */
export function crosstalkFigures(bench: Bench, takeOf: (id: string) => readonly TakeEstimate[] | null): Figure[] {
  const benchTake = takeOf('bench.take');
  return bench.inputs.flatMap(({ output: from }, a) => {
    const step = `into-${from}.take`;
    const take = takeOf(step);
    if (!take) return [];
    const reason = benchTake && isLoaded(take[a]!, benchTake[a]!) === false ? 'The output took nothing off the generator, so that nothing says that its plug was in the jack.' : null;
    return bench.inputs.flatMap(({ output: to }, b): Figure[] => {
      if (a === b) return [];
      const place: Place = { state: `into-${from}`, source: null, output: `${from}:${to}`, loop: null, capture: [step] };
      if (reason !== null) return [figure(place, { id: 'crosstalk.worst-band', label: `Crosstalk from output ${from} to output ${to}`, value: null, unit: 'dB', method: 'output.crosstalk', parts: null, uncertaintyReason: 'nothing was driven', remarks: [reason] })];
      return pairFigures(place, [from, to], betweenInputs(bench, take, benchTake, a, b));
    });
  });
}

function pairFigures(place: Place, [from, to]: readonly [string, string], { between, parts, remarks }: BetweenInputs): Figure[] {
  const what = `Crosstalk from output ${from} to output ${to}`;
  const made = (named: Pick<Figure, 'id' | 'label'>, { db, uncertainty, isBound }: Level, sign: 1 | -1 = 1): Figure =>
    figure(place, {
      ...named,
      value: sign * db,
      unit: 'dB',
      bound: isBound ? (sign === 1 ? 'upper' : 'lower') : null,
      benchLimited: isBound,
      method: 'output.crosstalk',
      parts: [part('spectral statistics', 'noise in the sweep', uncertainty), METHOD_PART, ...parts],
      remarks: isBound ? [...remarks, 'Nothing of it stands out of the noise of the other output.'] : remarks,
    });
  const bands = BANDS.map((band): BandRatio & Level => ({ nominalHz: band.nominalHz, midHz: band.midHz, ...levelIn(between, band.lowHz, band.highHz) }));
  const loudest = bands.reduce((w, b) => (b.db > w.db ? b : w));
  const clear = bands.filter(({ isBound }) => !isBound);
  const worst = loudest.isBound ? loudest : { ...loudest, uncertainty: worstBand(clear, BELOW_ALL_DB).standard };
  const slope = octaveSlope(between);
  return [
    made({ id: 'crosstalk.1k', label: `${what}, third-octave at 1 kHz` }, levelIn(between, BAND_1K.lowHz, BAND_1K.highHz)),
    made({ id: 'crosstalk.worst-band', label: `${what}, worst third-octave (${frequencyText(worst.nominalHz)}) of 100 Hz–10 kHz` }, worst),
    ...(slope ? [figure(place, { id: 'crosstalk.slope', label: `Slope of the crosstalk from output ${from} to output ${to}`, value: slope.dbPerOctave, unit: 'dB/octave', method: 'output.crosstalk', parts: [slope.part], remarks })] : []),
    made({ id: 'isolation', label: `Isolation of output ${to} from output ${from}, 200 Hz–5 kHz` }, levelIn(between, 200, 5000), -1),
  ];
}
