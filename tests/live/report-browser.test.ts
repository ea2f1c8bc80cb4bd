/**
 * The report in a real browser (Debian's Chromium): with scripts off, on a telephone, in the dark, on paper. Needs
 * chromium and poppler-utils; without them it fails.
 */
import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { type Browser, type BrowserContextOptions, type Page, chromium } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { Results } from '../../src/judge/results.js';
import { compareStates } from '../../src/judge/compare.js';
import { renderComparison, renderReport } from '../../src/report/report.js';
import { palette } from '../../src/report/style.js';
import { allMissingResults, boardResults, emptyResults, hostileResults } from '../report/fixture.js';

// What runs in the page; the rest of the project knows no DOM.
interface PageElement {
  readonly className: string;
}
declare const document: { readonly documentElement: { readonly scrollWidth: number }; readonly activeElement: PageElement | null; querySelectorAll(selector: string): Iterable<PageElement> };
declare function getComputedStyle(element: unknown): { readonly fontSize: string; readonly backgroundColor: string; readonly stroke: string; readonly fill: string };

const TIMEOUT = 180_000;
const boards = {
  board: boardResults(),
  'one-output': boardResults({ outputs: 1, loops: 3, calibrated: false }),
  many: boardResults({ loops: 16, outputs: 3 }),
  empty: emptyResults(),
  missing: allMissingResults(),
  hostile: hostileResults(),
} satisfies Record<string, Results>;
type Name = keyof typeof boards | 'one-loop' | 'comparison';

let browser: Browser;
let folder: string;

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'report-'));
  for (const [name, results] of Object.entries(boards)) writeFileSync(join(folder, `${name}.html`), await renderReport(results));
  writeFileSync(join(folder, 'one-loop.html'), await renderReport(boardResults({ loops: 1 })));
  writeFileSync(join(folder, 'comparison.html'), await renderComparison(compareStates(boards.board, 'unbuffered', 'rest'), boards.board, boards.board));
  browser = await chromium.launch({ executablePath: '/usr/bin/chromium', args: ['--no-sandbox', '--disable-gpu', '--no-first-run', '--disable-background-networking'] });
}, TIMEOUT);
afterAll(async () => {
  await browser.close();
  rmSync(folder, { recursive: true, force: true });
});

interface Opened {
  readonly page: Page;
  /** Console messages, page errors, dialogs, and requests for anything but the file itself. */
  readonly noise: readonly string[];
}

async function open(name: Name, options: BrowserContextOptions = {}): Promise<Opened> {
  const context = await browser.newContext({ javaScriptEnabled: false, ...options });
  const page = await context.newPage();
  const url = pathToFileURL(join(folder, `${name}.html`)).href;
  const noise: string[] = [];
  page.on('console', (m) => noise.push(`console: ${m.text()}`));
  page.on('pageerror', (e) => noise.push(`error: ${e.message}`));
  page.on('dialog', (d) => {
    noise.push(`dialog: ${d.message()}`);
    void d.dismiss();
  });
  page.on('request', (r) => {
    if (r.url() !== url) noise.push(`request: ${r.url()}`);
  });
  await page.goto(url);
  return { page, noise };
}

describe.each([...Object.keys(boards), 'comparison'] as Name[])('%s', (name) => {
  it.each([false, true])('opens without a word in the console or a request leaving it, and does not scroll sideways (scripts allowed: %s)', async (javaScriptEnabled) => {
    const { page, noise } = await open(name, { javaScriptEnabled });
    // Scripts lay out what they add; without them the page is as it came, so that one reading at each width is enough for each.
    for (const width of [320, 360, 768, 1280]) {
      await page.setViewportSize({ width, height: 800 });
      expect(await page.evaluate(() => document.documentElement.scrollWidth), `at ${String(width)} px`).toBeLessThanOrEqual(width);
    }
    await page.waitForTimeout(100);
    expect(noise).toEqual([]);
    // The style sheet got past the policy, and nothing else runs.
    expect(await page.locator('h1').evaluate((h) => getComputedStyle(h).fontSize)).not.toBe('32px');
    expect(await page.locator('iframe, object, embed, img, link, form').count()).toBe(0);
    expect(await page.locator('script').evaluateAll((list) => list.map((s) => s.getAttribute('type')))).toEqual(['application/json', null]);
    await page.context().close();
  }, TIMEOUT);
});

