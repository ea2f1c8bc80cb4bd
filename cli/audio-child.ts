/**
 * The process that plays and records: the only place that loads the audio library, which writes to both output streams
 * and does not always come back. It is one process per measurement, spoken to by messages, and ended by SIGKILL.
 *
 * Recording goes through a ScriptProcessorNode of 4096 frames: its input is the one view of the library without gaps, as
 * long as the queue in front of it (three blocks) neither fills nor empties. With the latencies below it did neither for a
 * minute on end; bigger ones are not safer. Where it empties, 128 zero frames are put in, and nothing is lost.
 *
 * @module
 */
import type { AudioContext as Context, AudioNode, GainNode } from 'node-web-audio-api';
import { constants, setPriority } from 'node:os';
import { refusalWords } from './refusal-words.js';
import type { AudioDevice, DeviceSide, PlayRequest, SessionRequest } from '../src/capture/engine.js';

export type ToChild =
  | { readonly ask: 'devices'; readonly probe: boolean }
  | { readonly ask: 'open'; readonly request: SessionRequest }
  | ({ readonly ask: 'play' } & PlayRequest)
  | { readonly ask: 'level'; readonly toDb: number; readonly seconds: number };

export type FromChild =
  | { readonly says: 'devices'; readonly devices: readonly AudioDevice[] }
  | { readonly says: 'open'; readonly sampleRateHz: number }
  /** What is to be played begins at this frame, as blocks count. */
  | { readonly says: 'playing'; readonly frame: number }
  | { readonly says: 'block'; readonly frame: number; readonly frames: number; readonly atS: number; readonly channels: readonly Float32Array[] }
  /** `about`: what could not be done. */
  | { readonly says: 'failed'; readonly about: 'library' | 'play' | 'record' | 'devices'; readonly reason: string };

const BLOCK_FRAMES = 4096;
/** The library renders so many frames at a time; sound that begins at a multiple of it is not interpolated. */
const QUANTUM = 128;
/** The node dates a block by when what it puts out is heard: so many frames after what it took in (measured with a source in front of it). */
const DATED_AHEAD_FRAMES = 2 * BLOCK_FRAMES - QUANTUM;
/** Frames, measured: at every rate 60 s came back bit for bit. */
const PLAY_LATENCY_FRAMES = 8192;
const RECORD_LATENCY_FRAMES = 16384;
/** Of a device with two inputs that is opened with one, a sound server gives the mean of both; of the two, the first is the first. */
const LEAST_RECORDED = 2;
const PROBED_RATES_HZ = [44100, 48000, 88200, 96000, 176400, 192000];
const PROBED_CHANNELS = [32, 16, 8, 6, 4, 2, 1];

/** What is used of the library; its own types leave devices out. */
interface Library {
  readonly AudioContext: new (options: { readonly sampleRate: number; readonly sinkId: string; readonly latencyHint?: number }) => Context;
  readonly mediaDevices: {
    enumerateDevices(): Promise<readonly { readonly deviceId: string; readonly label: string; readonly kind: string }[]>;
    /** Constraints are plain values; others than these are ignored. */
    getUserMedia(wanted: { readonly audio: { readonly deviceId: string; readonly channelCount: number; readonly sampleRate: number; readonly latency?: number } }): Promise<Parameters<Context['createMediaStreamSource']>[0]>;
  };
}

const tell = (message: FromChild): void => {
  process.send!(message);
};
const reasonOf = (error: unknown): string => (error instanceof Error ? error.message : String(error)).split('\n')[0]!;

/** The library's own words are for nobody at a bench. */
const whyNot = (error: unknown): string => refusalWords(reasonOf(error), process.env['BOARDPROOF_DEBUG'] === '1');

/** A refusal, with what it is about. */
class Refused extends Error {
  readonly about: (FromChild & { says: 'failed' })['about'];
  constructor(about: (FromChild & { says: 'failed' })['about'], reason: string) {
    super(reason);
    this.about = about;
  }
}

async function load(): Promise<Library> {
  try {
    return (await import('node-web-audio-api')) as unknown as Library;
  } catch (error) {
    throw new Refused('library', reasonOf(error));
  }
}

