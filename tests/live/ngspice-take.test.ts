/**
 * ngspice as the board: one transient run whose source is what a bench would play, through circuits that are right and circuits with a
 * fault. What comes out is measured as any recording: the parts are to come back, the player is to hear what was said of them, and each
 * fault is to be told at its place, with its figure, and nothing else. Stages that clip are given as ngspice's static curve.
 */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { encodeRecording } from '../../cli/encode-recording.js';
import { readBench, readBoard } from '../../src/board/read.js';
import { parseStepId } from '../../src/board/states.js';
import { judgeReadings } from '../../src/judge/judge-job.js';
import { limitSets } from '../../src/judge/limit-sets.js';
import type { Finding, Results } from '../../src/judge/results.js';
import { GRID_HZ } from '../../src/measure/frequency-grid.js';
import { measureJob } from '../../src/measure/job.js';
import type { CaptureEstimate } from '../../src/measure/job.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { magnitudeDb, ratio, referenceDb } from '../../src/measure/response.js';
import { measureStairs } from '../../src/measure/stairs.js';
import { findTakes } from '../../src/measure/take-search.js';
import { measureTake } from '../../src/measure/take.js';
import type { TakeEstimate } from '../../src/measure/take.js';
import { STAIRS_SWEEP_TOP_HZ, renderStairs } from '../../src/signals/stairs.js';
import { dbuToVolts, voltsToDbu } from '../../src/units/decibels.js';
import { onePercentAt, sineThrough } from '../helpers/clippers.js';
import type { Clipper } from '../helpers/clippers.js';
import { staticCurve, takeThroughNgspice } from '../helpers/ngspice-run.js';
import { boardproof } from '../helpers/program.js';

const root = mkdtempSync(join(tmpdir(), 'boardproof-ngspice-'));
afterAll(() => {
  rmSync(root, { recursive: true, force: true });
});

const RATE = 48000;
const LEVEL_DBFS = -20;

const FARAD = 300e-12;
/** What is in series with an output whose stage has gone wrong, and what it is loaded with. */
const SERIES_OHM = 4700;
const LOAD_OHM = 10e3;
/** A coupling capacitor that has lost its capacitance, before 1 MΩ. */
const THIN_F = 1e-9;
const NODES = ['bench', 'rest', 'plug', 'player', 'thin', 'weak', 'loaded', 'turned', 'turnedthin'] as const;
const CIRCUIT = `rg0 in bench 100
rl0 bench 0 1meg
rg1 in rest 100
rl1 rest 0 1meg
c1 rest 0 ${FARAD}
rg2 in plug 10100
rl2 plug 0 1meg
c2 plug 0 ${FARAD}
* the player's instrument before the same wiring
lp in wire 3.1
rp wire hot 8200
cp hot 0 110p
rt hot tone 500k
ct tone 0 22n
rvu hot player 5
rv player 0 500k
cl player 0 475p
c3 player 0 ${FARAD}
rl3 player 0 1meg
* an output behind a coupling capacitor that is far too small
rg4 in before 100
c4 before thin ${THIN_F}
rl4 thin 0 1meg
* an output with too much in series, free and loaded
rg5 in weak ${SERIES_OHM}
rl5 weak 0 1meg
rg6 in loaded ${SERIES_OHM}
rl6 loaded 0 1meg
rd6 loaded 0 ${LOAD_OHM}
* a device in a loop that turns the signal over
e7 driven 0 rest 0 -1
rg7 driven turned 100
rl7 turned 0 1meg
* and what the output without bass makes of that
rg8 driven turnedBefore 100
c8 turnedBefore turnedthin ${THIN_F}
rl8 turnedthin 0 1meg`;

