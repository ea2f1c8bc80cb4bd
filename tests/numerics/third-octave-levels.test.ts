import { describe, expect, it } from 'vitest';
import { segmentSize } from '../../src/measure/idle.js';
import { bandPower, createPsdAccumulator } from '../../src/numerics/psd.js';
import type { Psd } from '../../src/numerics/psd.js';
import { CLASS_1_BINS, thirdOctaveLevels } from '../../src/numerics/third-octave-levels.js';
import mask from '../standards/iec61260-attenuation-limits.json' with { type: 'json' };
import { aSine } from '../helpers/loudness-signals.js';
import { noise } from '../helpers/random.js';

function estimate(x: Float64Array, rate: number, size: number): Psd {
  const accumulator = createPsdAccumulator(1, rate, size);
  accumulator.push([x], x.length);
  return accumulator.finish()![0]!;
}

const sinc = (x: number): number => (x === 0 ? 1 : Math.sin(Math.PI * x) / (Math.PI * x));
/** Density of a tone of mean square 1 in a bin `d` bins from it, by the transform of the Hann window. */
const hannLine = (d: number): number => (sinc(d) + 0.5 * sinc(d - 1) + 0.5 * sinc(d + 1)) ** 2 / 1.5;

function toneSpectrum(hz: number, binHz: number, topHz: number): Psd {
  const density = Float64Array.from({ length: Math.ceil(topHz / binHz) + 1 }, (_, k) => hannLine(k - hz / binHz) / binHz);
  return { density, binHz, segments: 1, degreesOfFreedom: 2 };
}

/** The breakpoints of Table 1 on a third-octave: ratio to the mid-band, least and greatest relative attenuation. */
const points = (mask.rows as [string, string, number, number, number, number, number, number | null][]).map((r) => ({ ratio: r[4], low: r[5], min: r[6], max: r[7] ?? Infinity }));

/** Limits at a ratio of frequencies above 1: linear in log frequency between the breakpoints (5.10.3). */
function limitsAt(ratio: number): { min: number; max: number } {
  const i = points.findIndex((p) => p.ratio >= ratio);
  if (i < 0) return { min: points.at(-1)!.min, max: Infinity };
  const [a, b] = [points[Math.max(0, i - 1)]!, points[i]!];
  const t = a.ratio === b.ratio ? 1 : Math.log(ratio / a.ratio) / Math.log(b.ratio / a.ratio);
  return { min: a.min + t * (b.min - a.min), max: Number.isFinite(b.max) ? a.max + t * (b.max - a.max) : Infinity };
}

/** Smallest distance of the band's attenuation to its limits over tones from G^-4 to G^4 of its middle, dB; below zero is outside. */
function margin(midHz: number, lowHz: number, highHz: number, binHz: number): number {
  let least = Infinity;
  const edge = highHz / midHz;
  const ratios = [...points.map((p) => p.ratio), ...Array.from({ length: 60 }, (_, i) => 6 ** ((i + 0.5) / 60))];
  for (const ratio of ratios) {
    for (const hz of [midHz * ratio, midHz / ratio]) {
      if (hz < 3 * binHz) continue; // DC and its image are taken out of a capture
      const attenuation = -10 * Math.log10(bandPower(toneSpectrum(hz, binHz, 1.2 * highHz), lowHz, highHz).power);
      // At the edge itself both the inner and the outer limits hold; G^0.5 to six digits.
      const { min, max } = Math.abs(ratio / edge - 1) < 1e-5 ? { min: 1.2, max: 5.3 } : limitsAt(ratio);
      least = Math.min(least, attenuation - min, max - attenuation);
    }
  }
  return least;
}