describe('charts', () => {
  it('are drawn across the page or across the telephone, never both, with text that can be read', async () => {
    const { page } = await open('board');
    for (const [width, shown, hidden] of [[1280, 'wide', 'narrow'], [360, 'narrow', 'wide']] as const) {
      await page.setViewportSize({ width, height: 800 });
      const sizes = (className: string): Promise<number[]> => page.locator(`.chart svg.${className}`).evaluateAll((list) => list.map((svg) => svg.getBoundingClientRect().width));
      expect((await sizes(shown)).length).toBeGreaterThan(4);
      for (const w of await sizes(shown)) expect(w).toBeGreaterThan(0.85 * Math.min(width, 750));
      expect((await sizes(hidden)).every((w) => w === 0)).toBe(true);
      const heights = await page.locator(`.chart svg.${shown} text`).evaluateAll((list) => list.map((t) => t.getBoundingClientRect().height));
      // A line of 9 px type stands about 11 px tall.
      expect(Math.min(...heights.filter((h) => h > 0))).toBeGreaterThan(11);
    }
    await page.context().close();
  }, TIMEOUT);

  it('leave room for tables that do not scroll, from 1100 px on', async () => {
    const { page } = await open('board', { viewport: { width: 1100, height: 800 } });
    const tooWide = await page.locator('.part .scroll').evaluateAll((list) => {
      for (const part of list) (part.closest('.part') as unknown as { style: { contentVisibility: string } }).style.contentVisibility = 'visible';
      return list.filter((s) => s.scrollWidth > s.clientWidth + 1).map((s) => s.getAttribute('aria-label'));
    });
    expect(tooWide).toEqual([]);
    await page.context().close();
  }, TIMEOUT);

  it('take the colours of the theme', async () => {
    const { page } = await open('board');
    const rgb = (hex: string): string => `rgb(${[1, 3, 5].map((i) => String(parseInt(hex.slice(i, i + 2), 16))).join(', ')})`;
    for (const colorScheme of ['light', 'dark'] as const) {
      await page.emulateMedia({ colorScheme });
      expect(await page.locator('html').evaluate((h) => getComputedStyle(h).backgroundColor)).toBe(rgb(palette[colorScheme]['--sheet']));
      const strokes = await page.locator('.chart svg.wide path').evaluateAll((list) => list.map((p) => getComputedStyle(p).stroke));
      for (const name of ['--line-1', '--line-2', '--line-3', '--quiet'] as const) expect(strokes).toContain(rgb(palette[colorScheme][name]));
      expect(await page.locator('.chart svg.wide text').first().evaluate((t) => getComputedStyle(t).fill)).toBe(rgb(palette[colorScheme]['--ink']));
    }
    await page.context().close();
  }, TIMEOUT);

  it('keep their text within their sheet', async () => {
    for (const name of ['board', 'many', 'hostile'] as const) {
      const { page } = await open(name, { viewport: { width: 1280, height: 800 } });
      const outside = await page.locator('.chart svg, .board svg').evaluateAll((list) =>
        list.flatMap((svg) => {
          const frame = svg.getBoundingClientRect();
          if (frame.width === 0) return [];
          return [...svg.querySelectorAll('text')].flatMap((t) => {
            const box = t.getBoundingClientRect();
            // 2 px: fonts differ from machine to machine.
            return box.left < frame.left - 2 || box.right > frame.right + 2 || box.top < frame.top - 2 || box.bottom > frame.bottom + 2 ? [t.textContent] : [];
          });
        }),
      );
      expect(outside, name).toEqual([]);
      await page.context().close();
    }
  }, TIMEOUT);
});

