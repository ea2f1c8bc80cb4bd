/**
 * `capture`: carries the builder through the steps at the bench. Shows what to patch, waits, plays and records, says at
 * once whether it is good or what is wrong and how to mend it, and goes on where it was stopped.
 *
 * Without a terminal it records the steps that are named, once it is told (`--yes`) that the board is patched for them.
 *
 * @module
 */
import type { Step } from '../src/board/model.js';
import { printable } from '../src/board/printable.js';
import { pressing } from '../src/board/steps.js';
import { passesBoard, settingOf } from '../src/board/states.js';
import { afterBack, afterFiled, afterSkip, afterSkipOf, startGuide } from '../src/capture/guide.js';
import type { Guide } from '../src/capture/guide.js';
import type { ChannelLevel } from '../src/capture/levels.js';
import { APPROACH_DB, highestOf } from '../src/capture/programme.js';
import type { FlexDropout, FlexEvent } from '../src/measure/flex.js';
import { exitCode, problem } from '../src/problems.js';
import type { ReferenceName } from '../src/signals/reference.js';
import { SILENCE_DBFS } from '../src/units/decibels.js';
import { fixed } from '../src/units/format.js';
import { fileRecorded, heardLines, isRetried, keepPartial, keepRefused, planOf, recordStep, stillStands } from './capture-step.js';
import type { Recorded } from './capture-step.js';
import { checkFiledBefore, checkPart } from './file-part.js';
import { firstWords } from './first-words.js';
import { flexCounts, flexLine } from './flex-words.js';
import { createInspector } from './inspector.js';
import type { Inspector } from './inspector.js';
import { AS_IS_OPTION, openJob, stepOf } from './job.js';
import type { CaptureFile, Job } from './job.js';
import { keyOf } from './keyboard.js';
import type { Keyboard } from './keyboard.js';
import { aside, keysLine, paragraph, wrap } from './layout.js';
import { gainAdvice, watchLevels } from './level-view.js';
import { nextCapture, nextStep, word } from './next-step.js';
import { aboutS, bar, liveLines, progress } from './progress.js';
import { levelText, stationLines, stationOf, warn } from './station.js';
import type { Station, StationOptions } from './station.js';
import { countedText } from './step-count.js';
import { paintFor, print, printJson, signs, widthFor } from './terminal.js';
import type { Context } from './terminal.js';

export interface CaptureOptions extends StationOptions {
  readonly step?: string;
  readonly yes?: boolean;
  readonly repeat?: boolean;
  readonly asIs?: boolean;
  readonly seconds?: string;
  readonly json?: boolean;
}

export const CAPTURE_RUN_FORMAT = 'boardproof-captured/1';

/** What became of a step, for programs. */
interface Entry {
  readonly step: string;
  readonly file: string;
  readonly refused: string | null;
  readonly heard: Recorded['heard'];
  readonly events: Recorded['events'];
}

/** One run of the command. */
interface Run {
  readonly context: Context;
  readonly job: Job;
  readonly station: Station;
  readonly inspector: Inspector;
  readonly seconds: number | null;
  readonly asIs: boolean;
  /** What is filed counts together with what the step has. */
  readonly repeat: boolean;
  readonly entries: Entry[];
  /** What was said once: what words met so far mean, and hints. */
  readonly words: Set<string>;
  /** What was heard of bench.idle, which every idle capture is held against. */
  readonly benchHeard: WeakMap<CaptureFile, Recorded['heard']>;
}

export async function run(context: Context, args: readonly string[], options: CaptureOptions): Promise<number> {
  const { job, exit } = await captured(context, args, options);
  const [jobPath] = args;
  if (job.steps.every(({ id, required }) => !required || job.captures.has(id))) nextCapture(context, job, jobPath!);
  else if (exit === exitCode.done) nextStep(context, 'the steps that are left', `boardproof capture ${word(jobPath!)}`);
  return exit;
}

