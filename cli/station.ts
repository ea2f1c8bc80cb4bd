/**
 * The bench, ready to play and record: devices, channels, rate and level, from bench.yaml and the command line; and what
 * is said before the first sound.
 *
 * @module
 */
import fs from 'node:fs';
import path from 'node:path';
import { setTimeout as wait } from 'node:timers/promises';
import { setYamlValue } from '../src/board/edit-yaml.js';
import type { KeyPath } from '../src/board/fault.js';
import type { Bench } from '../src/board/model.js';
import { nearest } from '../src/board/nearest.js';
import { printable } from '../src/board/printable.js';
import { readBench } from '../src/board/read.js';
import type { AudioDevice, AudioEngine, DeviceSide, SessionRequest } from '../src/capture/engine.js';
import { highestOf } from '../src/capture/programme.js';
import type { RecordRequest } from '../src/capture/record.js';
import { problem } from '../src/problems.js';
import { DEFAULT_LEVEL_DBFS, LEVEL_STEP_DB, LOWEST_LEVEL_DBFS } from '../src/signals/reference.js';
import type { ReferenceName } from '../src/signals/reference.js';
import { fixed } from '../src/units/format.js';
import { writeFileAtomic } from './files.js';
import type { Job } from './job.js';
import type { Keyboard } from './keyboard.js';
import { aside, wrap } from './layout.js';
import { paintFor, signs, widthFor } from './terminal.js';
import type { Context } from './terminal.js';

export const DEFAULT_RATE_HZ = 48000;

export interface Station {
  readonly engine: AudioEngine;
  readonly session: RecordRequest['session'];
  readonly inputs: RecordRequest['inputs'];
  /** What takes and tones are played at. */
  readonly levelDbfs: number;
  /** Nothing is played above: see {@link ceilingOf}; Infinity where a key allowed a step to. */
  readonly ceilingDbfs: number;
  readonly bench: Bench;
}

export interface StationOptions {
  readonly level?: string;
  readonly play?: string;
  readonly record?: string;
}

/** The program's engine, or the one that the context brings. */
export async function engineOf(context: Context): Promise<AudioEngine> {
  return context.audio ?? (await import('./audio-engine.js')).createAudioEngine();
}

/** @throws Problem `signals.level` */
export function levelOption(text: string): number {
  // A minus sign copied from print.
  const plain = text.replace('−', '-').replace(/\s*dBFS$/i, '');
  const level = /^[+-]?\d+(\.\d+)?$/.test(plain) ? Number(plain) : NaN;
  const fits = level <= 0 && level >= LOWEST_LEVEL_DBFS && Number.isInteger(level / LEVEL_STEP_DB);
  if (!fits) throw problem('signals.level', { said: text, lowestDbfs: LOWEST_LEVEL_DBFS, stepDb: LEVEL_STEP_DB });
  return level;
}

/** The ceiling of bench.yaml, or else its level; `--level` lifts it to the level it asks for, and by asking for less lifts nothing. */
export const ceilingOf = (bench: Bench | null, askedDbfs: number | null): number =>
  Math.max(bench?.output?.ceilingDbfs ?? bench?.output?.levelDbfs ?? DEFAULT_LEVEL_DBFS, askedDbfs ?? -Infinity);

/** Opens nothing yet; asks which device where bench.yaml does not say and there are several, and writes the answer down. */
export async function stationOf(context: Context, job: Job, options: StationOptions): Promise<Station> {
  const { bench } = job;
  const engine = await engineOf(context);
  const names = { play: options.play ?? bench.output?.device ?? null, record: options.record ?? bench.recorder ?? null };
  const play = await deviceFor(context, engine, 'play', names.play, job);
  const record = await deviceFor(context, engine, 'record', names.record, job);
  const level = options.level === undefined ? null : levelOption(options.level);
  return {
    engine,
    session: {
      sampleRateHz: bench.sampleRateHz ?? DEFAULT_RATE_HZ,
      play: { device: play, channel: bench.output?.channel ?? 1 },
      record: { device: record, channels: Math.max(...bench.inputs.map((i) => i.channel)) },
    },
    inputs: bench.inputs.map(({ channel, output }) => ({ channel, output })),
    levelDbfs: level ?? bench.output?.levelDbfs ?? DEFAULT_LEVEL_DBFS,
    ceilingDbfs: ceilingOf(bench, level),
    bench,
  };
}

type Does = 'play' | 'record';

/** A device that is busy for a moment is left out of the list: what is missing is looked for once more. */
async function devicesWith(engine: AudioEngine, does: Does, wanted: string | null): Promise<readonly AudioDevice[]> {
  const devices = await engine.devices(false);
  const names = canOf(devices, does);
  if (wanted === null ? names.length > 0 : names.includes(wanted)) return devices;
  await wait(1000);
  return engine.devices(false);
}

const sideOf = (device: AudioDevice, does: Does): DeviceSide | null => (does === 'play' ? device.plays : device.records);

/** `: 2 channels, 44.1, 48 kHz` */
function sideText({ channels, ratesHz }: DeviceSide): string {
  const known = [...(channels === null ? [] : [`${channels} channel${channels === 1 ? '' : 's'}`]), ...(ratesHz === null ? [] : [`${ratesHz.map((hz) => hz / 1000).join(', ')} kHz`])];
  return known.length === 0 ? '' : `: ${known.join(', ')}`;
}

const canOf = (devices: readonly AudioDevice[], does: Does): string[] => devices.filter((d) => sideOf(d, does) !== null).map((d) => d.name);

