/**
 * A strip of level against time: between the lowest and the highest level of each step, with a mark over each event.
 *
 * @module
 */
import type { Strip } from './flex-view.js';
import { escapeHtml } from './html.js';

export interface StripPaper {
  readonly width: number;
  readonly timesAcross: number;
}
export const wideStrip: StripPaper = { width: 700, timesAcross: 10 };
export const narrowStrip: StripPaper = { width: 340, timesAcross: 4 };

const TOP = 18;
const PLOT = 84;
const FOOT = 22;
const LEFT = 42;
const RIGHT = 12;
/** How deep the scale goes: the least that holds everything, dB. */
const FLOORS_DB = [-3, -6, -12, -24, -60];
const HEAD_DB = 1;
const STEPS_S = [1, 2, 5, 10, 20, 30, 60, 120];

const n = (v: number): string => String(Number(v.toFixed(1)));

/** As an SVG element; `name` is read out in its place. */
export function stripDrawing(strip: Strip, { width, timesAcross }: StripPaper, name: string, className: string): string {
  const lowest = Math.min(0, ...strip.lowDb);
  const floor = FLOORS_DB.find((f) => lowest >= f) ?? FLOORS_DB.at(-1)!;
  const most = Math.max(HEAD_DB, Math.ceil(Math.min(12, Math.max(0, ...strip.highDb))));
  const lengthS = Math.max(strip.lengthS, strip.stepS);
  const x = (s: number): number => LEFT + ((width - LEFT - RIGHT) * Math.min(s, lengthS)) / lengthS;
  const y = (db: number): number => TOP + (PLOT * (most - Math.max(floor, Math.min(most, db)))) / (most - floor);
  const out: string[] = [];
  const text = (at: number, level: number, words: string, anchor: string): void => {
    out.push(`<text x="${n(at)}" y="${n(level)}" text-anchor="${anchor}">${escapeHtml(words)}</text>`);
  };
  for (const db of [0, floor / 2, floor]) {
    out.push(`<path class="rule" d="M${n(LEFT)},${n(y(db))}H${n(width - RIGHT)}"/>`);
    text(LEFT - 5, y(db) + 4, db === 0 ? '0 dB' : n(db).replace('-', '−'), 'end');
  }
  const every = STEPS_S.find((s) => lengthS / s <= timesAcross) ?? 240;
  for (let s = 0; s <= lengthS; s += every) text(x(s), TOP + PLOT + 16, `${n(s)} s`, s === 0 ? 'start' : x(s) > width - RIGHT - 14 ? 'end' : 'middle');
  // A step is drawn from its beginning to its end, so that a short fall does not become a wedge.
  const edge = (values: readonly number[]): string[] => values.map((db, i) => `${n(x(i * strip.stepS))},${n(y(db))}H${n(x((i + 1) * strip.stepS))}`);
  const upper = edge(strip.highDb);
  out.push(`<path class="between" d="M${upper.map((p, i) => (i === 0 ? p : `V${p.split(',')[1]!}`)).join('')}${strip.lowDb.map((_, k) => {
    const i = strip.lowDb.length - 1 - k;
    return `V${n(y(strip.lowDb[i]!))}H${n(x(i * strip.stepS))}`;
  }).join('')}Z"/>`);
  for (const { kind, atS, lengthS: long } of strip.events) {
    const at = x(atS + long / 2);
    out.push(
      kind === 'dropout'
        ? `<path class="drop" d="M${n(at)},${n(TOP - 2)}l-5,-9h10z"/>`
        : `<path class="crack" d="M${n(at)},${n(TOP - 1)}l-4.5,-5 4.5,-5 4.5,5z"/>`,
    );
  }
  return `<svg class="${className}" role="img" aria-label="${escapeHtml(name)}" viewBox="0 0 ${String(width)} ${String(TOP + PLOT + FOOT)}">${out.join('')}</svg>`;
}