/** The same without what comes next: a part of another command. */
export async function captured(context: Context, [jobPath]: readonly string[], options: CaptureOptions): Promise<{ readonly job: Job; readonly exit: number }> {
  const job = openJob(jobPath!, context);
  const named = (options.step ?? '').split(',').map((s) => s.trim()).filter((s) => s !== '').map((id) => stepOf(job, id));
  if (options.repeat === true && named.length === 0) throw problem('cli.usage', { said: '--repeat captures a step once more, and needs --step to say which' });
  const asked = context.keyboard !== undefined && !options.yes;
  if (!asked && (named.length === 0 || !options.yes)) {
    const command = named[0]?.kind === 'flex' ? `flex ${word(jobPath!)} --seconds 30` : `capture ${word(jobPath!)} --step ${named[0]?.id ?? 'rest.idle'}`;
    throw problem('cli.no-terminal', { instead: `name the step, patch and set the board for it, and say so: "boardproof ${command} --yes"` });
  }
  const seconds = secondsOf(options.seconds);
  const station = await stationOf(context, job, options);
  const inspector = createInspector();
  // The one document has standard output to itself.
  const all: Run = { context: options.json ? { ...context, out: context.err } : context, job, station, inspector, seconds, asIs: options.asIs === true, repeat: options.repeat === true, entries: [], words: new Set(), benchHeard: new WeakMap() };
  // Listened to from here on, so that an interruption cleans up.
  const heard = (): void => undefined;
  context.signal?.addEventListener('abort', heard);
  let exit: number;
  try {
    exit = asked ? await guided(all, context.keyboard!, named) : await unasked(all, named);
  } finally {
    context.signal?.removeEventListener('abort', heard);
    inspector.close();
  }
  if (options.json) printJson(context, { format: CAPTURE_RUN_FORMAT, captures: all.entries });
  return { job, exit };
}

function secondsOf(text: string | undefined): number | null {
  if (text === undefined) return null;
  const seconds = Number(text);
  if (!(seconds >= 5 && seconds <= 600)) throw problem('cli.usage', { said: `--seconds is ${text}, but must be a number from 5 to 600` });
  return seconds;
}

/** Records the named steps one after the other; the first that is not good ends it. */
async function unasked(all: Run, steps: readonly Step[]): Promise<number> {
  const { context, station } = all;
  warn(context);
  aside(context, stationLines(station.session, station.inputs));
  for (const step of steps) {
    const { signal } = planOf(step, all.seconds);
    aside(context, `${step.id}: ${signal ? `plays the ${signal} at ${playedText(station, signal)}` : 'plays nothing'}.`);
    const recorded = await attempt(all, step, null);
    if (recorded.refusals.length > 0 && !(all.asIs && recorded.overrulable)) {
      setRefused(all, step, recorded);
      return exitCode.unusable;
    }
    await file(all, step, recorded);
    // While it was looked into; a good recording is filed all the same.
    if (context.signal?.aborted) throw problem('cli.interrupted', {});
  }
  return exitCode.done;
}

/** The guide: step after step until all are done or the builder stops. */
async function guided(all: Run, keyboard: Keyboard, named: readonly Step[]): Promise<number> {
  const { context, job } = all;
  const steps = named.length > 0 ? named : job.steps;
  let guide: Guide = startGuide(steps.map((s) => s.id), named.length > 0 ? [] : job.captures.keys());
  intro(all, steps, guide, named.length > 0);
  if (guide.at === null) return exitCode.done;
  context.err.write(`\n${keysLine(context, [['Enter', 'it is so, go on'], ['q', 'stop']])}`);
  if ((await keyOf(keyboard, ['enter', 'q'], context.signal)) === 'q') return stopped(all);
  context.err.write('\n');
  let patch = '';
  while (guide.at !== null) {
    const step = stepOf(job, guide.at);
    showStep(all, step, guide, step.patch === patch);
    const answer = await ask(all, keyboard, step, guide, !step.required && openOptional(steps, guide).length > 1);
    if (answer === 'stop') return stopped(all);
    if (answer === 'no-optional') {
      const optional = openOptional(steps, guide);
      aside(context, `${optional.length} optional steps are left out; the next "boardproof capture" offers them again.`);
      guide = afterSkipOf(guide, optional);
      patch = '';
    } else if (answer === 'skip' || answer === 'back') {
      // The leads may have been moved for the step that was shown: what is to be patched is said in full again.
      if (step.patch !== patch || answer === 'back') patch = '';
      if (answer === 'skip' && step.required && !job.captures.has(step.id)) aside(context, `${step.id} is left for now; a sign-off needs it.`);
      guide = answer === 'skip' ? afterSkip(guide) : afterBack(guide);
    } else {
      patch = step.patch;
      const result = await recordUntilSettled(answer === 'allow' ? { ...all, station: { ...all.station, ceilingDbfs: Infinity } } : all, keyboard, step);
      if (result === 'stop') return stopped(all);
      guide = result === 'filed' ? afterFiled(guide) : result === 'skip' ? afterSkip(guide) : afterBack(guide);
    }
  }
  return exitCode.done;
}

