/**
 * The view → one HTML document. Only layout is decided here; every word and figure comes from the view.
 *
 * @module
 */
import { boardDrawing, narrowPaper, widePaper } from './board-drawing.js';
import type { BoardPart, BoardParts } from './board-parts.js';
import { type Drawings, type PageParts, fieldList, figureGroup, inline, listen, plainTable, plate, scrolling, sheet } from './blocks.js';
import { flexPart } from './flex-part.js';
import { Html, type Part, html, trusted } from './html.js';
import { markSprite, shape, verdictMark } from './marks.js';
import type { OnChart } from './on-chart.js';
import { NO_FIGURE } from './plain-table.js';
import type { BudgetRow, BudgetSummary, LimitRow, ReadingCell, ReadingRow, ReadingTable } from './reading-tables.js';
import { counted, sentenceCase } from './numbers.js';
import { shorten } from './text.js';
import type { FindingView, ReportView, Section, Topic } from './view.js';
import { type Mark, NAME_IN_PLACE, type Phrase, markWord, plain } from './words.js';

// ---- first page -----------------------------------------------------------------------------------------------

function firstPage(view: ReportView): Html {
  const { verdict } = view;
  return html`<section class="sheet-one" aria-labelledby="board-name">
<header class="head">
<p class="form-name">Board sign-off sheet</p>
<h1 id="board-name"><bdi>${view.boardName}</bdi></h1>
${fieldList(view.fields, 'boxes')}
</header>
${view.invented ? inventedStrip : ''}
<div class="stamp s-${verdict.mark}"><p class="stamp-word">${shape(verdict.mark)} <span>${verdict.word}</span></p>
<div><p class="stamp-sentence">${verdict.sentence}</p>${missing(verdict.missing)}</div></div>
${faults(view.faults)}
<h2 class="quiet-heading">What was found</h2>
<ul class="sentences">${view.sentences.map((s) => html`<li>${shape(s.mark)}<p><b class="topic">${s.topic}</b> <span class="said">${markWord[s.mark]}.</span> ${inline(s.text)}</p></li>`)}</ul>
<h2 class="quiet-heading">The board, part by part</h2>
${drawing(view.parts)}
<div class="sign" role="group" aria-label="For signature"><p><span>Measured by</span></p><p><span>Date</span></p><p><span>Signed for the workshop</span></p><p><span>Received by</span></p></div>
<p class="small">The program measures and advises; the workshop signs.</p>
</section>`;
}

const faults = ({ titles, more }: ReportView['faults']): Part =>
  titles.length === 0
    ? ''
    : html`<h2 class="quiet-heading">To put right</h2>
<ol class="faults">${titles.map((t) => html`<li><bdi>${t}</bdi></li>`)}</ol>${more === 0 ? '' : html`<p class="small">${sentenceCase(counted(more, 'more fault'))} among the findings.</p>`}`;

const inventedStrip = html`<p class="invented"><b>Invented.</b> This board does not exist: every figure on this sheet was computed from a made-up circuit, for demonstration only.</p>`;

const missing = (steps: readonly string[]): Part =>
  steps.length === 0
    ? ''
    : html`<p class="tally">${steps.length === 1 ? 'One capture is' : `${sentenceCase(counted(steps.length, 'capture'))} are`} still missing: ${steps.map((s, i) => [i > 0 ? ', ' : '', html`<code>${shorten(s, 60)}</code>`])}.</p>`;

function drawing(parts: BoardParts): Html {
  const words = drawingInWords(parts);
  const rows: { kind: string; part: BoardPart; feeds?: string }[] = [
    ...(parts.input === null ? [] : [{ kind: 'way in', part: parts.input }]),
    ...(parts.buffer === null ? [] : [{ kind: 'way in', part: parts.buffer }]),
    ...(parts.bypass === null ? [] : [{ kind: 'way in', part: parts.bypass }]),
    ...parts.loops.map((part) => ({ kind: 'loop', part, ...(part.outlet === null ? {} : { feeds: `fed by ${part.outlet}` }) })),
    ...parts.outputs.map((part) => ({ kind: `output ${part.id}`, part })),
    ...parts.matches.map((part) => ({ kind: 'match', part })),
    ...parts.outlets.map((part) => ({ kind: 'supply', part, feeds: `feeds ${part.feeds.join(', ')}` })),
  ];
  const supplies = parts.outlets.length > 0;
  return html`<figure class="board">${trusted(boardDrawing(parts, widePaper, words, 'wide'))}${trusted(boardDrawing(parts, narrowPaper, words, 'narrow'))}
<figcaption>Each part carries the gravest of its results. The signal runs from the left, row by row.${supplies ? ' Rounded tags under the loops: the supply outlets that feed them.' : ''}${parts.bypass === null ? '' : ' Dashed: the way around the buffer.'}</figcaption></figure>
<details class="screen-only"><summary>The drawing as a table</summary>
${scrolling('The parts of the board and their results', html`<table class="plain"><caption>The parts of the board and their results</caption><thead><tr><th scope="col">Part</th><th scope="col">Name</th><th scope="col">Result</th><th scope="col">Why</th></tr></thead>
<tbody>${rows.map((r) => html`<tr><td>${r.kind}</td><th scope="row"><bdi>${r.part.name}</bdi>${r.feeds === undefined ? '' : html` <span class="small">(<bdi>${r.feeds}</bdi>)</span>`}</th><td>${verdictMark(r.part.mark)}</td><td>${inline(r.part.why)}</td></tr>`)}</tbody></table>`)}</details>`;
}