describe('third-octave levels', () => {
  it('F1: the mask’s low side is the reciprocal of its high side, as in the worked example of the 2022 adoption', () => {
    for (const { ratio, low } of points) expect(Math.abs(1 / ratio - low)).toBeLessThan(1e-5); // both have five decimals
    const g = 10 ** 0.3;
    expect(1 / (1 + ((g ** (1 / 6) - 1) / (g ** 0.5 - 1)) * (g ** 0.125 - 1))).toBeCloseTo(0.97402, 5);
  });

  it.each([44100, 48000, 88200, 96000, 192000])('each band from 25 Hz to 16 kHz lies inside the class 1 mask at the resolution of an idle capture, %i Hz', (rate) => {
    const binHz = rate / segmentSize(rate, 20 * rate);
    const bands = thirdOctaveLevels(toneSpectrum(1000, binHz, 23000)).map((l) => l.band);
    expect(bands[0]!.nominalHz).toBeLessThanOrEqual(25);
    expect(bands.at(-1)!.nominalHz).toBe(16000);
    // Above 125 Hz a band has so many bins that only its edges differ from an ideal filter; a few stand for the rest.
    for (const { nominalHz, midHz, lowHz, highHz } of bands.filter((b) => b.nominalHz <= 125 || [500, 1600].includes(b.nominalHz))) {
      expect(margin(midHz, lowHz, highHz, binHz), `${nominalHz} Hz`).toBeGreaterThan(0);
    }
  });

  it(`a band of ${CLASS_1_BINS} bins is inside wherever it lies on the grid, with 0.3 dB to spare; one of 3 is not`, () => {
    const worst = (bins: number): number =>
      Math.min(
        ...Array.from({ length: 20 }, (_, i) => {
          const midHz = bins / (10 ** 0.05 - 10 ** -0.05) + i / 20;
          return margin(midHz, midHz * 10 ** -0.05, midHz * 10 ** 0.05, 1);
        }),
      );
    expect(worst(CLASS_1_BINS)).toBeGreaterThan(0.3);
    expect(worst(3)).toBeLessThan(0);
  });

  it('leaves out bands that the resolution does not allow: from 40 Hz at 1.46 Hz', () => {
    expect(thirdOctaveLevels(toneSpectrum(1000, 48000 / 32768, 24000))[0]!.band.nominalHz).toBe(40);
    expect(thirdOctaveLevels(toneSpectrum(1000, 48000 / 4096, 24000))[0]!.band.nominalHz).toBe(315);
  });

  it('a sampled tone is weighed as its spectrum by formula', () => {
    const rate = 48000;
    for (const hz of [1000, 1122, 1150, 1300]) {
      const psd = estimate(aSine(rate, 6, hz), rate, 65536);
      const formula = toneSpectrum(hz, psd.binHz, 24000);
      for (const { band, power } of thirdOctaveLevels(psd).filter((l) => Math.abs(Math.log10(l.band.midHz / hz)) < 0.25)) {
        const want = 0.5 * bandPower(formula, band.lowHz, band.highHz).power;
        // Down to −90 dB, where the image of the tone at negative frequency begins to count.
        if (want > 1e-9) expect(10 * Math.log10(power / want), `${hz} Hz in ${band.nominalHz} Hz`).toBeCloseTo(0, 2);
      }
    }
  });

  it('bands of white noise hold its density times their width, scatter as stated, and add up to the whole', () => {
    const [rate, size, trials] = [48000, 1024, 200];
    const psds = Array.from({ length: trials }, (_, i) => estimate(noise(8.5 * size, 1, 500 + i), rate, size));
    const all = psds.map((p) => thirdOctaveLevels(p));
    const narrow = all[0]![0]!;
    for (const i of [0, 5]) {
      const { band, degreesOfFreedom } = all[0]![i]!;
      const powers = all.map((levels) => levels[i]!.power);
      const mean = powers.reduce((a, b) => a + b) / trials;
      const relative = Math.sqrt(powers.reduce((s, p) => s + (p / mean - 1) ** 2, 0) / (trials - 1));
      expect(mean / ((band.highHz - band.lowHz) / (rate / 2))).toBeCloseTo(1, 1);
      // 200 trials: a standard deviation is known to 5 %; four of those, and the ν of one estimate scatters too.
      expect(relative / Math.sqrt(2 / degreesOfFreedom), `${band.nominalHz} Hz`).toBeGreaterThan(0.75);
      expect(relative / Math.sqrt(2 / degreesOfFreedom), `${band.nominalHz} Hz`).toBeLessThan(1.25);
    }
    expect(narrow.band.nominalHz).toBe(1250);
    const sum = all[0]!.reduce((s, l) => s + l.power, 0);
    expect(sum / bandPower(psds[0]!, narrow.band.lowHz, all[0]!.at(-1)!.band.highHz).power).toBeCloseTo(1, 12);
  });
});