type Kind = 'audiooutput' | 'audioinput';

/** The library's id of a device. An id that it does not know would silently be the default. */
async function idOf(library: Library, name: string, kind: Kind): Promise<string> {
  const found = (await library.mediaDevices.enumerateDevices()).find((d) => d.label === name && d.kind === kind);
  if (!found) throw new Refused(kind === 'audiooutput' ? 'play' : 'record', 'it is not there');
  return found.deviceId;
}

async function devices(probe: boolean): Promise<AudioDevice[]> {
  const library = await load();
  const all = await library.mediaDevices.enumerateDevices();
  const found: AudioDevice[] = [];
  for (const name of new Set(all.map((d) => d.label))) {
    const id = (kind: Kind): string | null => all.find((d) => d.label === name && d.kind === kind)?.deviceId ?? null;
    const [out, into] = [id('audiooutput'), id('audioinput')];
    if (!probe) {
      const unknown = { channels: null, ratesHz: null };
      found.push({ name, plays: out === null ? null : unknown, records: into === null ? null : unknown });
      continue;
    }
    found.push({ name, plays: out === null ? null : await probedPlaying(library, out), records: into === null ? null : await probedRecording(library, into) });
  }
  return found;
}

/** Null where it does not open. */
async function probedPlaying(library: Library, sinkId: string): Promise<DeviceSide | null> {
  let channels = 0;
  const ratesHz: number[] = [];
  for (const sampleRate of PROBED_RATES_HZ) {
    try {
      const context = new library.AudioContext({ sampleRate, sinkId });
      if (context.sampleRate === sampleRate) ratesHz.push(sampleRate);
      channels = Math.max(channels, context.destination.maxChannelCount);
      await context.close();
    } catch {
      // It does not have that rate.
    }
  }
  return ratesHz.length > 0 ? { channels, ratesHz } : null;
}

async function probedRecording(library: Library, deviceId: string): Promise<DeviceSide | null> {
  const ratesHz: number[] = [];
  for (const rate of PROBED_RATES_HZ) if (await records(library, deviceId, 1, rate)) ratesHz.push(rate);
  const rate = ratesHz.includes(48000) ? 48000 : ratesHz[0];
  if (rate === undefined) return null;
  for (const channels of PROBED_CHANNELS) if (await records(library, deviceId, channels, rate)) return { channels, ratesHz };
  return null;
}

async function records(library: Library, deviceId: string, channelCount: number, sampleRate: number): Promise<boolean> {
  try {
    await library.mediaDevices.getUserMedia({ audio: { deviceId, channelCount, sampleRate } });
    return true;
  } catch {
    return false;
  }
}

interface Running {
  readonly context: Context;
  /** Where the signal goes in. */
  readonly way: { readonly node: AudioNode; readonly input: number };
  gain: GainNode | null;
}

let running: Running | null = null;

