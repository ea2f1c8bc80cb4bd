/**
 * One take on one channel: the tone's level and harmonics, and the complex response from the sweep.
 *
 * Everything here is relative to full scale; levels in dBu come later, from the calibration.
 *
 * @module
 */
import { SWEEP_LEAD_S, SWEEP_TAIL_S, impulseResponse, linearResponse, prepareSweep } from '../numerics/deconvolution.js';
import type { ComplexCurve, SweepReference } from '../numerics/deconvolution.js';
import { createPsdAccumulator } from '../numerics/psd.js';
import type { Psd } from '../numerics/psd.js';
import { fitSine } from '../numerics/sine-fit.js';
import { hann, sumOfSquares } from '../numerics/window.js';
import { codedTimetable } from '../signals/coded.js';
import { amplitudeOfDbfs } from '../signals/exact.js';
import { heardSweep, sweepDurationS } from '../signals/sweep.js';
import { TONE_FADE_S, TONE_HZ, takeTimetable } from '../signals/take.js';
import { DROPOUT_LOW_HZ, countDropouts } from './dropouts.js';
import { measureHarmonics, measureResidual, squareBeside, withoutTone } from './distortion.js';
import type { HarmonicEstimate, ResidualEstimate } from './distortion.js';
import { GRID_HZ } from './frequency-grid.js';
import type { Recording } from './recording.js';
import { harmonicLevels } from './sweep-distortion.js';
import type { HarmonicLevels } from './sweep-distortion.js';
import type { LocatedTake } from './take-search.js';

export interface ToneEstimate extends HarmonicEstimate {
  /** Peak amplitude, full scale 1. */
  readonly amplitude: number;
  /** Standard uncertainty of the amplitude, relative. */
  readonly relativeUncertainty: number;
  /** Phase against the tone as played, the take placed by its markers; radians. */
  readonly phaseRad: number;
  /** What is not the tone; null where the tone is too short to tell. */
  readonly residual: ResidualEstimate | null;
}

export interface ResponseEstimate {
  /** Output over what was played, full scale over full scale, on {@link GRID_HZ}; NaN where the sweep does not reach. */
  readonly curve: ComplexCurve;
  /** E|error|² of each value. */
  readonly variance: Float64Array;
  /** Lag of the largest value of the impulse response, to about a sample: the bulk of the delay. */
  readonly peakLagS: number;
}

export interface TakeEstimate {
  readonly located: LocatedTake;
  /** Null on a channel without a tone. */
  readonly tone: ToneEstimate | null;
  readonly response: ResponseEstimate;
  /** Mean square of the silence before the tone and after the tail. */
  readonly silencePower: number;
  /** Moments at which tone or sweep fall away. Absent: not looked for. */
  readonly dropouts?: number;
  /** Harmonics against frequency, from the second. Absent: not looked for. */
  readonly harmonics?: readonly HarmonicLevels[];
}

/** Recorder seconds per player second: the tone's figure where it agrees with the markers', since it is the finer one. */
export function clockRatioOf(located: LocatedTake): number {
  const { toneClockRatio, extraFrames, clockRatio } = located;
  return toneClockRatio !== null && Math.abs(extraFrames!) < 0.5 ? toneClockRatio : clockRatio;
}

/** Frame at which the take begins, both markers weighed alike, for the clock ratio in use. */
export function startFrameOf(located: LocatedTake, sampleRateHz: number): number {
  return located.startFrame + ((located.clockRatio - clockRatioOf(located)) * codedTimetable(located.identity).endMarkerAtS * sampleRateHz) / 2;
}

/**
 * A steady tone on one channel.
 *
 * @param playedPhaseRad - Phase of the tone as played, as a cosine at the first sample.
 * @returns null where there is no such tone.
 */
export function measureTone(x: Float64Array, rate: number, expectedHz: number, playedPhaseRad: number): ToneEstimate | null {
  const window = hann(x.length);
  const fit = fitSine(x, rate, expectedHz, window);
  if (!fit || !(fit.amplitude > 0)) return null;
  // Read beside the tone with the tone taken out: its own skirts are above the noise of a good bench.
  const left = withoutTone(x, rate, fit);
  let phase = fit.phaseRad - playedPhaseRad;
  phase -= 2 * Math.PI * Math.round(phase / (2 * Math.PI));
  return {
    amplitude: fit.amplitude,
    relativeUncertainty: Math.sqrt(squareBeside(left, rate, fit.frequencyHz, window) / 2) / fit.amplitude,
    phaseRad: phase,
    ...measureHarmonics(x, rate, fit.frequencyHz, window),
    residual: measureResidual(left, rate, fit.frequencyHz),
  };
}

/** Noise density in the silences of a take, 12 Hz bins at 48 kHz; null where they are too short for one segment. */
export function silencePsd(channels: readonly Float64Array[], rate: number): Psd | null {
  const size = 2 ** Math.floor(Math.log2(0.09 * rate));
  let psds: Psd | null = null;
  let segments = 0;
  for (const x of channels) {
    const accumulator = createPsdAccumulator(1, rate, size);
    accumulator.push([x], x.length);
    const [psd] = accumulator.finish() ?? [];
    if (!psd) continue;
    if (psds) {
      const total = segments + psd.segments;
      psds.density.forEach((v, k) => (psds!.density[k] = (v * segments + psd.density[k]! * psd.segments) / total));
      segments = total;
    } else {
      psds = psd;
      segments = psd.segments;
    }
  }
  return psds;
}

