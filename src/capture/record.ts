/**
 * One recording: opens the engine, plays what is to be played, and hands on every frame that was recorded, in order and
 * without the library's filler. Whatever goes wrong ends the sound first and is thrown then; what was handed on stays.
 *
 * @module
 */
import { problem } from '../problems.js';
import type { Problem } from '../problems.js';
import { hearingOf } from './coming-round.js';
import type { AudioBlock, AudioEngine, AudioSession, SessionRequest } from './engine.js';
import { createFillerCut } from './filler.js';
import type { FillerCutOut } from './filler.js';
import { createLevels } from './levels.js';
import type { ChannelLevel } from './levels.js';
import { APPROACH_DB, APPROACH_S, steadyLoop } from './programme.js';
import type { Programme } from './programme.js';
import { createStandstillWatch } from './standstill.js';
import type { Standstill } from './standstill.js';

/** What plays meanwhile: nothing, a coded signal once, or the steady tone until the end. */
export type Playing = { readonly kind: 'nothing' } | { readonly kind: 'programme'; readonly programme: Programme } | Tone;

export interface Tone {
  readonly kind: 'tone';
  readonly levelDbfs: number;
  /** Is given what changes the level while it plays: to so many dB over `levelDbfs`, within {@link STEER_S}. */
  readonly steer?: (to: (db: number) => void) => void;
}

/** A change of level takes this long. */
export const STEER_S = 0.3;

export interface RecordRequest {
  readonly session: SessionRequest & { readonly record: NonNullable<SessionRequest['record']> };
  /** What each input that matters is called, and its channel from 1. */
  readonly inputs: readonly { readonly channel: number; readonly output: string }[];
  readonly playing: Playing;
  /** What messages call it. */
  readonly name: string;
  /** How much is kept; null: until `stop`. Of a programme it is all and {@link TAIL_S}. */
  readonly lengthS: number | null;
  /** What needs no waiting for the end: an input that clips; a programme that is not heard on any input, unless that may be the board. */
  readonly endsOn: { readonly clipping: boolean; readonly silence: boolean };
}

export interface RecordWatch {
  /** Every frame that is kept, once, in order. What it throws ends the recording. */
  keep(channels: readonly Float32Array[]): void;
  /** Several times a second: where the recording is, and what each of `inputs` hears. */
  show(atS: number, levels: readonly ChannelLevel[]): void;
  /** Aborted to end the recording and keep it. */
  readonly stop?: AbortSignal;
  /** Aborted to end the program. */
  readonly interrupt?: AbortSignal | undefined;
}

export interface RecordAccount {
  readonly frames: number;
  /** Frames of filler that were cut out. */
  readonly fillerFrames: number;
  /** Where, each before a frame of what was recorded without filler, the beginning that devices settle in included. */
  readonly cuts: readonly FillerCutOut[];
  /** Where the computer stood still, in what is kept. */
  readonly standstills: readonly Standstill[];
  /** Frame of the recording at which playing began, as the device counts; null where nothing plays, or it is not known. */
  readonly playsFromFrame: number | null;
}

/** Recorded after a programme: the way round takes some of it. */
export const TAIL_S = 1.5;
/** Devices settle for so long; left out where nothing plays, and under the tone's own rise. */
export const SETTLE_S = 3;
/** Digital silence for so long is no recording. */
const SILENT_S = 3;
/** Before a sound is broken off it sinks, so that it does not click. */
const FADE_S = 0.1;
/** … and so much longer plays on: what a device and its driver still hold is thrown away at the end. */
const HELD_S = 0.7;

/** @throws Problem `capture.device-lost`, `capture.input-silent`, `capture.overload`, `capture.clips`, `capture.not-heard`, `capture.heard-no-more`, `capture.frames-skipped`, `cli.interrupted`, and what the engine and `keep` throw */
export async function record(engine: AudioEngine, request: RecordRequest, watch: RecordWatch): Promise<RecordAccount> {
  if (watch.interrupt?.aborted) throw problem('cli.interrupted', {});
  const session = await engine.open(request.session);
  const close = (): void => {
    session.close();
  };
  watch.interrupt?.addEventListener('abort', close);
  try {
    // While the devices opened nobody listened; nothing has sounded yet.
    if (watch.interrupt?.aborted) throw problem('cli.interrupted', {});
    begin(session, request);
    return await follow(session, request, watch);
  } finally {
    watch.interrupt?.removeEventListener('abort', close);
    session.close();
  }
}

function begin(session: AudioSession, { playing, session: { sampleRateHz } }: RecordRequest): void {
  if (playing.kind === 'programme') session.play({ samples: playing.programme.samples, loop: false, ramp: null });
  if (playing.kind !== 'tone') return;
  session.play({ samples: steadyLoop(playing.levelDbfs, sampleRateHz), loop: true, ramp: { fromDb: APPROACH_DB, toDb: 0, seconds: APPROACH_S } });
  playing.steer?.((db) => {
    session.level(db, STEER_S);
  });
}

