/**
 * One step, recorded here: played, written to the disk as it comes, held to the checks, filed. What is not filed is kept
 * beside the captures under a name that says why.
 *
 * @module
 */
import { rmSync } from 'node:fs';
import path from 'node:path';
import type { Step, StepKind } from '../src/board/model.js';
import { printable } from '../src/board/printable.js';
import { stepCode } from '../src/board/step-code.js';
import { drivenInto } from '../src/circuit/board-network.js';
import { IDLE_S } from '../src/board/steps.js';
import { programmeOf, programmeS } from '../src/capture/programme.js';
import { record, SETTLE_S, TAIL_S } from '../src/capture/record.js';
import type { Playing, RecordAccount } from '../src/capture/record.js';
import { roundTripS } from '../src/capture/round-trip.js';
import type { ChannelLevel } from '../src/capture/levels.js';
import { isOverrulable } from '../src/measure/capture-checks.js';
import { createFlexWatch } from '../src/measure/flex.js';
import type { FlexDropout, FlexEvent } from '../src/measure/flex.js';
import type { HeardOutput } from '../src/measure/live-checks.js';
import { startFrameOf } from '../src/measure/take.js';
import { Problem, exitCode, problem } from '../src/problems.js';
import type { ReferenceName } from '../src/signals/reference.js';
import { isStairs } from '../src/signals/stairs.js';
import { fixed } from '../src/units/format.js';
import { signalOf } from './cue-sheet.js';
import { checkPart, filePart, mayBeUnheard, problemOf } from './file-part.js';
import type { FiledPart, Part } from './file-part.js';
import { checkRoom, createGrowingWav, setAside } from './growing-wav.js';
import type { Inspector } from './inspector.js';
import { AS_IS, CAPTURES, filedNow } from './job.js';
import type { Job } from './job.js';
import { checkCeiling } from './station.js';
import type { Station } from './station.js';
import { aside } from './layout.js';
import type { Context } from './terminal.js';
import { timeText } from './time-text.js';

/** Longest capture that ends by a key. */
export const LONGEST_S = 600;

/** A tone that is gone for so long at the end of a flex capture, s, is a lead that came out: the recording ends before the tone sinks. */
const GONE_S = 2;

/** How a step ends, and how long it takes. */
export interface StepPlan {
  readonly signal: ReferenceName | null;
  /** Null: until it is ended. */
  readonly lengthS: number | null;
  /** With what is played before and after. */
  readonly wholeS: number | null;
}

const endless: readonly StepKind[] = ['switching', 'flex'];

export function planOf(step: Pick<Step, 'kind'>, seconds: number | null): StepPlan {
  const signal = signalOf[step.kind];
  if (signal === 'take' || signal === 'stairs') {
    return { signal, lengthS: null, wholeS: programmeS(signal) + TAIL_S };
  }
  const lengthS = seconds ?? (endless.includes(step.kind) ? null : IDLE_S);
  return { signal, lengthS, wholeS: lengthS === null ? null : lengthS + SETTLE_S };
}

export interface Recorded {
  /** The file, under captures. */
  readonly file: string;
  readonly part: Part | null;
  /** Why it is not good, what matters most first; none where it is. */
  readonly refusals: readonly Problem[];
  /** All of them may be overruled. */
  readonly overrulable: boolean;
  readonly heard: readonly HeardOutput[];
  readonly account: RecordAccount;
  readonly events: readonly FlexEvent[];
  readonly levelDbfs: number | null;
  readonly recordedAt: string;
  /** From playing to recording, s; null where no take was played, or found. */
  readonly roundTripS: number | null;
}

export interface StepWatch {
  /** Several times a second. */
  show(atS: number, levels: readonly ChannelLevel[], /** While leads are moved: a dropout that lasts. */ down: FlexDropout | null): void;
  /** A dropout or crackle while leads are moved. */
  event?(event: FlexEvent): void;
  readonly stop?: AbortSignal;
  /** It broke off: a line that is written over is taken away. */
  over?(): void;
}