const DIODE = '.model small d is=2.52n n=1.752 rs=0.568';
/** A stage whose protection diodes hang on a supply that has sunk to a quarter; a device that clips on one half only. */
const STARVED = `r1 in out 1k\nvp plus 0 0.6\nvm minus 0 -0.6\nd1 out plus small\nd2 minus out small\nrl out 0 1meg\n${DIODE}`;
const ONE_SIDED = `r1 in out 1k\nvp plus 0 0.4\nd1 out plus small\nrl out 0 1meg\n${DIODE}`;

const BOARD = (inputM: number, outputM: number): string => `format: boardproof-board/1
invented: true
board: three metres of wiring
limits: stage
instrument:
  pickup: { resistance: 8.2k, inductance: 3.1 H, capacitance: 110 pF }
  volume: 500k
  tone: { resistance: 500k, capacitor: 22 nF }
  lead: { length: 5 m, capacitance: 95 pF/m }
input:
  wiring: { length: ${inputM} m, capacitance: 100 pF/m }
outputs:
  - { id: A, wiring: { length: ${outputM} m, capacitance: 100 pF/m } }
`;
const BENCH = `format: boardproof-bench/1
bench: ngspice
output: { channel: 1, resistance: 100 }
inputs: [{ channel: 1, output: A, resistance: 1M }]
plugs: [{ id: plug10k, resistance: 10k ± 1 % }]
`;
const TWO_OUTPUTS = `format: boardproof-board/1
invented: true
board: two outputs
loops:
  - { id: trim, expect: unity }
  - { id: turn, expect: unity }
outputs:
  - { id: A }
  - { id: B, load: 10k }
match: [[A, B]]
`;
const PLAYER_DBU = 12;
const RECORDER_DBU = 18;
const TWO_INPUTS = `format: boardproof-bench/1
bench: ngspice
output: { channel: 1, fullScale: ${PLAYER_DBU} dBu ± 0.1 dB, resistance: 100 }
inputs:
  - { channel: 1, output: A, fullScale: ${RECORDER_DBU} dBu ± 0.1 dB, resistance: 1M }
  - { channel: 2, output: B, fullScale: ${RECORDER_DBU} dBu ± 0.1 dB, resistance: 1M }
loads: [{ id: load10k, output: B, resistance: 10k ± 1 % }]
`;

let heard: Record<(typeof NODES)[number], Float64Array>;
let takes: Record<(typeof NODES)[number], TakeEstimate>;

beforeAll(async () => {
  heard = await takeThroughNgspice(root, CIRCUIT, NODES, { rate: RATE, marginS: 0.3, levelDbfs: LEVEL_DBFS });
  const recording = memoryRecording(NODES.map((name) => heard[name]), RATE);
  const [located] = findTakes(recording).takes;
  const estimates = measureTake(recording, located!, NODES.map((_, i) => i));
  takes = Object.fromEntries(NODES.map((name, i) => [name, estimates[i]!])) as typeof takes;
});

