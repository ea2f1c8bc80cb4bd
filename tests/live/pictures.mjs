/**
 * Pictures of the demonstration's report, for the README: light, dark, narrow, and the first page on paper.
 *
 *     node tests/live/pictures.mjs <report.html> [folder]      (needs chromium and poppler-utils)
 */
import { execFileSync } from 'node:child_process';
import { rmSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { pathToFileURL } from 'node:url';
import { chromium } from 'playwright-core';

const [report, folder = 'reports'] = process.argv.slice(2);
const browser = await chromium.launch({
  executablePath: '/usr/bin/chromium',
  args: ['--no-sandbox', '--disable-gpu', '--no-first-run', '--disable-background-networking'],
});
const url = pathToFileURL(resolve(report)).href;
const picture = async (name, width, height, colorScheme, anchor) => {
  const page = await browser.newPage({ viewport: { width, height }, colorScheme });
  await page.goto(url);
  if (anchor) {
    await page.evaluate((a) => {
      const figures = [...document.querySelectorAll('figure')].filter((f) => f.querySelector('svg'));
      figures[a]?.scrollIntoView();
    }, anchor);
  }
  await page.screenshot({ path: join(folder, name) });
  await page.close();
};
await picture('report-first-page.png', 900, 1180, 'light');
await picture('report-dark.png', 900, 1180, 'dark');
await picture('report-narrow.png', 360, 800, 'light');
await picture('report-charts.png', 1000, 1200, 'light', 1);
const page = await browser.newPage();
await page.goto(url);
const pdf = join(folder, 'report.pdf');
await page.pdf({ path: pdf, format: 'A4', printBackground: true });
await browser.close();
execFileSync('pdftoppm', ['-r', '60', '-f', '1', '-l', '1', '-png', '-singlefile', pdf, join(folder, 'report-paper')]);
rmSync(pdf);
