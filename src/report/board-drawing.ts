/**
 * The board as a signal path: the way in, the loops in order, the supplies under them, the outputs; each part with its
 * result as a shape, a word and a colour.
 *
 * @module
 */
import type { BoardPart, BoardParts, LoopPart } from './board-parts.js';
import { escapeHtml } from './html.js';
import { shorten, widthEm, wrapName } from './text.js';
import type { Mark } from './words.js';

/** The words that fit in a box. */
export const shortWord: Readonly<Record<Mark, string>> = {
  pass: 'within',
  fail: 'outside',
  caution: 'see finding',
  undecided: 'undecided',
  'bench-limited': 'bench-limited',
  info: 'no limit',
  absent: 'not measured',
};

interface Paper {
  readonly width: number;
  /** Boxes side by side, at most. */
  readonly across: number;
  readonly outputsAcross: number;
  readonly fontPx: number;
}

export const widePaper: Paper = { width: 700, across: 7, outputsAcross: 4, fontPx: 11.5 };
export const narrowPaper: Paper = { width: 340, across: 3, outputsAcross: 3, fontPx: 11.5 };

const BOX = 60;
const GUTTER = 22;
const TAG = 17;
const MARGIN = 14;

const n = (v: number): string => String(Number(v.toFixed(1)));
const path = (d: string, extra = ''): string => `<path class="wire" d="${d}"${extra}/>`;
const text = (x: number, y: number, size: number, words: string, anchor = 'middle', weight = ''): string =>
  `<text x="${n(x)}" y="${n(y)}" font-size="${n(size)}" text-anchor="${anchor}"${weight}>${escapeHtml(words)}</text>`;
const arrow = (x: number, y: number, down = false): string =>
  down ? `<path class="arrow" d="M${n(x)},${n(y)}l-4,-7h8z"/>` : `<path class="arrow" d="M${n(x)},${n(y)}l-7,-4v8z"/>`;

/** Mark and word, centred on x. */
function result(x: number, y: number, mark: Mark, size: number, words = shortWord[mark]): string {
  const icon = size + 1.5;
  const width = icon + 4 + widthEm(words) * size;
  const left = x - width / 2;
  return `<use href="#mark-${mark}" x="${n(left)}" y="${n(y - icon + 2.5)}" width="${n(icon)}" height="${n(icon)}"/>${text(left + icon + 4, y, size, words, 'start')}`;
}

function box(x: number, y: number, width: number, part: BoardPart, font: number, caption: string | null): string {
  // Names are set in bold, a little wider than text.
  const room = (width - 6) / (font * 1.1);
  const lines = wrapName(part.name, room, caption === null ? 2 : 1);
  const first = caption === null ? y + (lines.length === 1 ? 25 : 18) : y + 29;
  return [
    `<rect class="box on-${part.mark}" x="${n(x)}" y="${n(y)}" width="${n(width)}" height="${String(BOX)}" rx="3"/>`,
    caption === null ? '' : text(x + width / 2, y + 14, font - 1.5, caption, 'middle', ' class="faint"'),
    ...lines.map((line, i) => text(x + width / 2, first + i * (font + 2), font, line, 'middle', ' font-weight="600"')),
    result(x + width / 2, y + BOX - 9, part.mark, font - 0.5),
  ].join('');
}

/** Runs of neighbours that hang on one supply outlet. */
function runsOf(loops: readonly { part: LoopPart; x: number }[]): { outlet: string; from: number; to: number; taps: number[] }[] {
  const runs: { outlet: string; from: number; to: number; taps: number[] }[] = [];
  let open: string | null = null;
  for (const { part, x } of loops) {
    const last = runs[runs.length - 1];
    if (part.outlet !== null && part.outlet === open && last !== undefined) {
      last.to = x;
      last.taps.push(x);
    } else if (part.outlet !== null) {
      runs.push({ outlet: part.outlet, from: x, to: x, taps: [x] });
    }
    open = part.outlet;
  }
  return runs;
}