/** Optional steps that are still to come. */
const openOptional = (steps: readonly Step[], { done, skipped }: Guide): string[] => steps.filter((s) => !s.required && !done.has(s.id) && !skipped.has(s.id)).map((s) => s.id);

function stopped({ context }: Run): number {
  context.err.write('\n');
  aside(context, 'Stopped. What is filed stays; it goes on from here.');
  return exitCode.done;
}

function intro({ context, job, station, seconds }: Run, steps: readonly Step[], guide: Guide, isNamed: boolean): void {
  const left = steps.filter((s) => !guide.done.has(s.id));
  // Steps that are named are recorded, done before or not.
  const needed = isNamed ? left : left.filter((s) => s.required);
  const secondsLeft = needed.reduce((s, step) => s + (planOf(step, seconds).wholeS ?? 20) + 10, 0);
  const paint = paintFor(context, 'err');
  const time = left.length === 0 ? '' : `, ${needed.length > 0 ? `${aboutS(secondsLeft)} of recording${isNamed ? '' : ' left'}` : 'what is left is optional'}`;
  const said = `${paint('bold', `${printable(job.board.name)} on ${printable(job.bench.name)}`)}: ${isNamed ? steps.map((s) => s.id).join(', ') : countedText(steps, left)}${time}.`;
  context.err.write(`${wrap(signs(context, said), '', '', widthFor(context, 'err'))}\n`);
  if (left.length === 0) return;
  aside(context, stationLines(station.session, station.inputs));
  aside(context, `Takes and tones are played at ${levelText(station.bench, station.levelDbfs)}, each after a tone that rises from ${-APPROACH_DB} dB below. --level, or output.level in bench.yaml, changes it.`);
  if (station.bench.inputs.some((i) => i.fullScaleDbu === null)) aside(context, `The bench is not calibrated, so levels are in dBFS and limits in dBu cannot be judged: "boardproof calibrate" takes a voltmeter and five minutes.`);
  warn(context);
}

function showStep({ context, job, station, seconds, repeat, words }: Run, step: Step, guide: Guide, samePatch: boolean): void {
  const paint = paintFor(context, 'err');
  const width = widthFor(context, 'err');
  const number = guide.steps.indexOf(step.id) + 1;
  const title = `${number} of ${guide.steps.length}  ${step.id}${step.required ? '' : '  (optional)'}${repeat && job.captures.has(step.id) ? '  (done; a new one counts together with it)' : guide.done.has(step.id) ? '  (done; a new one takes its place, the old is kept)' : ''}`;
  const line = (label: string, text: string): void => {
    context.err.write(`${wrap(signs(context, printable(text)), '          ', `  ${label.padEnd(8)}`, width)}\n`);
  };
  context.err.write(`\n${paint('bold', title)}\n`);
  line('Patch', samePatch ? 'As it is: leave every lead where it is.' : step.patch);
  const { signal, lengthS, wholeS } = planOf(step, seconds);
  const setting = settingOf(job.board, step.state);
  if (setting !== '') line('Set', setting);
  const long = wholeS === null ? 'until you press Enter' : `${Math.round(wholeS)} s`;
  const plays = signal === null ? `nothing; records ${lengthS === null ? long : `${lengthS} s`}` : `${signal === 'tone' ? 'the steady tone' : `the ${signal}`} at ${playedText(station, signal)}; ${long}`;
  line('Plays', plays);
  const doing = doingOf(step, wholeS === null);
  if (doing) line('Do', doing);
  const meanings = firstWords(`${samePatch ? '' : step.patch} ${setting} ${plays}`, words);
  if (meanings !== '') line('Words', meanings);
}

