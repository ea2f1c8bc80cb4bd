/** The weightings as readings have them: tones sampled at each rate, through the spectral estimate, against the standards' figures. */
import { describe, expect, it } from 'vitest';
import { measureIdle, segmentSize } from '../../src/measure/idle.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { bandPower, createPsdAccumulator } from '../../src/numerics/psd.js';
import { aWeighting, cWeighting, itu468Weighting } from '../../src/numerics/weighting.js';
import iec61672 from '../standards/iec61672-weighting-table.json' with { type: 'json' };
import itu468 from '../standards/itu468-weighting-table.json' with { type: 'json' };
import { aSine } from '../helpers/loudness-signals.js';

const db = (ratio: number): number => 20 * Math.log10(ratio);

/** Weighting of each tone as read from one recording of them all: weighted over plain power in the four bins to each side. */
function readTones(rate: number, tones: readonly number[], weighting: (hz: number) => number): number[] {
  const seconds = 6;
  const x = new Float64Array(seconds * rate);
  for (const hz of tones) {
    // A sine by recursion, exact to 1e-9 over these lengths.
    const turn = (2 * Math.PI * hz) / rate;
    let [before, now] = [0, Math.sin(turn)];
    for (let n = 0; n < x.length; n++) {
      x[n]! += 0.02 * before;
      [before, now] = [now, 2 * Math.cos(turn) * now - before];
    }
  }
  const size = segmentSize(rate, 30 * rate);
  const accumulator = createPsdAccumulator(1, rate, size);
  accumulator.push([x], x.length);
  const [psd] = accumulator.finish()!;
  return tones.map((hz) => {
    const [low, high] = [hz - 3.5 * psd!.binHz, hz + 3.5 * psd!.binHz];
    return 10 * Math.log10(bandPower(psd!, low, high, weighting).power / bandPower(psd!, low, high).power);
  });
}

describe.each([44100, 48000, 96000, 192000])('weighted tones at %i Hz', (rate) => {
  // The table is for exact base-ten frequencies. From 20 Hz: nothing is read below.
  const rows = (iec61672.rows as number[][]).map((row) => ({ row, hz: 10 ** (Math.round(10 * Math.log10(row[1]!)) / 10) })).filter(({ hz }) => hz > 19 && hz < 20500);

  it.each([
    { name: 'A', weighting: aWeighting, column: 2 },
    { name: 'C', weighting: cWeighting, column: 3 },
  ])('$name: within 0.1 dB of the table and 0.01 dB of the formula', ({ weighting, column }) => {
    expect(rows.length).toBe(31);
    const got = readTones(rate, rows.map(({ hz }) => hz), weighting);
    rows.forEach(({ row, hz }, i) => {
      expect(Math.abs(got[i]! - row[column]!), `${row[0]} Hz reads ${got[i]}`).toBeLessThan(0.1);
      // A tone fills some bins of 0.7 Hz, over which A rises steeply at low frequencies: 0.05 dB at 20 Hz. Noise has no such error.
      expect(Math.abs(got[i]! - db(weighting(hz))), `${row[0]} Hz reads ${got[i]}`).toBeLessThan(hz < 50 ? 0.05 : 0.01);
    });
  });

  it('468 is within 0.06 dB of Table 1 at its frequencies up to 20 kHz', () => {
    const points = (itu468.rows as number[][]).filter(([hz]) => hz! <= 20000);
    expect(points.length).toBeGreaterThanOrEqual(19);
    const got = readTones(rate, points.map(([hz]) => hz!), itu468Weighting);
    points.forEach(([hz, nominal], i) => {
      expect(Math.abs(got[i]! - nominal!), `${hz} Hz reads ${got[i]}`).toBeLessThan(0.06);
      expect(Math.abs(got[i]! - db(itu468Weighting(hz!))), `${hz} Hz`).toBeLessThan(0.01);
    });
  });

  it('a 1 kHz tone at −20 dBFS reads −25.63 dBFS CCIR-RMS (AES17) in an idle capture', () => {
    const [estimate] = measureIdle(memoryRecording([aSine(rate, 8, 1000, -20)], rate), 50, false);
    // Published to two decimals.
    expect(10 * Math.log10(2 * estimate!.spectrum!.ccirRms.power)).toBeCloseTo(-25.63, 2);
  });
});
