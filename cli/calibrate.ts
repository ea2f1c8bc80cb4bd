/**
 * `calibrate`: what 0 dBFS is, from a voltmeter's reading of a steady tone; then the bench's own response, noise and
 * distortion, and whether it can see what the limits ask for. Without a device, from a recording of the tone.
 *
 * @module
 */
import path from 'node:path';
import type { KeyPath } from '../src/board/fault.js';
import { printable } from '../src/board/printable.js';
import { USUAL_OUTPUT_DBU } from '../src/board/unlikely.js';
import { benchSight } from '../src/capture/bench-sight.js';
import type { Read, Sight, SightReading } from '../src/capture/bench-sight.js';
import { fullScaleText, inputFullScale, outputFullScale, readMeter, toneLevel, voltsText } from '../src/capture/calibration.js';
import type { ChannelLevel } from '../src/capture/levels.js';
import type { FullScale, MeterReading, ToneLevel } from '../src/capture/calibration.js';
import { record, SETTLE_S, STEER_S, TAIL_S } from '../src/capture/record.js';
import { loopLoading } from '../src/measure/calibration.js';
import { extremes } from '../src/measure/response.js';
import type { Extreme, ResponseExtremes } from '../src/measure/response.js';
import { exitCode, problem } from '../src/problems.js';
import type { Problem } from '../src/problems.js';
import { DEFAULT_LEVEL_DBFS } from '../src/signals/reference.js';
import { SILENCE_DBFS } from '../src/units/decibels.js';
import { fixed, frequencyText } from '../src/units/format.js';
import { captured } from './capture.js';
import { estimateAll } from './estimate-pool.js';
import { benchRoundTripS, openJob } from './job.js';
import type { Job } from './job.js';
import { keyOf } from './keyboard.js';
import type { Keyboard } from './keyboard.js';
import { aside, keysLine, paragraph, statement, table, wrap } from './layout.js';
import { estimateRequest } from './measuring.js';
import { nextCapture } from './next-step.js';
import { liveLines, plainLines, progress } from './progress.js';
import { openRecording } from './recording-files.js';
import { checkCeiling, levelOption, levelText, stationLines, stationOf, warn, writeBench } from './station.js';
import type { Station, StationOptions } from './station.js';
import { printJson, signs, widthFor } from './terminal.js';
import type { Context } from './terminal.js';

export const CALIBRATION_FORMAT = 'boardproof-calibration/1';

export interface CalibrateOptions extends StationOptions {
  readonly reading?: string;
  readonly yes?: boolean;
  readonly json?: boolean;
}

interface Calibrated {
  /** What was read, and of which tone. */
  readonly read: { readonly dbu: number; readonly playedDbfs: number };
  readonly output: FullScale;
  /** What the inputs took off the output meanwhile, dB: between these. */
  readonly loading: { readonly lowDb: number; readonly highDb: number };
  readonly inputs: readonly { readonly channel: number; readonly output: string; readonly fullScale: FullScale }[];
}

/** Where the tone begins, and by how much a key raises it, dB. */
const START_DBFS = -40;
const RAISE_DB = 5;
/** No softer than this. */
const SOFTEST_DBFS = -60;
/** A peak below this is no tone, but noise: START_DBFS through 40 dB of loss. */
const QUIETEST_TONE_DBFS = -80;
/** What a reading takes beside the question for it. */
const ANSWER_COLUMNS = 12;
/** How much of the tone is listened to, s. */
const LISTEN_S = 3;

