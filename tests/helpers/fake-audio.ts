/** An audio engine that is a formula: what is played comes back through a device, as fast as it is asked for. */
import type { AudioBlock, AudioDevice, AudioEngine, PlayRequest, SessionRequest } from '../../src/capture/engine.js';
import { problem } from '../../src/problems.js';
import { noise as seededNoise } from './random.js';

export interface FakeWorld {
  /** What a recorder channel (from 0) hears of the sample that was played `latency` frames ago; noise is added. */
  hear(played: number, channel: number, frame: number): number;
  readonly noise?: number;
  readonly latencyFrames?: number;
  readonly devices?: readonly AudioDevice[];
  /** Blocks after which the device is gone. */
  readonly lostAfter?: number;
  /** Changes a block on its way: filler, gaps. */
  spoil?(block: AudioBlock, index: number): AudioBlock;
  /** Called before each block. */
  tick?(index: number): void;
}

const ALL: AudioDevice[] = [{ name: 'interface', plays: { channels: 2, ratesHz: [44100, 48000, 96000] }, records: { channels: 4, ratesHz: [44100, 48000, 96000] } }];
const BLOCK = 4096;
/** Hiss of rms 1, made once: longer than any recording, read from another place in each session and channel. */
const HISS_FRAMES = 2 ** 20;
let hiss: Float64Array | null = null;
const SESSION_APART = 104_729;
const CHANNEL_APART = 350_377;

export interface FakeEngine extends AudioEngine {
  /** Everything that was put out, per session: peak per block. */
  readonly opened: SessionRequest[];
  readonly peaks: number[][];
}

export function fakeEngine(world: FakeWorld): FakeEngine {
  const opened: SessionRequest[] = [];
  const peaks: number[][] = [];
  return {
    opened,
    peaks,
    devices: () => Promise.resolve(world.devices ?? ALL),
    open(request) {
      opened.push(request);
      const own: number[] = [];
      peaks.push(own);
      const hissed = (hiss ??= seededNoise(HISS_FRAMES, 1, 1));
      const from = opened.length * SESSION_APART;
      const noise = world.noise ?? 1e-6;
      /** What is on its way, a ring. */
      const delay = new Float64Array((world.latencyFrames ?? 0) + 1);
      let put = 0;
      const playing: (PlayRequest & { at: number; db: number; toDb: number; step: number })[] = [];
      let closed = false;
      let produced = 0;
      let playsFromFrame: number | null = null;
      const next = (): number => {
        let sum = 0;
        for (const p of playing) {
          if (p.at >= p.samples.length && !p.loop) continue;
          sum += p.samples[p.at % p.samples.length]! * (p.db === 0 ? 1 : 10 ** (p.db / 20));
          p.at++;
          p.db = p.step > 0 ? Math.min(p.toDb, p.db + p.step) : Math.max(p.toDb, p.db + p.step);
        }
        return sum;
      };
      async function* blocks(): AsyncGenerator<AudioBlock> {
        for (let index = 0; !closed; index++) {
          await new Promise((resolve) => setImmediate(resolve));
          world.tick?.(index);
          if (closed) return;
          if (world.lostAfter !== undefined && index >= world.lostAfter) throw problem('capture.device-lost', { names: ['interface'], atS: (index * BLOCK) / request.sampleRateHz });
          const channels = Array.from({ length: request.record?.channels ?? 0 }, () => new Float32Array(BLOCK));
          let peak = 0;
          for (let n = 0; n < BLOCK; n++) {
            const out = next();
            peak = Math.max(peak, Math.abs(out));
            delay[put] = out;
            put = (put + 1) % delay.length;
            const played = delay[put]!;
            channels.forEach((c, i) => (c[n] = Math.max(-1, Math.min(1, world.hear(played, i, index * BLOCK + n) + noise * hissed[(from + i * CHANNEL_APART + index * BLOCK + n) % HISS_FRAMES]!))));
          }
          own.push(peak);
          produced = (index + 1) * BLOCK;
          const block = { frame: index * BLOCK, frames: BLOCK, channels };
          yield world.spoil?.(block, index) ?? block;
        }
      }
      const stream = blocks();
      return Promise.resolve({
        play: (what) => {
          const { ramp } = what;
          playsFromFrame = produced;
          playing.push({ ...what, at: 0, db: ramp?.fromDb ?? 0, toDb: ramp?.toDb ?? 0, step: ramp ? (ramp.toDb - ramp.fromDb) / (ramp.seconds * request.sampleRateHz) : 0 });
        },
        level: (toDb, seconds) => {
          for (const p of playing) {
            p.toDb = toDb;
            p.step = (toDb - p.db) / (seconds * request.sampleRateHz);
          }
        },
        blocks: stream,
        get playsFromFrame() {
          return playsFromFrame;
        },
        close: () => {
          closed = true;
        },
      });
    },
  };
}