/** What hands do while it records. */
function doingOf({ kind, state }: Step, isEndless: boolean): string | null {
  const end = isEndless ? ' Then press Enter.' : '';
  if (kind === 'switching') return `Once it records, ${pressing(state)}.${end}`;
  return kind === 'flex' ? `While the tone plays, move every lead and plug in turn. Each dropout and crackle is shown as it happens, with a bell.${end}` : null;
}

/** The level, and how high the stairs go. */
function playedText({ bench, levelDbfs }: Station, signal: ReferenceName): string {
  const highest = highestOf(signal, levelDbfs);
  return highest > levelDbfs ? `${levelText(bench, levelDbfs)}, rising to ${levelText(bench, highest)}` : levelText(bench, levelDbfs);
}

type Asked = 'record' | 'allow' | 'skip' | 'no-optional' | 'back' | 'stop';

/** Waits for the patch, or another wish. The level view comes back to the question. */
async function ask(all: Run, keyboard: Keyboard, step: Step, guide: Guide, hasOptional: boolean): Promise<Asked> {
  const { context, station } = all;
  const first = guide.steps[0] === step.id;
  const { signal } = planOf(step, all.seconds);
  const highest = signal === null ? -Infinity : highestOf(signal, station.levelDbfs);
  const isOver = highest > station.ceilingDbfs;
  if (isOver) aside(context, `${highest} dBFS is above the ceiling of ${station.ceilingDbfs} dBFS (output.ceiling in bench.yaml, or its level): [a] allows it for this step.`, '          ');
  for (;;) {
    context.err.write(
      `  ${keysLine(context, [isOver ? ['a', `allow up to ${highest} dBFS`] : ['Enter', 'record'], ['l', 'levels'], ['s', 'skip'], ...(hasOptional ? ([['o', 'skip all optional']] as const) : []), ...(first ? [] : ([['b', 'back']] as const)), ['q', 'stop']])} `,
    );
    const key = await keyOf(keyboard, [isOver ? 'a' : 'enter', 'l', 's', ...(hasOptional ? (['o'] as const) : []), 'b', 'q'], context.signal);
    context.err.write('\n');
    if (key === 'enter') return 'record';
    if (key === 'a') return 'allow';
    if (key === 's') return 'skip';
    if (key === 'o') return 'no-optional';
    if (key === 'b') return 'back';
    if (key === 'q') return 'stop';
    await watchLevels(context, station, keyboard, signal !== null);
  }
}

/** What is mended with a gain: the builder reaches for the knob. */
const isOfGain = (code: string): boolean => ['capture.overload', 'capture.clips', 'capture.clipped', 'capture.too-quiet'].includes(code);

