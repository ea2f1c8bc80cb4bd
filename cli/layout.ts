/**
 * Text laid out for a terminal of 80 columns.
 *
 * @module
 */

export const WIDTH = 80;

/** Characters as a person counts them: combined marks and emoji sequences are one. */
const segmenter = new Intl.Segmenter(undefined, { granularity: 'grapheme' });
export const widthOf = (text: string): number => [...segmenter.segment(text)].length;

export const padTo = (text: string, width: number): string => text + ' '.repeat(Math.max(0, width - widthOf(text)));

/** Breaks text at spaces; every line begins with `indent`, the first with `first`. */
export function wrap(text: string, indent = '', first = indent): string {
  const lines: string[] = [];
  let line = first;
  let empty = true;
  for (const word of text.split(' ')) {
    if (!empty && widthOf(line) + 1 + widthOf(word) > WIDTH) {
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
export function columns(rows: readonly (readonly string[])[], indent = '  '): string {
  const widths = (rows[0] ?? []).map((_, i) => Math.max(...rows.map((row) => widthOf(row[i]!))));
  return rows.map((row) => (indent + row.map((cell, i) => padTo(cell, widths[i]!)).join('  ')).trimEnd()).join('\n');
}
