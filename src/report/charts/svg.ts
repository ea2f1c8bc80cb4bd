/**
 * Chart data → Vega-Lite → Vega → an SVG that may stand in a page with a strict content policy.
 *
 * @module
 */
import { escapeHtml } from '../html.js';
import type { ChartData } from './figure.js';
import type { Frame } from './frame.js';
import type { Span } from './axis.js';
import { matchSpan, matchSpec } from './match.js';
import { noiseSpan, noiseSpec } from './noise.js';
import { responseSpan, responseSpec } from './response.js';
import type { ChartSpec } from './sheet.js';

export function specOf(data: ChartData, frame: Frame): ChartSpec {
  switch (data.shape) {
    case 'noise':
      return noiseSpec(data, frame);
    case 'response':
      return responseSpec(data, frame);
    case 'match':
      return matchSpec(data, frame);
  }
}

/** The vertical scale that a chart is drawn with. */
export function spanFor(data: ChartData): Span {
  if (data.span !== null) return data.span;
  return data.shape === 'noise' ? noiseSpan([data]) : data.shape === 'match' ? matchSpan(data) : responseSpan([data]);
}

/**
 * Takes out of Vega's drawing what a report has no use for (roles, classes, empty marks, groups of groups), and rounds
 * coordinates to a tenth of a pixel, so that the bytes do not hang on the last digit of a logarithm.
 */
export function tidySvg(svg: string): string {
  let tidy = svg
    .replace(/<path[^>]* display="none"\/>/g, '')
    .replace(/<path class="background"[^>]*\/>/g, '')
    .replace(/<text[^>]*\/>/g, '')
    .replace(/ (?:role|class|aria-[a-z]+|pointer-events|font-family)="[^"]*"/g, '')
    .replace(/ (?:stroke-|fill-)?opacity="1"/g, '')
    .replace(/ stroke-dasharray=""/g, '')
    .replace(/ (d|transform|[xy]2?)="([^"]*)"/g, (_, name: string, value: string) => ` ${name}="${name === 'd' ? compactPath(value) : roundAll(value)}"`)
    .replace(/ transform="translate\(0,0\)"/g, '');
  // A bare group around one element, or around nothing, says nothing.
  for (let before = ''; before !== tidy; ) {
    before = tidy;
    tidy = tidy.replace(/<g><\/g>/g, '').replace(/<g>(<g[^>]*>(?:(?!<\/?g[ >]).)*<\/g>|<[a-fh-z][^<>]*\/>|<text[^>]*>[^<]*<\/text>)<\/g>/gs, '$1');
  }
  return tidy;
}

const tenth = (v: number): number => Math.round(v * 10) / 10 + 0;

const roundAll = (text: string): string => text.replace(/-?\d+\.\d+(?:e-?\d+)?/g, (n) => String(tenth(Number(n))));

/** A polyline with steps relative to the point before, in tenths of a pixel; any other path is only rounded. */
export function compactPath(d: string): string {
  if (!/^(?:[ML][-\d.e]+,[-\d.e]+|Z)+$/.test(d)) return roundAll(d);
  let out = '';
  let x = 0;
  let y = 0;
  let drawing = false;
  for (const [, command, px, py] of d.matchAll(/([MLZ])(?:([-\d.e]+),([-\d.e]+))?/g)) {
    if (command === 'Z') {
      out += 'Z';
      drawing = false;
      continue;
    }
    // Whole tenths, so that rounding does not add up along the line.
    const [nx, ny] = [Math.round(Number(px) * 10), Math.round(Number(py) * 10)];
    if (command === 'M') {
      out += `M${short(nx)}${joined(ny)}`;
      drawing = false;
    } else {
      out += `${drawing ? '' : 'l'}${drawing ? joined(nx - x) : short(nx - x)}${joined(ny - y)}`;
      drawing = true;
    }
    [x, y] = [nx, ny];
  }
  return out;
}

const short = (tenths: number): string => String(tenths / 10 + 0).replace(/^(-?)0\./, '$1.');
/** A number after another: the minus sign separates by itself. */
const joined = (tenths: number): string => (tenths < 0 ? short(tenths) : ` ${short(tenths)}`);

/**
 * The chart as an `<svg>` element named for screen readers by `name`; its figures stand in the table behind it.
 *
 * @param className - tells the style sheet which frame this is
 * @param warn - hears what Vega-Lite finds odd in a specification
 */
export async function chartSvg(
  data: ChartData,
  frame: Frame,
  name: string,
  className: string,
  warn: (message: string) => void = () => undefined,
): Promise<string> {
  // Loaded here and not above: Vega takes 150 ms, which nobody should wait for who makes no chart.
  const [{ compile }, vega] = await Promise.all([import('vega-lite'), import('vega')]);
  const hear = (...args: readonly unknown[]): void => warn(args.map(String).join(' '));
  const logger = {
    level: (() => logger) as never,
    error: (...args: readonly unknown[]) => (hear(...args), logger),
    warn: (...args: readonly unknown[]) => (hear(...args), logger),
    info: () => logger,
    debug: () => logger,
  };
  const { spec } = compile(specOf(data, frame), { logger });
  const view = new vega.View(vega.parse(spec), { renderer: 'none', logger: logger as never });
  const svg = await view.toSVG();
  view.finalize();
  const inner = tidySvg(svg).replace(/^<svg[^>]*>/, '').replace(/<\/svg>$/, '');
  return `<svg class="${className}" role="img" aria-label="${escapeHtml(name)}" viewBox="0 0 ${String(frame.width)} ${String(frame.height)}">${inner}</svg>`;
}
