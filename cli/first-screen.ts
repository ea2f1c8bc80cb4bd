/**
 * What is shown where nothing was asked: what the program is, and the way from a board to its report.
 *
 * @module
 */
import { wrap } from './layout.js';
import { paintFor, widthFor } from './terminal.js';
import type { Context } from './terminal.js';

const WAY: readonly (readonly [command: string, does: string])[] = [
  ['new pit-board-7', 'makes the job; fill in its two files'],
  ['check pit-board-7', 'says what is wrong with them'],
  ['calibrate pit-board-7', 'levels in dBu, from a voltmeter'],
  ['capture pit-board-7', 'plays and records here, step by step'],
  ['import pit-board-7 take.wav', 'or files recordings made elsewhere'],
  ['signoff pit-board-7', 'figures, verdict and report'],
];

export function firstScreen(context: Context): void {
  const paint = paintFor(context, 'err');
  const width = widthFor(context, 'err');
  const say = (text: string): unknown => context.err.write(`${text}\n`);
  const line = (command: string, does: string): void => {
    const typed = `boardproof ${command}`;
    say(width < 72 ? `  ${paint('bold', typed)}\n${wrap(does, '      ', '      ', width)}` : `  ${paint('bold', typed)}${' '.repeat(41 - typed.length)}${does}`);
  };
  say(wrap("boardproof proves that a pedalboard is quiet, keeps the instrument's tone, and that its outputs match.", '', '', width));
  say(`\n${wrap('See it work, in two minutes, on a board that does not exist:', '', '', width)}`);
  line('demo', 'recordings, figures, faults, report');
  say(`\n${wrap('With a board of your own:', '', '', width)}`);
  for (const [command, does] of WAY) line(command, does);
  say('');
  line('help', 'every command');
  line('help import', 'one command, with examples');
}
