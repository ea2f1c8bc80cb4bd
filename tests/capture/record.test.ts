/** Playing and recording with an engine that is a formula. */
import { describe, expect, it } from 'vitest';
import type { AudioBlock, SessionRequest } from '../../src/capture/engine.js';
import { createFillerCut } from '../../src/capture/filler.js';
import { programmeOf, UNDERLAY_PEAK } from '../../src/capture/programme.js';
import { record, TAIL_S } from '../../src/capture/record.js';
import type { RecordAccount, RecordRequest } from '../../src/capture/record.js';
import { roundTripS } from '../../src/capture/round-trip.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { findTakes } from '../../src/measure/take-search.js';
import { Problem } from '../../src/problems.js';
import { fakeEngine } from '../helpers/fake-audio.js';
import type { FakeWorld } from '../helpers/fake-audio.js';
import { humOf } from '../helpers/hum.js';
import { noise } from '../helpers/random.js';

const RATE = 48000;
const take = programmeOf('take', { sampleRateHz: RATE, levelDbfs: -20, stepCode: 7 });

const requestOf = (playing: RecordRequest['playing'], lengthS: number | null = null): RecordRequest => ({
  session: { sampleRateHz: RATE, play: { device: 'interface', channel: 1 }, record: { device: 'interface', channels: 2 } },
  inputs: [{ channel: 1, output: 'A' }, { channel: 2, output: 'B' }],
  playing,
  name: 'rest.take',
  lengthS,
  endsOn: { clipping: false, silence: true },
});

/** Records to the end; the joined channels. */
async function run(world: FakeWorld, request: RecordRequest, stop?: AbortSignal): Promise<RecordAccount & { channels: Float64Array[]; shown: number[] }> {
  const parts: Float32Array[][] = [];
  const shown: number[] = [];
  const account = await record(fakeEngine(world), request, {
    keep: (c) => parts.push(c.map((x) => x.slice())),
    show: (atS) => shown.push(atS),
    ...(stop ? { stop } : {}),
  });
  const channels = [0, 1].map((c) => {
    const x = new Float64Array(account.frames);
    let at = 0;
    for (const p of parts) {
      x.set(p[c]!, at);
      at += p[c]!.length;
    }
    return x;
  });
  return { channels, ...account, shown };
}

const wire: FakeWorld = { hear: (played, channel) => (channel === 0 ? played : -0.5 * played), noise: 0, latencyFrames: 9000 };

/** Puts frames of zeros into blocks, as the library does, and shifts nothing out of the numbering. */
function withFiller(world: FakeWorld, at: readonly (readonly [block: number, quanta: number])[]): FakeWorld {
  let behind: Float32Array[] = [new Float32Array(0), new Float32Array(0)];
  return {
    ...world,
    spoil(block, index) {
      const fill = at.filter(([b]) => b === index).reduce((s, [, q]) => s + 128 * q, 0);
      const joined = block.channels.map((c, i) => {
        const x = new Float32Array(behind[i]!.length + fill + c.length);
        x.set(behind[i]!);
        // In the middle of the block.
        x.set(c.subarray(0, 2000), behind[i]!.length);
        x.set(c.subarray(2000), behind[i]!.length + 2000 + fill);
        return x;
      });
      behind = joined.map((x) => x.slice(block.frames));
      return { ...block, channels: joined.map((x) => x.slice(0, block.frames)) };
    },
  };
}

