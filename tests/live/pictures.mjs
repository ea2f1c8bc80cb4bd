/**
 * Pictures of the demonstration's report and of a comparison, for the README: light, dark, narrow, a chart being read, the
 * first page on paper.
 *
 *     npm run demo
 *     node dist/cli/main.js compare boardproof-demo unbuffered rest --report /tmp/comparison.html
 *     node tests/live/pictures.mjs boardproof-demo/report.html /tmp/comparison.html [folder]
 *
 * Needs chromium, poppler-utils and ImageMagick, which brings the pictures to 128 colours: a third of the bytes.
 */
import { execFileSync } from 'node:child_process';
import { rmSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { pathToFileURL } from 'node:url';
import { chromium } from 'playwright-core';

const [report, comparison, folder = 'reports'] = process.argv.slice(2);
const browser = await chromium.launch({
  executablePath: '/usr/bin/chromium',
  args: ['--no-sandbox', '--disable-gpu', '--no-first-run', '--disable-background-networking'],
});
const address = (file) => pathToFileURL(resolve(file)).href;

/** `prepare` scrolls to what is to be seen and does what a reader would. */
async function picture(name, file, width, height, colorScheme, prepare = async () => undefined) {
  const page = await browser.newPage({ viewport: { width, height }, colorScheme });
  await page.goto(address(file));
  await prepare(page);
  await page.waitForTimeout(200);
  await page.screenshot({ path: join(folder, name) });
  await page.close();
}
const reading = (title, share, scroll = (e) => e.scrollIntoView()) => async (page) => {
  const chart = page.locator('figure.chart:not(.tile)', { has: page.locator('h4', { hasText: title }) }).first();
  await chart.evaluate(scroll);
  const box = await chart.locator('.plate').boundingBox();
  await page.mouse.move(box.x + share * box.width, box.y + box.height / 2);
};

await picture('report-first-page.png', report, 900, 1400, 'light');
await picture('report-narrow.png', report, 360, 800, 'light');
await picture('report-charts.png', report, 900, 800, 'light', reading('What the player’s instrument gives', 0.66));
await picture('report-dark.png', report, 900, 1000, 'dark', reading('Noise spectrum, output A', 0.2));
await picture('comparison.png', comparison, 900, 1000, 'light', async (page) => {
  await page.locator('.tiles + .bar input').first().focus();
  for (let i = 0; i < 3; i++) await page.keyboard.press('PageUp');
  await page.evaluate(() => globalThis.scrollTo(0, 0));
});
const page = await browser.newPage();
await page.goto(address(report));
const pdf = join(folder, 'report.pdf');
await page.pdf({ path: pdf, format: 'A4', printBackground: true });
await browser.close();
execFileSync('pdftoppm', ['-r', '70', '-f', '1', '-l', '1', '-png', '-singlefile', pdf, join(folder, 'report-paper')]);
rmSync(pdf);
for (const name of ['report-first-page', 'report-narrow', 'report-charts', 'report-dark', 'comparison', 'report-paper']) {
  const file = join(folder, `${name}.png`);
  execFileSync('convert', [file, '+dither', '-colors', '128', '-strip', `PNG8:${file}`]);
}
