/**
 * The comparison's view → one HTML document.
 *
 * @module
 */
import { type Drawings, type PageParts, figureGroup, inline, listen, plainTable, sheet } from './blocks.js';
import type { ComparedView, ComparisonView } from './comparison-view.js';
import { type Html, type Part, html } from './html.js';
import { markSprite, shape, verdictMark } from './marks.js';
import { counted, sentenceCase } from './numbers.js';

const side = (s: ComparedView): Html =>
  html`<div><p class="small">${s.role}</p><p class="pair-name">${inline(s.name)}</p><p class="small">${s.detail}</p>${s.mark === null ? '' : html`<p>${verdictMark(s.mark)}</p>`}</div>`;

const part = (id: string, title: string, body: Part): Html => html`<section class="part" id="${id}" aria-labelledby="${id}-h"><h2 id="${id}-h">${title}</h2>
${body}
</section>
`;

/** The whole document. */
export function comparisonPage(view: ComparisonView, drawings: Drawings, parts: PageParts): string {
  const { sides, found, turned, curves, undrawn, differing, rest, only } = view;
  return sheet(
    `${view.title}: comparison`,
    html`<a class="skip" href="#readings">Skip to the readings</a>
${markSprite}
<main>
<header class="head">
<p class="form-name">Comparison sheet</p>
<h1><bdi>${view.title}</bdi></h1>
</header>
${view.invented ? html`<p class="invented"><b>Invented.</b> This board does not exist: every figure on this sheet was computed from a made-up circuit, for demonstration only.</p>` : ''}
<div class="pair">${sides.map(side)}</div>
<p class="stamp-sentence summed">${view.summary}</p>
${view.remarks.length === 0 ? '' : html`<ul class="small">${view.remarks.map((r) => html`<li>${r}</li>`)}</ul>`}
${found.map((f) => html`<h2 class="quiet-heading">${f.heading}</h2>
<ul class="sentences">${f.list.map((t) => html`<li>${shape(t.mark)}<p><bdi>${t.title}</bdi></p></li>`)}</ul>`)}
${turned.length === 0 ? '' : html`<h2 class="quiet-heading">Limits crossed</h2>
<ul class="sentences">${turned.map((t) => html`<li>${shape(t.mark)}<p>${inline(t.text)}.</p></li>`)}</ul>`}
${part('curves', 'Side by side', html`${curves.length === 0 ? html`<p>No curve that both have differs.</p>` : ''}${curves.map((k) => html`<h3 class="topic-heading">${k.heading}</h3>${k.groups.map((g) => figureGroup(g, drawings))}`)}${undrawn === 0 ? '' : html`<p class="small">${sentenceCase(counted(undrawn, 'more pair'))} of curves ${undrawn === 1 ? 'is' : 'are'} in the results files.</p>`}`)}
${listen(view.listening)}
${part('readings', 'Readings that differ', differing.length === 0 ? html`<p>None differs by more than the uncertainty of both.</p>` : html`<div class="compared">${differing.map(plainTable)}</div>`)}
${rest.length === 0 ? '' : html`<details class="compared${view.restOnPaper ? '' : ' screen-only'}"><summary>Alike, single lines, and what cannot be said</summary>${rest.map(plainTable)}</details>${view.restOnPaper ? '' : html`<p class="small">On paper: what differs. What is alike, single lines, and what cannot be said are on the screen and in the results files.</p>`}`}
${only.map((o) => html`<p class="small"><b>${o.heading}:</b> ${o.names.map((name, i) => html`${i > 0 ? '; ' : ''}<bdi>${name}</bdi>`)}${o.more === 0 ? '' : `; and ${counted(o.more, 'more', 'more')}`}.</p>
`)}</main>
<footer class="foot"><p>Made by ${view.tool} from results.json alone${view.invented ? '. The board is invented' : ''}. A difference is the second less the first; what both have in common, such as a calibration of one bench, is left out of its uncertainty.</p></footer>
`,
    parts,
  );
}