describe('a recording of a take', () => {
  it('holds every sample that was played, bit for bit, with the filler of the library cut out', async () => {
    const world = withFiller(wire, [[30, 1], [77, 2], [150, 1]]);
    const { channels, frames, fillerFrames, ...account } = await run(world, requestOf({ kind: 'programme', programme: take }));
    expect(fillerFrames).toBe(4 * 128);
    expect(frames).toBe(Math.round((take.lengthS + TAIL_S) * RATE));
    expect(take.samples.findIndex((v, n) => channels[0]![9000 + n] !== v)).toBe(-1);
    const [found] = findTakes(memoryRecording(channels, RATE)).takes;
    expect(found).toMatchObject({ identity: { stepCode: 7, levelDbfs: -20 } });
    expect(Math.abs(found!.extraFrames!)).toBeLessThan(0.01);
    // The way round was built to take 9000 frames; the first filler stands in front of the marker, which comes at 4.5 s.
    expect(RATE * roundTripS({ ...account, frames, fillerFrames }, take, found!.startFrame, RATE)!).toBeCloseTo(9128, 1);
  });

  // The second as long as is recorded after the signal's end, but for a tenth of a second.
  it.each([1, 115_201])('tells a way round of %i frames to a tenth of a frame', async (latencyFrames) => {
    const { channels, ...account } = await run({ ...wire, latencyFrames, noise: 1e-5 }, requestOf({ kind: 'programme', programme: take }));
    const [found] = findTakes(memoryRecording(channels, RATE)).takes;
    expect(RATE * roundTripS(account, take, found!.startFrame, RATE)!).toBeCloseTo(latencyFrames, 1);
    expect(roundTripS({ ...account, playsFromFrame: null }, take, found!.startFrame, RATE)).toBeNull();
  });

  it('begins 40 dB down, rises to the level and not above it, and has no digital silence', () => {
    const peaks = Array.from({ length: 7 }, (_, i) => Math.max(...take.samples.subarray((i * RATE) / 2, ((i + 1) * RATE) / 2).map(Math.abs)));
    expect(20 * Math.log10(peaks[0]!)).toBeLessThan(-53);
    expect(peaks.slice(0, 6)).toEqual([...peaks.slice(0, 6)].sort((a, b) => a - b));
    expect(take.samples.reduce((m, v) => Math.max(m, v), 0)).toBeLessThan(0.1 + 2 * UNDERLAY_PEAK);
    expect(take.samples.every((v) => v !== 0)).toBe(true);
  });

  it('is broken off while it is quiet where the recorder overloads', async () => {
    const engine = fakeEngine({ ...wire, hear: (played) => 100 * played });
    const failure = await record(engine, requestOf({ kind: 'programme', programme: take }), { keep: () => undefined, show: () => undefined }).catch((e: unknown) => e);
    expect(failure).toMatchObject({ code: 'capture.overload', exit: 3, details: { output: 'A' } });
    // 100 times 0.1 is twenty decibels too many: it ended when a third of the rise was done or so.
    expect(Math.max(...engine.peaks[0]!)).toBeLessThan(0.02);
  });
});

