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
      lines.push(line);
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

/** A last column with this much room is wrapped within it. */
const LEAST_WRAPPED = 16;

/**
 * Prints a table of the result: a line of heads, then a line for each row, columns two spaces apart. Where the terminal is
 * too narrow for that, each row is a block of its own: its first entry, then a line for each of the others behind its head.
 *
 * @param rows - A row that is a string alone is a line of its own, over the rows that follow it.
 */
export function table(context: Context, heads: readonly string[], rows: readonly (readonly Cell[] | string)[], indent = ''): void {
  const paint = paintFor(context, 'out');
  const width = widthFor(context, 'out');
  const plain = rows.map((row) => (typeof row === 'string' ? [] : row.map((cell) => signs(context, textOf(cell)))));
  const over = (row: number): boolean => {
    const text = rows[row];
    if (typeof text === 'string') paragraph(context, text, `${indent}  `, indent);
    return typeof text === 'string';
  };
  const widths = heads.map((head, i) => Math.max(widthOf(head), ...plain.map((row) => widthOf(row[i] ?? ''))));
  const painted = (row: number, column: number, text: string): string => {
    const cell = rows[row]![column] as Cell | undefined;
    return cell === undefined || typeof cell === 'string' ? text : paint(cell[0], text);
  };
  const before = widthOf(indent) + widths.slice(0, -1).reduce((sum, w) => sum + w + 2, 0);
  const room = width - before;
  if (room >= Math.min(LEAST_WRAPPED, widths.at(-1) ?? 0)) {
    const line = (cells: readonly string[], row: number | null): string => {
      const shown = cells.map((text, i) => {
        const last = i === cells.length - 1;
        const own = last ? wrap(text, ' '.repeat(before), ' '.repeat(before), width).slice(before) : text;
        return (row === null ? own : painted(row, i, own)) + (last ? '' : ' '.repeat(widths[i]! - widthOf(text)));
      });
      return (indent + shown.join('  ')).replace(/ +$/gm, '');
    };
    print(context, paint('bold', line(heads.map((head) => signs(context, head)), null)));
    plain.forEach((row, i) => {
      if (!over(i)) print(context, line(row, i));
    });
    return;
  }
  const deepest = Math.max(...heads.slice(1).map(widthOf));
  plain.forEach((row, r) => {
    if (over(r) || row.every((text) => text === '')) return;
    print(context, wrap(painted(r, 0, row[0]!), `${indent}  `, indent, width));
    row.slice(1).forEach((text, i) => {
      if (text === '') return;
      const head = `${indent}  ${padTo(signs(context, heads[i + 1]!), deepest)}  `;
      const body = wrap(text, ' '.repeat(widthOf(head)), head, width);
      print(context, head + painted(r, i + 1, body.slice(head.length)));
    });
  });
}
