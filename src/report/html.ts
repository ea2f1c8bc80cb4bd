/**
 * Markup that we write and text that strangers wrote, kept apart by type.
 *
 * @module
 */
import { cleanText } from './text.js';

/** Markup that is safe to put on the page as it stands. Only `html` and `trusted` make it. */
export class Html {
  // A private field makes the type nominal: no other object with a `markup` passes for one.
  readonly #markup: string;
  constructor(markup: string) {
    this.#markup = markup;
  }
  get markup(): string {
    return this.#markup;
  }
}

/** What may stand in an `html` template: markup, text (escaped), or lists of them. No number, no null: those are worded first. */
export type Part = Html | string | readonly Part[];

const ENTITIES: Readonly<Record<string, string>> = { '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;', "'": '&#39;' };

/** The one way by which text becomes markup; safe in element content and in quoted attributes. */
export function escapeHtml(text: string): string {
  return cleanText(text).replace(/[&<>"']/g, (c) => ENTITIES[c]!);
}

const markupOf = (part: Part): string => {
  if (part instanceof Html) return part.markup;
  if (typeof part === 'string') return escapeHtml(part);
  return part.map(markupOf).join('');
};

/** A template whose values are escaped unless they are markup already. */
export function html(strings: TemplateStringsArray, ...values: readonly Part[]): Html {
  let markup = strings[0]!;
  values.forEach((value, i) => {
    markup += markupOf(value) + strings[i + 1]!;
  });
  return new Html(markup);
}

/** Markup made by this program, such as an SVG out of the chart renderer. */
export const trusted = (markup: string): Html => new Html(markup);