describe('what goes wrong', () => {
  const failureOf = async (world: FakeWorld, playing: RecordRequest['playing'] = { kind: 'programme', programme: take }): Promise<unknown> => {
    try {
      await run(world, requestOf(playing, 5));
    } catch (error) {
      return error;
    }
    return null;
  };

  it('a device that goes away', async () => {
    expect(await failureOf({ ...wire, lostAfter: 100 })).toMatchObject({ code: 'capture.device-lost', exit: 3 });
  });

  it('blocks that are missing', async () => {
    const spoil = (block: AudioBlock, i: number): AudioBlock => (i < 50 ? block : { ...block, frame: block.frame + 4096 });
    const failure = await failureOf({ ...wire, spoil });
    expect(failure).toMatchObject({ code: 'capture.frames-skipped', details: { frames: 4096 } });
  });

  it('digital silence', async () => {
    expect(await failureOf({ ...wire, hear: () => 0 })).toMatchObject({ code: 'capture.input-silent' });
    expect(await failureOf({ ...wire, hear: () => 0 }, { kind: 'nothing' })).toMatchObject({ code: 'capture.input-silent' });
  });

  it('a signal that does not come back: the rest of it is not played', async () => {
    const engine = fakeEngine({ ...wire, hear: () => 0.001, noise: 1e-3 });
    const failure = await record(engine, requestOf({ kind: 'programme', programme: take }), { keep: () => undefined, show: () => undefined }).catch((e: unknown) => e);
    expect(failure).toMatchObject({ code: 'capture.not-heard', details: { step: 'rest.take' } });
    // 4.5 s, and 0.8 s in which it sinks and is heard out.
    expect(engine.peaks[0]!.length).toBeLessThan(66);
  });

  /** The same, of which only what is told by its beginning matters. */
  const beginning = { ...take, samples: take.samples.subarray(0, 8 * RATE), lengthS: 8 - TAIL_S };
  /** With everything that ends it early allowed; what came out of the engine, dB, at the frames where it was told to stop and later. */
  const early = async (world: FakeWorld, request: Partial<RecordRequest> = {}): Promise<{ failure: unknown; keptS: number; playedS: number; endsDb: number }> => {
    const engine = fakeEngine(world);
    let kept = 0;
    const failure = await record(engine, { ...requestOf({ kind: 'programme', programme: beginning }), endsOn: { clipping: true, silence: true }, ...request }, { keep: (c) => (kept += c[0]!.length), show: () => undefined }).catch((e: unknown) => e);
    const peaks = engine.peaks[0]!;
    return { failure, keptS: kept / RATE, playedS: (peaks.length * 4096) / RATE, endsDb: 20 * Math.log10(Math.max(peaks.at(-1)!, 1e-12)) };
  };

  it('an input that clips in mid-take: said at once with input and time, and the sound sinks', async () => {
    // The second input is ten times too loud from 9 s on, in the sweep.
    const loud: FakeWorld = { ...wire, hear: (played, channel, frame) => (channel === 1 && frame > 9 * RATE ? 10.5 : 0.5) * played };
    const { failure, keptS, playedS, endsDb } = await early(loud, { playing: { kind: 'programme', programme: take } });
    expect(failure).toMatchObject({ code: 'capture.clips', exit: 3, details: { channel: 2, output: 'B', playing: true } });
    expect((failure as Problem).message).toMatch(/^Input 2 \(output B\) clips at (8\.9|9\.\d) s, so the sound was stopped; turn the gain of that input down/);
    // What is kept holds the clip; then 0.8 s in which it sinks and is heard out.
    expect(keptS).toBeGreaterThan(9);
    expect(keptS).toBeLessThan(10.2);
    expect(playedS - keptS).toBeLessThan(1.1);
    expect(endsDb).toBeLessThan(-90);
  });

  it('an input that is not in use may clip, and so may one where clicks are wanted', async () => {
    const loud = { ...wire, hear: (played: number, channel: number) => (channel === 1 ? 100 : 1) * played };
    expect((await early(loud, { inputs: [{ channel: 1, output: 'A' }] })).failure).toMatchObject({ fillerFrames: 0 });
    const click = { hear: (_p: number, _c: number, frame: number) => (frame > 5 * RATE && frame < 5 * RATE + 9 ? 1 : 0), noise: 1e-5 };
    const idle = { playing: { kind: 'nothing' } as const, lengthS: 5 };
    expect((await early(click, { ...idle, endsOn: { clipping: false, silence: true } })).failure).toMatchObject({ frames: 5 * RATE });
    const { failure } = await early(click, idle);
    expect((failure as Problem).message).toMatch(/^Input 1 \(output A\) clips at (1\.9|2\.0) s, so recording was stopped; nothing plays/);
  });

  it('a take that is heard coming and is gone where its marker should be', async () => {
    const gone = { ...wire, hear: (played: number, _c: number, frame: number) => (frame > 3.6 * RATE ? 0 : 0.5 * played) + 1e-3 * Math.sin(frame / 150), noise: 1e-4 };
    const { failure, playedS } = await early(gone);
    expect(failure).toMatchObject({ code: 'capture.heard-no-more', exit: 3, details: { step: 'rest.take' } });
    expect(playedS).toBeLessThan(9);
    // One input is enough; after so long a way round the approach has just ended where the marker is waited for, or is heard there.
    for (const latencyFrames of [1.45 * RATE, 1.9 * RATE]) expect((await early({ ...wire, latencyFrames, noise: 1e-4, hear: (played, c) => (c === 0 ? 0 : 0.02 * played) })).failure, `${latencyFrames}`).toMatchObject({ fillerFrames: 0 });
    // A board that may let nothing through is recorded to the end.
    expect((await early({ ...wire, hear: () => 0, noise: 1e-4 }, { endsOn: { clipping: true, silence: false } })).failure).toMatchObject({ fillerFrames: 0 });
  });

  it('a tone that hum or hiss drowns came back all the same; where it did not, that is said as early', async () => {
    const hum = humOf([1, 0.5, 0.3, 0.1]);
    // The tone at −26 dBFS at most; hum of −24 dBFS and its harmonics.
    const drowned = (toneDb: number, humDbfs: number, noise = 1e-5): FakeWorld => {
      const [gain, humming] = [toneDb, humDbfs].map((db) => 10 ** (db / 20)) as [number, number];
      return { ...wire, noise, hear: (played, _c, frame) => gain * played + humming * hum(frame) };
    };
    for (const humDbfs of [-24, -30, -34]) expect((await early(drowned(-6, humDbfs))).failure, `${humDbfs}`).toMatchObject({ fillerFrames: 0 });
    // Hiss of −47 dBFS, and a tone 3 dB below it.
    expect((await early(drowned(-30, -200, 3e-3))).failure).toMatchObject({ fillerFrames: 0 });
    for (const [humDbfs, noise] of [[-24, 1e-5], [-200, 3e-3]] as const) expect(await early(drowned(-200, humDbfs, noise))).toMatchObject({ failure: { code: 'capture.not-heard' }, playedS: expect.closeTo(5.4, 0) as number });
  });

  it('neither a thump nor a device that wakes up is taken for the sound', async () => {
    const thumps = (frame: number): number => (frame % (2 * RATE) < 0.1 * RATE ? 0.1 * Math.sin(frame / 50) : 0);
    const { failure, playedS } = await early({ ...wire, hear: (_p, _c, frame) => thumps(frame + 1.5 * RATE), noise: 1e-4 });
    expect(failure).toMatchObject({ code: 'capture.not-heard' });
    expect(playedS).toBeLessThan(6);
    // Zeros, then the noise from the middle of a block on.
    const hiss = noise(10 * RATE, 1e-3, 3);
    const waking = { ...wire, noise: 0, hear: (_p: number, _c: number, frame: number) => (frame < 10_300 ? 0 : hiss[frame]!) };
    expect((await early(waking)).failure).toMatchObject({ code: 'capture.not-heard' });
  });

  it('a disk that takes no more: the sound ends, what was kept stays', async () => {
    let kept = 0;
    const full = new Problem('capture.disk', 'full', 3, {});
    const engine = fakeEngine(wire);
    const failure = await record(engine, requestOf({ kind: 'programme', programme: take }), {
      keep: (c) => {
        if (kept > 100_000) throw full;
        kept += c[0]!.length;
      },
      show: () => undefined,
    }).catch((e: unknown) => e);
    expect(failure).toBe(full);
    expect(kept).toBeGreaterThan(100_000);
    expect(engine.peaks[0]!.length).toBeLessThan(40);
  });

  it('an interruption', async () => {
    const controller = new AbortController();
    const world = { ...wire, noise: 1e-6, tick: (index: number) => index === 40 && controller.abort() };
    const failure = await record(fakeEngine(world as FakeWorld), requestOf({ kind: 'nothing' }), { keep: () => undefined, show: () => undefined, interrupt: controller.signal }).catch((e: unknown) => e);
    expect(failure).toMatchObject({ code: 'cli.interrupted', exit: 130 });
  });

  it('an interruption while the devices open: nothing is played', async () => {
    const controller = new AbortController();
    const engine = fakeEngine(wire);
    const slow = { ...engine, open: (request: SessionRequest) => engine.open(request).finally(() => { controller.abort(); }) };
    const failure = await record(slow, requestOf({ kind: 'programme', programme: take }), { keep: () => undefined, show: () => undefined, interrupt: controller.signal }).catch((e: unknown) => e);
    expect(failure).toMatchObject({ code: 'cli.interrupted', exit: 130 });
    expect(engine.peaks).toEqual([[]]);
  });
});