/** Finds a device by its name. @throws `capture.no-devices`, `capture.unknown-device` */
export function deviceNamed(devices: readonly AudioDevice[], does: Does, name: string): string {
  const names = canOf(devices, does);
  if (names.length === 0) throw problem('capture.no-devices', { does });
  const meant = names.find((n) => n === name) ?? names.find((n) => n.toLowerCase() === name.toLowerCase());
  if (meant === undefined) throw problem('capture.unknown-device', { name, does, known: names, nearest: nearest(name, names) });
  return meant;
}

/**
 * The device that is to play or record: the one that is named, or else the only one that can, or the one that is chosen where somebody can
 * be asked. What was not named is written down in the job.
 *
 * @throws `capture.no-devices`, `capture.unknown-device`, `capture.choose-device`
 */
export async function deviceFor(context: Context, engine: AudioEngine, does: Does, name: string | null, job: Job | null): Promise<string> {
  // What was typed ahead answers no question that is still to come.
  context.keyboard?.listen(() => undefined)();
  const devices = await devicesWith(engine, does, name);
  if (name !== null) return deviceNamed(devices, does, name);
  const names = canOf(devices, does);
  if (names.length === 1) return names[0]!;
  // Opened only where there is a choice: that takes a moment.
  const able = names.length === 0 ? [] : (await engine.devices(true)).filter((d) => sideOf(d, does) !== null);
  if (able.length === 0) throw problem('capture.no-devices', { does });
  if (able.length === 1) {
    aside(context, `"${printable(able[0]!.name)}" is the only device that can ${does}.`);
  } else if (!context.keyboard) {
    throw problem('capture.choose-device', { does, known: able.map((d) => d.name), inJob: job !== null });
  }
  const picked = able.length === 1 ? able[0]!.name : await picking(context.keyboard!, context, able, does);
  if (job) {
    await writeBench(job, [[does === 'play' ? ['output', 'device'] : ['recorder', 'device'], picked]]);
    aside(context, `Written down in bench.yaml; "boardproof devices" changes it.`);
  }
  return picked;
}

async function picking(keyboard: Keyboard, context: Context, able: readonly AudioDevice[], does: Does): Promise<string> {
  context.err.write(`\nWhich device is to ${does}?\n`);
  able.forEach((d, i) => context.err.write(`  ${i + 1}  ${printable(d.name)}${sideText(sideOf(d, does)!)}\n`));
  for (;;) {
    const typed = await keyboard.line(`Number, 1 to ${able.length}, or q to stop: `);
    if (typed === null || typed.toLowerCase() === 'q') throw problem('cli.interrupted', {});
    const picked = able[Number(typed) - 1]?.name;
    if (picked !== undefined) return picked;
  }
}

/** Changes values in bench.yaml and nothing else. */
export async function writeBench(job: Job, edits: readonly (readonly [path: KeyPath, value: string])[]): Promise<void> {
  const file = path.join(job.folder, 'bench.yaml');
  let text: string | null = fs.readFileSync(file, 'utf8');
  for (const [at, value] of edits) text = text === null ? null : setYamlValue(text, at, value);
  const keys = edits.map(([at, value]) => `${at.join('.')}: ${value}`).join(', ');
  if (text === null || !readBench(text, job.board.outputs.map((o) => o.id)).ok) throw problem('capture.bench-not-written', { keys });
  await writeFileAtomic(file, text);
}

/** `-20 dBFS (-8 dBu at the bench output)` */
export function levelText(bench: Bench, dbfs: number): string {
  const fullScale = bench.output?.fullScaleDbu?.value;
  return `${dbfs} dBFS${fullScale === undefined ? '' : ` (${fixed(dbfs + fullScale, 1)} dBu at the bench output)`}`;
}

/** @throws Problem `capture.ceiling` where a signal would go above it. */
export function checkCeiling(station: Pick<Station, 'levelDbfs' | 'ceilingDbfs'>, signal: ReferenceName, what: string): void {
  const highest = highestOf(signal, station.levelDbfs);
  if (highest > station.ceilingDbfs) throw problem('capture.ceiling', { what, levelDbfs: highest, ceilingDbfs: station.ceilingDbfs, rises: highest > station.levelDbfs });
}

/** Streams that have shown it whole. */
const warned = new WeakSet();

/** What is said before the first sound. Shown with --quiet too; in one line where it was shown before. */
export function warn(context: Context): void {
  const paint = paintFor(context, 'err');
  const width = widthFor(context, 'err');
  if (warned.has(context.err)) {
    context.err.write(`\n${wrap(`${paint('yellow', 'BEFORE ANY SOUND')}: amplifiers off, loudspeakers and headphones unplugged, as before.`, '  ', '', width)}\n`);
    return;
  }
  warned.add(context.err);
  const lines = [
    'Switch power amplifiers off and unplug loudspeakers and headphones, and leave them so: steady tones and sweeps harm hearing and loudspeakers at levels at which music does not.',
    'No loudspeaker output of an amplifier goes into the board or the interface; 48 V phantom power is off. Protective earth stays connected on everything; work on mains wiring is for licensed people under local rules.',
  ];
  context.err.write(`\n${paint('yellow', 'BEFORE ANY SOUND')}\n${lines.map((l) => wrap(signs(context, l), '  ', '  ', width)).join('\n')}\n`);
}

/** Which devices, channels, rate: one line each. */
export function stationLines(session: SessionRequest, inputs: Station['inputs']): string {
  const heard = inputs.map(({ channel, output }) => `input ${channel} hears output ${output}`).join(', ');
  return `Plays on "${printable(session.play.device)}", output ${session.play.channel}. Records on "${printable(session.record?.device ?? '')}": ${heard}. ${session.sampleRateHz} Hz.`;
}
