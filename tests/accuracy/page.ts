/** The accuracy page: one HTML file, no script, no network. */
import { createHash } from 'node:crypto';
import { html, trusted } from '../../src/report/html.js';
import type { Html } from '../../src/report/html.js';
import type { Accuracy, CoverageRow } from './gather.js';

const STYLE = `:root{color-scheme:light dark}
body{font:16px/1.5 Georgia,'Times New Roman',serif;max-width:70rem;margin:2rem auto;padding:0 1rem}
h1{font-size:1.6rem}h2{font-size:1.2rem;margin-top:2.5rem;border-bottom:1px solid}
.wide{overflow-x:auto}table{border-collapse:collapse;font-size:.9rem;width:100%}
caption{text-align:left;padding:.3rem 0;font-style:italic}
th,td{text-align:left;vertical-align:top;padding:.25rem .6rem .25rem 0;border-bottom:1px solid #8886}
td.n{text-align:right;font-variant-numeric:tabular-nums;white-space:nowrap}
td small,th small{display:block;font-weight:normal;opacity:.8}
.out{font-weight:bold}`;

const number = (v: number): string => (v === 0 ? '< 1e-9' : Math.abs(v) >= 1e-3 && Math.abs(v) < 1e5 ? String(Number(v.toPrecision(3))) : v.toExponential(1)).replace('-', '−').replace('e−', 'e-');
const head = (names: readonly string[]): Html => html`<thead><tr>${names.map((n) => html`<th scope="col">${n}</th>`)}</tr></thead>`;
const cell = (v: number | string): Html => html`<td class="n">${typeof v === 'number' ? number(v) : v}</td>`;

const coverageTable = (name: string, rows: readonly CoverageRow[]): Html => html`<div class="wide"><table><caption>${name}</caption>${head(['Reading', 'Trials', 'Held the truth', 'Mean error', 'Rms error', 'U, 95 %'])}<tbody>${rows.map(
  (r) => html`<tr><th scope="row"><code>${r.reading}</code></th>${cell(String(r.trials))}<td class="${trusted(r.coveragePercent < 93 || r.coveragePercent > 97 ? 'n out' : 'n')}">${r.coveragePercent.toFixed(1)} %</td>${cell(r.meanError)}${cell(r.rmsError)}${cell(r.uncertainty95)}</tr>`,
)}</tbody></table></div>`;

export function accuracyPage(accuracy: Accuracy): string {
  const hash = createHash('sha256').update(STYLE).digest('base64');
  const { checks, decisions, populations, coverage, losses } = accuracy;
  return html`<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'sha256-${hash}'"><meta name="viewport" content="width=device-width"><title>boardproof: accuracy</title><style>${trusted(STYLE)}</style></head>
<body><h1>How right the figures are</h1>
<p>Every line below was computed by <code>npm run accuracy</code>: our figure and somebody else’s, on the same input. A test computes it again and fails where this page no longer says what the code does. The inputs and the others’ numbers are in <code>tests/outside/</code> and <code>tests/standards/</code>, each with the program or document that it comes from.</p>
<h2>Held to something made elsewhere</h2>
<div class="wide"><table><caption>Error is ours less theirs. Below 1e-9 it is rounding.</caption>${head(['Figure', 'Held to', 'Cases', 'Largest error', 'Rms error', 'Allowed', 'Unit', 'Worst input'])}
<tbody>${checks.map(
    (c) => html`<tr><th scope="row">${c.figure}<small>${c.domain}</small></th><td>${c.oracle}<small>${c.version}</small></td>${cell(String(c.cases))}<td class="${trusted(Math.abs(c.largest) > c.tolerance ? 'n out' : 'n')}">${number(c.largest)}</td>${cell(c.rms)}${cell(c.tolerance)}<td>${c.unit}</td><td>${c.worst}<small>${c.because}</small></td></tr>
`,
  )}</tbody></table></div>
<h2>Do the intervals hold the truth?</h2>
<p>Simulated captures whose truth is known, through the same code as a measurement. A 95 % interval should hold it in 93 to 97 of 100; of 400 trials, one standard deviation is 1.1. What lies outside is in bold. Units are those of the readings.</p>
${Object.entries(coverage).map(([name, rows]) => coverageTable(name, rows))}
<h2>What the rule of verdicts risks</h2>
<p>Pass only where the value with its expanded uncertainty is inside the limit, fail only where it is outside with it, else not decided (JCGM 106:2012, guard band of one expanded uncertainty). 100 000 simulated readings for each truth. A board exactly at its limit is passed in 2.5 of 100 and failed in 2.5 of 100; nowhere is the risk larger.</p>
<div class="wide"><table><caption>One board, its true value so many standard uncertainties outside the limit (negative: inside)</caption>${head(['Truth', 'Degrees of freedom', 'Pass', 'Not decided', 'Fail'])}<tbody>${decisions.map(
    (d) => html`<tr><td class="n">${`${d.truth > 0 ? '+' : ''}${d.truth}`.replace('-', '−')}</td><td class="n">${d.degreesOfFreedom === null ? 'many' : String(d.degreesOfFreedom)}</td>${[d.passPercent, d.undecidedPercent, d.failPercent].map((p) => html`<td class="n">${p.toFixed(2)} %</td>`)}</tr>`,
  )}</tbody></table></div>
<div class="wide"><table><caption>Many boards, spread about a mean inside the limit, both in standard uncertainties of a reading: of all boards</caption>${head(['Spread', 'Mean inside by', 'Outside, yet passed', 'Inside, yet failed', 'Not decided'])}<tbody>${populations.map(
    (p) => html`<tr>${cell(String(p.spread))}${cell(String(p.meanInside))}${[p.falseAcceptPercent, p.falseRejectPercent, p.undecidedPercent].map((v) => html`<td class="n">${v.toFixed(2)} %</td>`)}</tr>`,
  )}</tbody></table></div>
<h2>Losses and limits</h2>
<ul>${losses.map((l) => html`<li>${l}</li>
`)}</ul>
</body></html>
`.markup;
}
