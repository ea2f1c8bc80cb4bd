/**
 * `play`: a reference signal, looped, at a level, to a device, until it is stopped.
 *
 * @module
 */
import { printable } from '../src/board/printable.js';
import type { AudioEngine } from '../src/capture/engine.js';
import { sink } from '../src/capture/record.js';
import { APPROACH_DB, APPROACH_S, highestOf, programmeOf, steadyLoop } from '../src/capture/programme.js';
import { exitCode, problem } from '../src/problems.js';
import { DEFAULT_LEVEL_DBFS, HIGHEST_RATE_HZ, LOWEST_RATE_HZ, REFERENCE_NAMES, checkReferenceSettings } from '../src/signals/reference.js';
import type { ReferenceName } from '../src/signals/reference.js';
import { nearest } from '../src/board/nearest.js';
import { fixed } from '../src/units/format.js';
import { openJob } from './job.js';
import { keyOf } from './keyboard.js';
import { aside, keysLine } from './layout.js';
import { progress } from './progress.js';
import { DEFAULT_RATE_HZ, ceilingOf, checkCeiling, deviceFor, engineOf, levelOption, levelText, warn } from './station.js';
import { print } from './terminal.js';
import type { Context } from './terminal.js';

export interface PlayOptions {
  readonly job?: string;
  readonly play?: string;
  readonly channel?: string;
  readonly rate?: string;
  readonly level?: string;
  readonly seconds?: string;
  readonly yes?: boolean;
}

const whole = (text: string | undefined, low: number, high: number, option: string): number | null => {
  if (text === undefined) return null;
  const value = Number(text);
  if (!Number.isInteger(value) || value < low || value > high) throw problem('cli.usage', { said: `${option} is ${text}, but must be a whole number from ${low} to ${high}` });
  return value;
};

export async function run(context: Context, [name]: readonly string[], options: PlayOptions): Promise<number> {
  const signal = REFERENCE_NAMES.find((n) => n === name);
  if (!signal) throw problem('capture.no-signal', { name: name!, known: REFERENCE_NAMES, nearest: nearest(name!, REFERENCE_NAMES) });
  const job = options.job === undefined ? null : openJob(options.job, context);
  const bench = job?.bench ?? null;
  const sampleRateHz = whole(options.rate, LOWEST_RATE_HZ, HIGHEST_RATE_HZ, '--rate') ?? bench?.sampleRateHz ?? DEFAULT_RATE_HZ;
  const channel = whole(options.channel, 1, 64, '--channel') ?? bench?.output?.channel ?? 1;
  const seconds = whole(options.seconds, 1, 86_400, '--seconds');
  const level = options.level === undefined ? null : levelOption(options.level);
  const levelDbfs = level ?? bench?.output?.levelDbfs ?? DEFAULT_LEVEL_DBFS;
  checkCeiling({ levelDbfs, ceilingDbfs: ceilingOf(bench, level) }, signal, `The ${signal}`);
  const highest = highestOf(signal, levelDbfs);
  checkReferenceSettings({ sampleRateHz, levelDbfs });
  if (!context.keyboard && (!options.yes || seconds === null)) {
    throw problem('cli.no-terminal', { instead: 'say how long to play with --seconds, and with --yes that nothing is connected that can be heard' });
  }
  const engine = await engineOf(context);
  const device = await deviceFor(context, engine, 'play', options.play ?? bench?.output?.device ?? null, job);
  warn(context);
  context.err.write('\n');
  const shownLevel = bench ? levelText(bench, highest) : `${highest} dBFS`;
  aside(context, `Plays the ${signal} on "${printable(device)}", output ${channel}, ${sampleRateHz} Hz, over and over, at up to ${shownLevel}.`);
  if (context.keyboard && !options.yes) {
    context.err.write(`${keysLine(context, [['Enter', 'play'], ['q', 'stop']])} `);
    if ((await keyOf(context.keyboard, ['enter', 'q'], context.signal)) === 'q') return exitCode.done;
    context.err.write('\n');
  }
  const playedS = await playOn(context, engine, { signal, device, channel, sampleRateHz, levelDbfs, seconds });
  print(context, `Played the ${signal} for ${fixed(playedS, 0)} s at up to ${shownLevel}.`);
  return exitCode.done;
}

interface Played {
  readonly signal: ReferenceName;
  readonly device: string;
  readonly channel: number;
  readonly sampleRateHz: number;
  readonly levelDbfs: number;
  /** Null: until a key. */
  readonly seconds: number | null;
}

/** Seconds that it played. */
async function playOn(context: Context, engine: AudioEngine, { signal, device, channel, sampleRateHz, levelDbfs, seconds }: Played): Promise<number> {
  const session = await engine.open({ sampleRateHz, play: { device, channel }, record: null });
  const shown = progress(context);
  let ended = context.signal?.aborted === true;
  const end = (): void => {
    ended = true;
  };
  context.signal?.addEventListener('abort', end);
  const unlisten = context.keyboard?.listen((key) => {
    if (key === 'enter' || key === 'q') end();
  });
  let first: number | null = null;
  let playedS = 0;
  try {
    // The tone rises by itself. A coded signal is played with its own approach, over and over: each pass begins low.
    const samples = signal === 'tone' ? steadyLoop(levelDbfs, sampleRateHz) : programmeOf(signal, { sampleRateHz, levelDbfs, stepCode: 0 }).samples;
    session.play({ samples, loop: true, ramp: signal === 'tone' ? { fromDb: APPROACH_DB, toDb: 0, seconds: APPROACH_S } : { fromDb: 0, toDb: 0, seconds: 0.1 } });
    const blocks = session.blocks[Symbol.asyncIterator]();
    while (!ended) {
      const { value: block, done } = await blocks.next();
      if (done === true) break;
      first ??= block.frame;
      playedS = (block.frame + block.frames - first) / sampleRateHz;
      shown.show(`  playing, ${fixed(playedS, 0)} s${seconds === null ? '' : ` of ${seconds} s`}${context.keyboard ? '   Enter ends it' : ''}`);
      if (seconds !== null && playedS >= seconds) ended = true;
    }
    await sink(session, blocks, sampleRateHz);
  } finally {
    unlisten?.();
    context.signal?.removeEventListener('abort', end);
    shown.done();
    session.close();
  }
  if (context.signal?.aborted) throw problem('cli.interrupted', {});
  return playedS;
}
