/**
 * Distortion against frequency, from the sweep of a take.
 *
 * For programs that use the library: the report has no such curve, since the kinds of curve in results.json are fixed.
 *
 * @module
 */
import { sweepResponse } from '../numerics/deconvolution.js';
import { sweepHarmonics } from '../numerics/sweep-harmonics.js';
import { SWEEP_RATE_S } from '../signals/sweep.js';
import { GRID_HZ } from './frequency-grid.js';
import type { Recording } from './recording.js';
import type { LocatedTake } from './take-search.js';
import { densityAt, readSweep, silencePsd } from './take.js';

export interface HarmonicCurve {
  /** 2 is the second harmonic. */
  readonly order: number;
  /** Harmonic over fundamental as heard, amplitude ratio, at each played frequency; noise included. NaN where the harmonic is out of reach. */
  readonly ratio: Float64Array;
  /** What noise alone shows there, rms: a ratio that is not well above it says nothing. */
  readonly noise: Float64Array;
}

/**
 * Harmonics of a take, per channel and order from the second.
 *
 * @param frequencies - Played frequencies, Hz, 20 Hz and above.
 */
export function takeHarmonics(recording: Recording, located: LocatedTake, channels: readonly number[], highest = 5, frequencies: Float64Array = GRID_HZ): HarmonicCurve[][] {
  const { reference, sweeps, silences } = readSweep(recording, located);
  return channels.map((c) => {
    const psd = silencePsd(silences.map((s) => s[c]!), recording.sampleRateHz);
    const { response: first } = sweepResponse(sweeps[c]!, reference, frequencies);
    const fundamental = first.re.map((re, i) => Math.hypot(re, first.im[i]!));
    return sweepHarmonics(sweeps[c]!, reference, SWEEP_RATE_S, frequencies, highest).map(({ order, response, noiseGain }) => ({
      order,
      ratio: response.re.map((re, i) => Math.hypot(re, response.im[i]!) / fundamental[i]!),
      noise: noiseGain.map((gain, i) => Math.sqrt(gain * (psd ? densityAt(psd, order * frequencies[i]!) : 0)) / fundamental[i]!),
    }));
  });
}
