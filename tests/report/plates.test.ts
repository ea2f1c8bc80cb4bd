import { describe, expect, it } from 'vitest';
import type { Results } from '../../src/judge/results.js';
import { dotFrame, dotSpec } from '../../src/report/charts/dots.js';
import { stairsFrame, stairsSpec } from '../../src/report/charts/stairs.js';
import { specSvg } from '../../src/report/charts/svg.js';
import { type Plate, clicksPlate, sourcesPlate, stairsPlate } from '../../src/report/plates.js';
import { plain } from '../../src/report/words.js';
import { boardResults, hostileResults } from './fixture.js';

const flat = (text: string): string => text.replace(/[\u00a0\u202f]/g, ' ');
const results = boardResults();
const plates: Record<string, Plate> = { sources: sourcesPlate(results, 'A')!, clicks: clicksPlate(results, 'A')!, stairs: stairsPlate(results, 'A')! };

async function drawn({ chart }: Plate, isNarrow: boolean, warnings: string[]): Promise<string> {
  const frame = chart.shape === 'dots' ? dotFrame(chart.rows.length, isNarrow) : stairsFrame(isNarrow);
  return specSvg(chart.shape === 'dots' ? dotSpec(chart, frame) : stairsSpec(chart, frame), frame, 'name', 'wide', (m) => warnings.push(m));
}

describe.each(Object.keys(plates))('the chart of %s', (name) => {
  it.each([true, false])('compiles without a warning, names its rows or lines, and prints no nonsense (narrow: %s)', async (isNarrow) => {
    const warnings: string[] = [];
    const svg = await drawn(plates[name]!, isNarrow, warnings);
    expect(warnings).toEqual([]);
    expect(svg).not.toMatch(/NaN|undefined|null|Infinity/);
    const { chart } = plates[name]!;
    const words = chart.shape === 'dots' ? chart.rows.map((r) => r.split(' ')[0]!) : [...chart.lines.map((l) => l.label), '1 %'];
    for (const word of words) expect(svg).toContain(`>${word}`);
    for (const { label } of chart.limits) expect(svg).toContain(`>${label}</text>`);
    expect(svg).toContain(`>${chart.unit}</text>`);
  });

  it('has its figures in the table behind it', () => {
    const { table, chart } = plates[name]!;
    expect(table.rows.length).toBeGreaterThanOrEqual(chart.shape === 'dots' ? chart.rows.length : chart.lines[0]!.points.length);
    for (const row of table.rows) expect(row.cells).toHaveLength(table.head.length - 1);
  });
});

describe('what is drawn', () => {
  it('of the sources: each kind with its interval, and at most this where it may be nothing', () => {
    const { chart, caption } = plates['sources']!;
    if (chart.shape !== 'dots') throw new Error('not dots');
    const row = chart.rows.indexOf('Loop chorus');
    expect(chart.dots.filter((d) => d.row === row)).toEqual([
      { row, sign: 'hiss', value: -103, low: -103.3, high: -102.7, isBound: false },
      { row, sign: 'hum', value: -79.3, low: -79.89999999999999, high: -78.7, isBound: false },
      { row, sign: 'whine', value: -128, low: null, high: -128, isBound: true },
    ]);
    expect(flat(plain(caption))).toBe('Most hiss comes from the output stage, −94.0 dBu, most hum comes from loop chorus, −79.3 dBu and most whine comes from loop overdrive, −97.6 dBu.');
  });

  it('of the clicks: the reading of each loop against its limit', () => {
    const { chart, caption } = plates['clicks']!;
    if (chart.shape !== 'dots') throw new Error('not dots');
    for (const [i, l] of results.board.loops.entries()) {
      const r = results.readings.find((x) => x.id === 'click.peak' && x.loop === l.id && x.output === 'A')!;
      expect(chart.dots[i]).toMatchObject({ row: i, value: r.value, isBound: r.bound === 'upper', low: r.value! - r.uncertainty!, high: r.value! + r.uncertainty! });
    }
    expect(chart.limits).toEqual([{ value: -50, label: 'limit −50' }]);
    expect(flat(plain(caption))).toBe('The loudest click is that of loop chorus, −59.60 ± 0.31 dBu; the limit is −50 dBu.');
  });

  it('of the stairs: a line for each state, and no point where nothing stands out', () => {
    const { chart } = plates['stairs']!;
    if (chart.shape !== 'stairs') throw new Error('not stairs');
    expect(chart.lines.map((l) => l.label)).toEqual(['buffer in', 'all loops in']);
    expect(new Set(chart.lines.map((l) => l.stroke.dash.join())).size).toBe(2);
    expect(chart.lines[0]!.points.filter((p) => p.thdDb === null)).toHaveLength(2);
  });

  it('is nothing where nothing was captured, and whatever names say', async () => {
    const bare: Results = { ...boardResults({ loops: 0 }), attribution: [], stairs: [] };
    for (const made of [sourcesPlate, clicksPlate, stairsPlate]) expect(made(bare, 'A')).toBeNull();
    const hostile = hostileResults();
    for (const { id } of hostile.board.outputs) for (const made of [sourcesPlate, clicksPlate, stairsPlate]) {
      const plate = made(hostile, id);
      if (plate !== null) expect(await drawn(plate, true, [])).not.toMatch(/<script|javascript:/);
    }
  });
});
