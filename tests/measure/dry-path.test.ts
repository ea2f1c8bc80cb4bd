import { describe, expect, it } from 'vitest';
import type { Bench, Board } from '../../src/board/model.js';
import { expanded } from '../../src/judge/uncertainty.js';
import { dryPathFigures } from '../../src/measure/dry-path.js';
import type { Figure } from '../../src/measure/figure.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { findTakes } from '../../src/measure/take-search.js';
import { measureTake } from '../../src/measure/take.js';
import { sweepTopHz } from '../../src/signals/sweep.js';
import { renderTake } from '../../src/signals/take.js';
import { chain, delay, gain, highPass, lowPass, through, times } from '../helpers/device.js';
import type { Complex } from '../helpers/device.js';
import { noise } from '../helpers/random.js';

const RATE = 48000;
const LATENCY_S = 0.00217;
const board = { loops: [{ id: 'echo' }] } as unknown as Board;
const bench = { inputs: [{ output: 'wet' }, { output: 'dry' }] } as unknown as Bench;
const played = renderTake({ stepCode: 1, levelDbfs: -12, sweepTopHz: sweepTopHz(RATE) }, RATE, 1, 16 * RATE);
const located = findTakes(memoryRecording([played], RATE)).takes[0]!;

type Device = (hz: number) => Complex;
const dry = chain(highPass(8), lowPass(40000));
const loop = chain(gain(-1.5), lowPass(15000), highPass(25), delay(LATENCY_S));
const sum = (...parts: Device[]): Device => (hz) => parts.reduce<Complex>(([a, b], p) => [a + p(hz)[0], b + p(hz)[1]], [0, 0]);
const none: Device = () => [0, 0];

function figuresOf(devices: { restWet: Device; loopWet: Device; loopDry: Device }, rms: number, seed: number): readonly Figure[] {
  const channels = [devices.restWet, dry, devices.loopWet, devices.loopDry].map((device, c) => {
    const hiss = noise(played.length, rms, seed + c);
    return through(played, RATE, device).map((v, n) => v + hiss[n]!);
  });
  const all = measureTake(memoryRecording(channels, RATE), located, [0, 1, 2, 3]);
  return dryPathFigures(board, bench, (id) => (id === 'rest.take' ? all.slice(0, 2) : all.slice(2)));
}
const leaky = (bleedDb: number, fromDryDb: number, toDryDb: number): Parameters<typeof figuresOf>[0] => ({
  restWet: chain(dry, sum(gain(0), chain(gain(bleedDb), loop))),
  loopWet: chain(dry, sum(loop, fromDryDb > -300 ? gain(fromDryDb) : none)),
  loopDry: chain(dry, sum(gain(0), chain(gain(toDryDb), loop))),
});
const read = (figures: readonly Figure[], id: string): Figure => figures.find((f) => f.id === id)!;
/** Mean square of a device over log frequency, dB. */
const meanDb = (h: Device): number => {
  let total = 0;
  for (let k = 0; k < 300; k++) {
    const [re, im] = h(300 * (8000 / 300) ** ((k + 0.5) / 300));
    total += (re * re + im * im) / 300;
  }
  return 10 * Math.log10(total);
};

describe('beside an output that does not pass the loop', () => {
  const figures = figuresOf(leaky(-52, -48, -60), 3e-5, 1);

  it('latency, with the loop’s filters in it', () => {
    const f = read(figures, 'loop.delay');
    expect(f).toMatchObject({ output: 'wet', loop: 'echo', state: 'loop-echo' });
    // The filters of the loop delay by some microseconds themselves: 1/(2π·15 kHz) is 10.6 µs.
    expect(Math.abs(f.value! - 1e6 * LATENCY_S - 10)).toBeLessThan(5);
  });

  it('bleed while it is out, against the direct signal', () => {
    const f = read(figures, 'bleed');
    expect(f).toMatchObject({ output: 'wet', loop: 'echo', state: 'rest', bound: null });
    const truth = -52 + meanDb(loop);
    expect(Math.abs(f.value! - truth), `${f.value} for ${truth}`).toBeLessThan(0.3 + expanded(f.parts!));
  });

  it('what leaks past the loop, and from the wet path into the dry one', () => {
    const past = read(figures, 'crosstalk.from-dry');
    const truth = -48 - meanDb(loop);
    expect(Math.abs(past.value! - truth), `${past.value} for ${truth}`).toBeLessThan(0.5 + expanded(past.parts!));
    const back = read(figures, 'crosstalk.to-dry');
    const wanted = -60 + meanDb(loop);
    expect(Math.abs(back.value! - wanted), `${back.value} for ${wanted}`).toBeLessThan(0.7 + expanded(back.parts!));
  });

  it('none of them where nothing leaks: bounds well below', () => {
    const clean = figuresOf(leaky(-400, -400, -400), 3e-5, 9);
    for (const id of ['bleed', 'crosstalk.from-dry', 'crosstalk.to-dry']) {
      expect(read(clean, id).value!, id).toBeLessThan(-65);
    }
  });

  it('nothing is said where both outputs pass the loop', () => {
    const both = { restWet: dry, loopWet: chain(dry, loop), loopDry: (hz: number): Complex => times(dry(hz), loop(hz)) };
    expect(figuresOf(both, 3e-5, 20)).toEqual([]);
  });
});
