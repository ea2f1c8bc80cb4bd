/**
 * Chart data → Vega-Lite → Vega → an SVG that may stand in a page with a strict content policy.
 *
 * @module
 */
import { escapeHtml } from '../html.js';
import type { ChartData } from './figure.js';
import type { Frame } from './frame.js';
import type { Span } from './axis.js';
import type { LinearFrame } from './linear-sheet.js';
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
 * Takes out of Vega's drawing what a report has no use for (roles, classes, empty marks, groups of groups, what is so by default
 * or by the style sheet), and rounds coordinates to a tenth of a pixel, so that the bytes do not hang on the last digit of a
 * logarithm. Like signs beside each other become one path.
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
    .replace(/ transform="translate\(0,0\)"/g, '')
    .replace(/<text( text-anchor="\w+")? transform="translate\((-?[\d.]+),(-?[\d.]+)\)"/g, (_, anchor: string | undefined, x: string, y: string) => `<text x="${x}" y="${y}"${anchor === undefined || anchor === ' text-anchor="start"' ? '' : anchor}`)
    // The style sheet says the same: `.chart text`, and `.on-strip` for letters over lines.
    .replace(/ font-size="12px"| fill="currentColor"(?=[^<>]*>[^<]*<\/text>)/g, '')
    .replace(/ stroke="var\(--sheet\)" stroke-width="4"/g, ' class="on-strip"')
    .replace(/(?:<(?:line|path) transform="translate\(-?[\d.]+,-?[\d.]+\)"[^>]*\/>)+/g, joinLike)
    .replace(/="(\d+\.\d{3,})"/g, (_, n: string) => `="${String(Number(Number(n).toFixed(2)))}"`)
    .replace(/<path d="([Ml][-\d. MlZ]{200,})"([^>]*)\/>/g, inTenths);
  // A bare group around one element, or around nothing, says nothing.
  for (let before = ''; before !== tidy; ) {
    before = tidy;
    tidy = tidy.replace(/<g><\/g>/g, '').replace(/<g>(<g[^>]*>(?:(?!<\/?g[ >]).)*<\/g>|<[a-fh-z][^<>]*\/>|<text[^>]*>[^<]*<\/text>)<\/g>/gs, '$1');
  }
  return tidy;
}

/** A long path drawn ten times as large and shown at a tenth: whole numbers take a quarter less than tenths. */
function inTenths(_: string, d: string, look: string): string {
  const times = (n: string): string => String(Math.round(Number(n) * 10));
  const larger = look.replace(/ (stroke-width|stroke-dasharray)="([^"]*)"/g, (__, name: string, value: string) => ` ${name}="${value.replace(/[\d.]+/g, times)}"`);
  return `<path transform="scale(.1)" d="${d.replace(/[\d.]+/g, times)}"${larger}/>`;
}

/** Neighbours of one look, each a polygon, a circle or a straight line moved into place, as one path; anything else as it is. */
function joinLike(elements: string): string {
  let out = '';
  let path = '';
  let look = '';
  const close = (): void => {
    if (path !== '') out += `<path d="${path}"${look}/>`;
    path = '';
  };
  for (const [element, tx, ty, rest] of elements.matchAll(/<(?:line|path) transform="translate\((-?[\d.]+),(-?[\d.]+)\)"([^>]*)\/>/g)) {
    const shape = relativeShape(rest!);
    if (shape === null) {
      close();
      out += element;
      continue;
    }
    if (shape.look !== look) close();
    look = shape.look;
    path += `M${short(Math.round((Number(tx) + shape.x) * 10))}${joined(Math.round((Number(ty) + shape.y) * 10))}${shape.steps}`;
  }
  close();
  return out;
}

/** What is drawn from where on, in relative steps, and with what look; null where it is none of the three. */
function relativeShape(attributes: string): { readonly x: number; readonly y: number; readonly steps: string; readonly look: string } | null {
  const [, x, y, steps, ofPolygon] = /^ d="M(-?[\d.]+)((?: |-)[\d.]+)(l[-\d. ]+Z)"(.*)$/.exec(attributes) ?? [];
  if (steps !== undefined) return { x: Number(x), y: Number(y), steps, look: ofPolygon! };
  const [, radius, ofCircle] = /^ d="M([\d.]+),0A\1,\1,0,1,1,-\1,0A\1,\1,0,1,1,\1,0"(.*)$/.exec(attributes) ?? [];
  if (radius !== undefined) {
    const across = short(Math.round(Number(radius) * 20));
    return { x: Number(radius), y: 0, steps: `a${radius} ${radius} 0 1 1-${across} 0a${radius} ${radius} 0 1 1 ${across} 0`, look: ofCircle! };
  }
  const [, x2, y2, ofLine] = /^ x2="(-?[\d.]+)" y2="(-?[\d.]+)"(.*)$/.exec(attributes) ?? [];
  return x2 === undefined ? null : { x: 0, y: 0, steps: `l${short(Math.round(Number(x2) * 10))}${joined(Math.round(Number(y2) * 10))}`, look: ofLine! };
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
  return specSvg(specOf(data, frame), frame, name, className, warn);
}

/** A specification as an `<svg>` element, as `chartSvg` makes it. */
export async function specSvg(spec: ChartSpec, frame: LinearFrame, name: string, className: string, warn: (message: string) => void = () => undefined): Promise<string> {
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
  const compiled = compile(spec, { logger });
  const view = new vega.View(vega.parse(compiled.spec), { renderer: 'none', logger: logger as never });
  const svg = await view.toSVG();
  view.finalize();
  const inner = tidySvg(svg).replace(/^<svg[^>]*>/, '').replace(/<\/svg>$/, '');
  return `<svg class="${className}" role="img" aria-label="${escapeHtml(name)}" viewBox="0 0 ${String(frame.width)} ${String(frame.height)}">${inner}</svg>`;
}
