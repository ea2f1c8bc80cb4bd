/**
 * Takes and level stairs in a recording: found by their markers, named by their words, timed by both ends.
 *
 * The two markers give the start and the clock ratio: recorder seconds per player second, with the recorder's seconds as its
 * nominal rate counts them. The tone between them gives the ratio a second time, from its frequency, which no missing
 * sample outside the tone can change. Where the two disagree by more than half a sample over the take, samples were
 * lost or put in.
 *
 * @module
 */
import { fitSine } from '../numerics/sine-fit.js';
import { hann } from '../numerics/window.js';
import { MARKER_MARGIN_S, createMarkerSearch, markerWindowFrames, readWord, timeSync } from '../signals/marker-search.js';
import type { SyncHit } from '../signals/marker-search.js';
import type { TakeIdentity } from '../signals/marker.js';
import { codedTimetable } from '../signals/coded.js';
import { isStairs } from '../signals/stairs.js';
import { TONE_HZ } from '../signals/take.js';
import type { Recording } from './recording.js';

/** A take, or the level stairs, whichever its identity says. */
export interface LocatedTake {
  readonly identity: TakeIdentity;
  /** Frame of the recording at which the take begins, fractional. */
  readonly startFrame: number;
  /** Recorder seconds per player second, from the markers. */
  readonly clockRatio: number;
  /** The same from the tone's frequency; null where no tone could be fitted. */
  readonly toneClockRatio: number | null;
  /** Frames too few (negative) or too many between the markers, by the tone's clock. */
  readonly extraFrames: number | null;
  /** Channel (from 0) on which the markers were clearest. */
  readonly channel: number;
  /** The smaller of the two markers' correlation coefficients. */
  readonly likeness: number;
}

/** A marker without its other end. */
export interface TakeFragment {
  readonly identity: TakeIdentity | null;
  readonly end: 'start' | 'end';
  readonly frame: number;
  /** Marker complete and readable, but the recording ends before the take does. */
  readonly cutShort: boolean;
}

export interface TakeSearchResult {
  readonly takes: readonly LocatedTake[];
  /** Level stairs. */
  readonly stairs: readonly LocatedTake[];
  readonly fragments: readonly TakeFragment[];
}

/** Clocks further apart than this are not looked for (the design asks ±500 ppm). */
export const LARGEST_CLOCK_OFFSET = 600e-6;
/** Frames lost or put in, in seconds, up to which two markers are still taken for one take. */
const LARGEST_LOSS_S = 1;

interface ReadMarker {
  readonly hit: SyncHit;
  readonly channel: number;
  readonly identity: TakeIdentity | null;
}

const sameTake = (a: TakeIdentity, b: TakeIdentity): boolean =>
  a.stepCode === b.stepCode && a.levelDbfs === b.levelDbfs && a.sweepTopHz === b.sweepTopHz;

function readMarker(recording: Recording, hit: SyncHit, channel: number): ReadMarker {
  const rate = recording.sampleRateHz;
  const from = Math.max(0, Math.round(hit.frame - MARKER_MARGIN_S * rate));
  const channels = recording.read(from, markerWindowFrames(rate));
  // The clearest channel first, then any that reads.
  for (const c of [channel, ...channels.keys()]) {
    const samples = channels[c]!;
    const frame = timeSync(hit.end, samples, rate, hit.frame - from);
    const identity = readWord(samples, rate, frame);
    if (identity) return { hit: { ...hit, frame: from + frame }, channel: c, identity };
  }
  return { hit, channel, identity: null };
}

/** Clock ratio by the tone, Hann-weighted so that hum beside it does not pull; of the stairs with what they rise taken out. */
function toneClockRatio(recording: Recording, startFrame: number, markerRatio: number, channel: number, identity: TakeIdentity): number | null {
  // No clock is that far off: samples are missing, and the tone is nearer to its own frequency than to that of the spacing.
  const clockRatio = Math.abs(markerRatio - 1) > LARGEST_CLOCK_OFFSET ? 1 : markerRatio;
  const { steady } = codedTimetable(identity);
  const rate = recording.sampleRateHz;
  const from = Math.round(startFrame + steady.atS * clockRatio * rate);
  const samples = recording.read(from, Math.round(steady.lengthS * rate))[channel]!;
  if (samples.length < rate) return null;
  if (steady.riseAt) for (let n = 0; n < samples.length; n++) samples[n]! /= steady.riseAt(n / (clockRatio * rate));
  const fit = fitSine(samples, rate, TONE_HZ / clockRatio, hann(samples.length));
  if (!fit || fit.amplitude < 2 * fit.residualRms) return null;
  return TONE_HZ / fit.frequencyHz;
}

