/**
 * A live view of the levels while a gain is set: the steady tone at the level of the takes, or nothing, and a line that
 * is written over.
 *
 * @module
 */
import { printable } from '../src/board/printable.js';
import { LONGEST_S } from './capture-step.js';
import { record } from '../src/capture/record.js';
import type { ChannelLevel } from '../src/capture/levels.js';
import { Problem } from '../src/problems.js';
import { SILENCE_DBFS } from '../src/units/decibels.js';
import { fixed } from '../src/units/format.js';
import type { Keyboard } from './keyboard.js';
import { statement } from './layout.js';
import { bar, plainLines, progress } from './progress.js';
import { checkCeiling, levelText } from './station.js';
import type { Station } from './station.js';
import { widthFor } from './terminal.js';
import type { Context } from './terminal.js';

/** The lowest level that a bar shows. */
const LEAST_SHOWN_DBFS = -80;
/** Headroom that a recorder should have over the tone of a take, dB (common practice, no source). */
const LEAST_ROOM_DB = 6;

/** What to say where an input clips; null where the bench is not calibrated. */
export const gainAdvice = ({ bench }: Station): string | null =>
  bench.inputs.some((i) => i.fullScaleDbu !== null) ? 'The gain is calibrated: once it is turned, run "boardproof calibrate" again, and capture again what was captured before.' : null;

/** Until a key is pressed. What goes wrong is said and ends the view only. */
export async function watchLevels(context: Context, station: Station, keyboard: Keyboard, playing: boolean): Promise<void> {
  const stop = new AbortController();
  const shown = progress(context);
  statement(
    context,
    'err',
    playing
      ? `The tone plays at ${levelText(station.bench, station.levelDbfs)}. ${
          station.bench.inputs.some((i) => i.fullScaleDbu !== null)
            ? `Each output should peak between -40 and -${LEAST_ROOM_DB} dBFS. The gains are calibrated: if one must be turned, run "boardproof calibrate" again, and capture again what was captured before.`
            : `Turn the recorder's gain so that each output peaks between -40 and -${LEAST_ROOM_DB} dBFS, then leave every knob alone.`
        } Enter ends it.`
      : 'Nothing plays. Enter ends it.',
    '  ',
    '  ',
  );
  const plain = plainLines(context);
  const unlisten = keyboard.listen(() => stop.abort());
  try {
    if (playing) checkCeiling(station, 'tone', 'The tone');
    await record(
      station.engine,
      { session: station.session, inputs: station.inputs, playing: playing ? { kind: 'tone', levelDbfs: station.levelDbfs } : { kind: 'nothing' }, name: 'the tone', lengthS: LONGEST_S, endsOn: { clipping: false, silence: false } },
      {
        keep: () => undefined,
        show: (_atS, levels) => {
          const lines = meters(levels.map((l, i) => ({ ...l, name: printable(station.inputs[i]!.output) })), widthFor(context, 'err') - 3).map((line) => `  ${line}`);
          shown.show(lines);
          plain(lines);
        },
        stop: stop.signal,
        interrupt: context.signal,
      },
    );
  } catch (error) {
    if (!(error instanceof Problem) || error.code === 'cli.interrupted' || error.code === 'capture.device-lost') throw error;
    shown.done();
    statement(context, 'err', error.message, '  ', '  ');
  } finally {
    unlisten();
    shown.done();
  }
}

/** `A ████░░░░  -20.1`, side by side where bars of 8 signs and more fit, else below each other. */
export function meters(levels: readonly (Pick<ChannelLevel, 'peakDbfs' | 'clips'> & { readonly name: string })[], width: number): readonly string[] {
  const names = Math.max(...levels.map(({ name }) => name.length));
  const beside = Math.floor((width - 2 * (levels.length - 1)) / levels.length) - names - 8;
  const each = (cells: number): string[] => levels.map(({ name, peakDbfs, clips }) => `${name.padEnd(names)} ${bar(1 - peakDbfs / LEAST_SHOWN_DBFS, cells)} ${clips ? ' CLIPS' : peakDbfs <= SILENCE_DBFS ? '  none' : fixed(peakDbfs, 1).padStart(6)}`);
  return beside >= 8 ? [each(Math.min(24, beside)).join('  ')] : each(Math.max(4, Math.min(24, width - names - 8)));
}
