import { describe, expect, it } from 'vitest';
import { memoryRecording } from '../../src/measure/recording.js';
import { checkStationarity } from '../../src/measure/stationarity.js';
import { noise } from '../helpers/random.js';

const rate = 48000;
const check = (x: Float64Array): ReturnType<typeof checkStationarity>[0] => checkStationarity(memoryRecording([x], rate))[0]!;
const withHum = (x: Float64Array, hz = 50, a = 1e-4): Float64Array => x.map((v, n) => v + a * Math.sin((2 * Math.PI * hz * n) / rate));

describe('stationarity of an idle capture', () => {
  it('finds nothing in 60 steady floors, white, tilted or with mains off nominal', () => {
    for (let seed = 1; seed <= 20; seed++) {
      const x = noise(10 * rate, 1e-5, seed);
      let y = 0;
      for (const [name, floor] of Object.entries({ white: x, tilted: x.map((v) => (y = 0.99 * y + v)), hum: withHum(x, 49.8) })) {
        const { events, driftDb, driftUncertaintyDb, gated, silent, clippedAtFrame } = check(floor);
        expect(events, `${name}, seed ${seed}`).toEqual([]);
        expect(Math.abs(driftDb)).toBeLessThan(5 * driftUncertaintyDb + 0.02);
        expect([gated, silent, clippedAtFrame]).toEqual([false, false, null]);
      }
    }
  });

  it('names a thump, a crackle and a drop-out, and where', () => {
    const x = withHum(noise(10 * rate, 1e-5, 3));
    for (let n = 0; n < 2000; n++) x[2 * rate + 500 + n]! += 5e-3 * Math.exp(-n / 600) * Math.sin(n / 80);
    x[5 * rate + 77]! += 3e-4;
    x.fill(1e-9, 8 * rate, 8.4 * rate);
    const { events, leftOut } = check(x);
    expect(events.map((e) => e.kind)).toEqual(['thump', 'crackle', 'drop-out']);
    expect(events[0]!.atS).toBeCloseTo(2, 1);
    expect(events.some((e) => e.kind === 'crackle' && Math.abs(e.atS - 5) < 0.05)).toBe(true);
    expect(events.some((e) => e.kind === 'drop-out' && e.atS >= 7.95 && e.atS < 8.15)).toBe(true);
    expect(leftOut[0]![0]).toBe(2 * rate);
  });

  it('calls a spark crackle, not thump, on a white floor: its bursts are white as well', () => {
    for (let seed = 1; seed <= 12; seed++) {
      const x = noise(4 * rate, 1e-5, seed);
      const spark = noise(192, 5e-4, 100 + seed);
      spark.forEach((v, n) => (x[2 * rate + 900 + n]! += v));
      expect(check(x).events.map(({ kind }) => kind), `seed ${seed}`).toEqual(['crackle']);
    }
  });

  it('sees drift, gating, silence, clipping and DC', () => {
    const x = noise(20 * rate, 1e-5, 4);
    expect(check(x.map((v, n) => v * 10 ** ((3 * n) / x.length / 20))).driftDb).toBeCloseTo(2.25, 0);
    expect(check(x.map((v, n) => (n > 12 * rate ? 0 : v))).gated).toBe(true);
    expect(check(new Float64Array(rate * 2)).silent).toBe(true);
    const hot = x.slice();
    hot.fill(1, 1000, 1003);
    expect(check(hot).clippedAtFrame).toBe(1000);
    expect(check(x.map((v) => v + 0.01)).dc).toBeCloseTo(0.01, 6);
  });
});