async function open({ sampleRateHz, play, record }: SessionRequest): Promise<void> {
  const library = await load();
  const sinkId = await idOf(library, play.device, 'audiooutput');
  let context: Context;
  try {
    context = new library.AudioContext({ sampleRate: sampleRateHz, latencyHint: PLAY_LATENCY_FRAMES / sampleRateHz, sinkId });
  } catch (error) {
    throw new Refused('play', whyNot(error));
  }
  const { destination } = context;
  if (play.channel > destination.maxChannelCount) throw new Refused('play', `it opens with ${destination.maxChannelCount} channels here, and channel ${play.channel} was asked for; use one up to ${destination.maxChannelCount}, or make the system offer more`);
  const width = Math.max(2, play.channel);
  if (width <= destination.maxChannelCount) {
    destination.channelCount = width;
    destination.channelInterpretation = 'discrete';
  }
  const merger = context.createChannelMerger(Math.min(width, Math.max(1, destination.maxChannelCount)));
  merger.connect(destination);

  const channels = record?.channels ?? 0;
  // Without an input the node still tells the time.
  const processor = context.createScriptProcessor(BLOCK_FRAMES, Math.max(LEAST_RECORDED, channels), 1);
  if (record) {
    const deviceId = await idOf(library, record.device, 'audioinput');
    const input = (channelCount: number): ReturnType<Library['mediaDevices']['getUserMedia']> =>
      library.mediaDevices.getUserMedia({ audio: { deviceId, channelCount, sampleRate: sampleRateHz, latency: RECORD_LATENCY_FRAMES / sampleRateHz } });
    try {
      const stream = channels >= LEAST_RECORDED ? await input(channels) : await input(LEAST_RECORDED).catch(() => input(channels));
      context.createMediaStreamSource(stream).connect(processor);
    } catch (error) {
      throw new Refused('record', whyNot(error));
    }
  }
  processor.onaudioprocess = ({ inputBuffer, playbackTime }): void => {
    // Until the input runs, and where the queue is empty, the library gives one channel of zeros.
    const heard = Array.from({ length: channels }, (_, c) => (c < inputBuffer.numberOfChannels ? new Float32Array(inputBuffer.getChannelData(c)) : new Float32Array(BLOCK_FRAMES)));
    tell({ says: 'block', frame: Math.round(playbackTime * context.sampleRate) - DATED_AHEAD_FRAMES, frames: BLOCK_FRAMES, atS: performance.now() / 1000, channels: heard });
  };
  processor.connect(destination);
  running = { context, way: { node: merger, input: play.channel - 1 }, gain: null };
  tell({ says: 'open', sampleRateHz: context.sampleRate });
}

function play({ samples, loop, ramp }: PlayRequest): void {
  const { context, way } = running!;
  const { sampleRate, currentTime } = context;
  const buffer = context.createBuffer(1, samples.length, sampleRate);
  buffer.copyToChannel(samples as Float32Array<ArrayBuffer>, 0);
  const source = context.createBufferSource();
  source.buffer = buffer;
  source.loop = loop;
  const startS = (Math.ceil(((currentTime + 0.1) * sampleRate) / QUANTUM) * QUANTUM) / sampleRate;
  // A gain of 1 leaves every bit as it is, and lets the sound sink where it is broken off.
  const gain = context.createGain();
  if (ramp) {
    gain.gain.setValueAtTime(amplitude(ramp.fromDb), startS);
    gain.gain.exponentialRampToValueAtTime(amplitude(ramp.toDb), startS + ramp.seconds);
  }
  source.connect(gain);
  gain.connect(way.node, 0, way.input);
  running!.gain = gain;
  source.start(startS);
  tell({ says: 'playing', frame: Math.round(startS * sampleRate) });
}

const amplitude = (db: number): number => 10 ** (db / 20);

function level(toDb: number, seconds: number): void {
  const { context, gain } = running!;
  if (!gain) return;
  const now = context.currentTime;
  const from = gain.gain.value;
  gain.gain.cancelScheduledValues(now);
  gain.gain.setValueAtTime(from, now);
  gain.gain.exponentialRampToValueAtTime(amplitude(toDb), now + seconds);
}

async function answer(message: ToChild): Promise<void> {
  switch (message.ask) {
    case 'devices':
      tell({ says: 'devices', devices: await devices(message.probe) });
      break;
    case 'open':
      await open(message.request);
      break;
    case 'play':
      play(message);
      break;
    case 'level':
      level(message.toDb, message.seconds);
      break;
  }
}

try {
  // Sound that comes late is lost; the threads of the library, started later, inherit this.
  setPriority(constants.priority.PRIORITY_HIGH);
} catch {
  // Not everybody may.
}
process.on('message', (message: ToChild) => {
  answer(message).catch((error: unknown) => {
    tell({ says: 'failed', about: error instanceof Refused ? error.about : message.ask === 'devices' ? 'devices' : 'play', reason: error instanceof Refused ? error.message : whyNot(error) });
  });
});
process.on('uncaughtException', (error) => {
  tell({ says: 'failed', about: 'play', reason: whyNot(error) });
});
// The program is gone: so is the sound.
process.on('disconnect', () => process.kill(process.pid, 'SIGKILL'));
// Ctrl-C in a terminal, and its end, reach every process of the group; the program itself says when to end.
for (const name of ['SIGINT', 'SIGHUP'] as const) process.on(name, () => undefined);
