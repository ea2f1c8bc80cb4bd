import { createHash } from 'node:crypto';
import { describe, expect, it } from 'vitest';
import { compareJobs, compareStates } from '../../src/judge/compare.js';
import { comparisonView } from '../../src/report/comparison-view.js';
import { escapeHtml } from '../../src/report/html.js';
import { renderComparison } from '../../src/report/report.js';
import { plain } from '../../src/report/words.js';
import { muLawSample } from '../../src/wav/mu-law.js';
import { HOSTILE, boardResults, emptyResults, hostileResults } from './fixture.js';

const board = boardResults({ loops: 2 });
const states = compareStates(board, 'unbuffered', 'rest');
const later = boardResults({ loops: 2, seed: 8 });
/** The same board, an output 1 dB lower and raised by less when it was excerpted. */
const moved = {
  ...later,
  readings: board.readings.map((r) => (r.id === 'gain.1k' && r.output === 'A' && r.state === 'rest' ? { ...r, value: r.value! - 1, verdict: 'fail' as const } : r)),
  listening: { ...later.listening!, raisedDb: board.listening!.raisedDb - 6 },
};

describe('a comparison sheet', () => {
  it('has every reading of the comparison once, what differs before what does not', () => {
    const view = comparisonView(states, board, board);
    const rows = (list: typeof view.differing): number => list.reduce((sum, t) => sum + t.rows.length, 0);
    expect(rows(view.differing) + rows(view.rest)).toBe(states.readings.length);
    expect(rows(view.differing)).toBeGreaterThan(3);
    // What one of them has alone is named.
    const alone = new Set(states.onlySecond.map((place) => place.split(' ')[0]!).filter((id) => !/^noise\.(hum|whine)\./.test(id)));
    expect(view.only.map(({ heading, names }) => [heading, names.length])).toEqual([['Only “buffer in”', alone.size]]);
    for (const row of view.differing.flatMap((t) => t.rows)) expect(row.cells.at(-1)).toMatch(/higher|lower|changed/);
  });

  it('puts both curves and their difference side by side, the difference as the comparison has it', () => {
    const view = comparisonView(states, board, board);
    const player = states.curves.find((c) => c.kind === 'player-response' && c.output === 'A')!;
    const [both, apart] = view.curves.find((k) => k.heading === 'The player’s instrument')!.groups[0]!.figures;
    expect(both!.chart.series.map((s) => s.label)).toEqual(['buffer out', 'buffer in']);
    expect(apart!.chart.series[0]!.y).toEqual(player.difference);
    // The band drawn is the band computed.
    const { y, high } = apart!.chart.series[0]!;
    expect(high!.map((h, i) => h! - y[i]!).every((h, i) => Math.abs(h - player.uncertainty![i]!) < 1e-9)).toBe(true);
  });

  it('names a limit that was crossed, and of two visits plays both raised alike', () => {
    const view = comparisonView(compareJobs(board, moved), board, moved);
    expect(view.sides.map((s) => s.role)).toEqual(['Then', 'Now']);
    expect(view.turned).toHaveLength(1);
    expect(view.turned[0]!.mark).toBe('fail');
    expect(plain(view.turned[0]!.text)).toMatch(/^Gain at 1 kHz, every loop out, buffer in, output A, stage amplifier: \u22121\.082\u00a0dB now, outside its limit; \u22120\.082\u00a0dB then, within its limit$/);
    const loud = (wav: string): number => [...atob(wav)].slice(58).reduce((sum, c) => sum + muLawSample(c.charCodeAt(0)) ** 2, 0);
    const [then, now] = view.listening!.clips;
    expect(view.listening!.raised).toBe('raised by 52\u00a0dB');
    // The first came down by 6 dB, to a tenth for the code's own noise; the second stayed.
    expect(Math.abs(10 * Math.log10(loud(board.listening!.excerpts[0]!.wav) / loud(then!.wav)) - 6)).toBeLessThan(0.1);
    expect(now!.wav).toBe(moved.listening.excerpts[0]!.wav);
  });

  it('of two visits says what was found at one only, and draws each state that moved once, but none that tells again what rest tells', () => {
    const quieter = { ...board, findings: board.findings.slice(1) };
    const shifted = board.curves.map((c) => {
      const by = c.kind === 'response' && c.output === 'A' ? -1 : c.kind === 'noise-density' && c.state === 'loop-eq' ? (c.output === 'A' ? 20 : 30) : 0;
      return { ...c, y: { ...c.y, values: c.y.values.map((v) => v! + by) }, low: c.low?.map((v) => v! + by) ?? null, high: c.high?.map((v) => v! + by) ?? null };
    });
    const now = { ...quieter, curves: shifted };
    const view = comparisonView(compareJobs(board, now), board, now);
    expect(view.found.map(({ heading, list }) => [heading, list.map(({ title }) => title)])).toEqual([['Found then and no longer', [board.findings[0]!.title]]]);
    expect(view.curves.map((k) => [k.heading, k.groups.map((g) => g.figures[0]!.curves[0])])).toEqual([['Response', ['response/rest/A']], ['Noise', ['noise-density/loop-eq/B']]]);
    // The other output of that loop, and output A with loops in.
    expect(view.undrawn).toBe(4);
  });

  it('is a page with its own policy, in which hostile names are text', async () => {
    const hostile = hostileResults();
    const page = await renderComparison(compareJobs(hostile, hostile), hostile, hostile);
    const style = /<style>([^]*?)<\/style>/.exec(page)![1]!;
    expect(page.slice(0, 2000)).toContain(`style-src 'sha256-${createHash('sha256').update(style).digest('base64')}'`);
    expect(page.match(/<script/g)).toHaveLength(2);
    const body = page.replace(/<script[^]*?<\/script>/g, '').replace(/base64,[^"]*/g, '');
    expect(body.includes(escapeHtml(HOSTILE[3]!))).toBe(true);
    expect(/<img|<svg onload|\bNaN\b|\bundefined\b/.exec(body)?.[0]).toBeUndefined();
  }, 60_000);

  it('of two jobs without a figure says so', async () => {
    const empty = emptyResults();
    const page = await renderComparison(compareJobs(empty, empty), empty, empty);
    expect(page.includes('There is nothing that both have')).toBe(true);
  });
});
