/**
 * Is a capture fit to be measured? Each check refuses with one reason, in the order of what spoils most.
 *
 * @module
 */
import { problem } from '../problems.js';
import type { Problem } from '../problems.js';
import { AT_FULL_SCALE, SILENCE_DBFS, amplitudeToDb, meanSquareToDbfs } from '../units/decibels.js';
import { SWEEP_LOW_HZ, SWEEP_RATE_S, sweepDurationS } from '../signals/sweep.js';
import { TONE_HZ, takeTimetable } from '../signals/take.js';
import { MARKER_S, SYNC_S } from '../signals/marker.js';
import { sumOfSquares } from '../numerics/window.js';
import { breakAt } from './continuity.js';
import { findMains } from './hum-and-whine.js';
import type { IdleEstimate } from './idle.js';
import { thirdOctaveRatios } from './match.js';
import type { Recording } from './recording.js';
import { ratio } from './response.js';
import type { SwitchingEstimate } from './switching.js';
import type { LocatedTake } from './take-search.js';
import { clockRatioOf, startFrameOf } from './take.js';
import type { TakeEstimate } from './take.js';

/** What a check says of: a file, and what each of its heard channels is called. */
export interface Heard {
  /** File as the user knows it. */
  readonly file: string;
  /** Output ids, in the order of the recording's channels. */
  readonly outputs: readonly string[];
}

/** Shorter idle captures tell the floor badly and hum hardly at all. */
export const SHORTEST_IDLE_S = 5;
/** A tone below this is lost in the noise of ordinary interfaces (common practice, no source). */
export const QUIETEST_DBFS = -70;
/** Tone over the noise of its own silences, dB, below which the take tells nothing fine (chosen: a tenth of the tone moves its level by up to 0.8 dB). */
export const LEAST_TONE_OVER_NOISE_DB = 20;
/** A path without effects moves a level by less than this between tone and markers, dB (chosen: 3.5 %). */
const STEADY_DB = 0.3;
/** Effects may breathe: a compressor recovers between the tone and the markers (chosen: half the voltage). */
const STEADY_EFFECT_DB = 6;
/** By how much a level may move, dB: noise alone moves it too, and what it can do is let pass. */
export const steadySlackDb = (mayBreathe: boolean, noiseRms: number, rmsOfWord: number): number =>
  (mayBreathe ? STEADY_EFFECT_DB : STEADY_DB) + 20 * Math.log10(1 + (4 * noiseRms) / Math.max(rmsOfWord, 1e-12));

/** From where on a sweep is looked at for breaks, Hz: below, what is looked for is short against a period. */
const CONTINUOUS_FROM_HZ = 200;

/** Outputs that differ from an earlier take by less than this, dB (rms of the third-octaves), tell no swap (chosen: as STEADY_DB). */
const SWAP_LEAST_DB = 0.3;
/** A third-octave pattern nearer to the mirror image than this share of its distance to itself is a swap (chosen: a swap is exact, a board that changed is not). */
const SWAP_SHARE = 0.25;
/** A floor that sinks or rises by this much, dB, is no board warming up: something turns the gain down or takes noise out (chosen). */
const DRIFT_DB = 10;
/** A stretch that is quieter than the rest by this much, dB, is one that something turned down (chosen: half the power). */
const QUIETER_DB = 3;
/** Lines that the other mains frequency explains, dB over the floor in sum, that speak for it (chosen: one strong line counts 30 at most, and does) … */
const OTHER_MAINS_DB = 25;
/** … where they are so many times those that the stated one explains (chosen: every sixth line of 50 Hz is a fifth of 60 Hz as well). */
const OTHER_MAINS_TIMES = 3;

/** Frame of the first of three samples in a row at full scale. */
export function clippedAt(x: Float64Array): number | null {
  let run = 0;
  for (let n = 0; n < x.length; n++) {
    run = Math.abs(x[n]!) >= AT_FULL_SCALE ? run + 1 : 0;
    if (run === 3) return n - 2;
  }
  return null;
}