/** The drawing for those who hear it. */
function drawingInWords(parts: BoardParts): string {
  const said = (p: BoardPart): string => `${p.name}, ${markWord[p.mark]}`;
  const wayIn = parts.buffer ?? parts.input;
  return [
    'Signal path.',
    wayIn === null ? '' : `In: ${said(wayIn)}.`,
    parts.bypass === null ? '' : `${said(parts.bypass)}.`,
    parts.loops.length === 0 ? 'No loops.' : `Loops in order: ${parts.loops.map(said).join('; ')}.`,
    `Outputs: ${parts.outputs.map(said).join('; ')}.`,
    ...parts.matches.map((m) => `Match ${m.id}: ${markWord[m.mark]}.`),
  ]
    .filter((s) => s !== '')
    .join(' ');
}

// ---- findings -------------------------------------------------------------------------------------------------

const severityWord: Readonly<Record<FindingView['severity'], string>> = { fault: 'Fault', caution: 'Caution', note: 'Note' };

function findings(view: ReportView): Html {
  if (view.findings.length === 0) return html`<p>No fault was recognised${view.verdict.mark === 'pass' ? '' : '; where a reading is outside its limit or undecided, the tables below say which'}.</p>`;
  return html`<ol class="findings">${view.findings.map(
    (f, i) => html`<li class="finding"><h3>${String(i + 1)}. ${shape(f.mark)} ${severityWord[f.severity]}: <bdi>${f.title}</bdi></h3>
<dl class="lines"><div><dt>Where</dt><dd>${inline(f.where)}</dd></div>
<div><dt>Evidence</dt><dd>${f.evidence.length === 0 ? 'none recorded' : html`<ul>${f.evidence.map((e) => html`<li>${inline(e)}</li>`)}</ul>`}</dd></div>
<div><dt>${f.causeWord}</dt><dd>${f.cause}</dd></div>
<div><dt>Try next</dt><dd>${f.tryNext}</dd></div>
${f.confirm === null ? '' : html`<div><dt>To confirm</dt><dd>${f.confirm}</dd></div>
`}<div><dt>Rests on</dt><dd>${f.basis}</dd></div></dl></li>`,
  )}</ol>
<p class="small">Work on mains wiring is for licensed people under local rules. A ground lift in this report is one of the audio shield only; protective earth stays connected.</p>`;
}

// ---- tables ---------------------------------------------------------------------------------------------------

const noteLetters = (letters: readonly string[]): Part => (letters.length === 0 ? '' : html`<sup${trusted(letters.length > 1 ? ' class="two"' : '')}>${letters.join(' ')}</sup>`);

/** Where a figure points: the chart's number and the frequency, for the script. */
function pointer(at: OnChart | null, drawings: Drawings): Part {
  if (at === null) return '';
  const shown = [...drawings].find(([f]) => 'curves' in f && f.curves.includes(at.curve));
  return shown === undefined ? '' : html` data-of="${String(shown[1].number)}" data-at="${String(Number(at.hz.toPrecision(7)))}"`;
}

/** What stands by a figure that is not within its limit; the others have a shape, and a word for those who hear it. */
const besideFigure: Readonly<Partial<Record<Mark, string>>> = { fail: 'outside', undecided: 'not decided', 'bench-limited': 'hidden by the bench' };

