/**
 * Dropouts and crackles of a steady tone while leads and plugs are moved, as they come: tone in, events with times out.
 *
 * The tone is followed in steps of 2 ms with windows of 4 ms (four periods of 997 Hz): a three-parameter fit at the known
 * frequency gives its amplitude, the rest is what is not tone. Both are held against their own median of the last
 * seconds. A dropout is where the tone falls by {@link DROP_DB} or more; a crackle where what is not tone rises over
 * {@link CRACKLE_OVER} times its usual rms and over a small share of the tone, while the tone stands. Events of one kind
 * closer together than {@link MERGE_S} are one: a contact that chatters.
 *
 * @module
 */
import { TONE_HZ } from '../signals/take.js';
import { median } from '../numerics/statistics.js';
import type { Recording } from './recording.js';

export interface FlexEvent {
  readonly kind: 'dropout' | 'crackle';
  /** Outputs that heard it. */
  readonly outputs: readonly string[];
  readonly atS: number;
  readonly lengthS: number;
  /** A dropout's deepest, against the tone; a crackle's rms in its worst 4 ms against the tone's: dB. */
  readonly db: number;
}

const STEP_S = 0.002;
const WINDOW_S = 0.004;
/** A tone this much lower is interrupted or badly hurt, dB (common practice, no source). */
export const DROP_DB = 3;
/** Rest over its usual rms. A Gaussian rest of 192 samples reaches 1.2 in an hour's windows; a board's own noise swings more. */
export const CRACKLE_OVER = 4;
/** … and at least this much of the tone, dB: softer ones nobody hears beside playing. */
const CRACKLE_LEAST_DB = -60;
export const MERGE_S = 0.05;
/** A dropout is spoken of while it lasts from here on: a shorter one is over before it is read. */
const LASTING_S = 0.5;
/** How much of the past tells what is usual, s. */
const MEMORY_S = 2;
/** Steps before anything is said. */
const LEAST_MEMORY = 50;
/** Nothing is usual about a tone this weak, full scale 1. */
const LEAST_TONE = 3e-5;
/** The level is kept as its lowest and highest within so long. */
export const LEVEL_STEP_S = 0.1;

interface Track {
  readonly output: string;
  readonly amplitudes: number[];
  readonly rests: number[];
  /** Medians, worked out anew every tenth of a second. */
  usualTone: number;
  usualRest: number;
  age: number;
  /** When the tone was last found twice as strong as before, s: where it began. */
  begunS: number;
  readonly lowest: number[];
  readonly highest: number[];
}

interface Open {
  kind: FlexEvent['kind'];
  outputs: Set<string>;
  fromS: number;
  toS: number;
  db: number;
}

/** A dropout that is not over. */
export type FlexDropout = Pick<FlexEvent, 'outputs' | 'atS'>;

export interface FlexWatch {
  /** Next samples, a channel per output; what ended meanwhile comes back. */
  push(channels: readonly Float64Array[]): FlexEvent[];
  finish(): FlexEvent[];
  /** A dropout that has lasted for half a second and goes on; null where there is none. */
  down(): FlexDropout | null;
  /** Per output: usual amplitude of the tone, 0 where it was too weak to follow, and how its amplitude went. */
  heard(): (Pick<FlexEstimate, 'tone' | 'lowest' | 'highest'> & { readonly begunS: number })[];
}

