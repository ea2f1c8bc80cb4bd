import { describe, expect, it } from 'vitest';
import type { NoiseBandCurve, Results } from '../../src/judge/results.js';
import { distortionCurves } from '../../src/measure/sweep-distortion.js';
import { bandFigures } from '../../src/report/band-figures.js';
import { BANDS } from '../../src/report/charts/axis.js';
import { small } from '../../src/report/charts/frame.js';
import { chartSvg } from '../../src/report/charts/svg.js';
import { curvesCsv } from '../../src/report/csv.js';
import { readResults } from '../../src/report/read-results.js';
import { plain } from '../../src/report/words.js';
import { boardResults } from './fixture.js';

const flat = (text: string): string => text.replace(/[\u00a0\u202f]/g, ' ');

function noiseBands(state: string, level: (hz: number) => number): NoiseBandCurve {
  const x = BANDS.slice(1, -1).map((b) => b.midHz);
  const y = x.map(level);
  return {
    id: `noise-third-octave/${state}/A`, kind: 'noise-third-octave', label: 'Noise per third-octave, output A', state, source: null, output: 'A', loop: null,
    x: { label: 'Frequency', unit: 'Hz', values: x }, y: { label: 'Noise per third-octave band', unit: 'dBu', values: y }, low: y.map((v) => v - 0.3), high: y.map((v) => v + 0.3), peak: null, marks: [], capture: [`${state}.idle`],
  };
}

/** Second harmonic of a thousandth in power below 2 kHz, hidden above it. */
const harmonics = (state: string) =>
  distortionCurves({ state, source: null, output: 'A', loop: null, capture: [`${state}.take`] }, [2, 3].map((order) => ({
    order,
    power: Float64Array.from({ length: 53 }, (_, i) => (order === 2 && i < 40 ? 1e-3 : 1e-8)),
    variance: new Float64Array(53).fill(1e-12),
  })), 'output A');

const results: Results = {
  ...boardResults(),
  noiseBands: [noiseBands('rest', (hz) => (Math.abs(hz - 50) < 2 ? -88.2 : -110)), noiseBands('all', () => -104), noiseBands('bench', () => -120), noiseBands('loop-delay', () => 0)],
  distortion: ['rest', 'all', 'bench'].flatMap(harmonics),
};

describe('charts in bands', () => {
  const [noise, distortion] = bandFigures(results, 'A');

  it('one for every loop out and one for every loop in, the bench behind them, to one scale', () => {
    for (const group of [noise!, distortion!]) {
      expect(group.figures).toHaveLength(2);
      for (const { chart } of group.figures) {
        expect(chart.span).toEqual(group.figures[0]!.chart.span);
        expect(chart.series[0]).toMatchObject({ label: 'bench' });
      }
    }
    expect(distortion!.figures[0]!.chart.series.map((s) => s.label)).toEqual(['bench', 'third', 'second', 'at most', 'together']);
  });

  it('say what is most, and have their figures behind them', () => {
    expect(noise!.figures.map((f) => flat(plain(f.caption)))).toEqual(['Most in the band at 50 Hz, −88.2 dBu.', 'Most in the band at 25 Hz, −104.0 dBu.']);
    expect(flat(plain(distortion!.figures[0]!.caption))).toBe('Most of a tone of 21.2 Hz, −30.0 dB; of 1 kHz, −30.0 dB.');
    const at50 = noise!.table.rows.find((r) => r.frequency === '50')!;
    expect(at50.cells.map(flat)).toEqual(['−88.20 ± 0.30', '−104.00 ± 0.30', '−120.00 ± 0.30']);
  });

  it('what noise hides is dotted at the most it can be, and nowhere twice', () => {
    const [, , , most, together] = distortion!.figures[0]!.chart.series;
    most!.y.forEach((v, i) => { expect(v === null).toBe(together!.y[i] !== null); });
    expect(most!.y.filter((v) => v !== null).length).toBe(13);
    const silent = bandFigures({ ...results, distortion: harmonics('rest').map((c) => ({ ...c, y: { ...c.y, values: c.y.values.map(() => null) } })) }, 'A')[1]!;
    expect(flat(plain(silent.figures[0]!.caption))).toBe('No harmonic stands out of the noise; those of 1 kHz are at most −30.0 dB.');
  });

  it('their tables say that a figure may be hidden, and nothing is said of an output that gave nothing', () => {
    expect(distortion!.table.rule).toContain('–: the curve has no point there, or noise hides it.');
    expect(noise!.table.rule).toContain('–: the curve has no point there. ');
    const nothing = new Float64Array(53).fill(NaN);
    const dead = distortionCurves({ state: 'rest', source: null, output: 'A', loop: null, capture: ['rest.take'] }, [2, 3].map((order) => ({ order, power: nothing, variance: nothing })), 'output A');
    expect(bandFigures({ ...results, noiseBands: [], distortion: dead }, 'A')).toEqual([]);
  });

  it('draw without a warning', async () => {
    const warnings: string[] = [];
    for (const { chart } of [...noise!.figures, ...distortion!.figures]) {
      expect(await chartSvg(chart, small, 'name', 'tile-chart', (m) => warnings.push(m))).not.toMatch(/NaN|undefined|null|Infinity/);
    }
    expect(warnings).toEqual([]);
  });

  it('are left out of reports of earlier files, and kept in tables for other programs', () => {
    expect(bandFigures(boardResults(), 'A')).toEqual([]);
    const csv = curvesCsv(results);
    expect(csv).toContain('harmonic-2/rest/A,');
    expect(readResults(JSON.stringify(results), 'results.json').distortion).toHaveLength(9);
  });
});