describe('a recording without an end of its own', () => {
  it('leaves out what the devices need to settle, and keeps the length asked for', async () => {
    const { channels, frames } = await run({ hear: (_p, _c, frame) => frame / 1e9 + 1e-9 }, requestOf({ kind: 'nothing' }, 5));
    expect(frames).toBe(5 * RATE);
    expect(Math.round(channels[0]![0]! * 1e9)).toBeGreaterThanOrEqual(3 * RATE - 5000);
  });

  it('holds a tone from where it has risen on, the way round included', async () => {
    // 0.45 s round: three seconds after it began it would still be 1.4 dB short.
    const { channels } = await run({ ...wire, latencyFrames: 21_600 }, requestOf({ kind: 'tone', levelDbfs: -20 }, 0.2));
    expect(channels[0]!.subarray(0, 480).reduce((m, v) => Math.max(m, v), 0)).toBeCloseTo(0.1, 3);
  });

  it.each([
    ['a tone', { kind: 'tone', levelDbfs: -20 }],
    ['a take that is broken off', { kind: 'programme', programme: take }],
  ] as const)('ends where it is told to, and %s sinks before it ends', async (_what, playing) => {
    const stop = new AbortController();
    const engine = fakeEngine({ ...wire, tick: (index) => index === 90 && stop.abort() } as FakeWorld);
    await record(engine, requestOf(playing), { keep: () => undefined, show: () => undefined, stop: stop.signal });
    const peaks = engine.peaks[0]!;
    expect(20 * Math.log10(peaks[1]!)).toBeLessThan(-57);
    expect(Math.abs(Math.max(...peaks) - 0.1)).toBeLessThan(2 * UNDERLAY_PEAK);
    expect(peaks.at(-1)!).toBeLessThan(1e-4);
  });
});

