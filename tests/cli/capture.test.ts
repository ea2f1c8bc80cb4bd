/** capture with an engine that is a formula: what is filed, what is refused, and that nothing plays that should not. */
import { readFileSync, readdirSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { stillStands } from '../../cli/capture-step.js';
import { fileCapture, openJob, stepOf } from '../../cli/job.js';
import type { AudioBlock } from '../../src/capture/engine.js';
import type { Results } from '../../src/judge/results.js';
import { TEST_NOW, runCli, temporaryFolder } from '../helpers/cli.js';
import type { CliRun } from '../helpers/cli.js';
import { clippers, onePercentAt, sineThrough } from '../helpers/clippers.js';
import { fakeEngine } from '../helpers/fake-audio.js';
import type { FakeEngine, FakeWorld } from '../helpers/fake-audio.js';
import { humOf } from '../helpers/hum.js';
import { makeJob } from '../helpers/recordings.js';

const BOARD = 'format: boardproof-board/1\nboard: Two\nloops: [{ id: drive }]\noutputs: [{ id: A }, { id: B }]\n';
const BENCH = 'format: boardproof-bench/1\nbench: bench 1\noutput: { channel: 1, device: interface }\nrecorder: { device: interface }\ninputs:\n  - { channel: 1, output: A }\n  - { channel: 2, output: B }\n';
const world: FakeWorld = { hear: (played, channel) => (channel === 0 ? 0.5 : -0.5) * played, noise: 3e-6, latencyFrames: 5000 };

const job = (): string => makeJob(join(temporaryFolder(), 'job'), BOARD, BENCH);
const captures = (folder: string): string[] => readdirSync(join(folder, 'captures')).sort();

async function capture(folder: string, args: readonly string[], audio: FakeEngine): Promise<CliRun> {
  return runCli(['capture', folder, ...args], { audio });
}

describe('capture without a terminal', () => {
  it('files a take with its story, then knows a loop that is in by its sound', async () => {
    const folder = job();
    const done = await capture(folder, ['--step', 'rest.take', '--yes', '--json'], fakeEngine(world));
    expect(done.exit).toBe(0);
    expect(JSON.parse(done.out)).toMatchObject({ captures: [{ step: 'rest.take', refused: null, heard: [{ output: 'A' }, { output: 'B' }] }] });
    expect(done.err).toContain('BEFORE ANY SOUND');
    expect(captures(folder)).toEqual(['rest.take.json', 'rest.take.wav']);
    // The loop is wanted in, and the board sounds as it did without it.
    const same = await capture(folder, ['--step', 'loop-drive.take', '--yes'], fakeEngine(world));
    expect(same.exit).toBe(3);
    expect(same.out.replace(/\s+/g, ' ')).toContain('so loop drive seems to be out, which loop-drive.take wants in');
    expect(captures(folder).filter((n) => n.startsWith('loop-drive'))).toEqual([expect.stringMatching(/^loop-drive\.take~.*-refused\.wav$/)]);
    // It may let nothing through: that is recorded to its end, and may be filed; what must be heard is broken off.
    const dead = { ...world, hear: () => 0 };
    expect(await capture(folder, ['--step', 'loop-drive.take', '--yes', '--as-is'], fakeEngine(dead))).toMatchObject({ exit: 0, out: expect.stringMatching(/as it is +filed as captures\/loop-drive\.take\.wav/) as string });
    expect(await capture(folder, ['--step', 'rest.take', '--yes', '--as-is'], fakeEngine(dead))).toMatchObject({ exit: 3, err: expect.stringContaining('did not come back on any input') as string });
  });

  it('hum of a plug that is half home is told as such: over a tone that it drowns, and where no tone came', async () => {
    const folder = job();
    const hum = humOf([1, 0, 0.4, 0, 0.2, 0, 0.1]);
    const humming = (share: number): FakeEngine => fakeEngine({ hear: (played, channel, frame) => share * (channel + 1) * played + 0.06 * hum(frame), noise: 1e-5 });
    const drowned = await capture(folder, ['--step', 'rest.take', '--yes'], humming(0.5));
    expect(drowned).toMatchObject({ exit: 3, out: expect.stringMatching(/not good\s+rest\.take: outputs A and B hum, \d\d dB above everything else in the\s+noise; push every plug home[^;]*record\s+it\s+again\./) as string });
    expect(drowned.out).not.toContain('too quiet');
    const nothing = await capture(folder, ['--step', 'rest.take', '--yes'], humming(0));
    expect(nothing).toMatchObject({ exit: 3, err: expect.stringMatching(/did not come back on any input, and outputs A and\s+B\s+hum\s+as\s+with\s+a\s+plug\s+that\s+is\s+not\s+home:\s+see\s+that/) as string });
    expect(captures(folder)).toHaveLength(2);
  });

  it('tells of level stairs how high each output stays clean, and of switches how often they were pressed and how loud', async () => {
    const folder = makeJob(join(temporaryFolder(), 'job'), BOARD, BENCH.replace('device: interface', 'device: interface, ceiling: -1 dBFS').replace('output: B', 'output: B, fullScale: 18 dBu'));
    const hard = clippers['hard, both halves']!;
    const stairs = await capture(folder, ['--step', 'rest.stairs', '--yes', '--json'], fakeEngine({ hear: (played, channel) => (channel === 0 ? hard(played) : -0.5 * played), noise: 3e-6 }));
    // 1 % by quadrature over one turn; what is read between two stairs is good to 0.015 dB. The highest stair is at -1 dBFS.
    const clean = 20 * Math.log10(sineThrough(hard, onePercentAt(hard)).tone);
    const { captures: [told] } = JSON.parse(stairs.out) as { captures: { heard: { cleanDbfs: number }[] }[] };
    expect(told!.heard).toMatchObject([{ output: 'A', kind: 'stairs', bound: null, peakDbfs: expect.closeTo(20 * Math.log10(0.3), 2) as number }, { output: 'B', bound: 'lower', cleanDbfs: expect.closeTo(-1 - 6.02, 1) as number }]);
    expect(Math.abs(told!.heard[0]!.cleanDbfs - clean)).toBeLessThan(0.05);
    expect(stairs.err).toMatch(new RegExp(`A {2}clean up to ${clean.toFixed(1)} dBFS \\(1 % THD\\), peak -10\\.5 dBFS\n +B {2}clean to the top, 11\\.0 dBu \\(under 1 % THD\\), peak -7\\.0 dBFS`));
    // Two presses, 6 and 8 s after the device was opened: half a period of 1 kHz.
    const press = (frame: number): number => (frame >= 0 && frame < 24 ? 0.1 * Math.sin((Math.PI * frame) / 24) : 0);
    const switching = await capture(folder, ['--step', 'loop-drive.switching', '--seconds', '6', '--yes'], fakeEngine({ hear: (_played, channel, frame) => (channel === 0 ? 1 : 0.5) * (press(frame - 6 * 48_000) + press(frame - 8 * 48_000)), noise: 1e-6 }));
    expect(switching).toMatchObject({ exit: 0, out: expect.stringMatching(/good +filed as captures\/loop-drive\.switching\.wav\n +A {2}2 presses heard, the loudest click -2\d\.\d dBFS at its peak\n +B {2}2 presses heard, the loudest click -\d+\.\d dBu/) as string });
  });

  it('that comes to nothing leaves the step as it is, and says since when', async () => {
    const folder = job();
    const opened = openJob(folder, { cwd: '/', now: () => TEST_NOW });
    const step = stepOf(opened, 'rest.idle');
    expect(stillStands(opened, step)).toBe('the step is still open');
    const filed = { recordedAt: null, how: 'made by a test', device: null, checks: [], remarks: [] };
    await fileCapture(opened, 'rest.idle', 'RIFF', filed, TEST_NOW);
    expect(stillStands(opened, step)).toBe('the earlier capture, filed 2026-11-25 12:16 UTC, stays');
    rmSync(join(folder, 'captures', 'rest.idle.json'));
    expect(stillStands(opened, step)).toBe('the earlier capture stays');
  });

  it('keeps the round trip of the bench, and calibrate and the results say it', async () => {
    const folder = makeJob(join(temporaryFolder(), 'job'), 'format: boardproof-board/1\nboard: One\noutputs: [{ id: A }]\n', 'format: boardproof-bench/1\nbench: bench 1\noutput: { device: interface }\nrecorder: { device: interface }\ninputs: [{ channel: 1, output: A }]\n');
    const audio = fakeEngine(world);
    const calibrate = ['calibrate', folder, '--reading', '0.308 V', '--yes'];
    expect((await runCli(calibrate, { audio })).out.replace(/\s+/g, ' ')).toContain('The round trip of the bench shows once');
    expect((await capture(folder, ['--step', 'bench.take', '--yes'], audio)).exit).toBe(0);
    // 5000 frames at 48 kHz.
    expect((await runCli(calibrate, { audio })).out.replace(/\s+/g, ' ')).toContain('Round trip of the bench: 104.2 ms from playing to recording');
    const measured = JSON.parse((await runCli(['measure', folder, '--json'])).out) as Results;
    expect(48_000 * measured.bench.roundTripS!).toBeCloseTo(5000, 1);
  });

  it('captures a done step once more with --repeat, and the earlier one goes on counting', async () => {
    const folder = job();
    // The formula makes the same noise each time: another level of it is another recording, and the figures say so.
    const idle = (noise: number, ...more: string[]): Promise<CliRun> => capture(folder, ['--step', 'rest.idle', '--seconds', '5', '--yes', ...more], fakeEngine({ ...world, noise }));
    const sidecar = (): { repeats: string[] } => JSON.parse(readFileSync(join(folder, 'captures', 'rest.idle.json'), 'utf8')) as { repeats: string[] };
    expect((await idle(3e-6)).exit).toBe(0);
    const again = await idle(6e-6, '--repeat');
    expect(again).toMatchObject({ exit: 0, out: expect.stringContaining('2 captures of it count together') as string });
    expect(sidecar().repeats).toEqual([expect.stringMatching(/^rest\.idle~.*\.wav$/)]);
    const { readings } = JSON.parse((await runCli(['measure', folder, '--json'])).out) as Results;
    expect(readings.find((r) => r.id === 'noise.a')!.repeats).toMatchObject([{ step: 'rest.idle', values: [expect.any(Number), expect.any(Number)], agree: false }]);
    // Without it, it takes their place, and they are kept.
    expect((await idle(3e-6)).exit).toBe(0);
    expect(sidecar().repeats).toEqual([]);
    expect(captures(folder).filter((n) => n.endsWith('.wav'))).toHaveLength(3);
    expect(await capture(folder, ['--repeat', '--yes'], fakeEngine(world))).toMatchObject({ exit: 2, err: expect.stringContaining('needs --step') as string });
  });

  it('a lead that came out while leads were moved, and stayed out, is no capture without dropouts', async () => {
    const folder = job();
    // 7 s after the device was opened.
    const gone = await capture(folder, ['--step', 'rest.flex', '--seconds', '8', '--yes'], fakeEngine({ ...world, hear: (played, _channel, frame) => (frame > 7 * 48_000 ? 0 : 0.5 * played) }));
    expect(gone).toMatchObject({ exit: 3, out: expect.stringMatching(/the tone is gone on A(, B)? from \d\.\d s to\s+the\s+end/) as string });
    expect(captures(folder)).toEqual([expect.stringMatching(/^rest\.flex~.*-refused\.wav$/)]);
  });

  it('a computer that stood still while leads were moved is no dropout of theirs', async () => {
    const flex = async (stillS: number): Promise<CliRun> => {
      const folder = job();
      // Blocks come late and early by turns; from 6 s on all of them are late.
      const spoil = (block: AudioBlock, i: number): AudioBlock => ({ ...block, atS: (i * 4096) / 48_000 + (i % 5 === 0 ? 0.5 : 0) + (i > 70 ? stillS : 0) });
      return capture(folder, ['--step', 'rest.flex', '--seconds', '6', '--yes'], fakeEngine({ ...world, spoil }));
    };
    expect(await flex(0.25)).toMatchObject({ exit: 0 });
    const lost = await flex(0.5);
    expect([lost.exit, lost.out.replace(/\s+/g, ' ')]).toEqual([3, expect.stringMatching(/The computer did not keep up: 24000 samples were skipped 2\.\d s into the recording/)]);
  });

  it('plays nothing above the ceiling, and says how to allow it', async () => {
    const engine = fakeEngine(world);
    const refused = await capture(job(), ['--step', 'rest.stairs', '--yes'], engine);
    expect(refused).toMatchObject({ exit: 2, err: expect.stringMatching(/up to -1 dBFS, above the ceiling of -20 dBFS/) as string });
    expect(engine.opened).toEqual([]);
  });

  it('asks for a step and a yes where nobody can be asked', async () => {
    const engine = fakeEngine(world);
    expect(await capture(job(), [], engine)).toMatchObject({ exit: 2, err: expect.stringContaining('no terminal to ask on') as string });
    expect(await capture(job(), ['--step', 'rest.idle'], engine)).toMatchObject({ exit: 2 });
    expect(engine.opened).toEqual([]);
  });

  it('a device that goes: exit code 3, one sentence, the part kept, nothing filed', async () => {
    const folder = job();
    const lost = await capture(folder, ['--step', 'bench.take', '--yes'], fakeEngine({ ...world, lostAfter: 90 }));
    expect(lost.exit).toBe(3);
    expect(lost.err.replace(/\s+/g, ' ')).toMatch(/kept as captures\/bench\.take~.*-partial\.wav/);
    expect(lost.err).toContain('The audio stopped after');
    expect(captures(folder)).toEqual([expect.stringMatching(/^bench\.take~.*-partial\.wav$/)]);
  });

  it.each([
    // The formula plays on; what is handed on of a block is wrong. The take's marker comes 4.6 s after the start, its tone 1.5 s later.
    ['a block given twice in the sweep', 11.4, (now: AudioBlock, before: AudioBlock) => ({ ...now, channels: before.channels }), /the sound of output A jumps at \d+\.\d\d s/],
    ['20 samples lost in the tone', 7.2, (now: AudioBlock) => ({ ...now, channels: now.channels.map((x) => Float32Array.from([...x.subarray(20), ...x.subarray(-20)])) }), /samples are missing from, or too many in, the take at 4\.60 s \(its sound jumps at 7\.\d\d s\)/],
  ] as const)('%s: refused at its time, although the markers fit', async (_what, atS, spoilt, sentence) => {
    const folder = job();
    let before: AudioBlock | null = null;
    const spoil = (now: AudioBlock, index: number): AudioBlock => {
      const given = before && index === Math.floor((atS * 48_000) / 4096) ? spoilt(now, before) : now;
      before = now;
      return given;
    };
    const refused = await capture(folder, ['--step', 'rest.take', '--yes'], fakeEngine({ ...world, spoil }));
    expect(refused.exit).toBe(3);
    expect(refused.out.replace(/\s+/g, ' ')).toMatch(sentence);
    expect(captures(folder)).toEqual([expect.stringMatching(/^rest\.take~.*-refused\.wav$/)]);
  });

  it('a device that is not there is named, with the likely one', async () => {
    const none = await capture(job(), ['--step', 'rest.idle', '--yes'], fakeEngine({ ...world, devices: [] }));
    expect(none).toMatchObject({ exit: 3, err: expect.stringContaining('No audio device that can play was found') as string });
    const other = await capture(job(), ['--step', 'rest.idle', '--yes'], fakeEngine({ ...world, devices: [{ name: 'interfaces', plays: { channels: 2, ratesHz: null }, records: { channels: 2, ratesHz: null } }] }));
    expect(other).toMatchObject({ exit: 3, err: expect.stringContaining('did you mean "interfaces"?') as string });
  });
});
