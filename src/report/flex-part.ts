/**
 * The part of the sheet about moved leads.
 *
 * @module
 */
import { inline, plainTable } from './blocks.js';
import { narrowStrip, stripDrawing, wideStrip } from './flex-strip.js';
import type { FlexView, Strip } from './flex-view.js';
import { Html, html, trusted } from './html.js';
import { verdictMark } from './marks.js';
import { plain } from './words.js';

export function flexPart({ id, heading, mark, strips, table }: FlexView): Html {
  const [first] = strips;
  return html`<section class="part" id="${id}" aria-labelledby="${id}-h"><h2 id="${id}-h">${inline(heading)}</h2><p class="result-line">${verdictMark(mark)}</p>
${first === undefined ? html`<p>There was no steady tone to follow.</p>` : strips.map(drawn)}
${first === undefined ? '' : html`<p class="small">Between the lowest and the highest level of the tone within each ${String(Number(first.stepS.toFixed(1)))} s, against its usual level. Full triangles: dropouts; open diamonds: crackles.</p>`}
${table === null ? '' : plainTable(table)}
</section>`;
}

function drawn(strip: Strip): Html {
  const name = `${plain(strip.title)}. ${strip.caption}`;
  return html`<figure class="strip"><h3>${inline(strip.title)}</h3>${trusted(stripDrawing(strip, wideStrip, name, 'wide'))}${trusted(stripDrawing(strip, narrowStrip, name, 'narrow'))}<figcaption>${strip.caption}</figcaption></figure>`;
}
