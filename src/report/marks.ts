/**
 * The shapes that stand for results. Each differs in outline and in what is inside it, so that it reads without colour.
 *
 * @module
 */
import { Html, html, trusted } from './html.js';
import { type Mark, markWord } from './words.js';

const shapes: Readonly<Record<Mark, string>> = {
  pass: '<circle class="f-pass" cx="8" cy="8" r="7"/><path class="on-mark" d="M4.6 8.3l2.4 2.4 4.4-5"/>',
  fail: '<rect class="f-fail" x="1.2" y="1.2" width="13.6" height="13.6"/><path class="on-mark" d="M5 5l6 6M11 5l-6 6"/>',
  caution: '<path class="f-caution" d="M8 .8L15.6 15H.4z"/><path class="on-mark" d="M8 5.6v4.6M8 12v1.2"/>',
  undecided: '<path class="f-undecided" d="M8 .4L15.6 8 8 15.6.4 8z"/><path class="on-mark" d="M5 7q1.5-1.6 3 0t3 0M5 10q1.5-1.6 3 0t3 0"/>',
  'bench-limited': '<path class="f-bench" d="M4.4 1.2h7.2L15.6 8l-4 6.8H4.4L.4 8z"/><path class="on-mark" d="M4.6 6.2h6.8M4.6 9.8h6.8"/>',
  info: '<circle class="o-info" cx="8" cy="8" r="6.4"/><circle class="f-info" cx="8" cy="8" r="2"/>',
  absent: '<circle class="o-absent" cx="8" cy="8" r="6.4"/>',
};

/** The shapes, once, for `use` to point at. */
export const markSprite: Html = trusted(
  `<svg class="sprite" aria-hidden="true"><defs>${(Object.keys(shapes) as Mark[])
    .map((m) => `<symbol id="mark-${m}" viewBox="0 0 16 16">${shapes[m]}</symbol>`)
    .join('')}</defs></svg>`,
);

/** The shape alone, hidden from screen readers: a word always stands beside it. */
export const shape = (mark: Mark): Html => html`<svg class="mark" aria-hidden="true"><use href="#mark-${mark}"/></svg>`;

/** Shape and word. */
export const verdictMark = (mark: Mark): Html => html`<span class="verdict v-${mark}">${shape(mark)}<span>${markWord[mark]}</span></span>`;
