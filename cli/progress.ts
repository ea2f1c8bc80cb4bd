/**
 * A line, or a few, on standard error that is written over as work goes on: what is done, how much of it, how long it will take.
 *
 * @module
 */
import { widthOf, wrap } from './layout.js';
import { signs, widthFor } from './terminal.js';
import type { Context } from './terminal.js';

export interface Progress {
  /** Says what goes on, where nobody knows how long it will take; several lines stand below each other. */
  show(text: string | readonly string[]): void;
  /**
   * Says how far it is: `done` of `total`, in captures, files or seconds. The time that is left follows from the time
   * that the first ones took.
   *
   * A part of one may be done: it counts for the bar and the time.
   *
   * @param counted - What is counted, as in `12 of 25 captures`; left out, only the bar and the time are shown.
   */
  share(text: string, done: number, total: number, counted?: string): void;
  /** Takes the line away. */
  done(): void;
}

/** Sooner than this nothing is said of the time that is left, seconds: the first of many is the slowest. */
const SETTLED_S = 1;
/** Nor before so large a part of it is done: the first are told while the machine still warms up. */
const SETTLED_PART = 0.02;
const BAR = 16;

/** A part of a whole as a row of so many signs. */
export function bar(part: number, cells = BAR): string {
  const full = Math.round(cells * Math.max(0, Math.min(1, part)));
  return `${'█'.repeat(full)}${'░'.repeat(cells - full)}`;
}

/** What each input hears, behind a head and before a tail: in one line where that fits, else each below the other. */
export function liveLines(context: Context, head: string, parts: readonly string[], tail = ''): readonly string[] {
  const line = `  ${head}   ${parts.join(', ')}${tail === '' ? '' : `   ${tail}`}`;
  const width = widthFor(context, 'err');
  if (line.length < width) return [line];
  const own = (text: string): string[] => wrap(text, '  ', '  ', width - 1).split('\n');
  return [...own(head), ...parts.map((part) => `    ${part}`), ...(tail === '' ? [] : own(tail))];
}

/** Shown on a terminal only, and not with `--quiet`. Where the terminal cannot write over a line, nothing is shown. */
export function progress(context: Context): Progress {
  if (!context.isTty || context.quiet) return { show: () => undefined, share: () => undefined, done: () => undefined };
  let shown = '';
  let began: { readonly at: number; readonly done: number } | null = null;
  /** To the first column of the first line (ECMA-48 CUU). */
  const home = (): string => {
    const above = shown.split('\n').length - 1;
    return `\r${above > 0 ? `\u001b[${above}A` : ''}`;
  };
  /** A window drawn narrower than what it shows breaks it, each terminal in its own way: that stays, and what follows begins below it. */
  const leaveBroken = (): void => {
    if (shown.split('\n').every((line) => widthOf(line) <= (context.columns?.err ?? Infinity))) return;
    context.err.write('\n');
    shown = '';
  };
  const show = (text: string | readonly string[]): void => {
    // The last column stays free: some terminals begin a new line when it is written.
    const cut = (line: string): string => [...signs(context, line)].slice(0, widthFor(context, 'err') - 1).join('');
    const lines = (typeof text === 'string' ? [text] : text).map(cut).join('\n');
    if (lines === shown) return;
    leaveBroken();
    // Fewer lines than before: "erase to end of screen" (ECMA-48 ED); each line is ended by "erase to end of line" (EL).
    const below = lines.split('\n').length < shown.split('\n').length ? '\u001b[J' : '';
    context.err.write(`${home()}${lines.replaceAll('\n', '\u001b[K\n')}\u001b[K${below}`);
    shown = lines;
  };
  return {
    show,
    share(text, done, total, counted) {
      const now = context.now().getTime() / 1000;
      began ??= { at: now, done };
      const elapsedS = now - began.at;
      const part = total > 0 ? Math.min(1, Math.max(0, done / total)) : 0;
      const leftS = done - began.done > SETTLED_PART * total && elapsedS >= SETTLED_S ? (elapsedS / (done - began.done)) * (total - done) : null;
      const shownBar = widthFor(context, 'err') < 60 ? '' : `  ${bar(part)}`;
      const count = counted === undefined || total === 1 ? '' : `  ${Math.floor(done)} of ${total} ${counted}`;
      const far = `${shownBar}${count}${leftS === null ? '' : `, ${timeLeft(leftS)}`}`;
      // A long name gives way to how far it is.
      show(`${shortened(signs(context, text), widthFor(context, 'err') - 1 - far.length)}${far}`);
    },
    done() {
      leaveBroken();
      if (shown !== '') context.err.write(`${home()}${shown.includes('\n') ? '\u001b[J' : '\u001b[K'}`);
      shown = '';
      began = null;
    },
  };
}

/** Seconds from one line to the next where a line cannot be written over. */
const PLAIN_S = 2;

/** What a knob is turned by, for somebody at a terminal that cannot write over a line: now and then a line of its own. Elsewhere nothing. */
export function plainLines(context: Context): (lines: readonly string[]) => void {
  let next = -Infinity;
  return (lines) => {
    const now = context.now().getTime() / 1000;
    if (context.isTty || context.quiet || context.keyboard === undefined || now < next) return;
    next = now + PLAIN_S;
    context.err.write(`${signs(context, lines.join('\n'))}\n`);
  };
}

function shortened(text: string, room: number): string {
  const characters = [...text];
  return characters.length <= room ? text : `${characters.slice(0, Math.max(0, room - 3)).join('')}...`;
}

/** A time in words, no finer than it can be known. */
export function aboutS(seconds: number): string {
  if (seconds < 10) return `about ${Math.ceil(seconds)} s`;
  if (seconds < 90) return `about ${Math.ceil(seconds / 5) * 5} s`;
  if (seconds < 5400) return `about ${Math.ceil(seconds / 60)} min`;
  return `about ${Math.ceil(seconds / 3600)} h`;
}

export const timeLeft = (seconds: number): string => (seconds < 2 ? 'nearly done' : `${aboutS(seconds)} left`);
