/** ngspice as a device in time: a deck is driven with a take, and what its nodes did comes back as samples; and static curves of what clips. */
import { execFileSync } from 'node:child_process';
import { once } from 'node:events';
import { closeSync, createWriteStream, openSync, readFileSync, readSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { finished } from 'node:stream/promises';
import { expect } from 'vitest';
import { amplitudeOfDbfs } from '../../src/signals/exact.js';
import { SWEEP_FADE_IN_S, SWEEP_FADE_OUT_S, SWEEP_LOW_HZ, SWEEP_RATE_S, sweepDurationS, sweepTopHz } from '../../src/signals/sweep.js';
import { renderTake, takeTimetable } from '../../src/signals/take.js';
import type { Clipper } from './clippers.js';

/** Samples of the simulation's output, and steps of the simulation itself, per sample of the recording. */
const KEPT = 4;
const STEPS = 8;

/** The sweep with its fades, as signals/sweep.ts defines them, at the node `in`, beside what the file plays at `file`. */
function sweepSource(amplitude: number, rate: number, marginS: number): string {
  const from = marginS + takeTimetable.sweep.atS;
  const lengthS = sweepDurationS(sweepTopHz(rate));
  const fade = (left: string, lengthOfFade: number): string => `(${left} < ${lengthOfFade} ? 0.5 - 0.5*cos(pi*${left}/${lengthOfFade}) : 1)`;
  const t = `(time - ${from})`;
  const left = `(${from + lengthS} - time)`;
  return `bin in 0 v = v(file) + (time < ${from} || time > ${from + lengthS} ? 0 : ${amplitude}*sin(2*pi*${SWEEP_LOW_HZ * SWEEP_RATE_S}*exp(${t}/${SWEEP_RATE_S}))*${fade(t, SWEEP_FADE_IN_S)}*${fade(left, SWEEP_FADE_OUT_S)})`;
}

/** The samples, but for the sweep. */
async function writeSamples(file: string, samples: Float64Array, rate: number, marginS: number): Promise<void> {
  const sweepFrom = Math.ceil((marginS + takeTimetable.sweep.atS) * rate);
  const sweepTo = Math.floor((marginS + takeTimetable.sweep.atS + takeTimetable.sweep.longestS + 0.2) * rate);
  const stream = createWriteStream(file);
  for (let from = 0; from < samples.length; from += 10000) {
    let text = '';
    for (let n = from; n < Math.min(samples.length, from + 10000); n++) if (n < sweepFrom || n > sweepTo) text += `${(n / rate).toExponential(12)} ${samples[n]!.toExponential(9)}\n`;
    if (!stream.write(text)) await once(stream, 'drain');
  }
  stream.end();
  await finished(stream);
}

/** Samples of each node, from the binary raw file: its time axis and its vectors, 8-byte floats, row by row. */
function readRaw<Node extends string>(file: string, nodes: readonly Node[], frames: number): Record<Node, Float64Array> {
  const fd = openSync(file, 'r');
  try {
    const head = Buffer.alloc(4096);
    readSync(fd, head, 0, head.length, 0);
    const text = head.toString('latin1');
    const order = [...text.matchAll(/^\t\d+\t(?:v\()?(\w+)\)?\t/gm)].map((m) => m[1]!);
    expect(order).toEqual(['time', ...nodes]);
    const start = text.indexOf('Binary:\n') + 'Binary:\n'.length;
    const rows = Number(/^No\. Points: (\d+)/m.exec(text)![1]);
    const width = order.length;
    const wanted = frames * KEPT;
    expect(rows).toBeGreaterThanOrEqual(wanted);
    const taps = lowPass();
    const half = (taps.length - 1) / 2;
    const all = nodes.map(() => new Float64Array(wanted));
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
    return Object.fromEntries(nodes.map((name, i) => [name, thinned[i]!])) as Record<Node, Float64Array>;
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

/**
 * A take through a circuit whose source is the node `in`, and what its nodes did.
 *
 * Markers and tone come from a file of the rendered samples. The sweep is given to ngspice as its formula: at every point of a file
 * ngspice begins its integration anew with a first-order step, which takes 0.1 dB from 20 kHz behind 10 kΩ and 300 pF. It steps 384 000
 * times a second: the trapezoidal rule then moves 20 kHz by (2π·20 kHz/384 kHz)²/12 = 0.9 %, 5 kHz by 0.06 %.
 */
export async function takeThroughNgspice<Node extends string>(folder: string, circuit: string, nodes: readonly Node[], { rate, marginS, levelDbfs }: { rate: number; marginS: number; levelDbfs: number }): Promise<Record<Node, Float64Array>> {
  const frames = Math.ceil((takeTimetable.lengthS + 2 * marginS) * rate);
  await writeSamples(join(folder, 'take.txt'), renderTake({ stepCode: 0, levelDbfs, sweepTopHz: sweepTopHz(rate) }, rate, marginS, frames), rate, marginS);
  const vectors = nodes.map((name) => `v(${name})`).join(' ');
  writeFileSync(
    join(folder, 'deck.cir'),
    `* a take through a board
a1 %v([file]) played
.model played filesource (file="take.txt" amploffset=[0] amplscale=[1] timeoffset=0 timescale=1 timerelative=false amplstep=false)
${circuit}
.options interp trtol=1e6
.save ${vectors}
${sweepSource(amplitudeOfDbfs(levelDbfs), rate, marginS)}
.control
tran ${1 / (KEPT * rate)} ${(frames + 1) / rate} 0 ${1 / (STEPS * rate)}
write out.raw ${vectors}
quit
.endc
.end
`,
  );
  execFileSync('ngspice', ['-b', 'deck.cir'], { cwd: folder, stdio: 'ignore' });
  return readRaw(join(folder, 'out.raw'), nodes, frames);
}

/** Volts at the node `out` for volts at the node `in`, of a circuit without memory: the curve of a DC sweep, straight between millivolts. */
export function staticCurve(folder: string, circuit: string, reachV: number): Clipper {
  const stepV = 1e-3;
  writeFileSync(
    join(folder, 'curve.cir'),
    `* what a stage makes of a voltage\nvin in 0 0\n${circuit}\n.options reltol=1e-6 abstol=1e-12 vntol=1e-8\n.control\nset wr_singlescale\nset numdgt=12\ndc vin ${-reachV} ${reachV} ${stepV}\nwrdata curve.txt v(out)\nquit\n.endc\n.end\n`,
  );
  execFileSync('ngspice', ['-b', 'curve.cir'], { cwd: folder, stdio: 'ignore' });
  const volts = readFileSync(join(folder, 'curve.txt'), 'latin1').trim().split('\n').map((line) => Number(line.trim().split(/\s+/)[1]));
  return (x) => {
    const at = Math.min(volts.length - 2, Math.max(0, (x + reachV) / stepV));
    const below = Math.floor(at);
    return volts[below]! + (at - below) * (volts[below + 1]! - volts[below]!);
  };
}
