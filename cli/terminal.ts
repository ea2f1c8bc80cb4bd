/**
 * What a command is given to speak with: streams, clock and folder come in from outside, so that a command runs in a
 * test as it runs in a terminal. Results go to `out`, everything else to `err`.
 *
 * @module
 */

/** A stream that text is written to. */
export interface TextSink {
  write(text: string): unknown;
}

export interface Context {
  /** Results. */
  readonly out: TextSink;
  /** Notes, progress, errors. */
  readonly err: TextSink;
  readonly now: () => Date;
  /** Folder that relative paths start from. */
  readonly cwd: string;
  /** Somebody watches `err` on a terminal: progress may be shown. */
  readonly isTty: boolean;
  /** Which of the streams show colour. */
  readonly colour?: { readonly out: boolean; readonly err: boolean };
  /** Notes and progress are not wanted. */
  readonly quiet?: boolean;
  /** Aborted when the user interrupts. A command that listens cleans up and returns; one that does not is ended. */
  readonly signal?: AbortSignal;
}

/** One line (or several) of a result. */
export function print(context: Context, text: string): void {
  context.out.write(`${text}\n`);
}

/** One line beside the result, not wanted with `--quiet`. */
export function note(context: Context, text: string): void {
  if (!context.quiet) context.err.write(`${text}\n`);
}

/**
 * The one JSON document of a command.
 *
 * @throws RangeError where the document holds NaN or an infinity: JSON would silently make it null.
 */
export function printJson(context: Context, document: object): void {
  context.out.write(`${toJson(document)}\n`);
}

/** JSON with two spaces of indent; a number that JSON cannot hold is an error. */
export function toJson(document: object): string {
  return JSON.stringify(
    document,
    (key, value: unknown) => {
      if (typeof value === 'number' && !Number.isFinite(value)) throw new RangeError(`"${key}" is ${value}, which JSON cannot hold`);
      return value;
    },
    2,
  );
}

const sgr = { bold: [1, 22], dim: [2, 22], red: [31, 39], green: [32, 39], yellow: [33, 39], cyan: [36, 39] } as const;
export type Look = keyof typeof sgr;
export type Paint = (look: Look, text: string) => string;

/** Colours text for one of the streams; plain where that stream shows none. Colour is never the only sign. */
export function paintFor(context: Context, stream: 'out' | 'err'): Paint {
  if (!context.colour?.[stream]) return (_look, text) => text;
  return (look, text) => `\u001b[${sgr[look][0]}m${text}\u001b[${sgr[look][1]}m`;
}

/** Whether a stream gets colour: a terminal that is not dumb, and NO_COLOR is not set (no-color.org). */
export function wantsColour(isTty: boolean, env: Readonly<Record<string, string | undefined>>): boolean {
  return isTty && !env['NO_COLOR'] && env['TERM'] !== 'dumb';
}

export interface Progress {
  /** Replaces the line. */
  show(text: string): void;
  /** Takes the line away. */
  done(): void;
}

/** A line on `err` that is written over as work goes on; shown on a terminal only. */
export function progress(context: Context): Progress {
  if (!context.isTty || context.quiet) return { show: () => undefined, done: () => undefined };
  let shown = '';
  return {
    show(text) {
      if (text === shown) return;
      shown = text;
      // Carriage return, then "erase to end of line" (ECMA-48 EL).
      context.err.write(`\r${text.slice(0, 79)}\u001b[K`);
    },
    done() {
      if (shown !== '') context.err.write('\r\u001b[K');
      shown = '';
    },
  };
}
