/**
 * `devices`: what can play and record, with channels and rates, and which is chosen; with a job, the choice is written
 * into its bench.yaml.
 *
 * @module
 */
import { printable } from '../src/board/printable.js';
import type { AudioDevice, DeviceSide } from '../src/capture/engine.js';
import { exitCode, problem } from '../src/problems.js';
import { openJob } from './job.js';
import { table } from './layout.js';
import { nextStep, word } from './next-step.js';
import { progress } from './progress.js';
import { deviceNamed, engineOf, writeBench } from './station.js';
import { printJson } from './terminal.js';
import type { Context } from './terminal.js';

export const DEVICES_FORMAT = 'boardproof-devices/1';

export interface DevicesOptions {
  readonly play?: string;
  readonly record?: string;
  readonly json?: boolean;
}

export async function run(context: Context, [jobPath]: readonly string[], options: DevicesOptions): Promise<number> {
  const job = jobPath === undefined ? null : openJob(jobPath, context);
  const choosing = options.play !== undefined || options.record !== undefined;
  if (choosing && !job) throw problem('cli.usage', { said: 'A choice is kept in the bench.yaml of a job; name the job, as in "boardproof devices pit-board-7 --play interface"' });
  const engine = await engineOf(context);
  const shown = progress(context);
  shown.show('Looking at the audio devices …');
  let devices: readonly AudioDevice[];
  try {
    devices = await engine.devices(true);
  } finally {
    shown.done();
  }
  const play = options.play === undefined ? (job?.bench.output?.device ?? null) : deviceNamed(devices, 'play', options.play);
  const record = options.record === undefined ? (job?.bench.recorder ?? null) : deviceNamed(devices, 'record', options.record);
  if (job && choosing) {
    await writeBench(job, [
      ...(options.play === undefined ? [] : [[['output', 'device'], play!] as const]),
      ...(options.record === undefined ? [] : [[['recorder', 'device'], record!] as const]),
    ]);
  }
  if (options.json) {
    printJson(context, { format: DEVICES_FORMAT, devices, chosen: { play, record } });
    return devices.length > 0 ? exitCode.done : exitCode.unusable;
  }
  const usable = devices.filter((d) => d.plays ?? d.records);
  if (usable.length === 0) throw problem('capture.no-devices', { does: 'play or record' });
  table(
    context,
    ['device', 'plays', 'records', 'rates, kHz', ...(job ? ['chosen to'] : [])],
    usable.map((d) => [
      printable(d.name),
      side(d.plays),
      side(d.records),
      rates(d),
      ...(job ? [[...(d.name === play ? ['play'] : []), ...(d.name === record ? ['record'] : [])].join(', ')] : []),
    ]),
  );
  // What bench.yaml names and is not there is told under what is.
  if (play !== null) deviceNamed(usable, 'play', play);
  if (record !== null) deviceNamed(usable, 'record', record);
  if (!job) nextStep(context, 'keep a choice in bench.yaml', 'boardproof devices <job> --play <name> --record <name>');
  else if (play !== null && record !== null) nextStep(context, 'calibrate the bench with a voltmeter, or record at once', `boardproof calibrate ${word(jobPath!)}`, `boardproof capture ${word(jobPath!)}`);
  else nextStep(context, 'choose', `boardproof devices ${word(jobPath!)} --play <name> --record <name>`);
  return exitCode.done;
}

const side = (s: DeviceSide | null): string => (s === null ? 'no' : s.channels === null ? 'yes' : `${s.channels} channel${s.channels === 1 ? '' : 's'}`);

function rates({ plays, records }: AudioDevice): string {
  const each = [plays, records].flatMap((s) => (s?.ratesHz ? [s.ratesHz] : []));
  const both = each[0]?.filter((hz) => each.every((list) => list.includes(hz))) ?? [];
  return both.length === 0 ? 'unknown' : both.map((hz) => String(hz / 1000)).join(', ');
}
