import { describe, expect, it } from 'vitest';
import { cycle, strokes, type ChartData, type Series } from '../../../src/report/charts/figure.js';
import { narrow, plotHeight, plotWidth, small, wide } from '../../../src/report/charts/frame.js';
import { xOf } from '../../../src/report/charts/sheet.js';
import { shareRuling } from '../../../src/report/charts/shared.js';
import { chartSvg, compactPath, specOf, tidySvg } from '../../../src/report/charts/svg.js';

const grid = Array.from({ length: 400 }, (_, i) => 20 * 1000 ** (i / 399));
const series = (label: string, y: readonly (number | null)[], stroke = strokes.first): Series => ({ label, stroke, x: grid, y, low: null, high: null });

const noise: ChartData = {
  shape: 'noise', unit: 'dBu/√Hz',
  series: [series('bench', grid.map(() => -150), strokes.reference), series('peak', grid.map((hz) => (Math.abs(hz - 1000) < 12 ? -90 : -125)), strokes.peak), series('mean', grid.map(() => -130))],
  limits: [{ hz: 1000, value: -120, inside: 'below', label: 'limit' }],
  marks: [
    { kind: 'hum', hz: 50, y: -125, level: -110, label: 'hum 50 Hz' },
    { kind: 'whine', hz: 1000, y: -90, level: -95, label: 'whine 1 kHz' },
  ],
  span: null,
};
const response: ChartData = {
  shape: 'response', unit: 'dB',
  series: cycle.map((stroke, i) => ({ ...series(`state ${String(i)}`, grid.map((hz) => -10 * Math.log10(1 + (hz / (4000 * (i + 1))) ** 2)), stroke), low: grid.map(() => -3), high: grid.map(() => 0.5) })),
  limits: [
    { hz: 10_000, value: -0.5, inside: 'above', label: 'limit, buffer in' },
    { hz: 10_000, value: -1.5, inside: 'above', label: 'limit, buffer out' },
  ],
  marks: [], span: null,
};
const bands = Array.from({ length: 29 }, (_, i) => 1000 * 10 ** ((i - 16) / 10));
const match: ChartData = {
  shape: 'match', unit: 'dB',
  series: [
    { label: 'per band', stroke: strokes.first, x: bands, y: bands.map(() => -0.4), low: bands.map(() => -0.45), high: bands.map(() => -0.35) },
    series('response', grid.map(() => -0.4), strokes.second),
  ],
  limits: [
    { hz: null, value: 1, inside: 'below', label: 'limit +1' },
    { hz: null, value: -1, inside: 'above', label: 'limit −1' },
  ],
  marks: [], span: null,
};