/** Records again until it is good, filed as it is, or given up. */
async function recordUntilSettled(all: Run, keyboard: Keyboard, step: Step): Promise<'filed' | 'skip' | 'back' | 'stop'> {
  const { context } = all;
  for (;;) {
    let refused: Recorded | null = null;
    let code: string;
    try {
      const recorded = await attempt(all, step, keyboard);
      if (recorded.refusals.length === 0) {
        await file(all, step, recorded);
        return 'filed';
      }
      refused = recorded;
      code = recorded.refusals[0]!.code;
      recorded.refusals.forEach(({ message }, i) => {
        say(context, 'red', i === 0 ? 'not good' : 'and', message);
      });
      figures(all, step, recorded);
    } catch (error) {
      if (!isRetried(error)) throw error;
      code = error.code;
      say(context, 'red', code === 'capture.broken-off' ? 'stopped' : 'not good', error.message.replace(/^Stopped; /, ''));
    }
    const advice = isOfGain(code) ? gainAdvice(all.station) : null;
    if (advice !== null) aside(context, advice, '            ');
    const overrulable = refused?.overrulable === true;
    let key: 'enter' | 'f' | 'l' | 's' | 'b' | 'q';
    for (;;) {
      context.err.write(`  ${keysLine(context, [['Enter', 'again'], ...(overrulable ? ([['f', 'file as is']] as const) : []), ['l', 'levels'], ['s', 'skip'], ['b', 'back'], ['q', 'stop']])} `);
      key = await keyOf(keyboard, ['enter', ...(overrulable ? (['f'] as const) : []), 'l', 's', 'b', 'q'], context.signal);
      context.err.write('\n');
      if (key !== 'l') break;
      await watchLevels(context, all.station, keyboard, planOf(step, all.seconds).signal !== null);
    }
    if (key === 'f' && refused) {
      await file(all, step, refused);
      return 'filed';
    }
    if (refused) setRefused(all, step, refused, true);
    if (key === 's') return 'skip';
    if (key === 'b') return 'back';
    if (key === 'q') return 'stop';
  }
}

/** Records once. What was recorded when it breaks off is named and kept. */
async function attempt(all: Run, step: Step, keyboard: Keyboard | null): Promise<Recorded> {
  const { context, job, station, inspector, seconds } = all;
  const shown = progress(context);
  const plan = planOf(step, seconds);
  const endless = plan.wholeS === null;
  const stop = new AbortController();
  let brokenOff = false;
  if (keyboard) context.err.write(`  ${keysLine(context, endless ? [['Enter', 'end the recording'], ['q', 'break it off']] : [['q', 'break off']])}\n`);
  const unlisten =
    keyboard?.listen((key) => {
      if (key !== 'q' && !(endless && key === 'enter')) return;
      brokenOff = key === 'q';
      stop.abort();
    }) ?? (() => undefined);
  const watch = {
    show: (atS: number, levels: readonly ChannelLevel[], down: FlexDropout | null): void => {
      const heard = levels.map((l, i) => `${printable(station.inputs[i]!.output)} ${l.peakDbfs > SILENCE_DBFS ? fixed(l.peakDbfs, 0).padStart(4) : 'none'}${l.clips ? ' CLIPS' : ''}`);
      const gone = down === null ? '' : `dropout on ${down.outputs.map(printable).join(', ')} since ${fixed(down.atS, 2)} s …`;
      shown.show(liveLines(context, `${passed(atS, plan.lengthS ?? plan.wholeS)}   peaks in dBFS`, heard, gone));
    },
    event: (event: FlexEvent): void => {
      shown.done();
      if (keyboard) context.err.write('\u0007');
      print(context, `  ${flexLine(event)}`);
    },
    stop: stop.signal,
    over: shown.done,
  };
  try {
    const recorded = await recordStep(context, job, step, station, seconds, inspector, watch);
    if (brokenOff) throw problem('capture.broken-off', { kept: keepPartial(recorded.file) });
    return recorded;
  } finally {
    unlisten();
    shown.done();
  }
}

/** `settling`, or a bar and seconds. */
function passed(atS: number, wholeS: number | null): string {
  if (atS <= 0) return 'settling   ';
  if (wholeS === null) return `${fixed(atS, 0)} s`;
  return `${bar(atS / wholeS)}  ${fixed(Math.min(atS, wholeS), 0)} of ${fixed(wholeS, 0)} s`;
}

function say(context: Context, look: 'red' | 'green', word: string, text: string): void {
  const paint = paintFor(context, 'out');
  const lines = wrap(signs(context, printable(text)), '            ', `  ${word.padEnd(10)}`, widthFor(context, 'out'));
  print(context, lines.replace(word, paint(look, word)));
}