it('breaks a date after its comma only, on a telephone as well', async () => {
  const { page } = await open('board', { viewport: { width: 360, height: 800 } });
  const date = page.locator('.boxes dd', { hasText: /\d{4},/ });
  expect(await date.textContent()).toBe('4\u00a0May\u00a02031, 14:22\u00a0UTC');
  // The longest month there is.
  const lines = await date.evaluate((dd) => {
    const own = dd as unknown as { textContent: string; firstChild: object; ownerDocument: { createRange(): { setStart(n: object, i: number): void; setEnd(n: object, i: number): void; getClientRects(): { length: number } } } };
    own.textContent = '30\u00a0September\u00a02026, 22:47\u00a0UTC';
    const range = own.ownerDocument.createRange();
    range.setStart(own.firstChild, 0);
    range.setEnd(own.firstChild, own.textContent.indexOf(',') + 1);
    return range.getClientRects().length;
  });
  expect(lines).toBe(1);
  await page.context().close();
}, TIMEOUT);

describe('keyboard and screen reader', () => {
  it('reach the skip link first, then everything that opens or scrolls', async () => {
    const { page } = await open('one-output');
    await page.keyboard.press('Tab');
    expect(await page.evaluate(() => document.activeElement?.className)).toBe('skip');
    const wanted = await page.locator('a[href], summary, [tabindex="0"]').evaluateAll((list) => list.filter((e) => e.checkVisibility({ contentVisibilityAuto: true })).length);
    const seen = new Set<string>();
    for (let i = 0; i < wanted + 5; i++) {
      seen.add(await page.evaluate(() => [...document.querySelectorAll('*')].indexOf(document.activeElement!).toString()));
      await page.keyboard.press('Tab');
    }
    expect(seen.size).toBeGreaterThanOrEqual(wanted);
    await page.context().close();
  }, TIMEOUT);

  it('find landmarks, named tables and named pictures', async () => {
    const { page } = await open('board');
    const tree = await page.locator('body').ariaSnapshot();
    for (const wanted of ['- main:', '- contentinfo:', '- navigation "For the technician"', '- heading "Pit Board 7" [level=1]', 'img "Signal path.', '- table "Readings, noise, output A, stage amplifier"', '- heading "The player’s instrument" [level=2]']) expect(tree).toContain(wanted);
    await page.context().close();
  }, TIMEOUT);
});

