/**
 * The report in a real browser (Debian's Chromium): with scripts off, on a telephone, in the dark, on paper. Needs
 * chromium and poppler-utils; without them it fails.
 */
import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { type Browser, type BrowserContextOptions, type Page, chromium } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { Results } from '../../src/judge/results.js';
import { renderReport } from '../../src/report/report.js';
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
type Name = keyof typeof boards;

let browser: Browser;
let folder: string;

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'report-'));
  for (const [name, results] of Object.entries(boards)) writeFileSync(join(folder, `${name}.html`), await renderReport(results));
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

describe.each(Object.keys(boards) as Name[])('%s', (name) => {
  it.each([false, true])('opens without a word in the console or a request leaving it (scripts allowed: %s)', async (javaScriptEnabled) => {
    const { page, noise } = await open(name, { javaScriptEnabled });
    await page.waitForTimeout(200);
    expect(noise).toEqual([]);
    // The style sheet got past the policy, and nothing else runs.
    expect(await page.locator('h1').evaluate((h) => getComputedStyle(h).fontSize)).not.toBe('32px');
    expect(await page.locator('iframe, object, embed, img, link, form').count()).toBe(0);
    expect(await page.locator('script').evaluateAll((list) => list.map((s) => s.getAttribute('type')))).toEqual(['application/json', null]);
    await page.context().close();
  }, TIMEOUT);

  it.each([320, 360, 768, 1280])('does not scroll sideways at %i px', async (width) => {
    const { page } = await open(name, { viewport: { width, height: 800 } });
    expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBeLessThanOrEqual(width);
    await page.context().close();
  }, TIMEOUT);
});

describe('charts', () => {
  it('are drawn across the page or across the telephone, never both, with text that can be read', async () => {
    for (const [width, shown, hidden] of [[1280, 'wide', 'narrow'], [360, 'narrow', 'wide']] as const) {
      const { page } = await open('board', { viewport: { width, height: 800 } });
      const sizes = (className: string): Promise<number[]> => page.locator(`.chart svg.${className}`).evaluateAll((list) => list.map((svg) => svg.getBoundingClientRect().width));
      expect((await sizes(shown)).length).toBeGreaterThan(4);
      for (const w of await sizes(shown)) expect(w).toBeGreaterThan(0.85 * Math.min(width, 750));
      expect((await sizes(hidden)).every((w) => w === 0)).toBe(true);
      const heights = await page.locator(`.chart svg.${shown} text`).evaluateAll((list) => list.map((t) => t.getBoundingClientRect().height));
      // A line of 9 px type stands about 11 px tall.
      expect(Math.min(...heights.filter((h) => h > 0))).toBeGreaterThan(11);
      await page.context().close();
    }
  }, TIMEOUT);

  it.each(['light', 'dark'] as const)('take the colours of the %s theme', async (colorScheme) => {
    const { page } = await open('board', { colorScheme });
    const rgb = (hex: string): string => `rgb(${[1, 3, 5].map((i) => String(parseInt(hex.slice(i, i + 2), 16))).join(', ')})`;
    expect(await page.locator('html').evaluate((h) => getComputedStyle(h).backgroundColor)).toBe(rgb(palette[colorScheme]['--sheet']));
    const strokes = await page.locator('.chart svg.wide path').evaluateAll((list) => list.map((p) => getComputedStyle(p).stroke));
    for (const name of ['--line-1', '--line-2', '--line-3', '--quiet'] as const) expect(strokes).toContain(rgb(palette[colorScheme][name]));
    expect(await page.locator('.chart svg.wide text').first().evaluate((t) => getComputedStyle(t).fill)).toBe(rgb(palette[colorScheme]['--ink']));
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
    for (const wanted of ['- main:', '- contentinfo:', '- navigation "For the technician"', '- heading "Pit Board 7" [level=1]', 'img "Signal path.', '- table "Readings, output A, stage amplifier"']) expect(tree).toContain(wanted);
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
    return {
      pages: Number(/Pages:\s+(\d+)/.exec(info)![1]),
      size: /Page size:\s+(.*)/.exec(info)![1]!,
      text: (n) => execFileSync('pdftotext', ['-f', String(n), '-l', String(n), '-layout', file, '-'], { encoding: 'utf8' }),
    };
  };

  it.each([
    ['A4', /^59[45](\.\d+)? x 84[12]/],
    ['Letter', /^612 x 792/],
  ] as const)('%s: the player’s page is one page, the rest follows with a head and a number on each', async (format, size) => {
    const { pages, size: printed, text } = await pdfOf('board', format);
    expect(printed).toMatch(size);
    // Two outputs, one match and six loops at two pages or so each, and the lists at the end.
    expect(pages).toBeGreaterThan(12);
    expect(pages).toBeLessThan(45);
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
    // What is folded on the screen is open: a third-octave row, a line of hum, a part of a budget.
    expect(whole).toMatch(/12\.5k\s+−\d/);
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