/**
 * Frame of the first flat top of a tone: its largest value, held for 60 µs. The crest of 997 Hz falls by 1.7 % in half of
 * that, many steps of a 16-bit file; slower waves (the beginning of the sweep) are flat by themselves and tell nothing.
 */
export function flatTopAt(tone: Float64Array, sampleRateHz: number): number | null {
  const least = Math.max(4, Math.ceil(60e-6 * sampleRateHz));
  let peak = 0;
  for (let n = 0; n < tone.length; n++) peak = Math.max(peak, Math.abs(tone[n]!));
  if (peak < 0.05) return null;
  let run = 0;
  for (let n = 0; n < tone.length; n++) {
    run = Math.abs(tone[n]!) === peak ? run + 1 : 0;
    if (run === least) return n - least + 1;
  }
  return null;
}

/** A stretch of exact zeros of at least `least` frames, or null. */
export function zerosAt(x: Float64Array, least: number): { frame: number; frames: number } | null {
  let run = 0;
  for (let n = 0; n < x.length; n++) {
    if (x[n] === 0) {
      run++;
      continue;
    }
    if (run >= least) return { frame: n - run, frames: run };
    run = 0;
  }
  return run >= least ? { frame: x.length - run, frames: run } : null;
}

/** The first two channels that are one and the same, sample for sample; null where none are. Reads no further than it takes to tell. */
function sameChannels(recording: Recording): readonly [number, number] | null {
  let pairs = Array.from({ length: recording.channelCount }, (_, a) => Array.from({ length: a }, (_, b) => [b, a] as const)).flat();
  for (let frame = 0; pairs.length > 0 && frame < recording.frames; frame += 65536) {
    const x = recording.read(frame, 65536);
    pairs = pairs.filter(([a, b]) => x[a]!.every((v, n) => v === x[b]![n]));
  }
  return pairs[0] ?? null;
}

/** A stretch of another level must last this long to be no thump. */
const LONG_STRETCH_S = 1;
/** Tenths of a second of a hiss differ by a few tenths of a decibel, those of handling by many. */
const STEADY_STRETCH_DB = 3;

/**
 * How far a floor jumps, dB, where something turns the gain or takes noise out: a long stretch at the very beginning that
 * is as steady as the rest but at another level (noise suppression takes a moment to learn the noise; a hand on the leads is
 * not steady), or a long one anywhere that is quieter. Null where there is none.
 */
function jumpDb(recording: Recording, channel: number, leftOut: readonly (readonly [number, number])[]): number | null {
  const least = LONG_STRETCH_S * recording.sampleRateHz;
  const levelDb = (from: number, to: number): number => {
    const x = recording.read(from, to - from)[channel]!;
    const mean = x.reduce((s, v) => s + v, 0) / Math.max(1, x.length);
    return amplitudeToDb(Math.max(1e-15, rms(x.map((v) => v - mean))));
  };
  const isSteady = (from: number, to: number): boolean => {
    const tenth = Math.floor((to - from) / 10);
    const levels = Array.from({ length: 8 }, (_, i) => levelDb(from + (i + 1) * tenth, from + (i + 2) * tenth));
    return Math.max(...levels) - Math.min(...levels) < STEADY_STRETCH_DB;
  };
  for (const [from, to] of leftOut) {
    if (to - from < least) continue;
    const jump = levelDb(from, from + least) - (from >= least ? levelDb(from - least, from) : levelDb(to, to + least));
    if (jump < -QUIETER_DB || (from === 0 && isSteady(from, from + least))) return Math.abs(jump);
  }
  return null;
}

const rms = (x: Float64Array): number => Math.sqrt(sumOfSquares(x) / Math.max(1, x.length));

/**
 * Checks a take.
 *
 * @param recording - The heard channels, in the order of `heard.outputs`.
 * @param mayBreathe - True for states with an effect in.
 * @param only - The output that is played into: of the others little or nothing is to be heard. Null: all are to be heard.
 */