export async function run(context: Context, [jobPath, wav]: readonly string[], options: CalibrateOptions): Promise<number> {
  const job = openJob(jobPath!, context);
  const given = options.reading === undefined ? null : (readMeter(options.reading) ?? refuse(options.reading));
  let done: Calibrated | null;
  if (wav !== undefined) {
    if (!given) throw problem('cli.usage', { said: 'A recording of the tone is calibrated with what the voltmeter showed; give it with --reading, as in --reading "0.775 V"' });
    const playedDbfs = options.level === undefined ? DEFAULT_LEVEL_DBFS : levelOption(options.level);
    const doubt = unlikely(given, playedDbfs, options.reading!);
    if (doubt) throw doubt;
    done = fromRecording(context, job, wav, given, playedDbfs);
  } else if (context.keyboard && !options.yes) {
    done = await atTheBench(context, job, context.keyboard, options);
    if (done === null) return exitCode.done;
  } else {
    if (!given || !options.yes) throw problem('cli.no-terminal', { instead: 'give what the voltmeter shows while the tone plays, with --reading and --yes, or a recording of the tone' });
    const station = await stationOf(context, job, options);
    const doubt = unlikely(given, station.levelDbfs, options.reading!);
    if (doubt) throw doubt;
    warn(context);
    aside(context, `Plays 997 Hz at ${levelText(station.bench, station.levelDbfs)} for ${fixed(LISTEN_S + SETTLE_S, 0)} s; the reading must be of this tone.`);
    done = settle(job, given, station.levelDbfs, await listen(context, station, station.levelDbfs));
  }
  await keep(job, done);
  if (!options.json) say(context, done);
  const earlier = job.captures.size;
  if (earlier > 0) aside(context, `${earlier} capture${earlier === 1 ? ' was' : 's were'} made before and will be judged with this: right only if no gain was turned since.`);
  if (wav === undefined && context.keyboard && !options.yes) await captureBench(context, jobPath!, options);
  const now = openJob(jobPath!, context);
  const seen = await benchSeen(context, now);
  const trip = benchRoundTripS(now);
  if (options.json) printJson(context, document(done, seen, trip));
  else {
    saySight(context, seen.sights);
    sayResponse(context, seen.responses);
    sayRoundTrip(context, trip, wav !== undefined);
  }
  nextCapture(context, now, jobPath!);
  return exitCode.done;
}

/** A reading that makes 0 dBFS what no interface has: most of all V for mV. */
function unlikely(reading: MeterReading, playedDbfs: number, said: string): Problem | null {
  const dbu = reading.dbu - playedDbfs;
  const [lowDbu, highDbu] = USUAL_OUTPUT_DBU;
  return dbu >= lowDbu && dbu <= highDbu ? null : problem('capture.reading-unlikely', { said, playedDbfs, dbu, lowDbu, highDbu });
}

function refuse(said: string): never {
  throw problem('capture.reading', { said });
}

/** The tone, raised until the meter reads well, and what it reads. Null where the builder stops. */
async function atTheBench(context: Context, job: Job, keyboard: Keyboard, options: CalibrateOptions): Promise<Calibrated | null> {
  const station = await stationOf(context, job, options);
  const { bench } = job;
  aside(context, stationLines(station.session, station.inputs));
  warn(context);
  context.err.write('\n');
  const inputs = bench.inputs.map((i) => i.channel).sort((a, b) => a - b).join(' and ');
  aside(context, `Board left out. Bench output ${station.session.play.channel} straight to recorder input${bench.inputs.length > 1 ? 's' : ''} ${inputs}${bench.inputs.length > 1 ? ' at once (Y lead)' : ''}, and the voltmeter across the same lead: one probe on the tip, one on the sleeve. Set it to AC volts; it must be good at 1 kHz (a true-rms meter is best).`, '          ', '  Patch   ');
  const start = Math.min(START_DBFS, station.levelDbfs, mostOf(station));
  aside(context, `a steady 997 Hz tone from ${levelText(bench, start)} on; never above ${levelText(bench, mostOf(station))}.`, '          ', '  Plays   ');
  context.err.write(`  ${keysLine(context, [['Enter', 'play'], ['q', 'stop']])} `);
  if ((await keyOf(keyboard, ['enter', 'q'], context.signal)) === 'q') return null;
  context.err.write('\n');
  aside(context, 'Raise the tone until the meter shows three steady digits. An input that comes near 0 dBFS is turned down at the recorder, and every knob is left alone from then on.', '  ', '  ');
  context.err.write(`  ${keysLine(context, [['+', `${RAISE_DB} dB louder`], ['-', `${RAISE_DB} dB softer`], ['Enter', 'the meter is steady'], ['q', 'stop']])}\n`);
  const heard = await steer(context, station, keyboard, start);
  return heard && settle(job, heard.reading, heard.levelDbfs, heard.channels);
}

const mostOf = (station: Station): number => Math.min(-1, station.ceilingDbfs);