describe('where scripts run', () => {
  const withScripts = (name: Name, options: BrowserContextOptions = {}): Promise<Opened> => open(name, { javaScriptEnabled: true, viewport: { width: 1000, height: 1000 }, ...options });
  const say = (v: number, decimals: number, plus = false): string => `${Number(v.toFixed(decimals)) === 0 ? '' : v < 0 ? '\u2212' : plus ? '+' : ''}${Math.abs(v).toFixed(decimals)}`;
  /** The figure that draws a state's noise at output A across the page, and one that draws its response. */
  const figureWith = (page: Page, title: string): ReturnType<Page['locator']> => page.locator('figure.chart:not(.tile)', { has: page.locator('h4', { hasText: title }) }).first();

  it('reads by slider and pointer what the results have', async () => {
    const { page, noise } = await withScripts('board');
    const curve = boards.board.curves.find((c) => c.id === 'noise-density/rest/A')!;
    const chart = figureWith(page, 'Noise spectrum, output A');
    const slider = chart.locator('input[type=range]');
    const mean = chart.locator('.chip', { hasText: 'mean' }).locator('.num-now');
    const peak = chart.locator('.chip', { hasText: 'peak' }).locator('.num-now');
    await slider.focus();
    await page.keyboard.press('Home');
    for (let i = 0; i < 12; i++) {
      expect(await mean.textContent()).toBe(`${say(curve.y.values[i]!, 2)}\u00a0dBu/√Hz`);
      expect(await peak.textContent()).toBe(`${say(curve.peak![i]!, 2)}\u00a0dBu/√Hz`);
      expect(await slider.getAttribute('aria-valuetext')).toContain(`mean ${say(curve.y.values[i]!, 2)}`);
      await page.keyboard.press('ArrowRight');
    }
    await page.keyboard.press('End');
    expect(await mean.textContent()).toBe(`${say(curve.y.values.at(-1)!, 2)}\u00a0dBu/√Hz`);

    // By pointer, on a response with its band: whatever point is nearest to where the pointer is.
    const response = boards.board.curves.find((c) => c.id === 'tone-loss/unbuffered+plug10k/A')!;
    const tone = figureWith(page, 'Tone loss, output A');
    const plate = (await tone.locator('.plate').boundingBox())!;
    const scale = plate.width / 700;
    for (const hz of [50, 997, 5000, 12_000]) {
      const x = 46 + ((700 - 46 - 96) * Math.log(hz / 20)) / Math.log(1000);
      await tone.locator('.plate').hover({ position: { x: x * scale, y: 100 } });
      const i = response.x.values.reduce<number>((best, f, k) => (Math.abs(Math.log(f! / hz)) < Math.abs(Math.log(response.x.values[best]! / hz)) ? k : best), 0);
      const readable = [i - 1, i, i + 1].map((k) => `${say(response.y.values[k]!, 3, true)} ±\u00a0${say(Math.max(response.high![k]! - response.y.values[k]!, response.y.values[k]! - response.low![k]!), 3)}`);
      const said = (await tone.locator('.chip', { hasText: 'buffer out' }).locator('.num-now').textContent())!;
      // A pointer stands on whole pixels: the point beside is as near.
      expect(readable.some((r) => said.startsWith(r)), `${said} at ${String(hz)} Hz, not ${readable[1]!}`).toBe(true);
    }
    expect(noise).toEqual([]);
    await page.context().close();
  }, TIMEOUT);

  it('switches lines, looks closer and back, and finds the next line of hum', async () => {
    const { page, noise } = await withScripts('board');
    const chart = figureWith(page, 'Noise spectrum, output A');
    const lines = (): Promise<number> => chart.locator('.over path[stroke-linejoin]').count();
    expect(await lines()).toBe(0);
    await chart.locator('.chip button').first().click();
    expect(await chart.locator('.chip button').first().getAttribute('aria-pressed')).toBe('false');
    expect(await lines()).toBe(2);
    // What was printed is out of sight while the other is drawn.
    expect(await chart.locator('svg.wide').evaluate((svg) => (globalThis as unknown as { getComputedStyle(e: unknown): { visibility: string } }).getComputedStyle(svg).visibility)).toBe('hidden');
    await chart.locator('.chip button').first().click();
    await chart.getByRole('button', { name: 'Next hum or whine line' }).click();
    const first = boards.board.curves.find((c) => c.id === 'noise-density/rest/A')!.marks[0]!;
    expect(await chart.locator('.where').textContent()).toBe(`${first.hz.toFixed(1)}\u00a0Hz`);
    await chart.getByRole('button', { name: 'Closer' }).click();
    const ticks = await chart.locator('.over text').allTextContents();
    expect(ticks).not.toContain('20k');
    expect(ticks).toContain('50');
    await chart.getByRole('button', { name: 'Whole band' }).click();
    expect(await lines()).toBe(0);
    // A drag across looks closer as well.
    const box = (await chart.locator('.plate').boundingBox())!;
    await page.mouse.move(box.x + 300, box.y + 80);
    await page.mouse.down();
    await page.mouse.move(box.x + 420, box.y + 90, { steps: 3 });
    await page.mouse.up();
    expect(await lines()).toBe(3);
    expect(noise).toEqual([]);
    await page.context().close();
  }, TIMEOUT);

  it('lets a figure of the hum table and its line on the chart point at each other', async () => {
    const { page } = await withScripts('board');
    await page.locator('summary', { hasText: 'Hum and whine, line by line' }).first().click();
    const cell = page.locator('tr', { hasText: 'Hum at 2 × mains' }).first().locator('td[data-at]').first();
    await cell.getByRole('button').click();
    const number = (await cell.getAttribute('data-of'))!;
    const chart = page.locator(`figure[data-fig="${number}"]`);
    expect(await chart.locator('.where').textContent()).toBe('100\u00a0Hz');
    expect(await cell.evaluate((c) => (c as unknown as PageElement).className)).toBe('pointed');
    await chart.getByRole('button', { name: 'Next hum or whine line' }).click();
    expect(await cell.evaluate((c) => (c as unknown as PageElement).className)).toBe('');
    await page.context().close();
  }, TIMEOUT);

  it('reads small charts together, and by touch-sized controls on a telephone', async () => {
    const { page, noise } = await withScripts('board', { viewport: { width: 360, height: 800 } });
    const tiles = page.locator('.tiles:has(.tile + .tile)').first();
    await tiles.locator('+ .bar input').focus();
    await page.keyboard.press('ArrowRight');
    const said = await tiles.locator('.at-cursor').allTextContents();
    expect(said.length).toBeGreaterThan(1);
    for (const text of said) expect(text).toMatch(/^\d.*Hz: .*\u2212?\d/);
    // WCAG 2.2, 2.5.8: 24 by 24 CSS pixels.
    const heights = await page.locator('.bar button').evaluateAll((list) => list.map((b) => b.getBoundingClientRect().height).filter((h) => h > 0));
    expect(Math.min(...heights)).toBeGreaterThanOrEqual(24);
    expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBeLessThanOrEqual(360);
    expect(noise).toEqual([]);
    await page.context().close();
  }, TIMEOUT);

  it('plays the excerpts: two seconds each, soft, one at a time', async () => {
    const { page, noise } = await withScripts('board');
    const sounds = page.locator('#listen audio');
    expect(await sounds.count()).toBeGreaterThan(3);
    const duration = await sounds.first().evaluate(
      (element) =>
        new Promise<number>((resolve, reject) => {
          const audio = element as unknown as { preload: string; duration: number; load(): void; addEventListener(type: string, f: () => void): void };
          audio.addEventListener('loadedmetadata', () => resolve(audio.duration));
          audio.addEventListener('error', () => reject(new Error('the excerpt cannot be played')));
          audio.preload = 'auto';
          audio.load();
        }),
    );
    expect(Math.abs(duration - 2)).toBeLessThan(0.01);
    expect(await page.locator('.turn-down').textContent()).toMatch(/Turn your loudspeakers or headphones down first.*raised by \d+\u00a0dB/);
    expect(noise).toEqual([]);
    await page.context().close();
  }, TIMEOUT);
});