function cell(c: ReadingCell | null, drawings: Drawings): Html {
  if (c === null) return html`<td class="none">${NO_FIGURE}</td>`;
  const word = besideFigure[c.mark];
  const mark = c.mark === 'info' || word !== undefined ? '' : html`${shape(c.mark)}<span class="heard">${markWord[c.mark]}</span> `;
  const verdict = word === undefined ? '' : html` <span class="verdict v-${c.mark}">${shape(c.mark)}<span>${word}</span></span>`;
  const aside = [c.detail, c.limit].filter((t) => t !== '').join('; ');
  return html`<td${pointer(c.at, drawings)}>${mark}<span class="now">${c.figure}</span>${noteLetters(c.notes)}${verdict}${aside === '' ? '' : html` <span class="small">${aside}</span>`}</td>`;
}

const rowHead = (r: ReadingRow): Part => html`${r.label}${r.qualifier === '' ? '' : html` <span class="small">${r.qualifier}</span>`}${r.unit === '' ? '' : html`<span class="unit">${r.unit}</span>`}`;

function readings(table: ReadingTable, drawings: Drawings): Part {
  const limited = table.rows.some((r) => r.limit !== '');
  const bodies = table.turned
    ? html`<thead><tr><th scope="col">Where</th>${table.rows.map((r) => html`<th scope="col">${rowHead(r)}</th>`)}</tr></thead>
<tbody>${limited ? html`<tr class="limits"><th scope="row">Limit</th>${table.rows.map((r) => html`<td>${r.limit}</td>`)}</tr>` : ''}${table.columns.map((c, i) => html`<tr><th scope="row">${inline(c)}</th>${table.rows.map((r) => cell(r.cells[i]!, drawings))}</tr>
`)}</tbody>`
    : html`<thead><tr><th scope="col">Reading</th>${limited ? html`<th scope="col" class="limit">Limit</th>` : ''}${table.columns.map((c) => html`<th scope="col">${inline(c)}</th>`)}</tr></thead>
<tbody>${table.rows.map((r) => html`<tr><th scope="row">${rowHead(r)}</th>${limited ? html`<td class="limit">${r.limit}</td>` : ''}${r.cells.map((c) => cell(c, drawings))}</tr>
`)}</tbody>`;
  const columns = table.columns.length;
  return scrolling(plain(table.caption), html`<table class="readings${table.turned ? ' turned' : columns > 4 ? ' many' : columns > 2 ? ' some' : ''}"><caption>${inline(table.caption)}</caption>
${bodies}</table>`);
}

/**
 * How the charts of a topic stand on paper: one beside its table, one across, three in a row, or those that fill the page on a
 * screen in pairs, and small ones in threes.
 */
function arrangement(t: Topic): 'beside' | 'across' | 'thirds' | 'pairs' {
  const figures = t.figures.flatMap((g) => g.figures);
  const large = figures.filter((f) => f.size === 'full').length + t.plates.length;
  const little = figures.length + t.plates.length - large;
  if (large !== 1 || little > 2) return 'pairs';
  if (little > 0) return 'thirds';
  return t.readings.length === 1 && t.readings[0]!.columns.length <= 2 && t.lineReadings.length === 0 ? 'beside' : 'across';
}

function topic(t: Topic, drawings: Drawings): Html {
  const lines = t.lineReadings.reduce((sum, g) => sum + g.rows.length, 0);
  const how = arrangement(t);
  const large = t.figures.filter((g) => g.figures.every((f) => f.size === 'full'));
  const tables = t.readings.map((r) => readings(r, drawings));
  return html`<h3 class="topic-heading">${inline(t.heading)}</h3>
${t.figures.length + t.plates.length === 0 ? '' : html`<div class="charts ${how}">${large.map((g) => figureGroup(g, drawings))}
${t.plates.map((p) => plate(p, drawings))}
${t.figures.filter((g) => !large.includes(g)).map((g) => figureGroup(g, drawings))}
${how === 'beside' ? tables : ''}</div>`}
${how === 'beside' ? '' : tables}
${lines === 0 ? '' : html`<details><summary>Hum and whine, line by line (${String(lines)})</summary>${t.lineReadings.map((r) => readings(r, drawings))}</details>`}`;
}

/** Charts of many short topics beside each other. What parts two outputs is seen in their responses, and on the screen by itself. */
function closeCharts(s: Section, drawings: Drawings): Html {
  const groups = s.topics.flatMap((t) => t.figures);
  const pairs = groups.filter((g) => g.topic === 'match');
  return html`<div class="plates">${groups.filter((g) => g.topic !== 'match').map((g) => figureGroup(g, drawings, 'section'))}${pairs.length === 0 ? '' : html`<div class="screen-only">${pairs.map((g) => figureGroup(g, drawings, 'section'))}</div>`}</div>`;
}