describe('the filler cut', () => {
  const push = (parts: readonly (readonly number[])[]): { out: number[]; cut: number } => {
    const cut = createFillerCut(1, RATE);
    const out = parts.flatMap((p) => [...cut.push([Float32Array.from(p)])[0]!]);
    return { out: [...out, ...cut.finish()[0]!], cut: cut.cuts.reduce((sum, c) => sum + c.frames, 0) };
  };
  const zeros = (n: number): number[] => new Array<number>(n).fill(0);

  it('takes out 128 zeros, across blocks too, and leaves any other run', () => {
    expect(push([[1, ...zeros(100)], [...zeros(28), 2]])).toEqual({ out: [1, 2], cut: 128 });
    expect(push([[1, ...zeros(127), 2]])).toEqual({ out: [1, ...zeros(127), 2], cut: 0 });
    expect(push([[1, ...zeros(64), 2, ...zeros(192), 3]])).toEqual({ out: [1, ...zeros(64), 2, ...zeros(192), 3], cut: 0 });
    expect(push([[1, ...zeros(129), 2, ...zeros(256), 3]])).toEqual({ out: [1, ...zeros(129), 2, 3], cut: 256 });
  });

  it('leaves silence at both ends and long silence', () => {
    expect(push([[...zeros(256), 1, ...zeros(128)]])).toEqual({ out: [...zeros(256), 1, ...zeros(128)], cut: 0 });
    const long = 128 * 400;
    expect(push([[1, ...zeros(long), 2]]).out.length).toBe(long + 2);
  });

  it('leaves what is silent on one channel only', () => {
    const cut = createFillerCut(2, RATE);
    const [a] = cut.push([Float32Array.from([1, ...zeros(128), 1]), Float32Array.from(zeros(130)).fill(0.5)]);
    expect(a!.length).toBe(130);
  });
});
