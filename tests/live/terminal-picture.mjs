/**
 * A picture of a command on a terminal of 80 columns, for the README: run on a pseudo-terminal, read by a terminal emulator,
 * drawn by a browser.
 *
 *     node tests/live/terminal-picture.mjs <picture.png> <lines> <arguments of boardproof...>      (needs python3, chromium and ImageMagick)
 */
import { execFileSync, spawnSync } from 'node:child_process';
import { resolve } from 'node:path';
import { chromium } from 'playwright-core';
import xterm from '@xterm/headless';

const [picture, most, ...args] = process.argv.slice(2);
const program = resolve(import.meta.dirname, '../../dist/cli/main.js');
const job = { argv: [process.execPath, program, ...args], cwd: process.cwd(), columns: 80, rows: 60, keys: [], timeoutS: 300, env: { ...process.env, TERM: 'xterm-256color', LC_ALL: 'C.UTF-8' } };
const { output } = JSON.parse(spawnSync('/usr/bin/python3', [resolve(import.meta.dirname, 'type-into.py')], { input: JSON.stringify(job), encoding: 'utf8', maxBuffer: 1 << 26 }).stdout);
const terminal = new xterm.Terminal({ cols: 80, rows: 60, scrollback: 10_000, allowProposedApi: true });
await new Promise((done) => terminal.write(output, done));

const buffer = terminal.buffer.active;
const COLOURS = { 1: '#a4262c', 2: '#1c6b3c', 3: '#8a5a00', 6: '#0f6674' };
const escaped = (text) => text.replace(/[&<>]/g, (c) => `&#${c.charCodeAt(0)};`);
const lines = Array.from({ length: buffer.length }, (_, y) => {
  const line = buffer.getLine(y);
  return Array.from({ length: 80 }, (_cell, x) => {
    const cell = line.getCell(x);
    const style = [cell.isBold() ? 'font-weight:700' : '', cell.isDim() ? 'opacity:.6' : '', cell.isFgPalette() ? `color:${COLOURS[cell.getFgColor()]}` : ''].filter(Boolean).join(';');
    const text = escaped(cell.getChars() || ' ');
    return style ? `<span style="${style}">${text}</span>` : text;
  }).join('').trimEnd();
}).slice(0, Number(most));
while (lines.at(-1) === '') lines.pop();

const browser = await chromium.launch({ executablePath: '/usr/bin/chromium', args: ['--no-sandbox', '--disable-gpu', '--no-first-run', '--disable-background-networking'] });
const page = await browser.newPage({ deviceScaleFactor: 1.5 });
const typed = `<b>$ boardproof ${escaped(args.join(' '))}</b>`;
await page.setContent(`<pre style="display:inline-block;margin:0;padding:14px 18px;background:#fdfcf8;color:#1d1d1b;font:13px/1.35 'DejaVu Sans Mono',monospace">${[typed, ...lines].join('\n')}</pre>`);
await page.locator('pre').screenshot({ path: picture });
// A terminal has few colours: in 64 the picture takes a quarter of the bytes.
execFileSync('convert', [picture, '+dither', '-colors', '64', '-strip', `PNG8:${picture}`]);
await browser.close();
