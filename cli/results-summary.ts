/**
 * Results as a summary for the terminal: the verdict, what was found, and the readings that have a limit.
 *
 * @module
 */
import { printable } from '../src/board/printable.js';
import type { Reading, Results } from '../src/judge/results.js';
import { paintFor, print } from './terminal.js';
import type { Context, Look } from './terminal.js';

const WORDS: Readonly<Record<Reading['verdict'], { word: string; look: Look }>> = {
  pass: { word: 'pass', look: 'green' },
  fail: { word: 'FAIL', look: 'red' },
  undecided: { word: 'open', look: 'yellow' },
  'bench-limited': { word: 'bench', look: 'yellow' },
  info: { word: '', look: 'dim' },
};

const VERDICT_LOOK: Readonly<Record<Results['verdict']['word'], Look>> = { pass: 'green', fail: 'red', undecided: 'yellow', 'not complete': 'yellow' };

/** Value, uncertainty and unit in at most 22 characters. */
export function valueText(r: Reading): string {
  if (r.value === null) return '—';
  if (r.unit === 'sign') return r.value > 0 ? 'same' : 'inverted';
  const u = r.uncertainty;
  const mark = r.bound === 'upper' ? '< ' : r.bound === 'lower' ? '> ' : '';
  if (r.bound !== null || u === null || u === 0) return `${mark}${plain(r.value, 1)} ${r.unit}`;
  // Two significant digits of the uncertainty, three decimals at most, and the value to the same place.
  const digits = Math.max(0, Math.min(u < 0.0095 ? 3 : 2, 1 - Math.floor(Math.log10(u))));
  return `${plain(r.value, digits)} ± ${u < 0.0005 ? '0.001' : u.toFixed(digits)} ${r.unit}`;
}

/** Fixed decimals without a minus before zero. */
const plain = (v: number, digits: number): string => v.toFixed(digits).replace(/^-(0(?:\.0*)?)$/, '$1');

export function limitText(r: Reading): string {
  const { limit } = r;
  if (!limit) return '';
  if (r.unit === 'sign') return limit.within?.[0] === -1 ? 'inverted' : 'same';
  if (limit.within) {
    const [a, b] = limit.within;
    return a === -b ? `±${b}` : `${a} … ${b}`;
  }
  return limit.max !== null ? `≤ ${limit.max}` : `≥ ${limit.min}`;
}

function wrap(text: string, indent: string): string {
  const lines: string[] = [];
  let line = indent;
  for (const word of text.split(' ')) {
    if (line.length + word.length + 1 > 79 && line.trim() !== '') {
      lines.push(line);
      line = indent;
    }
    line += line === indent ? word : ` ${word}`;
  }
  lines.push(line);
  return lines.join('\n');
}

const place = (r: Reading): string => `${r.state}${r.source ? `+${r.source}` : ''}`;

/** Prints the whole summary. */
export function printSummary(context: Context, results: Results): void {
  const paint = paintFor(context, 'out');
  const { verdict, board } = results;
  print(context, paint('bold', `${printable(board.name)}${board.serial ? `, ${printable(board.serial)}` : ''}`) + (board.invented ? '   (invented: this board does not exist)' : ''));
  print(context, paint(VERDICT_LOOK[verdict.word], wrap(verdict.sentence, '')));
  for (const remark of results.conditions.remarks) print(context, wrap(`Note: ${printable(remark)}`, ''));
  for (const p of results.problems.filter((q) => q.code !== 'reading.no-value')) print(context, wrap(`Not used: ${printable(p.message)}`, ''));
  if (verdict.missing.length > 0) print(context, wrap(`Missing: ${verdict.missing.join(', ')}`, ''));

  if (results.findings.length > 0) {
    print(context, `\n${paint('bold', 'Found')}`);
    results.findings.forEach((f, i) => {
      print(context, wrap(`${i + 1}. ${printable(f.title)}`, '     ').replace(/^ {5}/, f.severity === 'fault' ? `${paint('red', '✗')} ` : `${paint('yellow', '!')} `));
      print(context, wrap(`likely: ${printable(f.cause)}`, '     '));
      print(context, wrap(`try: ${printable(f.tryNext)}`, '     '));
    });
  }

  // What is inside its limit is counted; what is not is shown.
  const open = results.readings.filter((r) => r.verdict !== 'info' && r.verdict !== 'pass');
  if (open.length > 0) {
    print(context, `\n${paint('bold', 'Outside or not decided')}`);
    print(context, `${'reading'.padEnd(23)}${'state'.padEnd(19)}${'out'.padEnd(4)}${'value'.padEnd(20)}${'limit'.padEnd(8)}`.trimEnd());
    for (const r of [...open].sort((a, b) => Number(b.verdict === 'fail') - Number(a.verdict === 'fail'))) {
      const { word, look } = WORDS[r.verdict];
      print(context, `${r.id.padEnd(22)} ${place(r).padEnd(18)} ${(r.output ?? '').padEnd(3)} ${valueText(r).padEnd(19)} ${limitText(r).padEnd(7)} ${paint(look, word)}`);
    }
  }
}