export function checkTake(
  heard: Heard,
  recording: Recording,
  located: LocatedTake,
  estimates: readonly TakeEstimate[],
  mayBreathe: boolean,
  only: string | null = null,
): Problem | null {
  const { file, outputs } = heard;
  const isPlayed = (output: string): boolean => only === null || output === only;
  const rate = recording.sampleRateHz;
  const ratioOfClocks = clockRatioOf(located);
  const start = startFrameOf(located, rate);
  const at = (s: number): number => Math.round(start + s * ratioOfClocks * rate);
  const seconds = (frame: number): number => frame / rate;
  const { tone, sweep, endMarker, lengthS } = takeTimetable;

  const first = Math.max(0, at(0));
  const whole = recording.read(first, at(lengthS) - first);
  // An effect moves the phase by itself.
  const breaks = whole.map((x, c) => (mayBreathe ? null : brokenAt(x, first, located, rate, Math.sqrt(estimates[c]!.silencePower))));
  const broken = breaks.find((b) => b !== null) ?? null;
  const { extraFrames } = located;
  if (extraFrames === null ? broken?.inTone === true : Math.abs(extraFrames) >= 0.5) {
    // A tone that jumps counts wrongly.
    return problem('capture.samples-lost', { file, frames: extraFrames === null || broken?.inTone === true ? null : Math.round(extraFrames), atS: seconds(at(0)), jumpS: broken && seconds(broken.frame) });
  }
  const stretch = (from: number, to: number): Float64Array[] => whole.map((x) => x.subarray(from - first, to - first));
  for (const [c, x] of whole.entries()) {
    const [toneFrom, toneTo] = [tone.atS + 0.05, tone.atS + tone.lengthS - 0.05].map((s) => at(s) - first);
    const flat = flatTopAt(x.subarray(toneFrom, toneTo), rate);
    const clipped = clippedAt(x) ?? (flat === null ? null : toneFrom! + flat);
    if (clipped !== null) return problem('capture.clipped', { file, output: outputs[c]!, frame: first + clipped, atS: seconds(first + clipped) });
  }
  const playing = stretch(at(tone.atS + 0.05), at(sweep.atS + 7));
  const toneDbfs = (c: number): number => (estimates[c]!.tone ? amplitudeToDb(estimates[c]!.tone!.amplitude) : -Infinity);
  // Damage comes first, on every output: what may be filed as it is must be whole.
  for (const [c, output] of outputs.entries()) {
    if (toneDbfs(c) < QUIETEST_DBFS) continue;
    // The tone and the sweep are never still, so a run of zeros in them is a hole. The pause between them is not looked at.
    const pause = [at(tone.atS + tone.lengthS) - 2, at(sweep.atS + 0.3)].map((f) => f - at(tone.atS + 0.05));
    for (const [from, to] of [[0, pause[0]!], [pause[1]!, playing[c]!.length]] as const) {
      const hole = zerosAt(playing[c]!.subarray(from, to), Math.max(16, Math.round(0.0004 * rate)));
      if (hole) return problem('capture.hole', { file, output, frames: hole.frames, atS: seconds(at(tone.atS + 0.05) + from + hole.frame) });
    }
  }
  // Where a contact opened long enough to be counted, that is told instead.
  for (const [c, output] of outputs.entries()) {
    const at = breaks[c] ?? null;
    if (at !== null && (estimates[c]!.dropouts ?? 0) === 0) return problem('capture.not-in-one-piece', { file, output, atS: seconds(at.frame) });
  }
  for (const [c, x] of whole.entries()) {
    const output = outputs[c]!;
    if (x.every((v) => v === 0)) return problem('capture.silent', { file, output });
    if (!isPlayed(output)) continue;
    const level = toneDbfs(c);
    const noiseDbfs = meanSquareToDbfs(Math.max(estimates[c]!.silencePower, 1e-30));
    if (level < QUIETEST_DBFS || level - noiseDbfs < LEAST_TONE_OVER_NOISE_DB) {
      return problem('capture.too-quiet', { file, output, levelDbfs: Math.max(level, SILENCE_DBFS), noiseDbfs });
    }
  }
  for (let a = 0; a < whole.length; a++) {
    for (let b = a + 1; b < whole.length; b++) {
      if (whole[a]!.every((v, n) => v === whole[b]![n])) return problem('capture.mono-summed', { file, first: outputs[a]!, second: outputs[b]! });
    }
  }
  const [word, lastWord] = [0, endMarker.atS].map((s) => stretch(at(s + SYNC_S), at(s + MARKER_S))) as [Float64Array[], Float64Array[]];
  const quarter = Math.floor((tone.lengthS / 4 - 0.03) * rate);
  const quarters = [0, 1, 2, 3].map((q) => {
    const from = at(tone.atS + 0.03) + q * Math.floor((tone.lengthS / 4) * rate * 0.97);
    return stretch(from, from + quarter);
  });
  for (const [c, output] of outputs.entries()) {
    if (!isPlayed(output)) continue;
    const levels = quarters.map((x) => amplitudeToDb(rms(x[c]!)));
    const steps = [Math.max(...levels) - Math.min(...levels), Math.abs(amplitudeToDb(rms(lastWord[c]!) / rms(word[c]!)))];
    const worst = Math.max(...steps);
    if (worst > steadySlackDb(mayBreathe, Math.sqrt(estimates[c]!.silencePower), rms(word[c]!))) return problem('capture.level-not-steady', { file, output, db: worst });
  }
  return null;
}

