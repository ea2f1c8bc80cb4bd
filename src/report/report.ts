/**
 * results.json → one self-contained HTML file: results → view → Vega-Lite → SVG → HTML, each a pure pass; and beside them the
 * figures' own values for the script that reads the charts. The same results
 * give the same bytes.
 *
 * @module
 */
import type { Comparison } from '../judge/compare.js';
import type { Results } from '../judge/results.js';
import { comparisonPage } from './comparison-page.js';
import { comparisonView } from './comparison-view.js';
import type { Figure } from './figures.js';
import { narrow, small, wide } from './charts/frame.js';
import { shareRuling } from './charts/shared.js';
import { dotFrame, dotSpec } from './charts/dots.js';
import { stairsFrame, stairsSpec } from './charts/stairs.js';
import { chartSvg, specSvg } from './charts/svg.js';
import { liveData, scriptJson } from './live/live-data.js';
import { livePage } from './live/page-script.js';
import type { Drawings, Inlined, PageParts } from './blocks.js';
import { page } from './page.js';
import type { Plate } from './plates.js';
import { styleSheet } from './style.js';
import { type ReportView, type Section, reportView } from './view.js';
import { plain } from './words.js';

/** Hears of each chart that is drawn; the next one waits for it. */
export type HearsDrawn = (done: number, total: number) => Promise<void> | void;

/** The report on one board as an HTML document. */
export async function renderReport(results: Results, heard?: HearsDrawn): Promise<string> {
  const view = reportView(results);
  const { drawings, defs } = await drawAll(figuresOf(view), platesOf(view), heard);
  return page(view, drawings, await partsOf(drawings, defs, styleSheet(view.runningHead, view.footer.tool, 'Board sign-off sheet', view.invented)));
}

/** One comparison as an HTML document: two states, or two visits, side by side. */
export async function renderComparison(comparison: Comparison, first: Results, second: Results, heard?: HearsDrawn): Promise<string> {
  const view = comparisonView(comparison, first, second);
  const { drawings, defs } = await drawAll(view.figures, [], heard);
  return comparisonPage(view, drawings, await partsOf(drawings, defs, styleSheet(view.runningHead, view.tool, 'Comparison sheet', view.invented)));
}

async function partsOf(drawings: Drawings, defs: string, style: string): Promise<PageParts> {
  return {
    defs,
    style: await inlined(style),
    script: await inlined(`"use strict";(${livePage.toString()})();`),
    data: scriptJson(liveData([...drawings.keys()].flatMap((f) => ('curves' in f ? [f.chart] : [])))),
  };
}

const figuresOf = (view: ReportView): Figure[] => {
  const sections: readonly Section[] = [...(view.player === null ? [] : [view.player.section]), ...view.outputs, ...view.matches, ...view.loops, ...view.others];
  return sections.flatMap((s) => s.topics.flatMap((t) => t.figures.flatMap((g) => g.figures)));
};

const platesOf = (view: ReportView): Plate[] => view.outputs.flatMap((s) => s.topics.flatMap((t) => t.plates));

function plateSvg({ chart }: Plate, isNarrow: boolean, name: string): Promise<string> {
  const frame = chart.shape === 'dots' ? dotFrame(chart.rows.length, isNarrow) : stairsFrame(isNarrow);
  return specSvg(chart.shape === 'dots' ? dotSpec(chart, frame) : stairsSpec(chart, frame), frame, name, isNarrow ? 'narrow' : 'wide');
}

interface Drawn {
  readonly drawings: Drawings;
  readonly defs: string;
}

async function drawAll(figures: readonly Figure[], plates: readonly Plate[], heard: HearsDrawn = () => undefined): Promise<Drawn> {
  const drawings = new Map<Figure | Plate, { number: number; svgs: readonly string[] }>();
  for (const [done, figure] of figures.entries()) {
    await heard(done, figures.length + plates.length);
    // Without a single value there is nothing to draw; the caption says so.
    if (figure.chart.series.every((s) => s.y.every((y) => y === null))) continue;
    const name = `${plain(figure.title)}. ${plain(figure.caption)}`;
    const frames = figure.size === 'full' ? ([[wide, 'wide'], [narrow, 'narrow']] as const) : ([[small, 'tile-chart']] as const);
    const svgs: string[] = [];
    for (const [frame, className] of frames) svgs.push(await chartSvg(figure.chart, frame, name, className));
    drawings.set(figure, { number: drawings.size, svgs });
  }
  for (const [done, plate] of plates.entries()) {
    await heard(figures.length + done, figures.length + plates.length);
    const name = `${plain(plate.title)}. ${plain(plate.caption)}`;
    drawings.set(plate, { number: drawings.size, svgs: [await plateSvg(plate, false, name), await plateSvg(plate, true, name)] });
  }
  const { svgs, defs } = shareRuling([...drawings.values()].flatMap((d) => d.svgs));
  let next = 0;
  for (const drawn of drawings.values()) drawn.svgs = svgs.slice(next, (next += drawn.svgs.length));
  return { drawings, defs };
}

/** SHA-256 of the UTF-8 bytes, base64, as a content policy wants it. */
async function inlined(text: string): Promise<Inlined> {
  const digest = new Uint8Array(await globalThis.crypto.subtle.digest('SHA-256', new TextEncoder().encode(text)));
  return { text, hash: btoa(String.fromCharCode(...digest)) };
}
