/**
 * Text laid out for a terminal: 80 columns, fewer where the terminal has fewer.
 *
 * @module
 */
import stringWidth from 'string-width';
import { WIDTH, note, paintFor, print, signs, widthFor } from './terminal.js';
import type { Context, Look } from './terminal.js';

/** Columns that a text takes: wide characters two, combined marks and colour none. */
export const widthOf = (text: string): number => stringWidth(text);

export const padTo = (text: string, width: number): string => text + ' '.repeat(Math.max(0, width - widthOf(text)));

/** Breaks text at spaces; every line begins with `indent`, the first with `first`. A word longer than a line is left whole. */
export function wrap(text: string, indent = '', first = indent, width = WIDTH): string {
  const lines: string[] = [];
  let line = first;
  let empty = true;
  for (const word of text.split(' ')) {
    if (!empty && widthOf(line) + 1 + widthOf(word) > width) {
      lines.push(line.trimEnd());
      line = indent;
      empty = true;
    }
    line += empty ? word : ` ${word}`;
    empty = false;
  }
  return [...lines, line].join('\n');
}

/** Columns two spaces apart, each as wide as its widest entry; the last is wrapped by nobody and comes as it is. */
export function columns(said: readonly (readonly string[])[], indent = '  ', context: Pick<Context, 'ascii'> = {}): string {
  const rows = said.map((row) => row.map((cell) => signs(context, cell)));
  const widths = (rows[0] ?? []).map((_, i) => Math.max(...rows.map((row) => widthOf(row[i]!))));
  return rows.map((row) => (indent + row.map((cell, i) => padTo(cell, widths[i]!)).join('  ')).trimEnd()).join('\n');
}

/** A paragraph of the result, as {@link wrap} lays it out for this terminal. */
export function paragraph(context: Context, text: string, indent = '', first = indent): void {
  print(context, wrap(signs(context, text), signs(context, indent), signs(context, first), widthFor(context, 'out')));
}

/** What stands over a part of the result, with a blank line before it. */
export function heading(context: Context, text: string): void {
  print(context, '');
  paragraph(context, paintFor(context, 'out')('bold', text));
}

/** A paragraph beside the result, not wanted with `--quiet`. */
export function aside(context: Context, text: string, indent = '', first = indent): void {
  note(context, wrap(signs(context, text), signs(context, indent), signs(context, first), widthFor(context, 'err')));
}

/** A sentence that stays on one line, so that other programs can read it, but is broken at words where a person reads it. */
export function statement(context: Context, stream: 'out' | 'err', text: string, indent = '', first = ''): void {
  const width = context.columns?.[stream] ? widthFor(context, stream) : Infinity;
  context[stream].write(`${wrap(signs(context, text), indent, signs(context, first), width)}\n`);
}

/** An entry of a table, plain or with a look. */
export type Cell = string | readonly [look: Look, text: string];

const textOf = (cell: Cell): string => (typeof cell === 'string' ? cell : cell[1]);

/** The head of a column: its text, or more about it. */
export type Head =
  | string
  | {
      readonly text: string;
      /** What neighbouring columns have in common, such as `loss in dB at`; stands once over all of them. */
      readonly over?: string;
      /** Numbers stand at the right of their column. */
      readonly right?: boolean;
    };

/** A last column with this much room is wrapped within it. */
const LEAST_WRAPPED = 16;

/**
 * Prints a table of the result: a line of heads, then a line for each row, columns two spaces apart. Where the terminal is
 * too narrow for that, each row is a block of its own: its first entry, then a line for each of the others behind its head.
 *
 * @param rows - A row that is a string alone is a line of its own, over the rows that follow it.
 */
export function table(context: Context, heads: readonly Head[], rows: readonly (readonly Cell[] | string)[], indent = ''): void {
  const columns = heads.map((head) => (typeof head === 'string' ? { text: head } : head)).map(({ text, over = '', right = false }: Exclude<Head, string>) => ({ text: signs(context, text), over: signs(context, over), right }));
  const plain = rows.map((row) => (typeof row === 'string' ? row : row.map((cell) => signs(context, textOf(cell)))));
  const lookOf = (row: number, column: number): Look | null => {
    const cell = rows[row]![column] as Cell | undefined;
    return cell === undefined || typeof cell === 'string' ? null : cell[0];
  };
  const shown: Laid = { columns, rows: plain, lookOf, indent };
  if (!printLines(context, shown)) printBlocks(context, shown);
}

