/** What goes wrong at the bench: the interface goes, the disk is full, the user interrupts, clocks differ, leads are bad. */
import { spawnSync } from 'node:child_process';
import { mkdirSync, readFileSync, readdirSync, statSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it, onTestFinished } from 'vitest';
import type { Results } from '../../src/judge/results.js';
import { extremes } from '../../src/measure/response.js';
import { findTakes } from '../../src/measure/take-search.js';
import { measureTake } from '../../src/measure/take.js';
import { wavRecording } from '../../src/measure/wav-recording.js';
import { readWavInfo } from '../../src/wav/header.js';
import { fileSource } from '../../cli/files.js';
import { temporaryFolder } from '../helpers/cli.js';
import { atTerminal } from '../helpers/person.js';
import { boardproof } from '../helpers/program.js';
import { noise } from '../helpers/random.js';
import { startSoundServer } from '../helpers/sound-server.js';
import type { SoundServer } from '../helpers/sound-server.js';

const RATE = 48000;
const BOARD = 'format: boardproof-board/1\nboard: Small Board\noutputs: [{ id: A }, { id: B }]\n';
const BENCH = `format: boardproof-bench/1
bench: bench 1
output: { channel: 1, device: play, resistance: 100 }
recorder: { device: rec }
inputs:
  - { channel: 1, output: A, resistance: 1M }
  - { channel: 2, output: B, resistance: 1M }
`;
const hiss = [1, 2].map((seed) => noise(20 * RATE, 1e-5, seed));

function makeJob(bench = BENCH): string {
  const cwd = temporaryFolder();
  mkdirSync(join(cwd, 'job'));
  writeFileSync(join(cwd, 'job', 'board.yaml'), BOARD);
  writeFileSync(join(cwd, 'job', 'bench.yaml'), bench);
  return cwd;
}

const kept = (cwd: string): string[] => readdirSync(join(cwd, 'job', 'captures')).filter((n) => n.endsWith('.wav'));

function framesOf(file: string): number {
  const source = fileSource(file);
  try {
    return readWavInfo(source).frames;
  } finally {
    source.close();
  }
}

async function ownServer(): Promise<SoundServer> {
  const server = await startSoundServer({ rateHz: RATE });
  onTestFinished(() => server.stop());
  server.source('hiss', hiss);
  return server;
}

describe('the program, then the sound server, killed in mid-take', () => {
  it('is one sentence and exit code 3 where there is anybody to say it; the partial captures are kept, and the same command goes on', async () => {
    const cwd = makeJob();
    const first = await ownServer();
    await first.patch(['remix', '1', '1']);
    // Every block of a twelfth of a second is a change of the folder.
    mkdirSync(join(cwd, 'job', 'captures'));
    const gone = await boardproof(['capture', 'job', '--step', 'bench.take', '--yes'], { cwd, env: first.env, end: { signal: 'SIGKILL', folder: join(cwd, 'job', 'captures'), atChange: 40 } });
    expect(gone.signal).toBe('SIGKILL');
    // The sound ends with the program, and what was written until then can be read.
    await expect.poll(() => spawnSync('pactl', ['list', 'short', 'clients'], { env: first.env, encoding: 'utf8' }).stdout, { timeout: 5000 }).not.toMatch(/node|ALSA/);
    const [part] = kept(cwd);
    expect(framesOf(join(cwd, 'job', 'captures', part!))).toBeGreaterThan(RATE);
    expect(JSON.parse((await boardproof(['steps', 'job', '--json'], { cwd })).out)).toMatchObject({ steps: expect.arrayContaining([expect.objectContaining({ id: 'bench.take', done: false })]) as unknown });

    const running = boardproof(['capture', 'job', '--step', 'bench.take', '--yes'], { cwd, env: first.env });
    // Two channels of four bytes, two and a half seconds.
    await expect.poll(() => (kept(cwd).length < 2 ? 0 : statSync(join(cwd, 'job', 'captures', kept(cwd)[1]!)).size), { timeout: 30_000, interval: 100 }).toBeGreaterThan(2.5 * RATE * 8);
    first.kill();
    const { exit, err, out } = await running;
    expect(exit).toBe(3);
    expect(out).toBe('');
    expect(err).toMatch(/The audio stopped after \d+\.\d s \(play and rec\): a device was unplugged/);
    expect(err).not.toMatch(/ALSA|jack|at .*\.js/);
    const both = kept(cwd);
    expect(both).toEqual([part, expect.stringMatching(/^bench\.take~.*-partial\.wav$/)]);
    expect(framesOf(join(cwd, 'job', 'captures', both[1]!))).toBeGreaterThan(2 * RATE);

    const second = await ownServer();
    await second.patch(['remix', '1', '1']);
    const again = await boardproof(['capture', 'job', '--step', 'bench.take', '--yes', '--json'], { cwd, env: second.env });
    // One tone on both inputs, with noise of their own: no copy of one another.
    expect(again.err + again.out).toContain('captures/bench.take.wav');
    expect(again.exit).toBe(0);
    expect(kept(cwd)).toContain('bench.take.wav');
  });
});