/** Searches every channel; memory does not grow with the length of the recording. */
export function findTakes(recording: Recording): TakeSearchResult {
  const rate = recording.sampleRateHz;
  const searches = Array.from({ length: recording.channelCount }, () => createMarkerSearch(rate));
  recording.forEachBlock((block) => {
    searches.forEach((search, c) => {
      search.push(block.channels[c]!.subarray(0, block.frames));
    });
  });
  // One marker is heard on every live output: keep it where it is clearest.
  const heard = searches
    .flatMap((search, channel) => search.finish().map((hit) => ({ hit, channel })))
    .sort((a, b) => b.hit.likeness - a.hit.likeness);
  const kept: { hit: SyncHit; channel: number }[] = [];
  for (const candidate of heard) {
    const near = kept.some((k) => k.hit.end === candidate.hit.end && Math.abs(k.hit.frame - candidate.hit.frame) < 0.1 * rate);
    if (!near) kept.push(candidate);
  }
  const markers = kept.map(({ hit, channel }) => readMarker(recording, hit, channel)).sort((a, b) => a.hit.frame - b.hit.frame);

  const found: LocatedTake[] = [];
  const used = new Set<ReadMarker>();
  for (const start of markers) {
    if (start.hit.end !== 'start') continue;
    const candidates = markers.filter((m) => {
      // One readable word names the take.
      const says = start.identity ?? m.identity;
      if (!says) return false;
      const spacingS = codedTimetable(says).endMarkerAtS;
      const offS = (m.hit.frame - start.hit.frame) / rate - spacingS;
      return m.hit.end === 'end' && !used.has(m) && Math.abs(offS) < LARGEST_LOSS_S + LARGEST_CLOCK_OFFSET * spacingS;
    });
    // Two must agree.
    const end = candidates.find((m) => !m.identity || !start.identity || sameTake(m.identity, start.identity));
    const identity = start.identity ?? end?.identity;
    if (!end || !identity) continue;
    used.add(start).add(end);
    const spacingS = codedTimetable(identity).endMarkerAtS;
    const { channel } = start.identity ? start : end;
    // Timed on one channel, so that both ends went through the same delay; the ratio sharpens the templates it is found with.
    const ends = [start, end].map(({ hit: clearest }) => {
      // The clearest may be another output's, which need not come at the same time: one of them may pass something digital.
      const hit = heard.find((h) => h.channel === channel && h.hit.end === clearest.end && Math.abs(h.hit.frame - clearest.frame) < 0.1 * rate)?.hit ?? clearest;
      const from = Math.max(0, Math.round(hit.frame - MARKER_MARGIN_S * rate));
      return { end: hit.end, from, samples: recording.read(from, markerWindowFrames(rate))[channel]!, frame: hit.frame };
    });
    let spacing = { startFrame: start.hit.frame, clockRatio: 1 };
    let timedWith = 0;
    const retime = (ratio: number): void => {
      // A ratio wrong by 2e-5 moves a chirp by 0.15 sample.
      const isClose = Math.abs(ratio - timedWith) < 2e-5;
      for (const e of ends) e.frame = e.from + timeSync(e.end, e.samples, rate * ratio, e.frame - e.from, isClose);
      timedWith = ratio;
      const [first, last] = ends.map((e) => e.frame) as [number, number];
      spacing = { startFrame: first, clockRatio: (last - first) / (spacingS * rate) };
    };
    retime(1);
    const tone = toneClockRatio(recording, spacing.startFrame, spacing.clockRatio, channel, identity);
    // The templates must be made with the player's clock. The tone tells it best, even with frames missing, when the spacing does not.
    if (tone !== null && Math.abs(tone - spacing.clockRatio) < LARGEST_LOSS_S / spacingS) {
      retime(tone);
    } else {
      for (let pass = 0; pass < 3 && Math.abs(spacing.clockRatio - timedWith) > 1e-9; pass++) retime(spacing.clockRatio);
    }
    const { startFrame, clockRatio } = spacing;
    found.push({
      identity,
      startFrame,
      clockRatio,
      toneClockRatio: tone,
      extraFrames: tone === null ? null : (clockRatio - tone) * spacingS * rate,
      channel,
      likeness: Math.min(start.hit.likeness, end.hit.likeness),
    });
  }
  const fragments = markers
    .filter((m) => !used.has(m) && m.identity !== null)
    .map((m) => ({
      identity: m.identity,
      end: m.hit.end,
      frame: m.hit.frame,
      cutShort: m.hit.end === 'start' && m.hit.frame + codedTimetable(m.identity!).endMarkerAtS * rate > recording.frames - rate,
    }));
  return { takes: found.filter((t) => !isStairs(t.identity)), stairs: found.filter((t) => isStairs(t.identity)), fragments };
}