export function createFlexWatch(outputs: readonly string[], sampleRateHz: number): FlexWatch {
  const step = Math.round(STEP_S * sampleRateHz);
  const size = Math.round(WINDOW_S * sampleRateHz);
  const fit = toneFit(size, sampleRateHz);
  const memory = Math.round(MEMORY_S / STEP_S);
  const tracks = outputs.map((output): Track => ({ output, amplitudes: [], rests: [], usualTone: 0, usualRest: 0, age: 0, begunS: 0, lowest: [], highest: [] }));
  let pending = outputs.map(() => new Float64Array(0));
  let windowAt = 0;
  const open = new Map<FlexEvent['kind'], Open>();

  const look = (track: Track, x: Float64Array, atS: number): void => {
    const { amplitude, restRms } = fit(x);
    const bin = Math.floor((atS + WINDOW_S / 2) / LEVEL_STEP_S);
    track.lowest[bin] = Math.min(track.lowest[bin] ?? Infinity, amplitude);
    track.highest[bin] = Math.max(track.highest[bin] ?? 0, amplitude);
    const { usualTone, usualRest, age } = track;
    if (age >= LEAST_MEMORY && usualTone > LEAST_TONE) {
      const down = 20 * Math.log10(Math.max(amplitude, 1e-10) / usualTone);
      const rest = 20 * Math.log10((Math.SQRT2 * Math.max(restRms, 1e-10)) / usualTone);
      if (down <= -DROP_DB) note('dropout', track.output, atS, down);
      else if (restRms > CRACKLE_OVER * usualRest && rest > CRACKLE_LEAST_DB) note('crackle', track.output, atS, rest);
    }
    track.amplitudes.push(amplitude);
    track.rests.push(restRms);
    if (track.amplitudes.length > memory) {
      track.amplitudes.shift();
      track.rests.shift();
    }
    if (++track.age % LEAST_MEMORY === 0) {
      // A tone that is gone for a second is still the usual one.
      const tone = median(track.amplitudes);
      if (tone > 2 * track.usualTone) track.begunS = atS;
      if (tone > 0.5 * track.usualTone) track.usualTone = tone;
      track.usualRest = median(track.rests);
    }
  };
  const note = (kind: FlexEvent['kind'], output: string, atS: number, db: number): void => {
    const now = open.get(kind);
    if (!now) {
      open.set(kind, { kind, outputs: new Set([output]), fromS: atS, toS: atS, db });
      return;
    }
    now.outputs.add(output);
    now.toS = atS;
    now.db = kind === 'dropout' ? Math.min(now.db, db) : Math.max(now.db, db);
  };
  /** Windows overlap an event by their own length: what they saw lies in their middle. */
  const asEvent = ({ kind, outputs: heard, fromS, toS, db }: Open): FlexEvent => ({ kind, outputs: [...heard], atS: fromS + WINDOW_S / 2, lengthS: Math.max(STEP_S, toS - fromS), db });
  const over = (nowS: number, all: boolean): FlexEvent[] => {
    const done = [...open.values()].filter((o) => all || nowS - o.toS > MERGE_S);
    for (const o of done) open.delete(o.kind);
    // The edges of a dropout are no crackles of their own.
    const drops = done.filter((o) => o.kind === 'dropout').concat([...open.values()].filter((o) => o.kind === 'dropout'), recentDrops);
    recentDrops = drops.filter((o) => nowS - o.toS < 1);
    return done.filter((o) => o.kind === 'dropout' || !drops.some((d) => o.fromS > d.fromS - MERGE_S && o.toS < d.toS + MERGE_S)).map(asEvent);
  };
  let recentDrops: Open[] = [];

  return {
    push(channels) {
      pending = pending.map((before, c) => {
        const joined = new Float64Array(before.length + channels[c]!.length);
        joined.set(before);
        joined.set(channels[c]!, before.length);
        return joined;
      });
      const found: FlexEvent[] = [];
      let from = 0;
      for (; from + size <= pending[0]!.length; from += step) {
        const atS = (windowAt + from) / sampleRateHz;
        tracks.forEach((track, c) => {
          look(track, pending[c]!.subarray(from, from + size), atS);
        });
        found.push(...over(atS, false));
      }
      windowAt += from;
      pending = pending.map((x) => x.slice(from));
      return found;
    },
    down: () => {
      const last = open.get('dropout');
      return last === undefined || last.toS - last.fromS < LASTING_S ? null : { outputs: [...last.outputs], atS: last.fromS + WINDOW_S / 2 };
    },
    // A tone that has not come back by the end was ended: no contact.
    finish: () => {
      const last = open.get('dropout');
      const isEnded = last !== undefined && last.toS > (windowAt - 1.5 * step) / sampleRateHz;
      return over(windowAt / sampleRateHz, true).filter((e) => e.kind === 'crackle' || !isEnded || e.atS !== asEvent(last).atS);
    },
    heard: () => tracks.map(({ usualTone, begunS, lowest, highest }) => ({ begunS, tone: usualTone > LEAST_TONE ? usualTone : 0, lowest, highest })),
  };
}

