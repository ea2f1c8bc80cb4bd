import { describe, expect, it } from 'vitest';
import { findMains, sortLines } from '../../src/measure/hum-and-whine.js';
import { findLines } from '../../src/measure/spectral-lines.js';
import { createPsdAccumulator } from '../../src/numerics/psd.js';
import type { Psd } from '../../src/numerics/psd.js';
import { noise, seeded } from '../helpers/random.js';

const rate = 48000;
const size = 65536;

function psdOf(x: Float64Array): Psd {
  const accumulator = createPsdAccumulator(1, rate, size);
  accumulator.push([x], x.length);
  return accumulator.finish()![0]!;
}

/**
 * A clean floor straight from its distribution: bins of chi-square noise with ν degrees of freedom, neighbours
 * correlated as Hann's are. Two hundred captures of 20 s each through the FFT would take minutes.
 */
function cleanFloor(seed: number, segments = 28): Psd {
  const { gauss } = seeded(seed);
  const bins = size / 2 + 1;
  const density = new Float64Array(bins);
  for (let s = 0; s < segments; s++) {
    // White spectrum convolved with Hann's three taps (−1/4, 1/2, −1/4).
    let [aRe, aIm, bRe, bIm] = [gauss(), gauss(), gauss(), gauss()];
    for (let k = 0; k < bins; k++) {
      const [cRe, cIm] = [gauss(), gauss()];
      const re = bRe / 2 - (aRe + cRe) / 4;
      const im = bIm / 2 - (aIm + cIm) / 4;
      density[k]! += ((re * re + im * im) / 0.75 / segments) * 1e-14;
      [aRe, aIm, bRe, bIm] = [bRe, bIm, cRe, cIm];
    }
  }
  // Independent segments: 2 degrees of freedom each.
  return { density, binHz: rate / size, segments, degreesOfFreedom: 2 * segments };
}

describe('lines in a floor', () => {
  it('200 clean floors show neither hum nor whine', { timeout: 120_000 }, () => {
    for (let seed = 1; seed <= 200; seed++) expect(findLines(cleanFloor(seed, 6), 20, 20000).lines, `seed ${seed}`).toEqual([]);
  });

  it('20 s of clean noise through the whole estimate shows none, white or tilted', () => {
    for (let seed = 1; seed <= 4; seed++) {
      const x = noise(20 * rate, 1e-5, seed);
      expect(findLines(psdOf(x), 20, 20000).lines).toEqual([]);
      let y = 0;
      // 1/f² below 300 Hz, the steepest floor a board has.
      expect(findLines(psdOf(x.map((v) => (y = 0.96 * y + v))), 20, 20000).lines).toEqual([]);
    }
  });

  it('every line 10 dB above the local floor per bin is found, with its level and frequency', () => {
    const floorRms = 1e-5;
    const { uniform } = seeded(77);
    let found = 0;
    let planted = 0;
    for (let trial = 0; trial < 6; trial++) {
      const x = noise(20 * rate, floorRms, 500 + trial);
      const density = floorRms ** 2 / (rate / 2);
      const lines = Array.from({ length: 20 }, (_, i) => ({ hz: 60 * 1.33 ** i + 10 * uniform(), phase: 6 * uniform() }));
      // The bin at the line reads line power / (1.5 bins) for a line on a bin; 10 dB over the floor in the worst place
      // between two bins (1.42 dB of scalloping) needs 9·1.5·1.39 bins of floor.
      const power = 9 * 1.5 * 1.39 * density * (rate / size);
      for (const { hz, phase } of lines) {
        const a = Math.sqrt(2 * power);
        for (let n = 0; n < x.length; n++) x[n]! += a * Math.sin((2 * Math.PI * hz * n) / rate + phase);
      }
      const search = findLines(psdOf(x), 20, 20000);
      for (const { hz } of lines) {
        planted++;
        const hit = search.lines.find((l) => Math.abs(l.hz - hz) < 0.3);
        if (!hit) continue;
        found++;
        // 28 segments: the line's power scatters by about 1.3 dB at this level; 4 sigma.
        expect(Math.abs(10 * Math.log10(hit.power / power)), `${hz} Hz`).toBeLessThan(3);
      }
      expect(search.lines.length).toBe(lines.length);
    }
    expect(found).toBe(planted);
  });

  it('a strong line keeps its level to 0.01 dB and its frequency to a hundredth of a bin, between bins too', () => {
    for (const hz of [500, 500.183, 500.366, 500.55]) {
      const x = noise(20 * rate, 1e-6, 9);
      for (let n = 0; n < x.length; n++) x[n]! += 1e-3 * Math.sin((2 * Math.PI * hz * n) / rate);
      const [line, ...others] = findLines(psdOf(x), 20, 20000).lines;
      expect(others).toEqual([]);
      expect(Math.abs(10 * Math.log10(line!.power / 5e-7))).toBeLessThan(0.01);
      expect(Math.abs(line!.hz - hz)).toBeLessThan(0.0073);
    }
  });
});