/** A table in the characters of the terminal. */
interface Laid {
  readonly columns: readonly { readonly text: string; readonly over: string; readonly right: boolean }[];
  readonly rows: readonly (readonly string[] | string)[];
  readonly lookOf: (row: number, column: number) => Look | null;
  readonly indent: string;
}

/** A line for each row; false, and nothing printed, where the terminal is too narrow. */
function printLines(context: Context, { columns, rows, lookOf, indent }: Laid): boolean {
  const paint = paintFor(context, 'out');
  const width = widthFor(context, 'out');
  const cells = rows.filter((row) => typeof row !== 'string');
  const widths = columns.map(({ text }, i) => Math.max(widthOf(text), ...cells.map((row) => widthOf(row[i] ?? ''))));
  const groups = groupsOf(columns);
  for (const { over, first, last } of groups) {
    // What stands over the columns needs its room as well.
    const room = widths.slice(first, last + 1).reduce((sum, w) => sum + w + 2, -2);
    widths[first]! += Math.max(0, widthOf(over) - room);
  }
  const starts = widths.map((_, i) => widthOf(indent) + widths.slice(0, i).reduce((sum, w) => sum + w + 2, 0));
  const before = starts.at(-1)!;
  if (width - before < Math.min(LEAST_WRAPPED, widths.at(-1)!)) return false;

  const line = (entries: readonly string[], lookAt: (column: number) => Look | null): string => {
    const all = entries.map((text, i) => {
      const last = i === entries.length - 1;
      const { right } = columns[i]!;
      const own = last && !right ? wrap(text, ' '.repeat(before), ' '.repeat(before), width).slice(before) : text;
      const room = ' '.repeat(Math.max(0, widths[i]! - widthOf(text)));
      const look = lookAt(i);
      return (right ? room : '') + (look === null ? own : paint(look, own)) + (right || last ? '' : room);
    });
    return (indent + all.join('  ')).replace(/ +$/gm, '');
  };
  if (groups.some(({ over }) => over !== '')) {
    const said = groups.reduce((text, { over, first }) => (over === '' ? text : padTo(text, starts[first]!) + over), '');
    print(context, paint('bold', said));
  }
  print(context, paint('bold', line(columns.map(({ text }) => text), () => null)));
  rows.forEach((row, r) => {
    if (typeof row === 'string') paragraph(context, row, `${indent}  `, indent);
    else print(context, line(row, (column) => lookOf(r, column)));
  });
  return true;
}

/** Neighbours with the same words over them. */
function groupsOf(columns: Laid['columns']): { readonly over: string; readonly first: number; last: number }[] {
  const groups: { readonly over: string; readonly first: number; last: number }[] = [];
  columns.forEach(({ over }, i) => {
    const group = groups.at(-1);
    if (over !== '' && group?.over === over) group.last = i;
    else groups.push({ over, first: i, last: i });
  });
  return groups;
}

function printBlocks(context: Context, { columns, rows, lookOf, indent }: Laid): void {
  const paint = paintFor(context, 'out');
  const width = widthFor(context, 'out');
  const heads = columns.map(({ over, text }) => (over === '' ? text : `${over} ${text}`));
  const painted = (look: Look | null, text: string): string => (look === null ? text : paint(look, text));
  const deepest = Math.max(...heads.slice(1).map(widthOf));
  rows.forEach((row, r) => {
    if (typeof row === 'string') {
      paragraph(context, row, `${indent}  `, indent);
      return;
    }
    if (row.every((text) => text === '')) return;
    const own = indent + /^ */.exec(row[0]!)![0];
    print(context, wrap(painted(lookOf(r, 0), row[0]!.trimStart()), `${own}  `, own, width));
    row.slice(1).forEach((text, i) => {
      if (text === '') return;
      const head = `${own}  ${padTo(heads[i + 1]!, deepest)}  `;
      const body = wrap(text, ' '.repeat(widthOf(head)), head, width);
      print(context, head + painted(lookOf(r, i + 1), body.slice(head.length)));
    });
  });
}

/** `[Enter] record   [s] skip   …`, in as many lines as the terminal needs, indented by two. */
export function keysLine(context: Context, keys: readonly (readonly [key: string, does: string])[]): string {
  const paint = paintFor(context, 'err');
  let column = 2;
  return keys
    .map(([key, does], i) => {
      const length = key.length + does.length + 3;
      const breaks = i > 0 && column + 3 + length >= widthFor(context, 'err');
      column = breaks ? 2 + length : column + (i > 0 ? 3 : 0) + length;
      return `${breaks ? '\n  ' : i > 0 ? '   ' : ''}${paint('bold', `[${key}]`)} ${does}`;
    })
    .join('');
}