describe('a take through ngspice', () => {
  it('gives the parts back within 1 %, and the player hears what was said of them', async () => {
    expect(await boardproof(['new', 'job'], { cwd: root })).toMatchObject({ exit: 0 });
    writeFileSync(join(root, 'job/board.yaml'), BOARD(1, 2));
    writeFileSync(join(root, 'job/bench.yaml'), BENCH);
    const steps = { bench: 'bench.take', rest: 'rest.take', plug: 'rest+plug10k.take' } as const;
    const names = Object.keys(steps) as (keyof typeof steps)[];
    for (const name of names) writeFileSync(join(root, `${name}.wav`), Buffer.concat([...encodeRecording(memoryRecording([heard[name]], RATE), 'float32')]));
    const filed = await boardproof(['import', 'job', ...names.map((name) => `${name}.wav`), '--step', Object.values(steps).join(',')], { cwd: root });
    expect(filed.exit, filed.err).toBe(0);
    const run = await boardproof(['measure', 'job', '--json'], { cwd: root });
    const results = JSON.parse(run.out) as Results;
    const reading = (id: string): Results['readings'][number] => results.readings.find((r) => r.id === id && r.state === 'rest')!;
    expect(Math.abs(reading('capacitance').value! / (FARAD * 1e12) - 1)).toBeLessThan(0.01);
    expect(Math.abs(reading('input-resistance').value! / 1000 - 1)).toBeLessThan(0.01);
    // 300 pF by board.yaml as well: nothing too much.
    expect(Math.abs(reading('capacitance.over-design').value!)).toBeLessThan(3);
    expect(results.findings).toEqual([]);

    // The player's end, translated from the two takes, against the same take heard there.
    const curve = results.playerCurves!.find((c) => c.state === 'rest')!;
    const player = ratio(takes.player.response, takes.bench.response);
    const reference = referenceDb(player).db;
    let largest = 0;
    curve.x.values.forEach((hz, k) => {
      const i = GRID_HZ.findIndex((f) => Math.abs(f / hz! - 1) < 1e-6);
      if (hz! < 100 || hz! > 10000) return;
      largest = Math.max(largest, Math.abs(magnitudeDb(player, i) - reference - curve.y.values[k]!));
    });
    process.stdout.write(
      `ngspice transient: ${reading('capacitance').value!.toFixed(2)} pF of 300, ${reading('input-resistance').value!.toFixed(1)} kΩ of 1000; the player's end within ${largest.toFixed(3)} dB from 100 Hz to 10 kHz\n`,
    );
    // 0.16 % of frequency at 10 kHz (the trapezoidal rule) is 0.03 dB on a flank of 12 dB an octave; the fit adds its own.
    expect(largest).toBeLessThan(0.05);
  });
});

type Judged = Pick<Results, 'readings' | 'findings'>;

function judged(boardText: string, benchText: string, outputs: readonly string[], estimates: readonly CaptureEstimate[]): Judged {
  const [board, bench] = [readBoard(boardText), readBench(benchText, outputs)];
  if (!board.ok || !bench.ok) throw new Error('the board or the bench of this test is not valid');
  return judgeReadings({ board: board.value, bench: bench.value, limits: limitSets['studio-quiet']!, measured: measureJob(board.value, bench.value, estimates), problems: [] });
}

const named = (id: string): CaptureEstimate['step'] & { readonly id: string } => ({ id, ...parseStepId(id)! });
const take = (id: string, ...nodes: (typeof NODES)[number][]): CaptureEstimate => ({ step: named(id), kind: 'take', inputs: nodes.map((name) => takes[name]) });
const onTwo = (...estimates: CaptureEstimate[]): Judged => judged(TWO_OUTPUTS, TWO_INPUTS, ['A', 'B'], [take('bench.take', 'bench', 'bench'), ...estimates]);

function reading({ readings }: Judged, id: string, state: string, output: string): number {
  const found = readings.filter((r) => r.id === id && r.state === state && r.output === output);
  expect(found.length, `${id} in ${state} on ${output}`).toBe(1);
  return found[0]!.value!;
}
function only({ findings }: Judged, ...ids: string[]): readonly Finding[] {
  expect(findings.map(({ id }) => id).sort(), findings.map(({ title }) => title).join('\n')).toEqual(ids);
  return findings;
}

