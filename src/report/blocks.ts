/**
 * What the pages of the workshop have in common: the sheet itself, figures with their tables, fields.
 *
 * @module
 */
import type { Figure, FigureGroup, FigureTable, LineTable } from './figures.js';
import { Html, type Part, html, trusted } from './html.js';
import type { ListeningView } from './listening-view.js';
import { shape } from './marks.js';
import { counted, sentenceCase } from './numbers.js';
import type { PlainTable } from './plain-table.js';
import type { Plate } from './plates.js';
import type { Field } from './view.js';
import { type Phrase, plain } from './words.js';

/** The drawings of one figure, across the page and across a telephone, or one small one; and its number in the script's data. */
export type Drawings = ReadonlyMap<Figure | Plate, { readonly number: number; readonly svgs: readonly string[] }>;

/** What is put into the page as it stands, and what the content policy knows it by. */
export interface Inlined {
  readonly text: string;
  /** SHA-256 of exactly `text`, base64. */
  readonly hash: string;
}

/** Style, script, and the JSON that the script reads. */
export interface PageParts {
  /** What the drawings share. */
  readonly defs: string;
  readonly style: Inlined;
  readonly script: Inlined;
  readonly data: string;
}

export const inline = (phrase: Phrase): Part =>
  phrase.map((p) => (typeof p === 'string' ? p : 'figure' in p ? html`<b class="figure">${p.figure}</b>` : html`<bdi>${p.name}</bdi>`));

export const fieldList = (fields: readonly Field[], className: string): Html =>
  html`<dl class="${className}">${fields.map((f) => html`<div><dt>${f.label}</dt><dd>${inline(f.value)}</dd></div>`)}</dl>`;

/** A table that may be wider than a telephone scrolls by itself, and by keyboard. */
export const scrolling = (name: string, table: Html, className = ''): Html => html`<div class="scroll${className}" role="group" tabindex="0" aria-label="${name}">${table}</div>`;

function figureTable(table: FigureTable): Html {
  const two = table.columns.some((c) => c.sub.length > 1);
  return html`${scrolling(
    plain(table.caption),
    html`<table class="figures"><caption>${inline(table.caption)}</caption>
<thead><tr><th scope="col"${trusted(two ? ' rowspan="2"' : '')}>Hz</th>${table.columns.map((c) => html`<th scope="${c.sub.length > 1 ? 'colgroup' : 'col'}"${trusted(two && c.sub.length > 1 ? ` colspan="${String(c.sub.length)}"` : two ? ' rowspan="2"' : '')}>${inline(c.name)}</th>`)}</tr>
${two ? html`<tr>${table.columns.filter((c) => c.sub.length > 1).map((c) => c.sub.map((s) => html`<th scope="col">${s}</th>`))}</tr>` : ''}</thead>
<tbody>${table.rows.map((r) => html`<tr><th scope="row">${r.frequency}</th>${r.cells.map((c) => html`<td>${c}</td>`)}</tr>`)}</tbody></table>`,
  )}<p class="small">${table.rule}</p>`;
}

function lineTable(table: LineTable): Html {
  return html`${scrolling(
    plain(table.caption),
    html`<table class="plain"><caption>${inline(table.caption)}</caption><thead><tr><th scope="col">Where</th><th scope="col">Kind</th><th scope="col">Frequency</th><th scope="col">Level</th><th scope="col">Name</th></tr></thead>
<tbody>${table.rows.map((r) => html`<tr><td>${inline(r.state)}</td><td>${r.kind}</td><th scope="row">${r.frequency}</th><td class="num">${r.level}</td><td>${r.label}</td></tr>`)}</tbody></table>`,
  )}${table.more === 0 ? '' : html`<p class="small">${counted(table.more, 'weaker line')} more in the results file.</p>`}`;
}

function figure(f: Figure, key: Phrase, drawings: Drawings, under: 'section' | 'topic'): Html {
  const drawn = drawings.get(f);
  const plate = drawn === undefined ? '' : html`<div class="plate">${drawn.svgs.map(trusted)}</div>`;
  return html`<figure class="${f.size === 'full' ? 'chart' : 'chart tile'}"${drawn === undefined ? '' : html` data-fig="${String(drawn.number)}"`}>${under === 'section' ? html`<h3>${inline(f.title)}</h3>` : html`<h4>${inline(f.title)}</h4>`}${plate}<figcaption>${inline(f.caption)}${f.size === 'full' ? html` <span class="small">${inline(key)}</span>` : ''}</figcaption></figure>`;
}