describe.each([
  ['noise', noise],
  ['response', response],
  ['match', match],
] as const)('the %s chart', (name, data) => {
  it.each([
    ['wide', wide],
    ['narrow', narrow],
    ['small', small],
  ] as const)('on the %s frame compiles without a warning, into an SVG that a strict policy allows', async (_, frame) => {
    const warnings: string[] = [];
    const svg = await chartSvg(data, frame, `${name} <&"`, 'wide', (m) => warnings.push(m));
    expect(warnings).toEqual([]);
    expect(svg).toMatch(/^<svg class="wide" role="img" aria-label="[a-z]+ &lt;&amp;&quot;" viewBox="0 0 \d+ \d+">/);
    expect(svg.slice(1)).not.toMatch(/ style=|<script|<image|<a |href|url\(|<style|\son\w+=| id=|NaN|undefined|null|Infinity/);
    for (const { label } of [...data.limits, ...data.series.filter((s) => s.label !== 'per band')]) expect(svg).toContain(`>${label}</text>`);
    expect(svg).toContain(`>${data.unit}</text>`);
    expect(svg).toContain('>Hz</text>');
  });

  it('is the same twice, and leaves its data as it was', async () => {
    const before = JSON.stringify(data);
    expect(await chartSvg(data, wide, 'x', 'wide')).toBe(await chartSvg(data, wide, 'x', 'wide'));
    expect(specOf(data, wide)).toEqual(specOf(data, wide));
    expect(JSON.stringify(data)).toBe(before);
  });
});

describe('marks and lines', () => {
  it('draws every series in a colour of the theme, with dashes of its own', () => {
    const dashes = cycle.map((s) => s.dash.join());
    expect(new Set(dashes).size).toBe(cycle.length);
    expect(new Set(cycle.map((s) => s.colour)).size).toBe(cycle.length);
  });

  it('puts hum and whine where their frequencies are, in shapes of their own', async () => {
    const svg = await chartSvg(noise, wide, 'x', 'wide');
    const [, hum] = /<path d="(M[^"]*)" fill="var\(--hum\)"/.exec(svg) ?? [];
    const [, whine] = /<path d="(M[^"]*)" fill="var\(--sheet\)" stroke="var\(--whine\)"/.exec(svg) ?? [];
    const middle = (d: string): number => {
      const x = absolute(d).map((p) => p[0]);
      return (Math.min(...x) + Math.max(...x)) / 2;
    };
    expect(Math.abs(middle(hum!) - xOf(wide, 50))).toBeLessThan(0.15);
    expect(Math.abs(middle(whine!) - xOf(wide, 1000))).toBeLessThan(0.15);
    expect(svg).toContain('>hum 50 Hz</text>');
    expect(svg).toContain('>whine 1 kHz</text>');
  });

  it('keeps a peak one point wide at its height', async () => {
    const y: (number | null)[] = grid.map(() => -130);
    y[217] = -80;
    const data: ChartData = { ...noise, series: [series('mean', y)], marks: [], limits: [], span: { low: -150, high: -70, step: 10 } };
    const svg = await chartSvg(data, wide, 'x', 'wide');
    const [, scale, path] = /<path( transform="scale\(\.1\)")? d="(M[^"]*)" stroke="var\(--line-1\)"/.exec(svg)!;
    const points = absolute(path!, scale === undefined ? 1 : 0.1);
    const highest = points.reduce((a, b) => (b[1] < a[1] ? b : a));
    // A tenth of a pixel is what coordinates are rounded to.
    expect(Math.abs(highest[0] - xOf(wide, grid[217]!))).toBeLessThanOrEqual(0.1);
    expect(Math.abs(highest[1] - plotHeight(wide) / 8)).toBeLessThanOrEqual(0.1);
    expect(Math.max(...points.map((p) => p[0]))).toBeCloseTo(plotWidth(wide), 0);
  });

  it('draws nothing outside the sheet: what leaves the scale is a gap', async () => {
    const deep: ChartData = { ...response, limits: [], series: [series('deep', grid.map((hz) => -40 * Math.log10(1 + hz / 500)))] };
    const svg = await chartSvg(deep, wide, 'x', 'wide');
    for (const [, scale, d] of svg.matchAll(/<path( transform="scale\(\.1\)")? d="([^"]*)" stroke="var\(--line-1\)"[^>]*linejoin/g)) {
      for (const [x, y] of absolute(d!, scale === undefined ? 1 : 0.1)) {
        expect(x).toBeGreaterThanOrEqual(-0.1);
        expect(x).toBeLessThanOrEqual(plotWidth(wide) + 0.1);
        expect(y).toBeGreaterThanOrEqual(-0.1);
        expect(y).toBeLessThanOrEqual(plotHeight(wide) + 0.1);
      }
    }
  });
});

describe('compactPath', () => {
  it('reads back as the same line to a twentieth of a pixel, without drift', () => {
    const points = Array.from({ length: 500 }, (_, i) => [i * 1.13 + 0.049, 100 + 40 * Math.sin(i / 7)] as const);
    const d = points.map(([x, y], i) => `${i === 0 || i === 250 ? 'M' : 'L'}${String(x)},${String(y)}`).join('');
    const back = absolute(compactPath(d));
    expect(back).toHaveLength(500);
    back.forEach(([x, y], i) => {
      expect(Math.abs(x - points[i]![0])).toBeLessThanOrEqual(0.0501);
      expect(Math.abs(y - points[i]![1])).toBeLessThanOrEqual(0.0501);
    });
    expect(compactPath(d).length).toBeLessThan(d.length / 3);
  });

  it('only rounds what is no polyline', () => {
    expect(compactPath('M0,2.3721L-2.7391,-2.3721h1.25Z')).toBe('M0,2.4L-2.7,-2.4h1.3Z');
    expect(compactPath('M1,1L2,2L1,2Z')).toBe('M1 1l1 1-1 0Z');
    expect(compactPath('')).toBe('');
  });
});