/** Amplitude of the tone in a window, and the rms of what is left with it and the mean taken out. */
function toneFit(size: number, sampleRateHz: number): (x: Float64Array) => { amplitude: number; restRms: number } {
  const omega = (2 * Math.PI * TONE_HZ) / sampleRateHz;
  const cosine = Float64Array.from({ length: size }, (_, n) => Math.cos(omega * n));
  const sine = Float64Array.from({ length: size }, (_, n) => Math.sin(omega * n));
  const sums = { c: 0, s: 0, cc: 0, cs: 0, ss: 0 };
  for (let n = 0; n < size; n++) {
    sums.c += cosine[n]!;
    sums.s += sine[n]!;
    sums.cc += cosine[n]! ** 2;
    sums.cs += cosine[n]! * sine[n]!;
    sums.ss += sine[n]! ** 2;
  }
  // With the mean taken out of both sides the normal equations are two by two.
  const cc = sums.cc - (sums.c * sums.c) / size;
  const cs = sums.cs - (sums.c * sums.s) / size;
  const ss = sums.ss - (sums.s * sums.s) / size;
  const det = cc * ss - cs * cs;
  return (x) => {
    let mean = 0;
    let xc = 0;
    let xs = 0;
    let xx = 0;
    for (let n = 0; n < size; n++) {
      const v = x[n]!;
      mean += v;
      xc += v * cosine[n]!;
      xs += v * sine[n]!;
      xx += v * v;
    }
    mean /= size;
    xc -= mean * sums.c;
    xs -= mean * sums.s;
    xx -= size * mean * mean;
    const a = (xc * ss - xs * cs) / det;
    const b = (xs * cc - xc * cs) / det;
    return { amplitude: Math.hypot(a, b), restRms: Math.sqrt(Math.max(0, xx - a * xc - b * xs) / size) };
  };
}

/** A filed flex capture, as one output heard it. */
export interface FlexEstimate {
  readonly lengthS: number;
  readonly events: readonly FlexEvent[];
  /** Usual amplitude of its tone, full scale 1; 0 where there was none to follow. */
  readonly tone: number;
  /** Lowest and highest amplitude of the tone within each {@link LEVEL_STEP_S}, from the beginning on. */
  readonly lowest: readonly number[];
  readonly highest: readonly number[];
}

/**
 * From beginning to end; an estimate for each output, whose events are those that it heard. What a recorder heard before the
 * tone began, or after it was ended, is no event.
 */
export function measureFlex(recording: Recording, outputs: readonly string[]): FlexEstimate[] {
  const watch = createFlexWatch(outputs, recording.sampleRateHz);
  const events: FlexEvent[] = [];
  recording.forEachBlock((block) => {
    events.push(...watch.push(block.channels.map((c) => c.subarray(0, block.frames))));
  });
  events.push(...watch.finish());
  const heard = watch.heard();
  const during = events.filter((e) => e.outputs.some((o) => e.atS > heard[outputs.indexOf(o)]!.begunS));
  return outputs.map((output, c) => {
    const { tone, lowest, highest } = heard[c]!;
    return { lengthS: recording.frames / recording.sampleRateHz, events: during.filter((e) => e.outputs.includes(output)), tone, lowest, highest };
  });
}

/**
 * Several captures of one step, laid end to end with the first at the beginning; the levels are brought to the tone of the last. An output
 * that had no tone to follow in one of them has none there.
 *
 * @param captures - Per capture an estimate for each output.
 */
export function joinFlex(captures: readonly (readonly FlexEstimate[])[]): FlexEstimate[] {
  const steps = captures.map((inputs) => Math.max(...inputs.map((i) => i.lowest.length)));
  const startS = steps.map((_, k) => LEVEL_STEP_S * steps.slice(0, k).reduce((s, n) => s + n, 0));
  return captures[0]!.map((_, c) => {
    const own = captures.map((inputs) => inputs[c]!);
    const tone = own.reduce((last, { tone: t }) => (t > 0 ? t : last), 0);
    const levels = (key: 'lowest' | 'highest'): number[] =>
      own.flatMap((o, k) => Array.from({ length: steps[k]! }, (_, i) => (o.tone > 0 ? ((o[key][i] ?? 0) * tone) / o.tone : 0)));
    return {
      lengthS: startS.at(-1)! + own.at(-1)!.lengthS,
      events: own.flatMap(({ events }, k) => events.map((e) => ({ ...e, atS: e.atS + startS[k]! }))),
      tone,
      lowest: levels('lowest'),
      highest: levels('highest'),
    };
  });
}