interface Heard {
  readonly levelDbfs: number;
  readonly reading: MeterReading;
  readonly channels: readonly Float64Array[];
}

/** Plays on while keys move the level and the reading is typed. */
async function steer(context: Context, station: Station, keyboard: Keyboard, startDbfs: number): Promise<Heard | null> {
  const stop = new AbortController();
  const ear = createEar(station);
  const most = mostOf(station);
  const shown = progress(context);
  const plain = plainLines(context);
  let level = startDbfs;
  let to: (db: number) => void = () => undefined;
  let typing = false;
  let reading: MeterReading | null = null;
  let peaks: readonly ChannelLevel[] = [];
  /** Why the tone cannot be calibrated with as it is heard. */
  const unfit = (): string | null => {
    const of = (is: (l: ChannelLevel) => boolean): number[] => peaks.flatMap((l, i) => (is(l) ? [station.inputs[i]!.channel] : []));
    const named = (channels: readonly number[]): string => `recorder input${channels.length === 1 ? '' : 's'} ${channels.join(' and ')}`;
    const [clips, silent] = [of((l) => l.clips), of((l) => l.peakDbfs < QUIETEST_TONE_DBFS)];
    if (clips.length > 0) return `Clipping on ${named(clips)}: turn the gain down, or the tone.`;
    return silent.length === 0 ? null : `No tone on ${named(silent)}: see that the lead carries it there, and that the gain is turned up.`;
  };
  const playing = record(
    station.engine,
    { session: station.session, inputs: station.inputs, playing: { kind: 'tone', levelDbfs: startDbfs, steer: (f) => (to = f) }, name: 'the tone', lengthS: 3600, endsOn: { clipping: false, silence: false } },
    {
      keep: ear.keep,
      show: (_atS, levels) => {
        peaks = levels;
        if (typing || stop.signal.aborted) return;
        const each = levels.map((l, i) => `input ${station.inputs[i]!.channel} ${l.clips ? 'CLIPS' : l.peakDbfs <= SILENCE_DBFS ? 'none' : `${fixed(l.peakDbfs, 1)} dBFS`}`);
        const lines = liveLines(context, `played ${level} dBFS, heard`, each);
        shown.show(lines);
        plain(lines);
      },
      stop: stop.signal,
      interrupt: context.signal,
    },
  );
  const move = (by: number): void => {
    const next = Math.max(SOFTEST_DBFS, Math.min(most, level + by));
    if (next === level) {
      shown.done();
      statement(context, 'err', by > 0 ? `The tone is as loud as it may be, ${level} dBFS: output.ceiling in bench.yaml sets that, and --level allows more.` : `The tone is as soft as it goes, ${level} dBFS.`, '  ', '  ');
      return;
    }
    level = next;
    to(level - startDbfs);
    ear.begin(STEER_S + 0.5);
  };
  /** Keys that move the level count however fast they come. */
  const settled = (): Promise<'enter' | 'q'> =>
    new Promise((resolve) => {
      const unlisten = keyboard.listen((key) => {
        if (key === '+' || key === '=') move(RAISE_DB);
        else if (key === '-') move(-RAISE_DB);
        else if (key === 'enter' || key === 'q') done(key);
      });
      const done = (key: 'enter' | 'q'): void => {
        unlisten();
        stop.signal.removeEventListener('abort', ended);
        resolve(key);
      };
      const ended = (): void => {
        done('q');
      };
      stop.signal.addEventListener('abort', ended);
      if (stop.signal.aborted) ended();
    });
  const asking = (async () => {
    while ((await settled()) === 'enter') {
      const why = unfit();
      if (why !== null) {
        shown.done();
        statement(context, 'err', why, '  ', '  ');
        continue;
      }
      typing = true;
      shown.done();
      // Until it is understood, or an empty line goes back to the tone.
      for (;;) {
        // Room is left for the answer.
        const typed = await keyboard.line(signs(context, `${wrap('What does the meter show? (0.775\u00a0V, 775\u00a0mV or -2.2\u00a0dBu)', '  ', '  ', widthFor(context, 'err') - ANSWER_COLUMNS)} `), stop.signal);
        if (typed === null || typed.toLowerCase() === 'q') return;
        if (typed === '') break;
        const understood = readMeter(typed);
        const doubt = understood ? unlikely(understood, level, typed) : problem('capture.reading', { said: typed });
        if (doubt) {
          statement(context, 'err', doubt.message, '  ', '  ');
          continue;
        }
        await ear.full(stop.signal);
        if (stop.signal.aborted) return;
        const unsteady = unsteadyText(station, ear.channels());
        if (unsteady === null) {
          reading = understood;
          return;
        }
        statement(context, 'err', unsteady, '  ', '  ');
        ear.begin(0);
        break;
      }
      typing = false;
    }
  })();
  // Whichever ends first: a device may go while keys are waited for.
  try {
    await Promise.race([asking, playing]);
  } finally {
    stop.abort();
    shown.done();
    await asking.catch(() => undefined);
  }
  await playing;
  return reading && { levelDbfs: level, reading, channels: ear.channels() };
}