function figures({ context, station }: Run, step: Step, recorded: Recorded): void {
  for (const line of heardLines(station, step, recorded.heard)) paragraph(context, line, '              ', '            ');
}

/** Clocks this far apart are those of two devices, which is allowed, and worth knowing. */
const OTHER_CLOCK_PPM = 1;

async function file(all: Run, step: Step, recorded: Recorded): Promise<void> {
  const { context, job, station, entries } = all;
  const filed = await fileRecorded(context, job, step, recorded, station, all.repeat);
  entries.push({ step: step.id, file: filed.file, refused: null, heard: recorded.heard, events: recorded.events });
  const asIs = recorded.refusals.length > 0;
  const apart = filed.clockRatioPpm !== null && Math.abs(filed.clockRatioPpm) >= OTHER_CLOCK_PPM ? `, clocks ${fixed(filed.clockRatioPpm, 1)} ppm apart (two devices)` : '';
  const counted = filed.clockRatioPpm === null ? '' : `, every sample there${apart}`;
  const together = filed.together > 1 ? `; ${filed.together} captures of it count together` : '';
  const heard = step.kind === 'flex' ? `, ${flexCounts(recorded.events)} in ${fixed(filed.lengthS, 0)} s` : '';
  say(context, 'green', asIs ? 'as it is' : 'good', `filed as ${filed.file}${counted}${heard}${together}`);
  if (!asIs) figures(all, step, recorded);
  if (step.kind === 'idle' && !asIs) await holdAgainstBench(all, step, recorded);
  if (step.id === 'rest.take') await holdEarlier(all);
}

/** A board that adds less than this to the bench's own noise, dB, may be one that is off (chosen: an eighth of the bench's power). */
const ADDS_DB = 0.5;

/** A board without power is the quietest of all: said once in a run, where no output is noisier than the bench. */
async function holdAgainstBench(all: Run, step: Step, { heard }: Recorded): Promise<void> {
  const { context, job, inspector, words, benchHeard } = all;
  const bench = job.captures.get('bench.idle');
  const hint = 'No noisier than the bench itself: see that the board has power and is patched; if it is, it adds no noise that this bench can hear.';
  if (bench === undefined || !passesBoard(step.state) || words.has(hint)) return;
  const own = benchHeard.get(bench) ?? (await checkPart(job, { files: { files: [bench.file], shown: [bench.name], outputs: null }, take: null, step: stepOf(job, 'bench.idle') }, inspector)).heard;
  benchHeard.set(bench, own);
  const noiseOf = (of: Recorded['heard'], output: string): number | null => of.flatMap((h) => (h.kind === 'idle' && h.output === output ? h.noiseADbfs : []))[0] ?? null;
  const adds = heard.map(({ output }) => {
    const [now, before] = [noiseOf(heard, output), noiseOf(own, output)];
    return now === null || before === null || now - before >= ADDS_DB;
  });
  if (adds.includes(true)) return;
  words.add(hint);
  aside(context, hint, '            ');
}

/** Takes that were filed before rest.take, or against another, are held against the one that is there now. */
async function holdEarlier({ context, job, inspector }: Run): Promise<void> {
  const shown = progress(context);
  const found = await checkFiledBefore(job, [...job.captures.values()], inspector, (share) => {
    shown.share('Holding the takes before it against it', share, 1);
  }).finally(shown.done);
  for (const { message } of found) say(context, 'red', 'look', message);
}

const messagesOf = ({ refusals }: Recorded): string => refusals.map(({ message }) => message).join(' ');

function setRefused(all: Run, step: Step, recorded: Recorded, quietly = false): void {
  const { context, entries, job } = all;
  const kept = keepRefused(recorded.file);
  entries.push({ step: step.id, file: kept, refused: messagesOf(recorded), heard: recorded.heard, events: recorded.events });
  if (!quietly) {
    say(context, 'red', 'not good', messagesOf(recorded));
    figures(all, step, recorded);
    aside(context, `Kept as ${kept}; ${stillStands(job, step)}${recorded.overrulable ? `; ${AS_IS_OPTION}` : ''}.`);
  }
}