/** A recording that ends by itself says so at once. @throws Problem where devices, disk or the user end it; what there was is kept aside. */
export async function recordStep(context: Context, job: Job, step: Step, station: Station, seconds: number | null, inspector: Inspector, watch: StepWatch): Promise<Recorded> {
  const plan = planOf(step, seconds);
  if (plan.signal) checkCeiling(station, plan.signal, step.id);
  const { sampleRateHz, record: { channels } } = station.session;
  checkRoom(job.folder, plan.wholeS ?? LONGEST_S, channels, sampleRateHz);
  const recordedAt = context.now().toISOString();
  const wav = createGrowingWav(job.folder, step.id, channels, sampleRateHz, context.now());
  const playing = playingOf(step, plan, station);
  const events: FlexEvent[] = [];
  const flex = step.kind === 'flex' ? createFlexWatch(station.inputs.map((i) => i.output), sampleRateHz) : null;
  const heed = (found: readonly FlexEvent[]): void => {
    for (const event of found) {
      events.push(event);
      watch.event?.(event);
    }
  };
  let account: RecordAccount;
  try {
    account = await record(
      station.engine,
      { session: station.session, inputs: station.inputs, playing, name: step.id, lengthS: plan.lengthS ?? LONGEST_S, endsOn: { clipping: !endless.includes(step.kind), silence: !mayBeUnheard(step) } },
      {
        keep: (block) => {
          wav.write(block);
          if (flex) heed(flex.push(station.inputs.map(({ channel }) => Float64Array.from(block[channel - 1]!))));
        },
        show: (atS, levels) => {
          watch.show(atS, levels, flex?.down() ?? null);
        },
        ...(watch.stop ? { stop: watch.stop } : {}),
        interrupt: context.signal,
      },
    );
  } catch (error) {
    closeQuietly(wav.close);
    watch.over?.();
    const why = error instanceof Problem && error.code === 'capture.not-heard' ? await notHeard(job, step, wav.file, station, inspector) : error;
    if (wav.frames > 0) aside(context, `What was recorded of ${step.id} until then is kept as ${keepPartial(wav.file)}; ${stillStands(job, step)}.`);
    else rmSync(wav.file, { force: true });
    throw why;
  }
  wav.close();
  const down = flex?.down() ?? null;
  if (flex) heed(flex.finish());
  const gone = down !== null && down.atS < account.frames / sampleRateHz - GONE_S ? problem('capture.tone-gone', { step: step.id, outputs: down.outputs, atS: down.atS }) : null;
  // What the computer lost would be counted as the leads'.
  const [still] = flex ? account.standstills : [];
  const lost = still ? problem('capture.frames-skipped', { frames: Math.round(still.lostS * sampleRateHz), atS: still.atS }) : null;
  const untrue = lost ?? gone;
  const judged = untrue ? { part: null, refusals: [untrue], overrulable: false, heard: [] } : await judge(job, step, wav.file, station, inspector);
  const take = judged.part?.take ?? null;
  const trip = playing.kind === 'programme' && take !== null ? roundTripS(account, playing.programme, startFrameOf(take, sampleRateHz), sampleRateHz) : null;
  return { roundTripS: trip, file: wav.file, account, events, levelDbfs: plan.signal ? station.levelDbfs : null, recordedAt, ...judged };
}

/** The disk may be full: what is there stays. */
function closeQuietly(close: () => void): void {
  try {
    close();
  } catch (error) {
    if (!(error instanceof Problem)) throw error;
  }
}

function playingOf(step: Step, { signal }: StepPlan, { session: { sampleRateHz }, levelDbfs }: Station): Playing {
  if (signal === null) return { kind: 'nothing' };
  if (signal === 'tone') return { kind: 'tone', levelDbfs };
  return { kind: 'programme', programme: programmeOf(signal, { sampleRateHz, levelDbfs, stepCode: stepCode(step.id) }) };
}

/** Nothing came round, and what came instead. */
async function notHeard({ bench, board }: Job, step: Step, file: string, { session }: Station, inspector: Inspector): Promise<Problem> {
  const { cautions } = await inspector.ask({ ask: 'idle', files: { files: [file], shown: [step.id], outputs: null }, bench, mainsHz: board.mainsHz });
  const hums = cautions.flatMap(({ code, details }) => (code === 'capture.hum' ? (details as unknown as { outputs: readonly string[] }).outputs : []));
  return problem('capture.not-heard', { step: step.id, device: session.record.device, hums });
}

async function judge(job: Job, step: Step, file: string, station: Station, inspector: Inspector): Promise<Pick<Recorded, 'part' | 'refusals' | 'overrulable' | 'heard'>> {
  const files = { files: [file], shown: [step.id], outputs: null };
  const none = { part: null, overrulable: false, heard: [] };
  let part: Part = { files, take: null, step };
  if (step.kind === 'take' || step.kind === 'stairs') {
    const { found, refusal } = await inspector.ask({ ask: 'takes', files, bench: job.bench, mainsHz: job.board.mainsHz });
    if (!found) return { ...none, refusals: [problemOf(refusal!)] };
    const code = stepCode(step.id);
    const take = found.takes.find(({ identity }) => identity.stepCode === code && isStairs(identity) === (step.kind === 'stairs'));
    const broken = found.fragments.find((f) => f.identity?.stepCode === code);
    if (!take && broken) return { ...none, refusals: [problem('capture.take-broken', { file: step.id, atS: broken.frame / found.sampleRateHz, end: broken.end })] };
    if (!take) {
      const refusals = [await notHeard(job, step, file, station, inspector)];
      return mayBeUnheard(step) ? { part, refusals, overrulable: true, heard: [] } : { ...none, refusals };
    }
    part = { ...part, take };
  }
  const { refusal, cautions, heard } = await checkPart(job, part, inspector, true);
  const refusals = [...(refusal ? [refusal] : []), ...cautions];
  return { part, refusals, overrulable: refusals.length > 0 && (refusal === null || isOverrulable(refusal)), heard };
}