describe('a circuit of ngspice with a fault is told at its place, and nothing else', () => {
  it('two sound outputs and a loop that is patched through: nothing', () => {
    only(onTwo(take('rest.take', 'rest', 'rest'), take('loop-trim.take', 'rest', 'rest')));
  });

  it('2.5 m of lead that board.yaml does not have', () => {
    const results = judged(BOARD(0.2, 0.3), BENCH, ['A'], [take('bench.take', 'bench'), take('rest.take', 'rest'), take('rest+plug10k.take', 'plug')]);
    const [found] = only(results, 'capacitance/rest');
    // 1 % of the whole, as everywhere.
    expect(Math.abs(results.readings.find((r) => r.id === 'capacitance.over-design')!.value! - (FARAD * 1e12 - 50))).toBeLessThan(3);
    expect(found!.title).toMatch(/^On the board’s path hang 30\d pF, 50 pF expected: about 2\.5 m of lead too much/);
  });

  it('a coupling capacitor far too small', () => {
    const [found] = only(onTwo(take('rest.take', 'rest', 'thin')), 'output-response/B');
    expect(found!.where.output).toBe('B');
    const lossDb = (hz: number): number => 10 * Math.log10(1 + (1 / (2 * Math.PI * hz * 1.0001e6 * THIN_F)) ** 2);
    const said = Number(/loses bass: ([\d.]+) dB at 50 Hz/.exec(found!.title)![1]);
    // From 600 Hz, both read at the nearest of 48 points an octave: half a step is 0.04 dB of 6 dB an octave.
    expect(Math.abs(said - (lossDb(50) - lossDb(600)))).toBeLessThan(0.1);
  });

  it('a resistance in series with an output', () => {
    const results = onTwo(take('rest.take', 'rest', 'weak'), take('rest+load10k.take', 'rest', 'loaded'));
    const [found] = only(results, 'output-resistance/B');
    expect(Math.abs(reading(results, 'output-resistance', 'rest', 'B') / SERIES_OHM - 1)).toBeLessThan(0.001);
    // 20·log10(1 + 4.7/10).
    expect(found!.title).toBe('Output B has an output resistance of 4.7 kΩ: into 10 kΩ it loses 3.3 dB.');
  });

  it('a loop that is wired the wrong way round, beside an output without bass', () => {
    const results = onTwo(take('rest.take', 'rest', 'thin'), take('loop-turn.take', 'turned', 'turnedthin'), take('loop-trim.take', 'rest', 'thin'));
    expect(results.findings.find(({ id }) => id.startsWith('loop-inverted'))!.where.loop).toBe('turn');
    expect(reading(results, 'loop.polarity', 'loop-turn', 'A')).toBe(-1);
    only(results, 'loop-inverted/turn', 'output-response/B');
  });

  it('a stage on a starved supply, and a device that clips on one half', () => {
    const [starved, oneSided] = [staticCurve(root, STARVED, 6), staticCurve(root, ONE_SIDED, 6)];
    const clean: Clipper = (x) => x;
    const volts = (dbu: number): number => Math.SQRT2 * dbuToVolts(dbu);
    const played = renderStairs({ stepCode: 0, levelDbfs: LEVEL_DBFS, sweepTopHz: STAIRS_SWEEP_TOP_HZ }, RATE, 0.3);
    const through = [clean, starved, oneSided];
    const recording = memoryRecording(through.map((f) => played.map((v) => f(v * volts(PLAYER_DBU)) / volts(RECORDER_DBU))), RATE);
    const [located] = findTakes(recording).stairs;
    const [a, b, trim] = measureStairs(recording, located!, [0, 1, 2]);
    const results = onTwo(
      { step: named('bench.stairs'), kind: 'stairs', inputs: [a!, a!] },
      { step: named('rest.stairs'), kind: 'stairs', inputs: [a!, b!] },
      { step: named('loop-trim.stairs'), kind: 'stairs', inputs: [trim!, b!] },
    );
    const findings = only(results, 'clipping/B', 'clipping/trim');
    expect(findings.find(({ id }) => id === 'clipping/B')!.cause).toMatch(/Both halves/);
    expect(findings.find(({ id }) => id === 'clipping/trim')!.cause).toMatch(/One half/);
    for (const [f, state, output] of [[starved, 'rest', 'B'], [oneSided, 'loop-trim', 'A']] as const) {
      const truth = voltsToDbu(sineThrough(f, onePercentAt(f)).tone / Math.SQRT2);
      expect(Math.abs(reading(results, 'headroom', state, output) - truth), `${state}: ${reading(results, 'headroom', state, output)} for ${truth}`).toBeLessThan(0.03);
    }
  });
});
