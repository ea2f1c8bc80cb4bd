/** What is played comes back bit for bit, at every rate and width, through a sound server without a sound card. */
import { resolve } from 'node:path';
import { pathToFileURL } from 'node:url';
import { describe, expect, it } from 'vitest';
import type { AudioEngine } from '../../src/capture/engine.js';
import { programmeOf } from '../../src/capture/programme.js';
import type { Programme } from '../../src/capture/programme.js';
import { record } from '../../src/capture/record.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { findTakes } from '../../src/measure/take-search.js';
import { startSoundServer } from '../helpers/sound-server.js';
import type { ServerSettings } from '../helpers/sound-server.js';

/** The compiled engine: it starts a process of its own, which TypeScript cannot. */
async function compiledEngine(): Promise<AudioEngine> {
  const module = (await import(pathToFileURL(resolve(import.meta.dirname, '../../dist/cli/audio-engine.js')).href)) as { createAudioEngine(): AudioEngine };
  return module.createAudioEngine();
}

/** Whole takes one after the other until the time is filled, with the approach in front. */
function longProgramme(lengthS: number, sampleRateHz: number): Programme {
  const one = programmeOf('take', { sampleRateHz, levelDbfs: -20, stepCode: 5 });
  const samples = new Float32Array(Math.round(lengthS * sampleRateHz));
  for (let at = 0; at < samples.length; at += one.samples.length) samples.set(one.samples.subarray(0, samples.length - at), at);
  return { ...one, samples, lengthS };
}

/** Plays and records in a server of its own; the channels, joined. The engine reads its devices from the environment. */
async function loop(settings: ServerSettings, programme: Programme, outputChannel: number, width = settings.channels ?? 2): Promise<{ channels: Float64Array[]; fillerFrames: number }> {
  const server = await startSoundServer({ ...settings, loop: 'wire' });
  const before = { ...process.env };
  Object.assign(process.env, server.env);
  try {
    const parts: Float32Array[][] = [];
    const account = await record(
      await compiledEngine(),
      {
        session: { sampleRateHz: settings.rateHz ?? 48000, play: { device: 'play', channel: outputChannel }, record: { device: 'rec', channels: width } },
        inputs: [{ channel: outputChannel, output: 'A' }],
        playing: { kind: 'programme', programme },
        name: 'a take',
        lengthS: null,
        endsOn: { clipping: false, silence: true },
      },
      { keep: (c) => parts.push(c.map((x) => x.slice())), show: () => undefined },
    );
    const channels = Array.from({ length: width }, (_, c) => {
      const x = new Float64Array(account.frames);
      let at = 0;
      for (const part of parts) {
        x.set(part[c]!, at);
        at += part[c]!.length;
      }
      return x;
    });
    return { channels, fillerFrames: account.fillerFrames };
  } finally {
    for (const key of Object.keys(server.env)) if (before[key] === undefined) Reflect.deleteProperty(process.env, key);
    Object.assign(process.env, before);
    await server.stop();
  }
}

/** How many samples of what was played stand in the recording in one run, from where it begins. */
function exactRun(played: Float32Array, heard: Float64Array): number {
  // The approach may be cut while the devices settle: from 3.2 s on nothing may be missing.
  for (let start = 0; start < heard.length; start++) {
    const from = played.length > 0 ? 150_000 : 0;
    if (heard[start] !== played[from] || heard[start + 1] !== played[from + 1] || heard[start + 2] !== played[from + 2]) continue;
    let n = 0;
    while (from + n < played.length && heard[start + n] === played[from + n]) n++;
    if (n > 1000) return from + n;
  }
  return 0;
}

describe('played and recorded on a sound server', () => {
  it('60 s at 48 kHz, sample for sample', async () => {
    const programme = longProgramme(64, 48000);
    const { channels } = await loop({ rateHz: 48000 }, programme, 1);
    expect(exactRun(programme.samples, channels[0]!)).toBe(programme.samples.length);
    // Takes inside it are whole by their markers too.
    const takes = findTakes(memoryRecording([channels[0]!], 48000)).takes;
    expect(takes.length).toBe(3);
    for (const take of takes) expect(Math.abs(take.extraFrames!)).toBeLessThan(0.01);
  });

  it.each([
    // One input of two: of the device opened with one channel the server would give a mean, or nothing.
    [44100, 2, 1, 1],
    [96000, 4, 2, 4],
  ])('%i Hz, %i inputs, output %i, of which %i are recorded', async (rateHz, channels, output, width) => {
    const programme = longProgramme(8, rateHz);
    const { channels: heard } = await loop({ rateHz, channels }, programme, output, width);
    expect(heard.length).toBe(width);
    expect(exactRun(programme.samples, heard[output - 1]!)).toBe(programme.samples.length);
    // The others hear nothing.
    heard.forEach((x, c) => {
      if (c !== output - 1) expect(x.every((v) => v === 0)).toBe(true);
    });
  });
});
