/**
 * The whole capture of a small board, driven through a pseudo-terminal as a person would: SoX is the board, with a one-pole
 * low-pass, a gain, and one output turned over; hum and hiss are added behind it.
 */
import { mkdirSync, readFileSync, readdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { Results } from '../../src/judge/results.js';
import { onePercentAt, sineThrough } from '../helpers/clippers.js';
import type { Clipper } from '../helpers/clippers.js';
import { meanPowerBetween, onePolePower } from '../helpers/third-party.js';
import { startSoundServer } from '../helpers/sound-server.js';
import type { SoundServer } from '../helpers/sound-server.js';
import { temporaryFolder } from '../helpers/cli.js';
import { atTerminal } from '../helpers/person.js';
import { boardproof } from '../helpers/program.js';
import { noise } from '../helpers/random.js';

/** That of the other tests is 48 and 96 kHz. */
const RATE = 44100;
const BOARD = 'format: boardproof-board/1\nboard: Small Board\nlimits: stage\noutputs: [{ id: A }, { id: B }]\nmatch: [[A, B]]\nloops: [{ id: eq, expect: unity }]\n';
const BENCH = `format: boardproof-bench/1
bench: bench 1
sampleRate: 44100
output: { channel: 1, fullScale: 12 dBu ± 0.1 dB }
inputs:
  - { channel: 1, output: A, fullScale: 12 dBu ± 0.1 dB }
  - { channel: 2, output: B, fullScale: 12 dBu ± 0.1 dB }
`;

/** The board at rest, and with its loop in, which takes treble and level; before its stairs clip, 10 dB under full scale. */
const REST = ['remix', '1', '1i', 'lowpass', '-1', '3000'];
const LOOP = [...REST, 'gain', '-6', 'lowpass', '-1', '8000', 'gain', '-1.5'];
const CLIPS = [...REST, 'gain', '10', 'gain', '-16'];
const clips: Clipper = (x) => 10 ** (-6 / 20) * Math.max(-(10 ** (-10 / 20)), Math.min(10 ** (-10 / 20), x));

/** Bench noise of −100 dBFS rms of a sine; the board adds hum of 50 Hz at −80 dBFS and 150 Hz at −90 dBFS. */
const hiss = [1, 2].map((seed) => noise(20 * RATE, 10 ** (-100 / 20) / Math.SQRT2, seed));
const hum = [0, 1].map((c) => Float64Array.from({ length: RATE }, (_, n) => 10 ** (-80 / 20) * Math.sin((2 * Math.PI * 50 * n) / RATE + c) + 10 ** (-90 / 20) * Math.sin((2 * Math.PI * 150 * n) / RATE)));

let server: SoundServer;
beforeAll(async () => {
  server = await startSoundServer({ rateHz: RATE });
  server.source('hiss', hiss);
});
afterAll(async () => {
  await server.stop();
});

describe('a small board at the bench', () => {
  it('is captured by somebody who only reads the screen, and its figures are right', async () => {
    const cwd = temporaryFolder();
    const job = join(cwd, 'small');
    mkdirSync(job);
    writeFileSync(join(job, 'board.yaml'), BOARD);
    writeFileSync(join(job, 'bench.yaml'), BENCH);
    const person = atTerminal(['capture', 'small', '--seconds', '6'], cwd, server.env);

    // Of the two devices one cannot record and one cannot play: nobody is asked.
    const intro = await person.sees(/\[Enter\] it is so/);
    expect(intro).toMatch(/"play" is the only device that can play\.[\s\S]*"rec" is the only device that can record\./);
    expect(intro).toMatch(/0 of 6 needed captures done, 8 optional/);
    expect(intro).toMatch(/BEFORE ANY SOUND[\s\S]*amplifiers[\s\S]*headphones/);
    person.types('\r');

    expect(await person.sees(/\[Enter\] record/)).toMatch(/1 of 14 {2}bench\.idle\n {2}Patch {3}Board left out: a shorting plug/);
    person.types('\r');
    expect(await person.sees(/filed as|not good/)).toMatch(/ good /);

    expect(await person.sees(/\[Enter\] record/)).toMatch(/2 of 14 {2}bench\.take[\s\S]*straight to[\s\S]*Plays {3}the take at -20 dBFS \(-8\.0 dBu at the bench output\)/);
    // Levels first; not patched yet: the tone does not come back, nor does the take, and the screen says what to look at.
    person.types('l');
    expect(await person.sees(/A [█░]+ +-[89]\d\.\d/)).toContain('The tone plays at -20 dBFS (-8.0 dBu at the bench output)');
    person.types('\r');
    await person.sees(/\[Enter\] record/);
    person.types('\r');
    expect(await person.sees(/\[Enter\] again/)).toMatch(/not good[\s\S]*did not\s+come back/);
    await server.patch(['remix', '1', '1']);
    person.types('\r');
    expect(await person.sees(/filed as|not good/)).toMatch(/ good /);

    await person.sees(/3 of 14 {2}bench\.stairs {2}\(optional\)[\s\S]*\[a\] allow/);
    person.types('s');
    await person.sees(/4 of 14 {2}rest\.idle[\s\S]*\[Enter\] record/);
    // Stopped here, and taken up again.
    person.types('q');
    expect(await person.ends()).toBe(0);
    expect(person.screen).toMatch(/goes on\s+from here/);
    await server.patch([...REST, 'gain', '-6']);
    // A plug that is not home: forty decibels more of hum.
    server.source('hum', hum.map((x) => x.map((v) => 100 * v)));
    const again = atTerminal(['capture', 'small', '--seconds', '6'], cwd, server.env);
    expect(await again.sees(/\[Enter\] it is so/)).toContain('2 of 6 needed captures done, 8 optional');
    again.types('\r');
    await again.sees(/3 of 14 {2}bench\.stairs[\s\S]*\[a\] allow/);
    again.types('s');
    await again.sees(/4 of 14 {2}rest\.idle[\s\S]*\[Enter\] record/);
    again.types('\r');
    expect(await again.sees(/\[f\] file as is/)).toMatch(/not good[\s\S]*[Hh]um/);
    again.types('f');
    expect(await again.sees(/filed as/)).toMatch(/as it is/);
    // The plug pushed home, and back to the step: the new capture takes its place.
    await again.sees(/5 of 14 {2}loop-eq\.idle[\s\S]*\[b\] back/);
    server.source('hum', hum);
    again.types('b');
    await again.sees(/4 of 14 {2}rest\.idle {2}\(done; a new one takes its place, the old is kept\)[\s\S]*\[Enter\] record/);
    again.types('\r');
    expect(await again.sees(/filed as|not good/)).toMatch(/ good /);
    expect(await again.sees(/5 of 14 {2}loop-eq\.idle[\s\S]*\[Enter\] record/)).toMatch(/As it is: leave every lead where it is[\s\S]*Loop eq in/);
    again.types('\r');
    expect(await again.sees(/filed as|not good/)).toMatch(/ good /);
    for (const switching of ['6 of 14 {2}rest', '7 of 14 {2}loop-eq']) {
      await again.sees(new RegExp(`${switching}\\.switching[\\s\\S]*\\[s\\] skip`));
      again.types('s');
    }
    await again.sees(/8 of 14 {2}rest\.take[\s\S]*\[Enter\] record/);
    again.types('\r');
    expect(await again.sees(/filed as|not good/)).toMatch(/ good /);
    expect(await again.sees(/9 of 14 {2}loop-eq\.take[\s\S]*\[Enter\] record/)).toMatch(/gain -6\.\d+ dB/);
    await server.patch(LOOP);
    again.types('\r');
    expect(await again.sees(/filed as|not good/)).toMatch(/ good /);
    await again.sees(/10 of 14 {2}rest\.flex[\s\S]*\[s\] skip/);
    again.types('s');
    // The stairs rise above the ceiling: nothing plays unless that is allowed, and Enter does not.
    expect(await again.sees(/11 of 14 {2}rest\.stairs[\s\S]*\[a\] allow up to -1 dBFS/)).toMatch(/ceiling/);
    await server.patch(CLIPS);
    again.types('\r');
    again.types('a');
    expect(await again.sees(/filed as|not good/)).toMatch(/ good /);
    await again.sees(/12 of 14 {2}loop-eq\.stairs[\s\S]*\[a\] allow/);
    again.types('s');
    expect(await again.sees(/13 of 14 {2}into-A\.take[\s\S]*\[s\] skip/)).toMatch(/never\s+one\s+for\s+headphones\s+or\s+loudspeakers/);
    again.types('s');
    await again.sees(/14 of 14 {2}into-B\.take[\s\S]*\[s\] skip/);
    again.types('s');
    expect(await again.ends()).toBe(0);

    expect(readFileSync(join(job, 'bench.yaml'), 'utf8')).toContain('device: play }');
    const { exit, out } = await boardproof(['measure', 'small', '--json'], { cwd });
    expect([0, 1, 4]).toContain(exit);
    const results = JSON.parse(out) as Results;
    expect(results.problems.filter((p) => p.code !== 'reading.no-value')).toEqual([]);
    const reading = (id: string, state: string, output: string): number => results.readings.find((r) => r.id === id && r.state === state && r.output === output && r.source === null)!.value!;
    // The closed form of SoX's one-pole.
    const gainAt = (hz: number): number => 10 * Math.log10(onePolePower(3000, RATE)(hz)) - 6;
    const loopAt = (hz: number): number => 10 * Math.log10(onePolePower(8000, RATE)(hz)) - 1.5;
    // Response within 0.02 dB, as everywhere; level match within 0.01 dB.
    for (const output of ['A', 'B']) {
      expect(reading('gain.1k', 'rest', output)).toBeCloseTo(gainAt(997), 1.5);
      // The loop is what it adds to the board at rest: 0.002 dB of each, and the same of their noise.
      expect(Math.abs(reading('loop.gain', 'loop-eq', output) - (10 * Math.log10(meanPowerBetween(onePolePower(8000, RATE), 200, 5000)) - 1.5))).toBeLessThan(0.01);
      expect(Math.abs(reading('loop.droop.10k', 'loop-eq', output) - (loopAt(10_000) - 10 * Math.log10(meanPowerBetween(onePolePower(8000, RATE), 200, 500)) + 1.5))).toBeLessThan(0.02);
      expect(reading('loop.polarity', 'loop-eq', output)).toBe(1);
      // As in recordings of SoX: 0.03 dB at the output, 0.05 dB at the input.
      expect(Math.abs(reading('headroom', 'rest', output) - (20 * Math.log10(sineThrough(clips, onePercentAt(clips)).tone) + 12))).toBeLessThan(0.03);
      expect(Math.abs(reading('headroom.input', 'rest', output) - (20 * Math.log10(onePercentAt(clips)) - gainAt(997) - 6 + 12))).toBeLessThan(0.05);
      expect(reading('noise.hum', 'rest', output)).toBeGreaterThan(12 - 80 + 10 * Math.log10(1.1) - 0.1);
      expect(reading('noise.hum', 'rest', output)).toBeLessThan(12 - 80 + 10 * Math.log10(1.1) + 0.1);
      const response = results.curves.find((c) => c.kind === 'response' && c.state === 'rest' && c.output === output)!;
      for (const hz of [100, 1000, 5000, 15000]) {
        const i = response.x.values.findIndex((x) => x! >= hz);
        expect(Math.abs(response.y.values[i]! - gainAt(response.x.values[i]!))).toBeLessThan(0.02);
      }
    }
    expect(reading('polarity', 'rest', 'A')).toBe(1);
    expect(reading('polarity', 'rest', 'B')).toBe(-1);
    expect(Math.abs(reading('match.level', 'rest', 'A:B'))).toBeLessThan(0.01);
    expect(Math.abs(reading('match.delay', 'rest', 'A:B'))).toBeLessThan((0.05 / RATE) * 1e6);
    // What was broken off as nothing came back (or, where a busy machine tore the hiss, was refused for it at the end) is kept, and so is what was filed as it was, beside the captures.
    expect(readdirSync(join(job, 'captures')).filter((n) => n.includes('~') && n.endsWith('.wav')).sort()).toEqual([expect.stringMatching(/^bench\.take~.*-(partial|refused)\.wav$/), expect.stringMatching(/^rest\.idle~[^~]*Z\.wav$/)]);
    // The way round through two buffers of 300 ms, the library's and SoX: between a tenth of a second and the tail of a take.
    expect(results.bench.roundTripS).toBeGreaterThan(0.1);
    expect(results.bench.roundTripS).toBeLessThan(1.5);
  });
});