/** Density at a frequency, averaged over a third of an octave (or five bins), so that its own scatter is small. */
export function densityAt(psd: Psd, hz: number): number {
  const half = Math.max(2, (0.115 * hz) / psd.binHz);
  const first = Math.max(1, Math.round(hz / psd.binHz - half));
  const last = Math.min(psd.density.length - 1, Math.round(hz / psd.binHz + half));
  let sum = 0;
  for (let k = first; k <= last; k++) sum += psd.density[k]!;
  return sum / (last - first + 1);
}

/** When the parts of a take, or of the stairs, stand in a recording. */
export function timingOf(recording: Recording, located: LocatedTake): { playerRate: number; frameAt: (atS: number) => number } {
  const rate = recording.sampleRateHz;
  const start = startFrameOf(located, rate);
  const playerRate = rate * clockRatioOf(located); // samples per second of the player's clock
  return { playerRate, frameAt: (atS) => start + atS * playerRate };
}

/** The sweep of a take as recorded, per channel, the sweep as played on the recorder's time base, and the silences around it. */
export function readSweep(recording: Recording, located: LocatedTake): { reference: SweepReference; sweeps: Float64Array[]; silences: Float64Array[][] } {
  const { playerRate, frameAt } = timingOf(recording, located);
  const { tone, sweep, endMarker, startMarker } = takeTimetable;
  const { levelDbfs, sweepTopHz } = located.identity;
  const amplitude = amplitudeOfDbfs(levelDbfs);
  const sweepFrame = frameAt(sweep.atS);
  const from = Math.floor(sweepFrame - SWEEP_LEAD_S * playerRate);
  const durationS = sweepDurationS(sweepTopHz);
  const frames = Math.ceil((SWEEP_LEAD_S + durationS + SWEEP_TAIL_S) * playerRate);
  const played = heardSweep(sweepTopHz, playerRate, frames, sweepFrame - from, amplitude);
  const silences = [
    [startMarker.lengthS + 0.1, tone.atS - 0.02],
    [sweep.atS + durationS + 0.6, endMarker.atS - 0.02],
  ].map(([fromS, toS]) => recording.read(Math.ceil(frameAt(fromS!)), Math.floor((toS! - fromS!) * playerRate)));
  return { reference: prepareSweep(played.samples, frames, playerRate, played.topHz), sweeps: recording.read(from, frames), silences };
}

/**
 * Measures a take on the channels asked for (from 0), which share its timing.
 *
 * @param withHarmonics - also the harmonics of the sweep, for a fifth more of time.
 */
export function measureTake(recording: Recording, located: LocatedTake, channels: readonly number[], withHarmonics = false): TakeEstimate[] {
  const rate = recording.sampleRateHz;
  const { playerRate, frameAt } = timingOf(recording, located);
  const { reference, sweeps, silences } = readSweep(recording, located);
  const { tone } = takeTimetable;
  const toneMarginS = 5 * TONE_FADE_S;
  const toneFrom = Math.ceil(frameAt(tone.atS + toneMarginS));
  const tones = recording.read(toneFrom, Math.floor((tone.lengthS - 2 * toneMarginS) * playerRate));
  // The tone is a sine from its own start: cos(ω(t − t0) − π/2).
  const playedPhase = 2 * Math.PI * TONE_HZ * ((toneFrom - frameAt(tone.atS)) / playerRate) - Math.PI / 2;

  // The sweep from 500 Hz on to half an octave before its end.
  const { sweepTopHz } = located.identity;
  const sweepFrame = (hz: number): number => Math.round((SWEEP_LEAD_S + sweepDurationS(hz)) * playerRate);
  const [audibleFrom, audibleTo] = [sweepFrame(DROPOUT_LOW_HZ), sweepFrame(0.7 * Math.min(sweepTopHz, rate / 2))];

  return channels.map((c) => {
    const quiet = silences.map((s) => s[c]!);
    const psd = silencePsd(quiet, rate);
    const density = (hz: number): number => (psd ? densityAt(psd, hz) : 0);
    const h = impulseResponse(sweeps[c]!, reference);
    const { response, noiseGain, peakLagS } = linearResponse(h, reference, GRID_HZ);
    const silence = quiet.reduce((s, x) => s + sumOfSquares(x), 0) / quiet.reduce((s, x) => s + x.length, 0);
    return {
      located,
      tone: measureTone(tones[c]!, rate, TONE_HZ / clockRatioOf(located), playedPhase),
      response: { curve: response, variance: noiseGain.map((g, i) => g * density(GRID_HZ[i]!)), peakLagS },
      silencePower: silence,
      dropouts: [tones[c]!, sweeps[c]!.subarray(audibleFrom, audibleTo)].reduce((n, x) => n + countDropouts(x, rate, Math.sqrt(silence)), 0),
      ...(withHarmonics ? { harmonics: harmonicLevels(h, reference, density) } : {}),
    };
  });
}