/** The first input on which the tone cannot be measured; null: none. */
function unsteadyText({ inputs, session }: Station, channels: readonly Float64Array[]): string | null {
  for (const [i, { channel }] of inputs.entries()) {
    const heard = toneLevel(channels[i]!, session.sampleRateHz);
    if ('why' in heard) return `On recorder input ${channel} the tone cannot be measured (${heard.why}): see to the lead and the gain, or make it louder; then press Enter again.`;
  }
  return null;
}

/** Keeps the last seconds of each input. */
interface Ear {
  keep(block: readonly Float32Array[]): void;
  /** Begins anew, and leaves out so many seconds. */
  begin(skipS: number): void;
  /** Resolves once there is enough, or no more to come. */
  full(end: AbortSignal): Promise<void>;
  channels(): readonly Float64Array[];
}

function createEar({ session: { sampleRateHz }, inputs }: Pick<Station, 'session' | 'inputs'>): Ear {
  let parts: Float32Array[][] = [];
  let frames = 0;
  let skip = 0;
  let wake: (() => void) | null = null;
  const wanted = LISTEN_S * sampleRateHz;
  return {
    keep(block) {
      if (skip > 0) {
        skip -= block[0]!.length;
        return;
      }
      parts.push(inputs.map(({ channel }) => block[channel - 1]!.slice()));
      frames += block[0]!.length;
      while (frames - parts[0]![0]!.length >= wanted) frames -= parts.shift()![0]!.length;
      if (frames >= wanted) wake?.();
    },
    begin(skipS) {
      parts = [];
      frames = 0;
      skip = skipS * sampleRateHz;
    },
    full: (end) =>
      new Promise((resolve) => {
        wake = resolve;
        end.addEventListener('abort', () => { resolve(); }, { once: true });
        if (frames >= wanted || end.aborted) resolve();
      }),
    channels: () =>
      inputs.map((_, i) => {
        const joined = new Float64Array(frames);
        let at = 0;
        for (const part of parts) {
          joined.set(part[i]!, at);
          at += part[i]!.length;
        }
        return joined;
      }),
  };
}

/** The tone at one level, for so long as is listened to. */
async function listen(context: Context, station: Station, levelDbfs: number): Promise<readonly Float64Array[]> {
  checkCeiling({ ...station, levelDbfs }, 'tone', 'The tone');
  const ear = createEar(station);
  const shown = progress(context);
  try {
    await record(
      station.engine,
      { session: station.session, inputs: station.inputs, playing: { kind: 'tone', levelDbfs }, name: 'the tone', lengthS: LISTEN_S + 0.5, endsOn: { clipping: false, silence: false } },
      { keep: ear.keep, show: (atS) => { shown.share('Listening to the tone', atS + SETTLE_S, LISTEN_S + SETTLE_S); }, interrupt: context.signal },
    );
  } finally {
    shown.done();
  }
  return ear.channels();
}

/** The same from a file: the tone that "boardproof signals" renders, played at `levelDbfs` and recorded by anything. */
function fromRecording(context: Context, job: Job, wav: string, reading: MeterReading, levelDbfs: number): Calibrated {
  const open = openRecording({ files: [path.resolve(context.cwd, wav)], shown: [wav], outputs: null }, job.bench);
  try {
    const { heard } = open;
    // A minute is more than enough.
    const frames = Math.min(heard.frames, 60 * heard.sampleRateHz);
    const channels = heard.read(Math.floor((heard.frames - frames) / 2), frames);
    return settle(job, reading, levelDbfs, channels, heard.sampleRateHz, wav);
  } finally {
    open.close();
  }
}