function section(s: Section, drawings: Drawings, before: Part = '', after: Part = ''): Html {
  return html`<section class="part${s.close ? ' close' : ''}" id="${s.id}" aria-labelledby="${s.id}-h"><h2 id="${s.id}-h">${inline(s.heading)}</h2><p class="result-line">${verdictMark(s.mark)}${s.why.length === 0 ? '' : html` <span class="why">${inline(s.why)}</span>`}</p>
${before}${s.close ? closeCharts(s, drawings) : s.topics.map((t) => topic(t, drawings))}${s.notes.length === 0 ? '' : html`<ul class="notes">${s.notes.map((note) => html`<li><sup>${note.letter}</sup> ${note.text}</li>`)}</ul>`}${after}
</section>`;
}

function player(view: ReportView, drawings: Drawings): Part {
  if (view.player === null) return '';
  const { section: own, view: said } = view.player;
  const before = said.instrument.length === 0 ? '' : html`<p>Instrument of board.yaml: ${said.instrument.join('; ')}.</p>`;
  const after = html`<div class="lists">${said.tables.map(plainTable)}</div>${said.assumed.length === 0 ? '' : html`<details><summary>What the predictions assume</summary><ul class="small">${said.assumed.map((a) => html`<li>${a}</li>`)}</ul></details>`}`;
  return section(own, drawings, before, after);
}

// ---- the rest -------------------------------------------------------------------------------------------------

function budget(summary: readonly BudgetSummary[], rows: readonly BudgetRow[]): Html {
  if (rows.length === 0) return html`<p>No reading carries an uncertainty budget.</p>`;
  return html`${scrolling(
    'Uncertainty budget',
    html`<table class="plain budget"><caption>Uncertainty budget by kind of reading: standard uncertainties from the smallest to the largest, in brackets what kind of part it is and how it was evaluated (A: from the scatter of what was recorded, B: from a statement or a derivation; JCGM 100), and what they add up to at 95 %</caption>
<thead><tr><th scope="col">Reading</th><th scope="col">Readings</th><th scope="col">Parts</th><th scope="col">95 %</th></tr></thead>
<tbody>${summary.map((r) => html`<tr${trusted(r.limited ? '' : ' class="screen-only"')}><th scope="row">${r.label}</th><td>${String(r.count)}${r.captures > 1 ? `, of up to ${String(r.captures)} captures each` : ''}</td><td>${r.parts.map((p, i) => `${i > 0 ? '; ' : ''}${p.name} ${p.range}${p.how === '' ? '' : ` (${p.how})`}`)}</td><td class="num">${r.expanded}</td></tr>`)}</tbody></table>`,
  )}
<details class="screen-only"><summary>The budget of each reading that has a limit (${String(rows.length)})</summary>${scrolling(
    'Uncertainty budget of each reading that has a limit',
    html`<table class="plain budget each"><caption>Standard uncertainties with kind, evaluation and, where they are finite, degrees of freedom ν; captures that count together; and what the parts add up to at 95 %</caption>
<thead><tr><th scope="col">Reading</th><th scope="col">Where</th><th scope="col">Parts</th><th scope="col">95 %</th></tr></thead>
<tbody>${rows.map((r) => html`<tr><th scope="row">${r.label}</th><td>${inline(r.where)}</td><td>${r.parts.map((p, i) => `${i > 0 ? '; ' : ''}${p.name} ${p.standard}${p.how === '' ? '' : ` (${p.how})`}`)}${r.repeats === '' ? '' : `; ${r.repeats}`}</td><td class="num">${r.expanded}</td></tr>`)}</tbody></table>`,
  )}</details>
<p class="small">On paper: what has a limit. The budget of every reading is in results.json.</p>`;
}

function limits(rows: readonly LimitRow[]): Html {
  if (rows.length === 0) return html`<p>No reading was held against a limit.</p>`;
  return scrolling(
    'Limits and what they rest on',
    html`<table class="plain basis"><caption>Each limit, how many figures were held against it, and what it rests on</caption>
<thead><tr><th scope="col">Reading</th><th scope="col">Limit</th><th scope="col">Figures</th><th scope="col">Rests on</th></tr></thead>
<tbody>${rows.map((r) => html`<tr><th scope="row">${r.label}</th><td class="num">${r.limit}</td><td class="num">${String(r.count)}</td><td>${r.basis}</td></tr>`)}</tbody></table>`,
  );
}