describe('hum and whine', () => {
  const combOn = (mains: number, harmonics: readonly number[], whines: readonly number[], seed: number): Psd => {
    const x = noise(20 * rate, 3e-6, seed);
    for (const hz of [...harmonics.map((h) => h * mains), ...whines]) {
      for (let n = 0; n < x.length; n++) x[n]! += 1e-5 * Math.sin((2 * Math.PI * hz * n) / rate + hz);
    }
    return psdOf(x);
  };

  for (const [nominal, mains] of [[50, 49.8], [50, 50.03], [60, 60.2], [50, 49.3], [60, 60.85]] as const) {
    it(`finds mains at ${mains} Hz and sorts hum from whine`, () => {
      const psd = combOn(mains, [1, 2, 3, 5, 7, 12, 20], [1013, 2026, 3039, 7341.5], 3);
      const { mainsHz, hum, whine } = sortLines(findLines(psd, 20, 20000), nominal, psd.binHz);
      expect(Math.abs(mainsHz! - mains)).toBeLessThan(0.01);
      expect(hum.map((h) => h.harmonic)).toEqual([1, 2, 3, 5, 7, 12, 20]);
      expect(whine.map((f) => [Math.round(f.fundamentalHz), f.lines.map((l) => l.multiple)])).toEqual([[1013, [1, 2, 3]], [7342, [1]]]);
    });
  }

  it('takes supply ripple alone (twice the mains) for hum, and a lone line elsewhere for whine', () => {
    const ripple = combOn(50, [2, 4, 6], [], 4);
    expect(sortLines(findLines(ripple, 20, 20000), 50, ripple.binHz).hum.map((h) => h.harmonic)).toEqual([2, 4, 6]);
    const lone = combOn(50, [], [497.3], 5);
    const sorted = sortLines(findLines(lone, 20, 20000), 50, lone.binHz);
    expect(sorted.mainsHz).toBeNull();
    expect(sorted.whine.map((f) => Math.round(f.fundamentalHz))).toEqual([497]);
  });

  it('a rectifier’s buzz is one hum, however far it reaches, and a whine on a multiple above it none', () => {
    const even = Array.from({ length: 35 }, (_, k) => 2 * k + 2);
    const psd = combOn(60.2, even, [90 * 60.2], 7);
    const { hum, whine } = sortLines(findLines(psd, 20, 20000), 60, psd.binHz);
    expect(hum.map((h) => h.harmonic)).toEqual(even);
    expect(whine.map((f) => f.lines.map((l) => Math.round(l.hz)))).toEqual([[5418]]);
  });

  it('a 60 Hz comb does not pass for 50 Hz', () => {
    const psd = combOn(60.02, [1, 2, 3, 4, 5], [], 6);
    const lines = findLines(psd, 20, 20000).lines;
    const as60 = findMains(lines, 60, psd.binHz)!;
    const as50 = findMains(lines, 50, psd.binHz);
    expect(as60.explainedDb).toBeGreaterThan(2 * (as50?.explainedDb ?? 0));
  });
});