/** Where the tone or the sweep of a take is broken; `x` is the take from frame `first` on. */
function brokenAt(x: Float64Array, first: number, located: LocatedTake, rate: number, noiseRms: number): { readonly frame: number; readonly inTone: boolean } | null {
  const playerRate = rate * clockRatioOf(located);
  const start = startFrameOf(located, rate) - first;
  const { tone, sweep } = takeTimetable;
  const sweepHz = (s: number): number => SWEEP_LOW_HZ * Math.exp(s / SWEEP_RATE_S);
  const parts = [
    { fromS: tone.atS + 0.02, toS: tone.atS + tone.lengthS - 0.02, turnsAt: (s: number) => TONE_HZ * (s - tone.atS), hzAt: () => TONE_HZ },
    {
      fromS: sweep.atS + sweepDurationS(CONTINUOUS_FROM_HZ),
      toS: sweep.atS + sweepDurationS(0.9 * Math.min(located.identity.sweepTopHz, rate / 2)),
      turnsAt: (s: number) => SWEEP_RATE_S * sweepHz(s - sweep.atS),
      hzAt: (s: number) => sweepHz(s - sweep.atS),
    },
  ];
  for (const { fromS, toS, turnsAt, hzAt } of parts) {
    const from = Math.ceil(start + fromS * playerRate);
    const timeAt = (n: number): number => (n + from - start) / playerRate;
    const frame = breakAt(x.subarray(Math.max(0, from), Math.floor(start + toS * playerRate)), rate, { turnsAt: (n) => turnsAt(timeAt(n)), hzAt: (n) => hzAt(timeAt(n)) }, noiseRms);
    if (frame !== null) return { frame: first + from + frame, inTone: fromS < sweep.atS };
  }
  return null;
}

/** Checks that two outputs were not swapped, against an earlier take of the same board. */
export function checkSwap(heard: Heard, estimates: readonly TakeEstimate[], earlier: readonly TakeEstimate[], earlierName: string): Problem | null {
  for (let a = 0; a < estimates.length; a++) {
    for (let b = a + 1; b < estimates.length; b++) {
      const [now, then] = [estimates, earlier].map((e) => thirdOctaveRatios(ratio(e[b]!.response, e[a]!.response)));
      const distance = (mirror: 1 | -1): number => {
        const pairs = now!.flatMap((band) => {
          const other = then!.find((t) => t.nominalHz === band.nominalHz);
          return other ? [(band.db - mirror * other.db) ** 2] : [];
        });
        return Math.sqrt(pairs.reduce((s, v) => s + v, 0) / Math.max(1, pairs.length));
      };
      const asBefore = distance(1);
      if (asBefore > SWAP_LEAST_DB && distance(-1) < SWAP_SHARE * asBefore) {
        return problem('capture.outputs-swapped', { file: heard.file, first: heard.outputs[a]!, second: heard.outputs[b]!, earlier: earlierName });
      }
    }
  }
  return null;
}

