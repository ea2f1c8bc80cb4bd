/** Dropouts and crackles of a tone whose faults are known. */
import { describe, expect, it } from 'vitest';
import { createFlexWatch, measureFlex } from '../../src/measure/flex.js';
import type { FlexEstimate } from '../../src/measure/flex.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { noise, seeded } from '../helpers/random.js';

const RATE = 48000;

interface Fault {
  readonly atS: number;
  readonly lengthS: number;
  /** Gain of the tone meanwhile, and peak of added noise. */
  readonly gain: number;
  readonly noise: number;
}

/** A tone of −20 dBFS on a floor, by a clock 200 ppm off, with hum of −60 dBFS. */
function tone(lengthS: number, faults: readonly Fault[], seed: number, rate = RATE, floor = 1e-5): Float64Array {
  const x = noise(Math.round(lengthS * rate), floor, seed);
  const { uniform } = seeded(seed + 1);
  for (let n = 0; n < x.length; n++) {
    const t = n / rate;
    const fault = faults.find((f) => t >= f.atS && t < f.atS + f.lengthS);
    x[n]! += (fault?.gain ?? 1) * 0.1 * Math.sin(2 * Math.PI * 997 * 1.0002 * t) + 0.001 * Math.sin(2 * Math.PI * 50 * t) + (fault?.noise ?? 0) * (2 * uniform() - 1);
  }
  return x;
}

const drop = (atS: number, lengthS: number): Fault => ({ atS, lengthS, gain: 0, noise: 0 });
const crackle = (atS: number, lengthS: number, peak = 0.01): Fault => ({ atS, lengthS, gain: 1, noise: peak });

describe('a tone while leads are moved', () => {
  it('is left alone where nothing happens: at three rates, and with a noisy board', () => {
    for (const [rate, floor] of [[44100, 1e-5], [48000, 1e-3], [96000, 1e-4]] as const) {
      expect(measureFlex(memoryRecording([tone(20, [], 1, rate, floor)], rate), ['A'])[0]!.events).toEqual([]);
    }
  });

  it('shows each dropout once, at its time and length to 4 ms', () => {
    const faults = [drop(2, 0.005), drop(3.1234, 0.04), drop(5, 0.5), drop(9.5, 1.5)];
    const [{ events }] = measureFlex(memoryRecording([tone(15, faults, 4)], RATE), ['A']) as [FlexEstimate];
    expect(events.map((e) => e.kind)).toEqual(faults.map(() => 'dropout'));
    events.forEach((e, i) => {
      expect(Math.abs(e.atS - faults[i]!.atS)).toBeLessThan(0.004);
      expect(Math.abs(e.lengthS - faults[i]!.lengthS)).toBeLessThan(0.004);
      expect(e.db).toBeLessThan(-20);
    });
  });

  it('tells a crackle from a dropout, and says where each was heard', () => {
    const a = tone(10, [crackle(3, 0.02), drop(6, 0.03)], 5);
    const b = tone(10, [drop(6, 0.03), crackle(8, 0.003, 0.02)], 6);
    const watch = createFlexWatch(['A', 'B'], RATE);
    const events = [...watch.push([a, b]), ...watch.finish()];
    expect(measureFlex(memoryRecording([a, b], RATE), ['A', 'B']).map((e) => e.events.length)).toEqual([2, 2]);
    expect(events.map((e) => [e.kind, e.outputs, Number(e.atS.toFixed(1))])).toEqual([
      ['crackle', ['A'], 3],
      ['dropout', ['A', 'B'], 6],
      ['crackle', ['B'], 8],
    ]);
  });

  it('takes a contact that chatters for one event, and two that are apart for two', () => {
    const chatter = [0, 0.02, 0.04, 0.06].map((t) => drop(4 + t, 0.008));
    const [{ events }] = measureFlex(memoryRecording([tone(8, [...chatter, drop(5, 0.01)], 7)], RATE), ['A']) as [FlexEstimate];
    expect(events.length).toBe(2);
    expect(Math.abs(events[0]!.lengthS - 0.068)).toBeLessThan(0.006);
  });

  it('knows the beginning and the end of the tone from a contact, on a quiet and on a noisy recorder', () => {
    for (const [floor, seed] of [[1e-6, 11], [1e-3, 12]] as const) {
      const x = tone(12, [drop(0, 2), drop(6, 0.03), drop(10, 2)], seed, RATE, floor);
      const [{ events, tone: usual }] = measureFlex(memoryRecording([x], RATE), ['A']) as [FlexEstimate];
      expect(events.map((e) => [e.kind, Number(e.atS.toFixed(1))])).toEqual([['dropout', 6]]);
      expect(usual).toBeCloseTo(0.1, 2);
    }
  });

  it('a tone that sinks in the last 20 ms of a recording was ended', () => {
    const [{ events }] = measureFlex(memoryRecording([tone(6, [drop(5.98, 0.02)], 13)], RATE), ['A']) as [FlexEstimate];
    expect(events).toEqual([]);
  });

  it('speaks of a dropout while it lasts, from half a second on', () => {
    const x = tone(8, [drop(3, 0.3), drop(5, 2)], 14);
    const watch = createFlexWatch(['A'], RATE);
    const spoken: number[] = [];
    for (let n = 0; n < x.length; n += 4800) {
      watch.push([x.subarray(n, n + 4800)]);
      const down = watch.down();
      if (!down) continue;
      spoken.push(n / RATE);
      expect([down.outputs, down.atS]).toEqual([['A'], expect.closeTo(5, 2)]);
    }
    expect(spoken.map((s) => Number(s.toFixed(1)))).toEqual(Array.from({ length: 15 }, (_, k) => Number((5.5 + 0.1 * k).toFixed(1))));
  });

  it('gives the same live, block by block, as from the file', () => {
    const x = tone(10, [drop(3, 0.02), crackle(5, 0.01), drop(7, 0.2)], 8);
    const watch = createFlexWatch(['A'], RATE);
    const live = [];
    for (let n = 0; n < x.length; n += 4096) live.push(...watch.push([x.subarray(n, n + 4096)]));
    expect([...live, ...watch.finish()]).toEqual(measureFlex(memoryRecording([x], RATE), ['A'])[0]!.events);
  });
});
