/** `play` on a sound server: what comes out of the sink, sample by sample, from the first to the last. */
import { spawn } from 'node:child_process';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { programmeOf, steadyLoop } from '../../src/capture/programme.js';
import { temporaryFolder } from '../helpers/cli.js';
import { atTerminal } from '../helpers/person.js';
import { boardproof } from '../helpers/program.js';
import { startSoundServer } from '../helpers/sound-server.js';
import type { SoundServer } from '../helpers/sound-server.js';

const RATE = 48000;

let server: SoundServer;
beforeAll(async () => {
  server = await startSoundServer({ rateHz: RATE, loop: 'wire' });
});
afterAll(async () => {
  await server.stop();
});

/** What the sink gives from now on, until it is asked for: two channels. */
async function listen(): Promise<{ stop(): Promise<Float32Array[]> }> {
  const child = spawn('parec', ['--raw', '--format=float32le', `--rate=${RATE}`, '--channels=2', '--latency-msec=200', '-d', 'B.monitor'], { env: server.env, stdio: ['ignore', 'pipe', 'ignore'] });
  const parts: Buffer[] = [];
  // Recording has begun with the first bytes, not with the process.
  await new Promise<void>((begun) => {
    child.stdout.on('data', (part: Buffer) => {
      parts.push(part);
      begun();
    });
  });
  return {
    async stop() {
      // What is under way.
      await new Promise((done) => setTimeout(done, 1000));
      child.kill('SIGKILL');
      const bytes = Buffer.concat(parts);
      const both = new Float32Array(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + (bytes.length & ~7)));
      return [0, 1].map((c) => both.filter((_, i) => i % 2 === c));
    },
  };
}

const peak = (x: Float32Array, fromS: number, toS: number): number => x.subarray(Math.round(fromS * RATE), Math.round(toS * RATE)).reduce((m, v) => Math.max(m, Math.abs(v)), 0);
const db = (ratio: number): number => 20 * Math.log10(ratio);

describe('play', () => {
  it('warns, waits, rises to the level asked for, goes on without a seam, and Ctrl-C ends it softly with 130', async () => {
    const heard = await listen();
    const person = atTerminal(['play', 'tone', '--play', 'play', '--level', '-26'], temporaryFolder(), server.env);
    expect(await person.sees(/\[Enter\] play/)).toMatch(/BEFORE ANY SOUND[\s\S]*loudspeakers[\s\S]*Plays the tone on "play", output 1, 48000 Hz, over and over, at up to -26 dBFS/);
    // Long enough to be heard as silence, were anything to sound before the answer.
    await new Promise((done) => setTimeout(done, 500));
    person.types('\r');
    await person.sees(/playing, 6 s/);
    person.types('\u0003');
    expect(await person.ends()).toBe(130);
    expect(person.screen).toContain('Interrupted');
    const [x, other] = await heard.stop();
    expect(other!.every((v) => v === 0)).toBe(true);
    const first = x!.findIndex((v) => v !== 0);
    const last = x!.findLastIndex((v) => v !== 0);
    // Nothing before the answer, and nothing for half a second and more after the end.
    expect(first).toBeGreaterThan(0.2 * RATE);
    expect(x!.length - last).toBeGreaterThan(0.5 * RATE);
    const sound = x!.subarray(first, last + 1);
    const level = 10 ** (-26 / 20);
    // From 40 dB below, evenly in dB within three seconds.
    for (const atS of [0, 1, 2]) expect(Math.abs(db(peak(sound, atS, atS + 0.02) / level) - (-40 + (40 / 3) * (atS + 0.02)))).toBeLessThan(0.5);
    expect(sound.reduce((m, v) => Math.max(m, Math.abs(v)), 0)).toBeLessThanOrEqual(Math.fround(level));
    // Then the samples themselves, second after second: one loop is the next.
    const one = steadyLoop(-26, RATE);
    const at = Math.round(3.2 * RATE);
    const shift = [...one.keys()].find((s) => [0, 1, 2, 3].every((k) => sound[at + k] === one[(s + k) % RATE]));
    expect(shift).toBeDefined();
    const wrong = Array.from({ length: 2 * RATE }, (_, k) => sound[at + k] === one[(shift! + k) % RATE]).indexOf(false);
    expect(wrong).toBe(-1);
    // It sinks before it ends: the last sample that is not zero is far below the level, so nothing clicks.
    expect(db(peak(sound, (sound.length - 1) / RATE - 0.002, sound.length / RATE) / level)).toBeLessThan(-40);
  });

  it('any coded signal bit for bit on the channel asked for, where nobody is asked', async () => {
    const heard = await listen();
    const { exit, out, err } = await boardproof(['play', 'take', '--play', 'play', '--channel', '2', '--level', '-30', '--seconds', '6', '--yes'], { cwd: temporaryFolder(), env: server.env });
    expect([exit, out]).toEqual([0, expect.stringMatching(/^Played the take for 6 s at up to -30 dBFS\.\n/)]);
    expect(err).toMatch(/BEFORE ANY SOUND/);
    expect(err).not.toMatch(/ALSA|Failed to open/);
    const [other, x] = await heard.stop();
    expect(other!.every((v) => v === 0)).toBe(true);
    const { samples } = programmeOf('take', { sampleRateHz: RATE, levelDbfs: -30, stepCode: 0 });
    const at = x!.findIndex((v, n) => v !== 0 && [150_000, 150_001, 150_002].every((k) => x![n + k] === samples[k]));
    expect(at).toBeGreaterThan(-1);
    // From the approach into the coded marker, which comes at 4.5 s.
    expect(Array.from({ length: 5 * RATE }, (_, n) => x![at + n] === samples[n]).lastIndexOf(false)).toBeLessThan(0.2 * RATE);
  });

  it('says which channels there are, and which devices', async () => {
    const cwd = temporaryFolder();
    // The audio library opens a device with the channels that the system names by default: two of a virtual one, however many it has.
    const third = await boardproof(['play', 'tone', '--play', 'play', '--channel', '3', '--seconds', '1', '--yes'], { cwd, env: server.env });
    expect(third).toMatchObject({ exit: 3, err: expect.stringMatching(/play does not open to play: it opens with 2 channels here, and channel 3 was asked for; use one up to 2/) as string });
    const none = await boardproof(['play', 'tone', '--seconds', '1', '--yes'], { cwd, env: { ...server.env, PULSE_SERVER: 'unix:/nowhere', ALSA_CONFIG_PATH: '/dev/null' } });
    expect(none).toMatchObject({ exit: 3, err: expect.stringMatching(/No audio device that can play was found/) as string });
  });
});