function captures({ alike, list }: ReportView['captures']): Html {
  if (list.length === 0) return html`<p>No capture is filed.</p>`;
  return html`<table class="captures"><caption>Captures that the readings were taken from, with the SHA-256 of each file, captures/&lt;step&gt;.wav${alike.length === 0 ? '' : `. All of them: ${alike.join('; ')}`}</caption>
<thead><tr><th scope="col">Step</th><th scope="col">Recording</th><th scope="col">SHA-256</th></tr></thead>
<tbody>${list.map(
    (c) => html`<tr><th scope="row"><code>${c.step}</code></th><td>${c.file === '' ? '' : html`<bdi>${c.file}</bdi>: `}${[c.what, c.length, c.when, c.format, c.take].filter((t) => t !== '').join('; ')}${c.remarks.map((r) => html`<span class="small">${r}</span>`)}</td><td><code class="hash">${c.sha256}</code></td></tr>`,
  )}</tbody></table>`;
}

interface Entry {
  readonly id: string;
  readonly title: Phrase;
  readonly body: Html;
}

function contents(view: ReportView, entries: readonly Entry[]): Html {
  const short = (title: Phrase): Phrase => title.map((p) => (typeof p === 'object' && 'name' in p ? { name: shorten(p.name, NAME_IN_PLACE) } : p));
  const item = (id: string, title: Phrase, mark: Part): Html => html`<li><a href="#${id}">${inline(short(title))}</a>${mark}</li>`;
  const sections = [...(view.player === null ? [] : [view.player.section]), ...view.outputs, ...view.matches, ...view.loopTables, ...view.loops, ...view.flex, ...view.others];
  return html`<nav class="contents" aria-labelledby="contents-h"><h2 id="contents-h">For the technician</h2><ul>${[
    item('findings', ['Findings'], html` <span class="small">${view.findings.length === 0 ? 'none' : String(view.findings.length)}</span>`),
    ...(view.listening === null ? [] : [item('listen', ['Listen to the noise'], '')]),
    ...sections.map((s) => item(s.id, s.heading, html` ${verdictMark(s.mark)}`)),
    ...entries.map((e) => item(e.id, e.title, '')),
  ]}</ul><p class="small">In the tables a tick stands for within limits; whatever else is said in words. The figures behind the charts are not printed: results.json has every value, and <code>boardproof report &lt;job&gt; --format csv</code> writes them as tables.</p></nav>`;
}

/** The whole document. */
export function page(view: ReportView, drawings: Drawings, inlined: PageParts): string {
  const entries: Entry[] = [
    {
      id: 'conditions',
      title: ['Conditions'],
      body: html`${fieldList(view.conditions, 'lines')}${view.conditionRemarks.length === 0 ? '' : html`<ul>${view.conditionRemarks.map((r) => html`<li>${r}</li>`)}</ul>`}`,
    },
    ...(view.problems.length === 0
      ? []
      : [{ id: 'remarks', title: ['Remarks'], body: html`<ul>${view.problems.map((p) => html`<li>${p}</li>`)}</ul>` }]),
    { id: 'limits', title: ['Limits'], body: limits(view.limits) },
    { id: 'uncertainty', title: ['Uncertainty'], body: budget(view.budgetSummary, view.budget) },
    {
      id: 'methods',
      title: ['Methods'],
      body:
        view.methods.length === 0
          ? html`<p>The results carry no notes on method.</p>`
          : html`<dl class="methods">${view.methods.map((m) => html`<div><dt>${m.title}</dt><dd>${m.text} <span class="small">Source: ${m.source}</span>${m.checked.map((c) => html` <span class="small">Checked: ${c}</span>`)}</dd></div>`)}</dl>`,
    },
    { id: 'captures', title: ['Captures'], body: captures(view.captures) },
  ];
  const parts = (list: readonly Section[]): Part => list.map((s) => section(s, drawings));
  return sheet(`${view.boardName}: ${view.verdict.word.toLowerCase()}. Board sign-off sheet`, html`<a class="skip" href="#findings">Skip to the technician’s part</a>
${markSprite}
<main>
${firstPage(view)}
${contents(view, entries)}
<section class="part" id="findings" aria-labelledby="findings-h"><h2 id="findings-h">Findings</h2>
${findings(view)}
</section>
${listen(view.listening)}
${player(view, drawings)}
${parts(view.outputs)}${parts(view.matches)}${parts(view.loopTables)}${parts(view.loops)}${view.flex.map(flexPart)}${parts(view.others)}
${entries.map((e) => html`<section class="part" id="${e.id}" aria-labelledby="${e.id}-h"><h2 id="${e.id}-h">${inline(e.title)}</h2>
${e.body}
</section>
`)}</main>
<footer class="foot">
<p>Made by ${view.footer.tool} from results.json alone${view.invented ? '. The board is invented' : ''}.</p>
${fieldList(view.footer.files, 'lines hashes')}
</footer>
`, inlined);
}