function settle(job: Job, reading: MeterReading, playedDbfs: number, channels: readonly Float64Array[], sampleRateHz = job.bench.sampleRateHz ?? 48000, /** Null: it was listened to. */ file: string | null = null): Calibrated {
  return {
    read: { dbu: reading.dbu, playedDbfs },
    output: outputFullScale(reading, playedDbfs, job.bench),
    loading: loopLoading(job.bench),
    inputs: job.bench.inputs.map(({ channel, output }, i) => {
      const level: ToneLevel | { readonly why: string } = toneLevel(channels[i]!, sampleRateHz);
      if ('why' in level) throw problem('capture.no-tone', { file, output, why: level.why });
      return { channel, output, fullScale: inputFullScale(reading, level) };
    }),
  };
}

async function keep(job: Job, { output, inputs }: Calibrated): Promise<void> {
  const edits: (readonly [KeyPath, string])[] = [[['output', 'fullScale'], fullScaleText(output)]];
  inputs.forEach(({ fullScale }, i) => edits.push([['inputs', i, 'fullScale'], fullScaleText(fullScale)]));
  await writeBench(job, edits);
}

function say(context: Context, { read, output, inputs, loading: { lowDb, highDb } }: Calibrated): void {
  paragraph(context, `\nFrom ${voltsText(read.dbu)} for the tone at ${read.playedDbfs} dBFS, 0 dBFS is, as bench.yaml now says:`);
  table(context, ['', '', 'on a meter'], [
    ['bench output, nothing on it', fullScaleText(output), voltsText(output.dbu)],
    ...inputs.map((i) => [`input ${i.channel}, output ${printable(i.output)}`, fullScaleText(i.fullScale), voltsText(i.fullScale.dbu)]),
  ], '  ');
  if (lowDb < highDb) {
    paragraph(context, `\nThe recorder inputs load the output while they hang on it, and take up to ${fixed(highDb, 2)} dB off it: how much is not known, so half of that is added, and the rest is in the tolerance. Write output.resistance and the resistance of each input into bench.yaml (a data sheet has them), and calibrate again.`);
  } else if (highDb >= 0.005) {
    paragraph(context, `\nThe recorder inputs load the output while they hang on it: by the resistances in bench.yaml they take ${fixed(highDb, 2)} dB off it, which is added.`);
  }
}

/** The bench itself, with the guide: the same patch first. */
async function captureBench(context: Context, jobPath: string, options: CalibrateOptions): Promise<void> {
  context.err.write('\n');
  aside(context, 'Now the bench itself: take the voltmeter off the lead first.');
  await captured(options.json ? { ...context, out: context.err } : context, [jobPath], { step: 'bench.take,bench.idle', ...(options.level === undefined ? {} : { level: options.level }) });
}

/** What the bench's own captures say. */
interface BenchSeen {
  /** Against the limits; null where the captures are not there. */
  readonly sights: readonly Sight[] | null;
  /** Played to recorded, bench.take. */
  readonly responses: readonly BenchResponse[];
}

type BenchResponse = { readonly output: string } & ResponseExtremes;

async function benchSeen(context: Context, job: Job): Promise<BenchSeen> {
  const captures = ['bench.idle', 'bench.take'].flatMap((id) => job.captures.get(id) ?? []);
  const answers = await estimateAll(captures.map((capture) => estimateRequest(job, capture)), () => undefined, context.signal);
  const estimates = answers.flatMap((answer) => ('estimate' in answer && answer.estimate ? [answer.estimate] : []));
  const [idle] = estimates.flatMap((e) => (e.kind === 'idle' ? [e.inputs] : []));
  const [take] = estimates.flatMap((e) => (e.kind === 'take' ? [e.inputs] : []));
  const responses = job.bench.inputs.flatMap(({ output }, i): BenchResponse[] => {
    const found = take && extremes(take[i]!.response);
    return found ? [{ output, ...found }] : [];
  });
  return { sights: estimates.length === 0 ? null : benchSight(job.bench, { idle: idle ?? null, take: take ?? null }, job.limits), responses };
}

