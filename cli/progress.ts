/**
 * A line on standard error that is written over as work goes on: what is done, how much of it, how long it will take.
 *
 * @module
 */
import { signs, widthFor } from './terminal.js';
import type { Context } from './terminal.js';

export interface Progress {
  /** Says what goes on, where nobody knows how long it will take. */
  show(text: string): void;
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
const BAR = 16;

/** Shown on a terminal only, and not with `--quiet`. Where the terminal cannot write over a line, nothing is shown. */
export function progress(context: Context): Progress {
  if (!context.isTty || context.quiet) return { show: () => undefined, share: () => undefined, done: () => undefined };
  let shown = '';
  let began: { readonly at: number; readonly done: number } | null = null;
  const show = (text: string): void => {
    // The last column stays free: some terminals begin a new line when it is written.
    const line = [...signs(context, text)].slice(0, widthFor(context, 'err') - 1).join('');
    if (line === shown) return;
    shown = line;
    // Carriage return, then "erase to end of line" (ECMA-48 EL).
    context.err.write(`\r${line}\u001b[K`);
  };
  return {
    show,
    share(text, done, total, counted) {
      const now = context.now().getTime() / 1000;
      began ??= { at: now, done };
      const elapsedS = now - began.at;
      const part = total > 0 ? Math.min(1, Math.max(0, done / total)) : 0;
      const leftS = done > began.done && elapsedS >= SETTLED_S ? (elapsedS / (done - began.done)) * (total - done) : null;
      const full = Math.round(part * BAR);
      const bar = widthFor(context, 'err') < 60 ? '' : `  ${'█'.repeat(full)}${'░'.repeat(BAR - full)}`;
      const count = counted === undefined ? '' : `  ${Math.floor(done)} of ${total} ${counted}`;
      const far = `${bar}${count}${leftS === null ? '' : `, ${timeLeft(leftS)}`}`;
      // A long name gives way to how far it is.
      show(`${shortened(signs(context, text), widthFor(context, 'err') - 1 - far.length)}${far}`);
    },
    done() {
      if (shown !== '') context.err.write('\r\u001b[K');
      shown = '';
      began = null;
    },
  };
}

function shortened(text: string, room: number): string {
  const characters = [...text];
  return characters.length <= room ? text : `${characters.slice(0, Math.max(0, room - 3)).join('')}...`;
}

/** In words, no finer than it can be known. */
export function timeLeft(seconds: number): string {
  if (seconds < 2) return 'nearly done';
  if (seconds < 10) return `about ${Math.ceil(seconds)} s left`;
  if (seconds < 90) return `about ${Math.ceil(seconds / 5) * 5} s left`;
  if (seconds < 5400) return `about ${Math.ceil(seconds / 60)} min left`;
  return `about ${Math.ceil(seconds / 3600)} h left`;
}
