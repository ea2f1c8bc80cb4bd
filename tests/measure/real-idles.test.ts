/**
 * Idle captures as they come off a bench, not off a simulator's list of faults: mains off its nominal frequency and wandering,
 * gaps of digital silence, a thump of the bench, a level that drifts. The floor and the hum stay what they are.
 */
import { describe, expect, it } from 'vitest';
import { measureIdle } from '../../src/measure/idle.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { noise } from '../helpers/random.js';

const rate = 48000;
const LENGTH_S = 12;
const FLOOR = 1e-5;

/** Odd harmonics of a mains that wanders by ±`wanderHz` over the capture, as grids do. */
function withMains(x: Float64Array, hz: number, wanderHz = 0): Float64Array {
  let turns = 0;
  return x.map((v, n) => {
    turns += (hz + wanderHz * Math.sin((2 * Math.PI * n) / x.length)) / rate;
    return v + 4e-5 * Math.sin(2 * Math.PI * turns) + 2e-5 * Math.sin(6 * Math.PI * turns + 1) + 1e-5 * Math.sin(10 * Math.PI * turns + 2);
  });
}
/** Mean square of those lines. */
const HUM = (16e-10 + 4e-10 + 1e-10) / 2;
const measured = (x: Float64Array, mainsHz: number): ReturnType<typeof measureIdle>[number] => measureIdle(memoryRecording([x], rate), mainsHz, false)[0]!;
const db = (a: number, b: number): number => Math.abs(10 * Math.log10(a / b));
/** White noise of 24 kHz, of which 20 Hz to 20 kHz is heard. */
const HISS = (FLOOR ** 2 * 19980) / 24000;

describe('mains off its nominal frequency', () => {
  it.each([
    [49.8, 50],
    [60.2, 60],
  ])('%f Hz is found on a mains of %i Hz, its lines are hum and none is whine', (hz, nominal) => {
    const { spectrum } = measured(withMains(noise(LENGTH_S * rate, FLOOR, 1), hz), nominal);
    expect(Math.abs(spectrum!.lines.mainsHz! - hz)).toBeLessThan(0.02);
    expect(spectrum!.lines.hum.map(({ harmonic }) => harmonic)).toEqual([1, 3, 5]);
    expect(spectrum!.lines.whine).toEqual([]);
    expect(db(spectrum!.hum.power, HUM)).toBeLessThan(0.2);
    expect(db(spectrum!.hiss.power, HISS)).toBeLessThan(0.1);
  });

  it('and while it wanders by 20 mHz', () => {
    const { spectrum } = measured(withMains(noise(LENGTH_S * rate, FLOOR, 2), 49.95, 0.02), 50);
    expect(spectrum!.lines.whine).toEqual([]);
    expect(db(spectrum!.hum.power, HUM)).toBeLessThan(0.3);
  });

  it('a whine just beside a high harmonic stays a whine, and does not pull the mains along', () => {
    const x = withMains(noise(LENGTH_S * rate, FLOOR, 3), 50.02);
    const hz = 50.05 * 21;
    const { spectrum } = measured(x.map((v, n) => v + 2e-4 * Math.sin((2 * Math.PI * hz * n) / rate)), 50);
    expect(Math.abs(spectrum!.lines.mainsHz! - 50.02)).toBeLessThan(0.02);
    expect(spectrum!.lines.hum.map(({ harmonic }) => harmonic)).toEqual([1, 3, 5]);
    expect(spectrum!.lines.whine.map(({ fundamentalHz }) => Math.round(fundamentalHz))).toEqual([Math.round(hz)]);
  });
});

describe('what is not steady', () => {
  it('gaps of digital silence are left out and named, and the floor stays', () => {
    const x = withMains(noise(LENGTH_S * rate, FLOOR, 4), 50.01);
    for (const atS of [2.13, 7.4]) x.fill(0, Math.round(atS * rate), Math.round((atS + 0.35) * rate));
    const { spectrum, stationarity } = measured(x, 50);
    expect(stationarity.gated).toBe(true);
    expect(stationarity.events.filter(({ kind }) => kind === 'drop-out').length).toBeGreaterThanOrEqual(2);
    expect(db(spectrum!.hiss.power, HISS)).toBeLessThan(0.15);
    expect(db(spectrum!.hum.power, HUM)).toBeLessThan(0.3);
  });

  it('a knock on the bench is one thump, and no part of the floor', () => {
    const x = withMains(noise(LENGTH_S * rate, FLOOR, 5), 50.01);
    for (let n = 0; n < 0.2 * rate; n++) x[5 * rate + n]! += 3e-3 * Math.exp(-n / 1500) * Math.sin((2 * Math.PI * 43 * n) / rate);
    const { spectrum, stationarity } = measured(x, 50);
    expect(stationarity.events.map(({ kind }) => kind)).toEqual(['thump']);
    expect(db(spectrum!.unweighted.power, HISS + HUM)).toBeLessThan(0.2);
  });

  it('a noise that grows by 12 dB is a drift: no thumps, and no lines in its scatter', () => {
    for (let seed = 1; seed <= 8; seed++) {
      const x = noise(LENGTH_S * rate, FLOOR, seed).map((v, n, all) => v * (1 + (3 * n) / all.length));
      const { spectrum, stationarity } = measured(x, 50);
      expect(stationarity.events, `seed ${seed}`).toEqual([]);
      expect(spectrum!.search.lines, `seed ${seed}`).toEqual([]);
      // 1.375 to 3.625 in amplitude, as means of levels over each quarter: 8.3 dB.
      expect(Math.abs(stationarity.driftDb - 8.3), `seed ${seed}`).toBeLessThan(0.3);
      expect(stationarity.driftDb).toBeGreaterThan(20 * stationarity.driftUncertaintyDb);
    }
  });
});
