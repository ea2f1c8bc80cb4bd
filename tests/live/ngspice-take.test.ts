/**
 * The take itself through ngspice: a transient run whose source is what a bench would play, through the generator, a source
 * plug, a board's wiring, and, in the same run, through a pickup with its pots and lead. What comes out is filed and
 * measured as any recording; what the translation says of the player's end is held to what ngspice heard there.
 *
 * Markers and tone come from a file of the rendered samples. The sweep is given to ngspice as its formula: at every point of
 * a file ngspice begins its integration anew with a first-order step, which takes 0.1 dB from 20 kHz behind 10 kΩ and 300 pF.
 * It steps 480 000 times a second: the trapezoidal rule then moves 20 kHz by (2π·20 kHz/480 kHz)²/12 = 0.6 %, 5 kHz by 0.04 %.
 */
import { execFileSync } from 'node:child_process';
import { once } from 'node:events';
import { createWriteStream, mkdtempSync, openSync, readSync, closeSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { finished } from 'node:stream/promises';
import { afterAll, describe, expect, it } from 'vitest';
import { encodeRecording } from '../../cli/encode-recording.js';
import type { Reading, Results } from '../../src/judge/results.js';
import { GRID_HZ } from '../../src/measure/frequency-grid.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { magnitudeDb, ratio, referenceDb } from '../../src/measure/response.js';
import { findTakes } from '../../src/measure/take-search.js';
import { measureTake } from '../../src/measure/take.js';
import type { ResponseEstimate } from '../../src/measure/take.js';
import { amplitudeOfDbfs } from '../../src/signals/exact.js';
import { SWEEP_FADE_IN_S, SWEEP_FADE_OUT_S, SWEEP_LOW_HZ, SWEEP_RATE_S, sweepDurationS, sweepTopHz } from '../../src/signals/sweep.js';
import { renderTake, takeTimetable } from '../../src/signals/take.js';
import { boardproof } from '../helpers/program.js';

const root = mkdtempSync(join(tmpdir(), 'boardproof-ngspice-'));
afterAll(() => {
  rmSync(root, { recursive: true, force: true });
});

const RATE = 48000;
const MARGIN_S = 0.5;
const LEVEL_DBFS = -20;
/** Steps of the simulation, and of its output, per sample. */
const STEPS = 10;
const KEPT = 5;
const OUTPUTS = ['bench', 'rest', 'plug', 'player'] as const;
type Output = (typeof OUTPUTS)[number];

const FARAD = 300e-12;
const DECK = `* a take through a board of 3 m of wiring
a1 %v([file]) played
.model played filesource (file="take.txt" amploffset=[0] amplscale=[1] timeoffset=0 timescale=1 timerelative=false amplstep=false)
rg0 in bench 100
rl0 bench 0 1meg
rg1 in rest 100
rl1 rest 0 1meg
c1 rest 0 ${FARAD}
rg2 in plug 10100
rl2 plug 0 1meg
c2 plug 0 ${FARAD}
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
.options interp trtol=1e6
.save ${OUTPUTS.map((name) => `v(${name})`).join(' ')}
`;

const BOARD = `format: boardproof-board/1
invented: true
board: three metres of wiring
limits: stage
instrument:
  pickup: { resistance: 8.2k, inductance: 3.1 H, capacitance: 110 pF }
  volume: 500k
  tone: { resistance: 500k, capacitor: 22 nF }
  lead: { length: 5 m, capacitance: 95 pF/m }
input:
  wiring: { length: 1 m, capacitance: 100 pF/m }
outputs:
  - { id: A, wiring: { length: 2 m, capacitance: 100 pF/m } }
`;
const BENCH = `format: boardproof-bench/1
bench: ngspice
output: { channel: 1, resistance: 100 }
inputs: [{ channel: 1, output: A, resistance: 1M }]
plugs: [{ id: plug10k, resistance: 10k ± 1 % }]
`;

/** The sweep with its fades, as signals/sweep.ts defines them. */
function sweepFormula(amplitude: number): string {
  const from = MARGIN_S + takeTimetable.sweep.atS;
  const lengthS = sweepDurationS(sweepTopHz(RATE));
  const fade = (left: string, lengthOfFade: number): string => `(${left} < ${lengthOfFade} ? 0.5 - 0.5*cos(pi*${left}/${lengthOfFade}) : 1)`;
  const t = `(time - ${from})`;
  const left = `(${from + lengthS} - time)`;
  return `bin in 0 v = v(file) + (time < ${from} || time > ${from + lengthS} ? 0 : ${amplitude}*sin(2*pi*${SWEEP_LOW_HZ * SWEEP_RATE_S}*exp(${t}/${SWEEP_RATE_S}))*${fade(t, SWEEP_FADE_IN_S)}*${fade(left, SWEEP_FADE_OUT_S)})\n`;
}

/** The samples, but for the sweep. */
async function writeSamples(samples: Float64Array): Promise<void> {
  const sweepFrom = Math.ceil((MARGIN_S + takeTimetable.sweep.atS) * RATE);
  const sweepTo = Math.floor((MARGIN_S + takeTimetable.sweep.atS + takeTimetable.sweep.longestS + 0.2) * RATE);
  const stream = createWriteStream(join(root, 'take.txt'));
  for (let from = 0; from < samples.length; from += 10000) {
    let text = '';
    for (let n = from; n < Math.min(samples.length, from + 10000); n++) if (n < sweepFrom || n > sweepTo) text += `${(n / RATE).toExponential(12)} ${samples[n]!.toExponential(9)}\n`;
    if (!stream.write(text)) await once(stream, 'drain');
  }
  stream.end();
  await finished(stream);
}

/** Samples at RATE of each output, from the binary raw file: its time axis and its vectors, 8-byte floats, row by row. */
function readRaw(file: string, frames: number): Record<Output, Float64Array> {
  const fd = openSync(file, 'r');
  try {
    const head = Buffer.alloc(4096);
    readSync(fd, head, 0, head.length, 0);
    const text = head.toString('latin1');
    const order = [...text.matchAll(/^\t\d+\t(?:v\()?(\w+)\)?\t/gm)].map((m) => m[1]!);
    expect(order).toEqual(['time', ...OUTPUTS]);
    const start = text.indexOf('Binary:\n') + 'Binary:\n'.length;
    const rows = Number(/^No\. Points: (\d+)/m.exec(text)![1]);
    const width = order.length;
    const wanted = frames * KEPT;
    expect(rows).toBeGreaterThanOrEqual(wanted);
    const taps = lowPass();
    const half = (taps.length - 1) / 2;
    const all = OUTPUTS.map(() => new Float64Array(wanted));
    const block = Buffer.alloc(width * 8 * 65536);
    for (let row = 0; row < wanted; row += 65536) {
      const count = Math.min(65536, wanted - row);
      readSync(fd, block, 0, count * width * 8, start + row * width * 8);
      for (let r = 0; r < count; r++) for (let v = 1; v < width; v++) all[v - 1]![row + r] = block.readDoubleLE((r * width + v) * 8);
    }
    const thinned = all.map((x) =>
      Float64Array.from({ length: frames }, (_, n) => {
        let sum = 0;
        for (let k = -half; k <= half; k++) sum += (x[n * KEPT + k] ?? 0) * taps[k + half]!;
        return sum;
      }),
    );
    return Object.fromEntries(OUTPUTS.map((name, i) => [name, thinned[i]!])) as Record<Output, Float64Array>;
  } finally {
    closeSync(fd);
  }
}

/** A windowed sinc (Kaiser, 80 dB) that passes 22 kHz and stops 26 kHz, at KEPT times the rate. */
function lowPass(): Float64Array {
  const half = 32 * KEPT;
  const beta = 8;
  const bessel = (z: number): number => {
    let [term, sum] = [1, 1];
    for (let k = 1; k < 40; k++) sum += term *= (z / (2 * k)) ** 2;
    return sum;
  };
  const taps = Float64Array.from({ length: 2 * half + 1 }, (_, i) => {
    const t = (i - half) / KEPT;
    return (t === 0 ? 1 : Math.sin(Math.PI * t) / (Math.PI * t)) * bessel(beta * Math.sqrt(1 - ((i - half) / half) ** 2));
  });
  const sum = taps.reduce((s, v) => s + v, 0);
  return taps.map((v) => v / sum);
}

const responseOf = (samples: Float64Array): ResponseEstimate => {
  const recording = memoryRecording([samples], RATE);
  const [take] = findTakes(recording).takes;
  return measureTake(recording, take!, [0])[0]!.response;
};

describe('a take through ngspice', () => {
  it('gives the parts back within 1 %, and the player hears what was said of them', async () => {
    const frames = Math.ceil((takeTimetable.lengthS + 2 * MARGIN_S) * RATE);
    await writeSamples(renderTake({ stepCode: 0, levelDbfs: LEVEL_DBFS, sweepTopHz: sweepTopHz(RATE) }, RATE, MARGIN_S, frames));
    const seconds = (frames + 1) / RATE;
    writeFileSync(
      join(root, 'deck.cir'),
      `${DECK}${sweepFormula(amplitudeOfDbfs(LEVEL_DBFS))}.control\ntran ${1 / (KEPT * RATE)} ${seconds} 0 ${1 / (STEPS * RATE)}\nwrite out.raw ${OUTPUTS.map((name) => `v(${name})`).join(' ')}\nquit\n.endc\n.end\n`,
    );
    execFileSync('ngspice', ['-b', 'deck.cir'], { cwd: root, stdio: 'ignore' });
    const heard = readRaw(join(root, 'out.raw'), frames);

    expect(await boardproof(['new', 'job'], { cwd: root })).toMatchObject({ exit: 0 });
    writeFileSync(join(root, 'job/board.yaml'), BOARD);
    writeFileSync(join(root, 'job/bench.yaml'), BENCH);
    for (const [name, step] of [['bench', 'bench.take'], ['rest', 'rest.take'], ['plug', 'rest+plug10k.take']] as const) {
      const chunks = [...encodeRecording(memoryRecording([heard[name]], RATE), 'float32')];
      writeFileSync(join(root, `${name}.wav`), Buffer.concat(chunks));
      const run = await boardproof(['import', 'job', `${name}.wav`, '--step', step], { cwd: root });
      expect(run.exit, run.err).toBe(0);
    }
    const run = await boardproof(['measure', 'job', '--json'], { cwd: root });
    const results = JSON.parse(run.out) as Results;
    const reading = (id: string): Reading => results.readings.find((r) => r.id === id && r.state === 'rest')!;
    expect(Math.abs(reading('capacitance').value! / (FARAD * 1e12) - 1)).toBeLessThan(0.01);
    expect(Math.abs(reading('input-resistance').value! / 1000 - 1)).toBeLessThan(0.01);
    // 300 pF by board.yaml as well: nothing too much.
    expect(Math.abs(reading('capacitance.over-design').value!)).toBeLessThan(3);

    // The player's end, translated from the two takes, against the same take heard there.
    const curve = results.playerCurves!.find((c) => c.state === 'rest')!;
    const player = ratio(responseOf(heard.player), responseOf(heard.bench));
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