/** The drawing as an SVG element; `name` is read out in its place, the table of parts says the same in words. */
export function boardDrawing(parts: BoardParts, paper: Paper, name: string, className: string): string {
  const { width, fontPx } = paper;
  const out: string[] = [];
  const wayIn = parts.buffer ?? parts.input;
  const chain: { part: BoardPart; loop: LoopPart | null }[] = [
    ...(wayIn === null ? [] : [{ part: wayIn, loop: null }]),
    ...parts.loops.map((loop) => ({ part: loop, loop })),
  ];
  const rows = Math.max(1, Math.ceil(chain.length / paper.across));
  const columns = Math.max(2, Math.ceil(chain.length / rows));
  const cell = (width - MARGIN) / columns;
  const boxWidth = Math.min(150, cell - 14);
  let y = parts.bypass === null ? 20 : 34;
  let cursor: { x: number; y: number } = { x: 0, y: y + BOX / 2 };
  out.push(text(0, y + BOX / 2 - 8, fontPx - 0.5, 'in', 'start'));
  out.push(`<circle class="jack" cx="4" cy="${n(y + BOX / 2)}" r="4"/>`);
  cursor = { x: 8, y: y + BOX / 2 };
  for (let row = 0; row < rows; row++) {
    const middle = y + BOX / 2;
    if (row > 0) {
      // Back to the left edge through the gutter, as lines of text do.
      const turn = y - GUTTER / 2;
      out.push(path(`M${n(cursor.x)},${n(cursor.y)}H${n(width - 3)}V${n(turn)}H4V${n(middle)}H8`));
      cursor = { x: 8, y: middle };
    }
    const here = chain.slice(row * columns, (row + 1) * columns);
    const fed: { part: LoopPart; x: number }[] = [];
    here.forEach(({ part, loop }, i) => {
      const x = MARGIN + i * cell + (cell - boxWidth) / 2;
      out.push(path(`M${n(cursor.x)},${n(middle)}H${n(x - 1)}`), arrow(x, middle));
      if (part === parts.buffer && parts.bypass !== null) {
        const top = y - 12;
        out.push(path(`M${n(x - 6)},${n(middle)}V${n(top)}H${n(x + boxWidth + 6)}V${n(middle)}`, ' stroke-dasharray="5 3"'));
        out.push(result(x + boxWidth / 2, top - 6, parts.bypass.mark, fontPx - 0.5, `out: ${shortWord[parts.bypass.mark]}`));
      }
      out.push(box(x, y, boxWidth, part, fontPx, null));
      cursor = { x: x + boxWidth, y: middle };
      if (loop !== null) fed.push({ part: loop, x: x + boxWidth / 2 });
    });
    const runs = runsOf(fed);
    for (const run of runs) {
      const outlet = parts.outlets.find((o) => o.id === run.outlet);
      const bad = outlet?.mark === 'caution';
      const tagY = y + BOX + 9;
      const words = shorten(run.outlet, Math.floor(boxWidth / fontPx / 0.75));
      const tag = Math.max(run.to - run.from + 34, (widthEm(words) + 1.2) * fontPx + (bad ? 16 : 0));
      const centre = (run.from + run.to) / 2;
      for (const tap of run.taps) out.push(`<path class="feed" d="M${n(tap)},${n(y + BOX + 1)}V${n(tagY)}"/>`);
      out.push(`<rect class="tag${bad ? ' on-caution' : ''}" x="${n(centre - tag / 2)}" y="${n(tagY)}" width="${n(tag)}" height="${String(TAG)}" rx="8.5"/>`);
      out.push(bad ? result(centre, tagY + 12.5, 'caution', fontPx - 1, words) : text(centre, tagY + 12.5, fontPx - 1, words));
    }
    y += BOX + (runs.length > 0 ? TAG + 10 : 0) + GUTTER;
  }
  // The outputs hang on a bus under the last row.
  const across = Math.max(1, Math.min(paper.outputsAcross, parts.outputs.length));
  const outCell = (width - MARGIN) / Math.max(across, 2);
  const outWidth = Math.min(170, outCell - 16);
  const shift = (width - MARGIN - across * outCell) / 2;
  const centres = new Map<string, { x: number; bottom: number }>();
  for (let first = 0; first < parts.outputs.length; first += across) {
    const here = parts.outputs.slice(first, first + across);
    const bus = y;
    const top = y + 22;
    const xs = here.map((_, i) => MARGIN + shift + i * outCell + outCell / 2);
    const reach = first === 0 ? width - 3 : 4;
    if (first === 0) out.push(path(`M${n(cursor.x)},${n(cursor.y)}H${n(width - 3)}V${n(bus)}`));
    else out.push(path(`M4,${n(cursor.y)}V${n(bus)}`));
    out.push(path(`M${n(reach)},${n(bus)}H${n(first + across < parts.outputs.length ? 4 : Math.min(reach, ...xs))}`));
    if (reach === 4) out.push(path(`M4,${n(bus)}H${n(Math.max(...xs))}`));
    cursor = { x: 4, y: bus };
    here.forEach((part, i) => {
      out.push(path(`M${n(xs[i]!)},${n(bus)}V${n(top - 1)}`), arrow(xs[i]!, top, true));
      out.push(box(xs[i]! - outWidth / 2, top, outWidth, part, fontPx, `output ${shorten(part.id, 12)}`));
      centres.set(part.id, { x: xs[i]!, bottom: top + BOX });
    });
    y = top + BOX + GUTTER;
  }
  y -= GUTTER;
  for (const match of parts.matches) {
    const a = centres.get(shorten(match.pair[0], 24));
    const b = centres.get(shorten(match.pair[1], 24));
    y += 22;
    const words = `${shorten(match.pair[0], 8)} against ${shorten(match.pair[1], 8)}: ${shortWord[match.mark]}`;
    const half = (widthEm(words) * (fontPx - 0.5) + 22) / 2;
    const centre = a === undefined || b === undefined ? width / 2 : Math.max(half + 4, Math.min(width - half - 4, (a.x + b.x) / 2));
    if (a !== undefined && b !== undefined) out.push(`<path class="tie" d="M${n(a.x)},${n(a.bottom + 1)}V${n(y - 4)}H${n(b.x)}V${n(b.bottom + 1)}"/>`);
    out.push(`<rect class="behind" x="${n(centre - half)}" y="${n(y - 13)}" width="${n(2 * half)}" height="18"/>`);
    out.push(result(centre, y, match.mark, fontPx - 0.5, words));
  }
  const height = y + 8;
  return `<svg class="${className}" role="img" aria-label="${escapeHtml(name)}" viewBox="0 0 ${String(width)} ${n(height)}">${out.join('')}</svg>`;
}