describe('at one bench, at 96 kHz', () => {
  const rateHz = 96000;
  const bench = BENCH.replace('output:', `sampleRate: ${rateHz}\noutput:`);
  let server: SoundServer;
  beforeAll(async () => {
    server = await startSoundServer({ rateHz });
    server.source('hiss', [1, 2].map((seed) => noise(10 * rateHz, 1e-5, seed)));
  });
  afterAll(async () => {
    await server.stop();
  });

  it('devices are listed, chosen, and looked for; none is said in words', async () => {
    const cwd = makeJob(bench);
    const listed = await boardproof(['devices', 'job'], { cwd, env: server.env });
    expect(listed.exit).toBe(0);
    expect(listed.out).toMatch(/play +2 channels +no +44\.1, 48, 88\.2, 96, 176\.4, 192 +play/);
    expect(listed.out).toMatch(/rec +no +32 channels/);
    expect(listed.err).not.toMatch(/ALSA|Failed to open/);
    const wrong = await boardproof(['devices', 'job', '--record', 'recc'], { cwd, env: server.env });
    expect(wrong).toMatchObject({ exit: 3, err: expect.stringMatching(/no device "recc" that can record \(did you mean "rec"\?\)/) as string });
    const none = await boardproof(['devices'], { cwd, env: { ...server.env, PULSE_SERVER: 'unix:/nowhere', ALSA_CONFIG_PATH: '/dev/null' } });
    expect(none.exit).toBe(3);
    expect(none.err).toMatch(/No audio device that can play or record was found/);
  });

  it('Ctrl-C in mid-capture: exit code 130, the partial capture kept', async () => {
    const cwd = makeJob(bench);
    const person = atTerminal(['capture', 'job', '--step', 'bench.idle'], cwd, server.env);
    await person.sees(/it is so/);
    person.types('\r');
    await person.sees(/\[Enter\] record/);
    person.types('\r');
    await person.sees(/2 of 20 s/);
    person.types('\u0003');
    expect(await person.ends()).toBe(130);
    expect(person.screen).toMatch(/kept\s+as\s+captures\/bench\.idle~.*-partial\.wav[\s\S]*Interrupted/);
    expect(kept(cwd).length).toBe(1);
  });

  it('calibrates from a typed reading; flex counts the leads that were moved; measure reads it', async () => {
    const cwd = makeJob(bench);
    await server.patch(['remix', '1', '1', 'gain', '-3']);
    const person = atTerminal(['calibrate', 'job', '--level', '-20'], cwd, server.env);
    await person.sees(/\[Enter\] play/);
    person.types('\r');
    await person.sees(/played -40 dBFS, heard {3}input 1 -4[23]/);
    for (let i = 0; i < 4; i++) person.types('+');
    await person.sees(/played -20 dBFS, heard {3}input 1 -2[23]\.\d/);
    person.types('\r');
    await person.sees(/What does the meter show\?/);
    person.types('0.4x\r');
    // Asked again at once.
    await person.sees(/is no reading[\s\S]*What does the meter show\?/);
    person.types('308 mV ± 0.5 %\r');
    await person.sees(/\[Enter\] it is so/);
    person.types('q');
    await person.ends();
    // 308 mV is −8.014 dBu: the player's full scale is 12 dBu above −20 dBFS, the recorder's 3 dB more.
    expect(readFileSync(join(cwd, 'job', 'bench.yaml'), 'utf8')).toMatch(/fullScale: 11\.9[89] dBu ± 0\.0\d dB[\s\S]*output: A, resistance: 1M, fullScale: 1[45]\.(9[89]|0\d) dBu ± 0\.0\d dB/);

    const flex = atTerminal(['flex', 'job'], cwd, server.env);
    await flex.sees(/it is so/);
    flex.types('\r');
    await flex.sees(/\[Enter\] record/);
    flex.types('\r');
    await flex.sees(/3 s {3}peaks/);
    // A plug that loses contact for a second.
    await server.patch(null);
    await new Promise((done) => setTimeout(done, 1000));
    await server.patch(['remix', '1', '1', 'gain', '-3']);
    // Its length is said once it is over.
    await flex.sees(/dropout on [AB, ]+, \d+ ms/, 20);
    await flex.sees(/\d+ s {3}peaks/);
    flex.types('\r');
    const told = await flex.sees(/filed as captures\/rest\.flex\.wav[^\n]*(\n[^\n]*)?/);
    expect(told).toMatch(/1 dropout/);
    await flex.ends();
    const measured = await boardproof(['measure', 'job', '--json'], { cwd });
    const results = JSON.parse(measured.out) as Results;
    const dropouts = results.readings.find((r) => r.id === 'flex.dropouts' && r.output === 'A')!;
    expect(dropouts.value).toBe(1);
  });
});

describe('two devices with clocks of their own', () => {
  it('are told apart by the markers, and the take is good', async () => {
    const cwd = makeJob();
    const server = await ownServer();
    // A bridge that lies about its rate: 5 samples in 48 000 are made or taken.
    await server.bridge(48000, 48005);
    const { exit, out, err } = await boardproof(['capture', 'job', '--step', 'bench.take', '--yes', '--json'], { cwd, env: server.env });
    expect(err).toMatch(/clocks -10[34]\.\d\s+ppm apart/);
    expect(exit).toBe(0);
    expect(out).toContain('captures/bench.take.wav');
    // A wire: level and response are those of one, as far as the server's converter of rates is flat.
    const source = fileSource(join(cwd, 'job', 'captures', 'bench.take.wav'));
    const recording = wavRecording(source, readWavInfo(source));
    for (const { tone, response } of measureTake(recording, findTakes(recording).takes[0]!, [0, 1])) {
      expect(20 * Math.log10(tone!.amplitude)).toBeCloseTo(-20, 2);
      const { lowest, highest } = extremes(response)!;
      expect(lowest.db).toBeGreaterThan(-0.02);
      expect(highest.db).toBeLessThan(0.02);
    }
    source.close();
  });
});
