/**
 * A short stretch of an idle capture to listen to: what a spectrum says to a technician, two seconds say to a player.
 *
 * The stretches of one output are raised by one amount, so that what is louder is heard to be louder; and by no more than
 * leaves the loudest of them soft, so that nobody who forgot to turn down is hurt.
 *
 * @module
 */
import { HEADER_BYTES, muLawSample, muLawWav } from '../wav/mu-law.js';
import type { Recording } from './recording.js';

/** One input's stretch, thinned, free of DC, ±1 at the recorder's full scale. */
export interface ExcerptSamples {
  readonly sampleRateHz: number;
  readonly samples: Float32Array;
}

export interface Excerpt {
  readonly state: string;
  /** The step it was cut from. */
  readonly capture: string;
  /** A WAV file, 8-bit µ-law, mono, as base64. */
  readonly wav: string;
}

/** Stretches of one output, all raised alike. */
export interface Listening {
  readonly output: string;
  /** How much above the recording they play, dB. */
  readonly raisedDb: number;
  readonly durationS: number;
  readonly sampleRateHz: number;
  readonly excerpts: readonly Excerpt[];
}

export const EXCERPT_S = 2;
/** Hiss, hum and whine are told apart up to half of this; a third of the bytes of the whole band. */
const NEAR_RATE_HZ = 16000;
/** Passed over at the start: hands leave the board. */
const SKIP_S = 0.5;
/** At each end, so that it does not click. */
const FADE_S = 0.03;
/** The loudest stretch: rms and peak below full scale, dB. Music is mastered some 12 dB above the first. */
const LOUDEST_RMS_DBFS = -28;
const LOUDEST_PEAK_DBFS = -9;
/** Beyond this, next to nothing is raised to something. */
const MOST_RAISED_DB = 90;

/** Half-length of the thinning filter in output samples. */
const HALF_TAPS = 8;

/** Low-pass for thinning by a whole number: a sinc cut at 0.45 of the new rate under a Hann window. */
function thinningFilter(factor: number): Float64Array {
  const half = HALF_TAPS * factor;
  const taps = Float64Array.from({ length: 2 * half + 1 }, (_, i) => {
    const t = (i - half) / factor;
    const window = 0.5 + 0.5 * Math.cos((Math.PI * (i - half)) / (half + 1));
    return window * (t === 0 ? 0.9 : Math.sin(0.9 * Math.PI * t) / (Math.PI * t));
  });
  const sum = taps.reduce((a, b) => a + b, 0);
  return taps.map((v) => v / sum);
}

/**
 * Cuts the first clean stretch of every channel.
 *
 * @param leftOut - stretches to keep away from, [from, to) in frames, in order
 * @returns null where the capture has no clean stretch of that length
 */
export function cutExcerpts(recording: Recording, leftOut: readonly (readonly [number, number])[]): ExcerptSamples[] | null {
  const factor = Math.max(1, Math.round(recording.sampleRateHz / NEAR_RATE_HZ));
  const sampleRateHz = Math.round(recording.sampleRateHz / factor);
  const length = Math.round(EXCERPT_S * sampleRateHz);
  const needed = (length + 2 * HALF_TAPS) * factor;
  let start = Math.round(SKIP_S * recording.sampleRateHz);
  for (const [from, to] of leftOut) if (from < start + needed && to > start) start = to;
  if (start + needed > recording.frames) return null;
  const taps = thinningFilter(factor);
  return recording.read(start, needed).map((channel) => {
    const mean = channel.reduce((a, b) => a + b, 0) / channel.length;
    const samples = Float32Array.from({ length }, (_, i) => {
      let sum = 0;
      for (let k = 0; k < taps.length; k++) sum += taps[k]! * (channel[i * factor + k]! - mean);
      return sum;
    });
    return { sampleRateHz, samples };
  });
}

const rmsOf = (samples: Float32Array): number => Math.sqrt(samples.reduce((sum, v) => sum + v * v, 0) / samples.length);
const peakOf = (samples: Float32Array): number => samples.reduce((most, v) => Math.max(most, Math.abs(v)), 0);

/** Raises the stretches of one output alike and codes them; null where there is none with a sound in it. */
export function listeningOf(output: string, cuts: readonly { readonly state: string; readonly capture: string; readonly cut: ExcerptSamples }[]): Listening | null {
  const audible = cuts.filter(({ cut }) => peakOf(cut.samples) > 0);
  const [first] = audible;
  if (first === undefined) return null;
  const { sampleRateHz } = first.cut;
  const alike = audible.filter(({ cut }) => cut.sampleRateHz === sampleRateHz);
  const rms = Math.max(...alike.map(({ cut }) => rmsOf(cut.samples)));
  const peak = Math.max(...alike.map(({ cut }) => peakOf(cut.samples)));
  // Whole decibels, rounded towards soft: the amount is printed.
  const raisedDb = Math.floor(Math.min(MOST_RAISED_DB, LOUDEST_RMS_DBFS - 20 * Math.log10(rms), LOUDEST_PEAK_DBFS - 20 * Math.log10(peak)));
  const gain = 10 ** (raisedDb / 20);
  const fade = Math.round(FADE_S * sampleRateHz);
  const excerpts = alike.map(({ state, capture, cut: { samples } }) => {
    const raised = samples.map((v, i) => gain * v * Math.min(1, i / fade, (samples.length - 1 - i) / fade));
    return { state, capture, wav: base64(muLawWav(raised, sampleRateHz)) };
  });
  return { output, raisedDb, durationS: EXCERPT_S, sampleRateHz, excerpts };
}

/** An excerpt louder or softer, so that two jobs' excerpts can be heard against each other. */
export function releveled({ excerpts, sampleRateHz, raisedDb, ...rest }: Listening, toRaisedDb: number): Listening {
  const gain = 10 ** ((toRaisedDb - raisedDb) / 20);
  const change = (wav: string): string => {
    const bytes = Uint8Array.from(atob(wav), (c) => c.charCodeAt(0));
    return base64(muLawWav(Array.from(bytes.subarray(HEADER_BYTES), (code) => gain * muLawSample(code)), sampleRateHz));
  };
  return { ...rest, sampleRateHz, raisedDb: toRaisedDb, excerpts: gain === 1 ? excerpts : excerpts.map((e) => ({ ...e, wav: change(e.wav) })) };
}

function base64(bytes: Uint8Array): string {
  let text = '';
  for (const b of bytes) text += String.fromCharCode(b);
  return btoa(text);
}