/** Checks an idle capture. */
export function checkIdle(heard: Heard, recording: Recording, estimates: readonly IdleEstimate[], mainsHz: number): Problem | null {
  const { file, outputs } = heard;
  const lengthS = recording.frames / recording.sampleRateHz;
  if (lengthS < SHORTEST_IDLE_S) return problem('capture.too-short', { file, seconds: lengthS, neededS: SHORTEST_IDLE_S });
  // Damage comes first, on every output: what may be filed as it is must be whole.
  for (const [c, { stationarity, spectrum }] of estimates.entries()) {
    const output = outputs[c]!;
    const { clippedAtFrame } = stationarity;
    if (clippedAtFrame !== null) return problem('capture.clipped', { file, output, frame: clippedAtFrame, atS: clippedAtFrame / recording.sampleRateHz });
    if (stationarity.gated) return problem('capture.gated', { file, output });
    if (!spectrum && !stationarity.silent) return problem('capture.nothing-steady', { file, output });
  }
  for (const [c, { stationarity, spectrum }] of estimates.entries()) {
    const output = outputs[c]!;
    if (stationarity.silent || !spectrum) return problem('capture.silent', { file, output });
    if (Math.abs(stationarity.driftDb) > DRIFT_DB) return problem('capture.level-not-steady', { file, output, db: Math.abs(stationarity.driftDb) });
    const jump = jumpDb(recording, c, stationarity.leftOut);
    if (jump !== null) return problem('capture.level-not-steady', { file, output, db: jump });
    const other = mainsHz === 50 ? 60 : 50;
    const said = findMains(spectrum.search.lines, mainsHz, spectrum.psd.binHz);
    const instead = findMains(spectrum.search.lines, other, spectrum.psd.binHz);
    if (instead && instead.explainedDb > OTHER_MAINS_DB && instead.explainedDb > OTHER_MAINS_TIMES * (said?.explainedDb ?? 0)) {
      return problem('capture.wrong-mains', { file, output, foundHz: instead.hz, saidHz: mainsHz });
    }
  }
  const same = sameChannels(recording);
  return same && problem('capture.mono-summed', { file, first: outputs[same[0]]!, second: outputs[same[1]]! });
}

/** Checks a switching capture: clicks may be loud, but not for the recorder. */
export function checkSwitching({ file, outputs }: Heard, estimates: readonly SwitchingEstimate[], sampleRateHz: number): Problem | null {
  for (const [c, { clippedAtFrame: frame }] of estimates.entries()) {
    if (frame !== null) return problem('capture.clipped', { file, output: outputs[c]!, frame, atS: frame / sampleRateHz });
  }
  const silent = estimates.findIndex((e) => e.silent);
  return silent < 0 ? null : problem('capture.silent', { file, output: outputs[silent]! });
}

/** Checks that may be overruled, because they say something of the board; a damaged recording may not be filed. */
const OVERRULABLE: readonly string[] = [
  'capture.take-unheard',
  'capture.silent',
  'capture.too-quiet',
  'capture.mono-summed',
  'capture.level-not-steady',
  'capture.outputs-swapped',
  'capture.polarity-same',
  'capture.polarity-turned',
  'capture.load-not-heard',
  'capture.jack-not-loaded',
  'capture.no-press',
  'capture.wrong-mains',
  'capture.not-in-one-piece',
];

export const isOverrulable = (refusal: Problem): boolean => OVERRULABLE.includes(refusal.code);