describe('axe-core', () => {
  const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');

  // A board of one loop has every kind of thing that a large one has. Contrast takes axe-core longest, and no name changes it.
  it.each([
    ['one-loop', 'light', 1000, true],
    ['one-output', 'dark', 360, true],
    ['hostile', 'light', 360, false],
    ['comparison', 'dark', 1000, true],
  ] as const)('finds nothing serious in %s, %s, %i px wide (contrast: %s)', async (name, colorScheme, width, contrast) => {
    const { page } = await open(name, { javaScriptEnabled: true, colorScheme, viewport: { width, height: 900 } });
    // Sections out of sight are not laid out until they are scrolled to, and axe-core takes what it cannot see for covered.
    await page.locator('.part').evaluateAll((list) => {
      for (const part of list) (part as unknown as { style: { contentVisibility: string } }).style.contentVisibility = 'visible';
    });
    await page.evaluate(axe);
    const found = await page.evaluate(async (enabled) => {
      const { violations } = await (globalThis as unknown as { axe: { run(where: unknown, options: object): Promise<{ violations: { id: string; impact: string; nodes: { html: string }[] }[] }> } }).axe.run(document, {
        runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'], rules: { 'color-contrast': { enabled } },
      });
      return violations.filter((v) => v.impact === 'serious' || v.impact === 'critical').map((v) => `${v.id}: ${v.nodes.slice(0, 3).map((n) => n.html.slice(0, 120)).join(' | ')}`);
    }, contrast);
    expect(found).toEqual([]);
    await page.context().close();
  }, TIMEOUT);
});

