/**
 * results.json → one self-contained HTML file: results → view → Vega-Lite → SVG → HTML, each a pure pass. The same results
 * give the same bytes.
 *
 * @module
 */
import type { Results } from '../judge/results.js';
import type { Figure } from './figures.js';
import { narrow, small, wide } from './charts/frame.js';
import { chartSvg } from './charts/svg.js';
import { type Drawings, page } from './page.js';
import { styleSheet } from './style.js';
import { type ReportView, type Section, reportView } from './view.js';
import { plain } from './words.js';

/** The report on one board as an HTML document. */
export async function renderReport(results: Results): Promise<string> {
  const view = reportView(results);
  const drawings = await drawAll(view);
  const style = styleSheet(view.runningHead, view.footer.tool, view.invented);
  return page(view, drawings, style, await sha256Base64(style));
}

async function drawAll(view: ReportView): Promise<Drawings> {
  const sections: readonly Section[] = [...view.outputs, ...view.matches, ...view.loops, ...view.others];
  const drawings = new Map<Figure, readonly string[]>();
  for (const figure of sections.flatMap((s) => s.figures.flatMap((g) => g.figures))) {
    // Without a single value there is nothing to draw; the caption says so.
    if (figure.chart.series.every((s) => s.y.every((y) => y === null))) continue;
    const name = `${plain(figure.title)}. ${plain(figure.caption)}`;
    const frames = figure.size === 'full' ? ([[wide, 'wide'], [narrow, 'narrow']] as const) : ([[small, 'tile-chart']] as const);
    const svgs: string[] = [];
    for (const [frame, className] of frames) svgs.push(await chartSvg(figure.chart, frame, name, className));
    drawings.set(figure, svgs);
  }
  return drawings;
}

/** SHA-256 of the UTF-8 bytes, base64, as a content policy wants it. */
async function sha256Base64(text: string): Promise<string> {
  const digest = new Uint8Array(await globalThis.crypto.subtle.digest('SHA-256', new TextEncoder().encode(text)));
  return btoa(String.fromCharCode(...digest));
}
