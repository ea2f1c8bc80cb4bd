/**
 * What a command is given to speak with: streams, clock and folder come in from outside, so that a command runs in a
 * test as it runs in a terminal. Results go to `out`, everything else to `err`.
 *
 * @module
 */

import picocolors from 'picocolors';
import type { AudioEngine } from '../src/capture/engine.js';
import { asciiJson, asciiOf } from './ascii.js';
import type { Keyboard } from './keyboard.js';

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
  /** Columns of the terminal that shows a stream; null or absent where it goes elsewhere. */
  readonly columns?: { readonly out: number | null; readonly err: number | null };
  /** The locale has no UTF-8: everything is said in ASCII. */
  readonly ascii?: boolean;
  /** Notes and progress are not wanted. */
  readonly quiet?: boolean;
  /** The result goes to another program (`--json`), which needs nobody to say what comes next. */
  readonly forProgram?: boolean;
  /** Aborted when the user interrupts. A command that listens cleans up and returns; one that does not is ended. */
  readonly signal?: AbortSignal;
  /** Somebody to ask; absent where no terminal is there to answer. */
  readonly keyboard?: Keyboard;
  /** What plays and records; absent: the program's own. */
  readonly audio?: AudioEngine;
}

/** One line (or several) of a result. */
export function print(context: Context, text: string): void {
  context.out.write(`${signs(context, text)}\n`);
}

/** One line beside the result, not wanted with `--quiet`. */
export function note(context: Context, text: string): void {
  if (!context.quiet) context.err.write(`${signs(context, text)}\n`);
}

/** The text in the characters that the terminal has. Before it is measured: a sign may take more room. */
export const signs = (context: Pick<Context, 'ascii'>, text: string): string => (context.ascii ? asciiOf(text) : text);

/**
 * The one JSON document of a command.
 *
 * @throws RangeError where the document holds NaN or an infinity: JSON would silently make it null.
 */
export function printJson(context: Context, document: object): void {
  const json = toJson(document);
  context.out.write(`${context.ascii ? asciiJson(json) : json}\n`);
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

export type Look = 'bold' | 'dim' | 'red' | 'green' | 'yellow' | 'cyan';
export type Paint = (look: Look, text: string) => string;

/** Colours text for one of the streams; plain where that stream shows none. Colour is never the only sign. */
export function paintFor(context: Context, stream: 'out' | 'err'): Paint {
  const colours = picocolors.createColors(context.colour?.[stream] ?? false);
  return (look, text) => colours[look](text);
}

/**
 * Whether a stream gets colour: a terminal that is not dumb, or anything where FORCE_COLOR is set and not 0; never where
 * NO_COLOR is set (no-color.org).
 */
export function wantsColour(isTty: boolean, env: Readonly<Record<string, string | undefined>>): boolean {
  if (env['NO_COLOR']) return false;
  const forced = env['FORCE_COLOR'];
  return forced ? forced !== '0' : isTty && env['TERM'] !== 'dumb';
}

/** Text is laid out for this many columns, and for fewer where the terminal has fewer. */
export const WIDTH = 80;
const NARROWEST = 20;

/** Columns to lay text out for. */
export const widthFor = (context: Pick<Context, 'columns'>, stream: 'out' | 'err'): number => Math.max(NARROWEST, Math.min(WIDTH, context.columns?.[stream] ?? WIDTH));