describe('on paper', () => {
  const pdfOf = async (name: Name, format: 'A4' | 'Letter'): Promise<{ pages: number; size: string; text: (page: number) => string }> => {
    // A dark screen must not make dark paper.
    const { page } = await open(name, { colorScheme: 'dark' });
    const file = join(folder, `${name}-${format}.pdf`);
    await page.pdf({ path: file, format });
    await page.context().close();
    const info = execFileSync('pdfinfo', [file], { encoding: 'utf8' });
    // A page ends with a form feed.
    const texts = execFileSync('pdftotext', ['-layout', file, '-'], { encoding: 'utf8' }).split('\f');
    return {
      pages: Number(/Pages:\s+(\d+)/.exec(info)![1]),
      size: /Page size:\s+(.*)/.exec(info)![1]!,
      text: (n) => texts[n - 1]!,
    };
  };

  it.each([
    ['A4', /^59[45](\.\d+)? x 84[12]/],
    ['Letter', /^612 x 792/],
  ] as const)('%s: the player’s page is one page, the rest follows with a head and a number on each', async (format, size) => {
    const { pages, size: printed, text } = await pdfOf('board', format);
    expect(printed).toMatch(size);
    // A board of six loops and two outputs fits in a clip, with its player's page first.
    expect(pages).toBeGreaterThan(12);
    expect(pages).toBeLessThanOrEqual(24);
    const first = text(1);
    for (const wanted of ['Pit Board 7', 'Outside limits', 'Invented.', 'stage amplifier', 'Signed for the workshop', `page 1 of ${String(pages)}`]) expect(first).toContain(wanted);
    expect(first).not.toContain('For the technician');
    expect(text(2)).toContain('For the technician');
    for (const n of [2, 5, pages]) {
      expect(text(n)).toContain('Pit Board 7, serial PB-007');
      expect(text(n)).toContain('Invented board, for demonstration');
      expect(text(n)).toContain(`page ${String(n)} of ${String(pages)}`);
    }
    const whole = Array.from({ length: pages }, (_, i) => text(i + 1)).join('\n');
    // What is folded on the screen is open (a line of hum, a part of a budget), but for the figures behind charts; where they are is said.
    expect(whole).not.toMatch(/12\.5k\s+−\d/);
    expect(whole.replace(/\s+/g, ' ')).toContain('boardproof report <job> --format csv');
    // No page has next to nothing on it, and none ends with a heading.
    for (let n = 2; n <= pages; n++) {
      const lines = text(n).split('\n').filter((l) => l.trim() !== '');
      if (n < pages) expect(lines.length, `page ${String(n)}`).toBeGreaterThan(25);
      expect(lines[lines.length - 2], `page ${String(n)}`).not.toMatch(/^(Noise|Through the source plug|Level, response and distortion|Outputs against each other|Loop |Output [AB],|Limits|Methods|Captures|Uncertainty)/);
    }
    expect(whole).toContain('Hum at 2 × mains');
    expect(whole).toMatch(/spectral\s+statistics/);
    for (const capture of boards.board.captures) expect(whole.replace(/\s+/g, '')).toContain(capture.sha256.slice(0, 20));
  }, TIMEOUT);

  it.each(['many', 'hostile', 'empty'] as const)('the first page of %s stays what it is: drawing, verdict and place to sign together', async (name) => {
    const { pages, text } = await pdfOf(name, 'A4');
    const last = name === 'hostile' ? 2 : 1;
    expect(Array.from({ length: last }, (_, i) => text(i + 1)).join('\n')).toContain('Signed for the workshop');
    expect(pages).toBeGreaterThan(1);
  }, TIMEOUT);
});