/** Charts, their key, and their figures; beneath the heading of a whole section, or of a topic in it. */
export function figureGroup(group: FigureGroup, drawings: Drawings, under: 'section' | 'topic' = 'topic'): Html {
  const [only] = group.figures;
  const single = only !== undefined && group.figures.length === 1 && only.size === 'full';
  const charts = single
    ? html`<div data-charts="">${figure(only, group.key, drawings, under)}</div>`
    : html`<div class="tiles" data-charts="">${group.figures.map((f) => figure(f, group.key, drawings, under))}</div><p class="small">${inline(group.key)}</p>`;
  return html`${charts}
<details class="screen-only"><summary>${single ? 'The figures behind this chart' : 'The figures behind these charts'}</summary>${figureTable(group.table)}${group.lines === null ? '' : lineTable(group.lines)}</details>`;
}

/** A chart that is no curve over frequency, and its figures. */
export function plate(p: Plate, drawings: Drawings): Html {
  return html`<figure class="chart rows"><h4>${inline(p.title)}</h4><div class="plate">${drawings.get(p)?.svgs.map(trusted) ?? ''}</div><figcaption>${inline(p.caption)} <span class="small">${p.key}</span></figcaption></figure>
<details class="screen-only"><summary>The figures behind this chart</summary>${plainTable(p.table)}</details>`;
}

export function plainTable(table: PlainTable): Html {
  const columns = table.head.length;
  return html`${scrolling(
    plain(table.caption),
    html`<table class="plain numbers${columns > 6 ? ' many' : ''}"><caption>${inline(table.caption)}</caption>
<thead><tr>${table.head.map((h) => html`<th scope="col">${h}</th>`)}</tr></thead>
<tbody>${table.rows.map((r) => html`<tr><th scope="row">${inline(r.head)}</th>${r.cells.map((c) => html`<td>${c}</td>`)}</tr>`)}</tbody></table>`,
    columns > 4 ? ' across' : '',
  )}${table.note === '' ? '' : html`<p class="small">${table.note}</p>`}`;
}

/** Excerpts to listen to, behind a warning. */
export function listen(listening: ListeningView | null): Part {
  if (listening === null) return '';
  return html`<section class="part screen-only" id="listen" aria-labelledby="listen-h"><h2 id="listen-h">Listen to the noise</h2>
<p class="turn-down">${shape('caution')} <b>Turn your loudspeakers or headphones down first.</b> What plays is the board’s own noise at ${inline(listening.output)}, ${listening.raised}: far louder than it leaves the board.</p>
<ul class="clips">${listening.clips.map((c) => html`<li><p><b>${inline(c.title)}</b>${c.level === '' ? '' : html` <span class="small">${c.level}</span>`}</p><audio controls="" preload="none" aria-label="Noise: ${plain(c.title)}" src="data:audio/wav;base64,${c.wav}"></audio></li>`)}</ul>
<p class="small">${listening.duration} of each idle capture, up to ${listening.band}, all raised alike, so that what is louder here is louder on the board; the loudest is kept soft.${listening.left === 0 ? '' : ` ${sentenceCase(counted(listening.left, 'more excerpt'))} in the results file.`}</p>
</section>`;
}

/** The document around a body. */
export function sheet(title: string, body: Html, { defs, style, script, data }: PageParts): string {
  return html`<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'sha256-${trusted(style.hash)}'; script-src 'sha256-${trusted(script.hash)}'; media-src data:; base-uri 'none'; form-action 'none'">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<meta name="referrer" content="no-referrer">
<title>${title}</title>
<style>${trusted(style.text)}</style>
</head>
<body>
${defs === '' ? '' : trusted(`<svg class="sprite" aria-hidden="true"><defs>${defs}</defs></svg>`)}${body}<script type="application/json" id="chart-data">${trusted(data)}</script>
<script>${trusted(script.text)}</script>
</body>
</html>
`.markup;
}