async function follow(session: AudioSession, request: RecordRequest, watch: RecordWatch): Promise<RecordAccount> {
  const { sampleRateHz, record: { channels, device } } = request.session;
  const { playing, inputs } = request;
  const cut = createFillerCut(channels, sampleRateHz);
  const frames = (s: number): number => Math.round(s * sampleRateHz);
  const skip = playing.kind === 'programme' ? 0 : frames(SETTLE_S + (playing.kind === 'tone' ? 0.5 : 0));
  const wanted = playing.kind === 'programme' ? frames(playing.programme.lengthS + TAIL_S) : request.lengthS === null ? Infinity : frames(request.lengthS);
  const levelsOf = createLevels();
  const unfit = watchFor(request);
  const stoodStill = createStandstillWatch(sampleRateHz);
  const standstills: Standstill[] = [];
  let next: number | null = null;
  let first = 0;
  let heard = 0;
  let kept = 0;
  const keep = (certain: readonly Float32Array[]): void => {
    const from = Math.min(certain[0]!.length, Math.max(0, skip - heard));
    const to = Math.min(certain[0]!.length, from + wanted - kept);
    heard += certain[0]!.length;
    if (to <= from) return;
    watch.keep(certain.map((c) => c.subarray(from, to)));
    kept += to - from;
  };
  const blocks = session.blocks[Symbol.asyncIterator]();
  while (kept < wanted && watch.stop?.aborted !== true) {
    const { value: block, done } = await blocks.next();
    if (done === true) break;
    if (next !== null && block.frame !== next) throw problem('capture.frames-skipped', { frames: block.frame - next, atS: heard / sampleRateHz });
    if (next === null) first = block.frame;
    next = block.frame + block.frames;
    const wires = inputs.map(({ channel }) => block.channels[channel - 1]!);
    const levels = levelsOf(wires);
    keep(cut.push(block.channels));
    if (cut.zeroRun >= frames(SILENT_S)) throw problem('capture.input-silent', { device, seconds: SILENT_S });
    // Before, devices settle.
    const still = kept > 0 ? stoodStill(block, kept / sampleRateHz) : null;
    if (still) standstills.push(still);
    watch.show(kept / sampleRateHz, levels);
    const why = unfit({ heardS: heard / sampleRateHz, keptS: kept / sampleRateHz, blockS: block.frames / sampleRateHz }, wires, levels);
    if (why === null) continue;
    if (playing.kind !== 'nothing') await sink(session, blocks, sampleRateHz);
    throw why;
  }
  if (watch.interrupt?.aborted) throw problem('cli.interrupted', {});
  keep(cut.finish());
  if (playing.kind === 'tone' || (playing.kind === 'programme' && kept < wanted)) await sink(session, blocks, sampleRateHz);
  return { frames: kept, fillerFrames: cut.cuts.reduce((sum, c) => sum + c.frames, 0), cuts: cut.cuts, standstills, playsFromFrame: session.playsFromFrame === null ? null : session.playsFromFrame - first };
}

/** How far a recording is: of all that was heard, and of what is kept, with the last block, s. */
interface Progress {
  readonly heardS: number;
  readonly keptS: number;
  readonly blockS: number;
}

/** Tells, block after block, why the rest need not be played or waited for; null: go on. */
function watchFor({ playing, inputs, name, endsOn, session }: RecordRequest): (at: Progress, wires: readonly Float32Array[], levels: readonly ChannelLevel[]) => Problem | null {
  const hearing = playing.kind === 'programme' ? hearingOf(playing.programme) : null;
  return ({ heardS, keptS, blockS }, wires, levels) => {
    const input = inputs[levels.findIndex((l) => l.clips)];
    if (input && playing.kind !== 'nothing' && heardS < APPROACH_S) return problem('capture.overload', { output: input.output, playedDbfs: playedAt(playing, heardS) });
    if (input && endsOn.clipping && keptS > 0) return problem('capture.clips', { ...input, atS: Math.max(0, keptS - blockS), playing: playing.kind !== 'nothing' });
    const missing = hearing?.hears(heardS, blockS, wires, levels) ?? null;
    if (missing === null || !endsOn.silence) return null;
    return missing === 'approach' ? problem('capture.not-heard', { step: name, device: session.record.device, hums: [] }) : problem('capture.heard-no-more', { step: name, atS: heardS });
  };
}

/** What the approach had reached, rounded: it takes a moment to come round. */
function playedAt(playing: Playing, atS: number): number {
  const level = playing.kind === 'tone' ? playing.levelDbfs : playing.kind === 'programme' ? playing.programme.highestDbfs : 0;
  return Math.round(level + APPROACH_DB * Math.max(0, 1 - atS / APPROACH_S));
}

/** Lets what plays sink, and hears it out. */
export async function sink(session: AudioSession, blocks: AsyncIterator<AudioBlock>, sampleRateHz: number): Promise<void> {
  session.level(-80, FADE_S);
  for (let left = (FADE_S + HELD_S) * sampleRateHz; left > 0; ) {
    const { value, done } = await blocks.next();
    if (done === true) return;
    left -= value.frames;
  }
}
