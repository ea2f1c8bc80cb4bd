import { describe, expect, it } from 'vitest';
import { bandPower, createPsdAccumulator, welchDegreesOfFreedom } from '../../src/numerics/psd.js';
import type { Psd } from '../../src/numerics/psd.js';
import { aWeighting, ccirRmsWeighting, itu468Weighting } from '../../src/numerics/weighting.js';
import gains from '../standards/noise-weighting-gains.json' with { type: 'json' };
import welchTable from '../standards/welch-psd-uncertainty.json' with { type: 'json' };
import scipy from '../outside/scipy/welch.json' with { type: 'json' };
import { lcg } from '../helpers/lcg.js';
import { noise } from '../helpers/random.js';

function estimate(x: Float64Array, rate: number, size: number, use?: (f: number) => boolean): Psd {
  const accumulator = createPsdAccumulator(1, rate, size, use);
  for (let i = 0; i < x.length; i += 4999) accumulator.push([x.subarray(i, i + 4999)], Math.min(4999, x.length - i));
  return accumulator.finish()![0]!;
}

const dbfs = (power: number): number => 10 * Math.log10(2 * power);

describe('Welch estimate', () => {
  for (const c of scipy.cases) {
    it(`equals SciPy's on the same samples at ${c.rate} Hz, bins and weighted levels`, () => {
      const x = lcg(6 * c.rate, 12345).map((v, n) => {
        const t = n / c.rate;
        return 1e-4 * v + 2e-5 * Math.sin(2 * Math.PI * 50.2 * t) + 1e-5 * Math.sin(2 * Math.PI * 3001.3 * t) + 0.01;
      });
      const psd = estimate(x, c.rate, c.size);
      // Same arithmetic in another order: rounding only, but bin 0 is what is left of a mean a thousand times larger.
      for (const [k, want] of c.bins as [number, number][]) expect(Math.abs(psd.density[k]! / want - 1), `bin ${k}`).toBeLessThan(k < 2 ? 1e-3 : 1e-8);
      expect(dbfs(bandPower(psd, 20, 20000).power)).toBeCloseTo(c.unweighted, 6);
      expect(dbfs(bandPower(psd, 20, 20000, aWeighting).power)).toBeCloseTo(c.a, 6);
      // SciPy's side normalises its ladder with the rounded 5.629 dB.
      expect(dbfs(bandPower(psd, 20, 20000, ccirRmsWeighting).power)).toBeCloseTo(c.ccirRms, 2);
    });
  }

  it('white noise reads its density, its degrees of freedom scatter as stated, and weightings change it as computed', () => {
    const rate = 48000;
    const size = 4096;
    const levels: number[] = [];
    const bins: number[] = [];
    let weighted = { a: 0, itu468: 0, flat: 0 };
    for (let seed = 1; seed <= 200; seed++) {
      const psd = estimate(noise(8.5 * size, 1, seed), rate, size);
      expect(psd.segments).toBe(16);
      const { power, degreesOfFreedom } = bandPower(psd, 20, 20000);
      levels.push(power);
      bins.push(psd.density[500]!);
      weighted = {
        a: weighted.a + bandPower(psd, 20, 20000, aWeighting).power,
        itu468: weighted.itu468 + bandPower(psd, 20, 20000, itu468Weighting).power,
        flat: weighted.flat + power,
      };
      if (seed === 1) {
        expect(psd.degreesOfFreedom).toBeCloseTo(30.42, 1);
        // 2BT less what the taper of the record's ends costs; B = 19 980 Hz, T = 8.5 segments.
        expect(degreesOfFreedom / (2 * 19980 * ((8.5 * size) / rate))).toBeGreaterThan(0.8);
        expect(degreesOfFreedom / (2 * 19980 * ((8.5 * size) / rate))).toBeLessThan(1.05);
      }
    }
    const mean = levels.reduce((p, q) => p + q) / levels.length;
    expect(mean / (19980 / 24000)).toBeCloseTo(1, 2);
    const relative = Math.sqrt(levels.reduce((s, v) => s + (v / mean - 1) ** 2, 0) / (levels.length - 1));
    const { degreesOfFreedom } = bandPower(estimate(noise(8.5 * size, 1, 1), rate, size), 20, 20000);
    // 200 trials: a standard deviation is known to 5 %; four of those.
    expect(relative / Math.sqrt(2 / degreesOfFreedom)).toBeGreaterThan(0.8);
    expect(relative / Math.sqrt(2 / degreesOfFreedom)).toBeLessThan(1.2);
    const binMean = bins.reduce((p, q) => p + q) / bins.length;
    const binSd = Math.sqrt(bins.reduce((s, v) => s + (v / binMean - 1) ** 2, 0) / (bins.length - 1));
    expect(binSd / Math.sqrt(2 / welchDegreesOfFreedom(16))).toBeGreaterThan(0.8);
    expect(binSd / Math.sqrt(2 / welchDegreesOfFreedom(16))).toBeLessThan(1.2);
    const [a, , c468] = gains.rows as [string, number][];
    expect(Math.abs(10 * Math.log10(weighted.a / weighted.flat) - a![1])).toBeLessThan(0.015);
    expect(Math.abs(10 * Math.log10(weighted.itu468 / weighted.flat) - c468![1])).toBeLessThan(0.015);
  });

  it('states the degrees of freedom of the published table', () => {
    for (const [k, nu] of welchTable.rows as number[][]) expect(welchDegreesOfFreedom(k!)).toBeCloseTo(nu!, 1);
  });

  it('a full-scale tone does not raise the floor 1 kHz away above −150 dBFS per root hertz', () => {
    const rate = 48000;
    const x = Float64Array.from({ length: 10 * rate }, (_, n) => Math.round(8388607 * Math.sin((2 * Math.PI * 997.3 * n) / rate)) / 8388608);
    const psd = estimate(x, rate, 65536);
    for (const hz of [1997, 2500, 5000, 15000]) {
      // Harmonics of the rounding pattern may stand anywhere: take the median of 40 bins.
      const k = Math.round(hz / psd.binHz);
      const near = Array.from(psd.density.subarray(k - 20, k + 20)).sort((p, q) => p - q);
      expect(dbfs(near[20]!), `${hz} Hz`).toBeLessThan(-150);
    }
  });

  it('reads channels together as it reads each alone, a quiet one beside a loud one too', () => {
    const channels = [noise(40_000, 1, 21), noise(40_000, 1e-6, 22), noise(40_000, 1e-3, 23)];
    for (const count of [2, 3]) {
      const together = createPsdAccumulator(count, 48000, 4096);
      together.push(channels.slice(0, count), 40_000);
      together.finish()!.forEach(({ density }, c) => {
        const alone = estimate(channels[c]!, 48000, 4096);
        // Two channels share a transform: the louder one's rounding, 1e-16 of it, is in the other, whose bins may be near zero.
        const most = alone.density.reduce((p, v) => Math.max(p, v)) * 1e-9;
        density.forEach((v, k) => { expect(Math.abs(v - alone.density[k]!), `channel ${c + 1} of ${count}, bin ${k}`).toBeLessThan(most); });
      });
    }
  });

  it('leaves out the segments it is told to', () => {
    const x = noise(48000, 1e-4, 4);
    x.fill(0.5, 20000, 20100);
    const psd = estimate(x, 48000, 4096, (first) => first + 4096 <= 20000 || first >= 20100);
    expect(Math.sqrt(2 * bandPower(psd, 0, 24000).power)).toBeLessThan(1e-4 * 1.5);
  });
});