/** Files what was recorded, and takes the working file away. */
export async function fileRecorded(context: Context, job: Job, step: Step, { part, file, account, events, levelDbfs, recordedAt, refusals, roundTripS: trip }: Recorded, station: Station, repeat = false): Promise<FiledPart> {
  const { play, record: { device }, sampleRateHz } = station.session;
  const filed = await filePart(context, job, part!, {
    how: (_name, fromS, toS) => `${levelDbfs === null ? 'recorded here' : `played and recorded here at ${levelDbfs} dBFS`}, ${fixed(fromS, 2)} s to ${fixed(toS, 2)} s`,
    device: levelDbfs === null ? device : `${play.device} → ${device}`,
    recordedAt,
    repeat,
    roundTripS: trip,
    remarks: refusals.map(({ message }) => `${AS_IS} ${message}`),
    checks: [
      { name: 'frames', says: `${account.frames} recorded at ${sampleRateHz} Hz, none skipped, ${account.fillerFrames} of filler cut out` },
      ...(step.kind === 'flex' ? [{ name: 'flex', says: `${events.length} dropouts and crackles heard while recording` }] : []),
    ],
  }).catch((error: unknown) => {
    aside(context, `The recording of ${step.id} is whole, and kept as ${keepPartial(file)}: move it out of the folder and import it, or capture the step again.`);
    throw error;
  });
  rmSync(file, { force: true });
  return filed;
}

/** What there is of a step of which a recording came to nothing. */
export function stillStands(job: Job, step: Step): string {
  const earlier = filedNow(job, step.id);
  if (!earlier) return 'the step is still open';
  return `the earlier capture${earlier.sidecar === null ? '' : `, filed ${timeText(earlier.sidecar.filedAt)},`} stays`;
}

/** Name of what is kept of a recording that was not finished. */
export const keepPartial = (file: string): string => `${CAPTURES}/${path.basename(file)}`;

/** What is kept where a recording was refused, as the user would type it. */
export const keepRefused = (file: string): string => `${CAPTURES}/${path.basename(setAside(file, 'refused'))}`;

/** Refusals after which the same step can be tried again at once; any other ends the program. */
const retried: readonly string[] = ['capture.overload', 'capture.clips', 'capture.heard-no-more', 'capture.input-silent', 'capture.frames-skipped', 'capture.ceiling', 'capture.broken-off', 'capture.not-heard'];
export const isRetried = (error: unknown): error is Problem => error instanceof Problem && retried.includes(error.code) && error.exit !== exitCode.interrupted;

/** How high the stairs went before 1 % THD. */
const CLEAN = {
  reached: (level: string) => `clean up to ${level} (1 % THD)`,
  lower: (level: string) => `clean to the top, ${level} (under 1 % THD)`,
  upper: (level: string) => `over 1 % THD at ${level}, the lowest stair`,
};

/** Figures of each output that matter for the step, one line each. */
export function heardLines(station: Station, step: Step, heard: readonly HeardOutput[]): string[] {
  const width = Math.max(0, ...heard.map((h) => printable(h.output).length));
  return heard.map((h) => {
    const input = station.bench.inputs.find((i) => i.output === h.output)!;
    const full = input.fullScaleDbu?.value ?? null;
    const level = (dbfs: number): string => `${fixed(dbfs + (full ?? 0), 1)} ${full === null ? 'dBFS' : 'dBu'}`;
    const name = printable(h.output).padEnd(width);
    if (h.kind === 'switching') return `${name}  ${h.presses === 0 ? 'no press heard' : `${h.presses} press${h.presses === 1 ? '' : 'es'} heard, the loudest click ${level(h.peakDbfs)} at its peak`}`;
    if (h.kind === 'idle') return `${name}  noise ${level(h.noiseADbfs)} A-weighted${h.humDbfs === null ? ', no hum found' : `, hum ${level(h.humDbfs)}`}`;
    if (h.kind === 'stairs') return `${name}  ${h.cleanDbfs === null ? 'no tone heard' : CLEAN[h.bound ?? 'reached'](level(h.cleanDbfs))}, peak ${fixed(h.peakDbfs, 1)} dBFS`;
    // What is fitted where no tone is has a level as well.
    if (h.toneDbfs < h.noiseDbfs) return `${name}  no tone over the noise of ${level(h.noiseDbfs)}`;
    const out = station.bench.output?.fullScaleDbu?.value ?? null;
    const gain = full !== null && out !== null && step.state !== 'bench' && drivenInto(step.state) === null ? `, gain ${fixed(h.toneDbfs + full - station.levelDbfs - out, 2)} dB` : '';
    return `${name}  tone ${level(h.toneDbfs)}${gain}, peak ${fixed(h.peakDbfs, 1)} dBFS, noise ${level(h.noiseDbfs)}${h.thdDb === null ? '' : `, THD ${fixed(h.thdDb, 0)} dB`}`;
  });
}
