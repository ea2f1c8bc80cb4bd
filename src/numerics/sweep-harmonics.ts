/**
 * Harmonics of a distorting device against frequency, from one recorded synchronised sweep.
 *
 * Of the sweep sin φ(t), φ = 2π·f1·L·e^(t/L), the n-th harmonic sin nφ(t) is the sweep itself, L·ln n seconds earlier. Divided by the
 * sweep's spectrum, the recording therefore shows the response of each order apart, n's at lag −L·ln n, and a window around that lag
 * cuts it out. Novak, Lotton, Simon, JAES 63 (2015) 786.
 *
 * A device that answers slower than the gap to the next order is long cannot be separated so: L·ln(n/(n − 1)), 0.69 s for the second
 * and 0.18 s for the sixth order at L = 1 s.
 *
 * @module
 */
import { bandPass, betweenBins, raisedCosine } from './deconvolution.js';
import type { ComplexCurve, SweepReference } from './deconvolution.js';
import { nextPowerOfTwo, rfft } from './fft.js';

export interface SweepHarmonic {
  /** n: 2 is the second harmonic. */
  readonly order: number;
  /**
   * Hn at each frequency f played: peak amplitude at n·f in the recording, over the peak amplitude of the sweep; its phase is that against
   * sin nφ. NaN where n·f is beyond the sweep's top.
   */
  readonly response: ComplexCurve;
  /** E|error|² of each value for white noise of one-sided density 1 (full scale)²/Hz at n·f in the recording. */
  readonly noiseGain: Float64Array;
  /** Length of the window, s: values that are further apart than its inverse at n·f are independent. */
  readonly windowS: number;
}

/** Window in parts of the gap to the neighbouring orders: what is earlier belongs to the next order's tail, what is later to this one's. */
const EARLIER = { flat: 0.2, to: 0.4 } as const;
const LATER = { flat: 0.4, to: 0.6 } as const;

/**
 * Orders 2 to `highest`, from an impulse response.
 *
 * @param h - Of the recording, as `impulseResponse` of deconvolution.ts gives it.
 * @param sweepRateS - L, seconds per e-fold of frequency.
 * @param frequencies - Played frequencies, Hz of the player's clock, from where the sweep has reached its full level.
 */
export function harmonicResponses(h: Float64Array, reference: SweepReference, sweepRateS: number, frequencies: Float64Array, highest: number): SweepHarmonic[] {
  const { size, spectrum: x, sampleRateHz, topHz } = reference;
  return Array.from({ length: highest - 1 }, (_, i): SweepHarmonic => {
    const order = i + 2;
    const lagS = -sweepRateS * Math.log(order);
    const lag = Math.round(lagS * sampleRateHz);
    const earlier = sweepRateS * Math.log((order + 1) / order) * sampleRateHz;
    const later = sweepRateS * Math.log(order / (order - 1)) * sampleRateHz;
    // Cut out and moved to lag 0: around there its spectrum is smooth between bins.
    const cut = new Float64Array(nextPowerOfTwo(2 * (EARLIER.to * earlier + LATER.to * later)));
    let windowEnergy = 0;
    for (let n = -Math.floor(EARLIER.to * earlier); n <= LATER.to * later; n++) {
      const w = n < 0 ? raisedCosine((EARLIER.to + n / earlier) / (EARLIER.to - EARLIER.flat)) : raisedCosine((LATER.to - n / later) / (LATER.to - LATER.flat));
      windowEnergy += w * w;
      cut[(n + cut.length) % cut.length] = w * h[(lag + n + size) % size]!;
    }
    const spectrum = rfft(cut);
    const response = { re: new Float64Array(frequencies.length), im: new Float64Array(frequencies.length) };
    const noiseGain = new Float64Array(frequencies.length);
    frequencies.forEach((hz, at) => {
      const heardHz = order * hz;
      const k = Math.floor((heardHz * size) / sampleRateHz);
      if (k >= size / 2 || bandPass(heardHz, topHz) < 0.999) {
        response.re[at] = response.im[at] = noiseGain[at] = NaN;
        return;
      }
      const bin = (heardHz * cut.length) / sampleRateHz;
      const [re, im] = [betweenBins(spectrum.re, bin), betweenBins(spectrum.im, bin)];
      // The lag was rounded to a sample.
      const turn = 2 * Math.PI * heardHz * (lagS - lag / sampleRateHz);
      response.re[at] = re * Math.cos(turn) - im * Math.sin(turn);
      response.im[at] = re * Math.sin(turn) + im * Math.cos(turn);
      noiseGain[at] = (windowEnergy * sampleRateHz) / 2 / (x.re[k]! ** 2 + x.im[k]! ** 2);
    });
    return { order, response, noiseGain, windowS: windowEnergy / sampleRateHz };
  });
}