describe('tidySvg', () => {
  it('takes out what says nothing and keeps what is drawn', () => {
    const given = '<svg><g><g role="x" aria-hidden="true"><path class="background" d="M0,0Z"/><g><text fill="a"/><text fill="b" opacity="1">b</text></g><path d="" display="none"/></g></g></svg>';
    expect(tidySvg(given)).toBe('<svg><text fill="b">b</text></svg>');
  });

  it('makes one path of neighbours of one look, each where it was', () => {
    const look = ' stroke="var(--line-1)" stroke-width="3.40645"';
    const given = `<svg><line transform="translate(6,104)" x2="0" y2="-41"${look}/><line transform="translate(12.6,104.3)" x2="0" y2="-41.3"${look}/><path transform="translate(5,5)" d="M0,2L-3,-2L3,-2Z" fill="a"/><path transform="translate(6,4)" d="M2,0A2,2,0,1,1,-2,0A2,2,0,1,1,2,0" fill="a"/><path transform="translate(7,7)" d="M0,0C1,1,2,2,3,3" fill="a"/></svg>`;
    expect(tidySvg(given)).toBe(
      '<svg><path d="M6 104l0-41M12.6 104.3l0-41.3" stroke="var(--line-1)" stroke-width="3.41"/><path d="M5 7l-3-4 6 0ZM8 4a2 2 0 1 1-4 0a2 2 0 1 1 4 0" fill="a"/><path transform="translate(7,7)" d="M0,0C1,1,2,2,3,3" fill="a"/></svg>',
    );
  });

  it('writes a long path in whole tenths, as wide and dashed as it was', () => {
    const d = Array.from({ length: 80 }, (_, i) => `${i === 0 ? 'M' : 'L'}${String(i)},${String((i % 7) + 0.3)}`).join('');
    const [, long, look] = /<path transform="scale\(\.1\)" d="([^"]*)"([^>]*)\/>/.exec(tidySvg(`<svg><path d="${d}" stroke="s" stroke-width="1.8" stroke-dasharray="5,3"/></svg>`))!;
    expect(look).toBe(' stroke="s" stroke-width="18" stroke-dasharray="50,30"');
    absolute(long!, 0.1).forEach(([x, y], i) => {
      expect(x).toBeCloseTo(i, 9);
      expect(y).toBeCloseTo((i % 7) + 0.3, 9);
    });
  });
});

describe('shareRuling', () => {
  it('draws once what two drawings have alike, and leaves the rest in place', () => {
    const ruled = (d: string): string => `<path d="${d}" stroke="var(--rule)" stroke-width="1"/>`;
    const { svgs, defs } = shareRuling([`<svg>${ruled('M0 0l1 1')}<path d="M2 2" stroke="x"/></svg>`, `<svg>${ruled('M0 0l1 1')}${ruled('M9 9l1 1')}</svg>`]);
    expect(defs).toBe('<path id="ruled-1" d="M0 0l1 1" stroke="var(--rule)" stroke-width="1"/>');
    expect(svgs).toEqual(['<svg><use href="#ruled-1"/><path d="M2 2" stroke="x"/></svg>', `<svg><use href="#ruled-1"/>${ruled('M9 9l1 1')}</svg>`]);
  });
});

/** The points of a path of M, l and Z as `compactPath` writes it. */
function absolute(d: string, scale = 1): (readonly [number, number])[] {
  const out: (readonly [number, number])[] = [];
  let [x, y] = [0, 0];
  for (const [, command, numbers] of d.matchAll(/([Ml])([^MlZ]*)/g)) {
    const values = [...numbers!.matchAll(/-?(?:\d+\.?\d*|\.\d+)/g)].map((m) => Number(m[0]));
    for (let i = 0; i < values.length; i += 2) {
      [x, y] = command === 'M' ? [values[i]!, values[i + 1]!] : [x + values[i]!, y + values[i + 1]!];
      out.push([x * scale, y * scale]);
    }
  }
  return out;
}