const NAMES: Readonly<Record<SightReading, string>> = { 'noise.a': 'A-weighted noise', 'noise.hum': 'hum', 'noise.whine': 'whine', 'snr.a': 'signal to noise', thd: 'distortion (THD)', headroom: 'headroom', 'click.peak': 'clicks, peak' };

/** As in every table of readings, `<` and `>` mark a bound. */
const SIGNS = { upper: '< ', lower: '> ' } as const;

function saySight(context: Context, sights: readonly Sight[] | null): void {
  if (sights === null) {
    paragraph(context, '\nWith captures of bench.idle and bench.take, "boardproof calibrate" also says whether this bench is quiet enough for the limits.');
    return;
  }
  if (sights.length === 0) return;
  const signed = ({ value, bound }: Read, unit: string): string => `${bound === null ? '' : SIGNS[bound]}${fixed(value, 1)} ${unit}`;
  const read = (of: Read, unit: string): string => (of.bound !== null || of.uncertainty === null ? signed(of, unit) : `${fixed(of.value, 1)} ± ${fixed(Math.max(0.1, of.uncertainty), 1)} ${unit}`);
  paragraph(context, '\nThe bench itself against the limits, and what "boardproof measure" would read on it of a board exactly at each limit:');
  table(
    context,
    ['', 'input of', 'bench', 'limit', 'room', 'board at limit'],
    sights.map((s) => [NAMES[s.reading], printable(s.output), signed(s.bench, s.unit), `${s.limit} ${s.unit}`, `${fixed(s.roomDb, 1)} dB`, read(s.boardAtLimit, s.unit)]),
    '  ',
  );
  paragraph(context, `\nA board can be decided where it keeps about that ± from its limit.${sights.some(({ boardAtLimit }) => boardAtLimit.bound !== null) ? ' Where < or > stands there, the bench hides such a board, or does not reach it: its verdict would be "limited by the bench".' : ''}`);
}

function sayResponse(context: Context, responses: readonly BenchResponse[]): void {
  if (responses.length === 0) return;
  paragraph(context, '\nResponse of the bench itself from 20 Hz to 20 kHz, against its level at 1 kHz; it is taken off every response:');
  const said = ({ db, uncertaintyDb }: Extreme): string => `${fixed(db, 2)} ± ${fixed(Math.max(0.01, uncertaintyDb), 2)} dB`;
  table(context, ['input of', 'lowest', 'at', 'highest', 'at'], responses.map(({ output, lowest, highest }) => [printable(output), said(lowest), frequencyText(lowest.hz, 3), said(highest), frequencyText(highest.hz, 3)]), '  ');
}

/** How long the way round takes, and what that is for. */
function sayRoundTrip(context: Context, tripS: number | null, isFromRecording: boolean): void {
  if (tripS !== null) {
    paragraph(context, `\nRound trip of the bench: ${fixed(1000 * tripS, 1)} ms from playing to recording, through converters, drivers and their buffers, as bench.take showed it; it differs a little from run to run. It is in no figure, since takes are placed by their markers; the program records ${fixed(TAIL_S, 1)} s longer than it plays, so that nothing is cut off.`);
  } else if (isFromRecording) {
    paragraph(context, '\nThe round trip cannot be known from recordings: they do not say when playing began. No figure needs it.');
  } else {
    paragraph(context, '\nThe round trip of the bench shows once "boardproof capture" has played and recorded bench.take.');
  }
}

const document = ({ output, inputs, loading }: Calibrated, { sights, responses }: BenchSeen, roundTripS: number | null): object => ({
  format: CALIBRATION_FORMAT,
  output: { fullScaleDbu: output.dbu, uncertaintyDb: output.uncertaintyDb, loading },
  inputs: inputs.map(({ channel, output: heard, fullScale }) => ({ channel, output: heard, fullScaleDbu: fullScale.dbu, uncertaintyDb: fullScale.uncertaintyDb })),
  againstLimits: sights,
  responses,
  roundTripS,
});
