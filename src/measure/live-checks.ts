/**
 * What is worth looking at before the leads are moved, beside what makes a capture unfit: a plug that is not home, a loop
 * that is not as the step wants it, a device that converts the sample rate. Each of them may be the board itself, so each
 * may be overruled.
 *
 * @module
 */
import { fitSine } from '../numerics/sine-fit.js';
import { hann, sumOfSquares } from '../numerics/window.js';
import { problem } from '../problems.js';
import type { Problem } from '../problems.js';
import { codedTimetable } from '../signals/coded.js';
import { takeTimetable } from '../signals/take.js';
import { SILENCE_DBFS, amplitudeToDb, meanSquareToDbfs, powerToDb } from '../units/decibels.js';
import type { Heard } from './capture-checks.js';
import { withoutTone } from './distortion.js';
import type { Figure } from './figure.js';
import { headroomFigures } from './headroom.js';
import { MAINS_TOLERANCE } from './hum-and-whine.js';
import type { IdleEstimate } from './idle.js';
import { thirdOctaveRatios } from './match.js';
import type { Recording } from './recording.js';
import { ratio } from './response.js';
import type { StairsEstimate } from './stairs.js';
import type { SwitchingEstimate } from './switching.js';
import type { LocatedTake } from './take-search.js';
import { clockRatioOf, startFrameOf, timingOf } from './take.js';
import type { TakeEstimate } from './take.js';

/** A few figures of one output, for the builder at the bench; levels in dBFS at the recorder. */
export type HeardOutput =
  | { readonly output: string; readonly kind: 'take'; readonly toneDbfs: number; readonly peakDbfs: number; readonly noiseDbfs: number; readonly thdDb: number | null }
  | { readonly output: string; readonly kind: 'idle'; readonly noiseADbfs: number; readonly humDbfs: number | null; readonly peakDbfs: number }
  | { readonly output: string; readonly kind: 'stairs'; /** Highest level before 1 % THD, and which bound it is; null where none can be told. */ readonly cleanDbfs: number | null; readonly bound: Figure['bound']; readonly peakDbfs: number }
  | { readonly output: string; readonly kind: 'switching'; readonly presses: number; /** Of the loudest click, above 100 Hz; −200 where there is none. */ readonly peakDbfs: number };

const floor = (dbfs: number): number => Math.max(SILENCE_DBFS, dbfs);

export function heardTake({ outputs }: Heard, recording: Recording, located: LocatedTake, estimates: readonly TakeEstimate[]): HeardOutput[] {
  const rate = recording.sampleRateHz;
  const start = Math.max(0, Math.round(startFrameOf(located, rate)));
  const whole = recording.read(start, Math.round(takeTimetable.lengthS * clockRatioOf(located) * rate));
  return outputs.map((output, c) => {
    const { tone, silencePower } = estimates[c]!;
    const peak = whole[c]!.reduce((m, v) => Math.max(m, Math.abs(v)), 0);
    const power = tone ? (tone.amplitude * tone.amplitude) / 2 : 0;
    // The squares of the harmonics' amplitudes together against the tone's.
    const thd = tone && tone.harmonicSquares > 2 * tone.harmonicSquaresUncertainty ? powerToDb(tone.harmonicSquares / (2 * power)) : null;
    return { output, kind: 'take', toneDbfs: floor(tone ? amplitudeToDb(tone.amplitude) : SILENCE_DBFS), peakDbfs: floor(amplitudeToDb(peak)), noiseDbfs: floor(meanSquareToDbfs(silencePower)), thdDb: thd };
  });
}

export function heardIdle({ outputs }: Heard, estimates: readonly IdleEstimate[]): HeardOutput[] {
  return outputs.map((output, c) => {
    const { spectrum, stationarity } = estimates[c]!;
    return {
      output,
      kind: 'idle',
      noiseADbfs: floor(meanSquareToDbfs(spectrum?.aWeighted.power ?? 0)),
      humDbfs: spectrum && !spectrum.humIsBound ? floor(meanSquareToDbfs(spectrum.hum.power)) : null,
      peakDbfs: floor(amplitudeToDb(stationarity.peak)),
    };
  });
}

export function heardStairs({ outputs }: Heard, recording: Recording, located: LocatedTake, estimates: readonly StairsEstimate[]): HeardOutput[] {
  const { frameAt } = timingOf(recording, located);
  const from = Math.max(0, Math.round(frameAt(0)));
  const whole = recording.read(from, Math.round(frameAt(codedTimetable(located.identity).lengthS)) - from);
  return outputs.map((output, c) => {
    const place = { state: '', source: null, output, loop: null, capture: [] };
    const [headroom] = headroomFigures(place, estimates[c]!, null, { unit: 'dBFS', offsetDb: 0, parts: [] }, null);
    const peak = whole[c]!.reduce((m, v) => Math.max(m, Math.abs(v)), 0);
    return { output, kind: 'stairs', cleanDbfs: headroom!.value, bound: headroom!.bound, peakDbfs: floor(amplitudeToDb(peak)) };
  });
}

export function heardSwitching({ outputs }: Heard, estimates: readonly SwitchingEstimate[]): HeardOutput[] {
  return outputs.map((output, c) => {
    const { clicks } = estimates[c]!;
    return { output, kind: 'switching', presses: clicks.length, peakDbfs: floor(amplitudeToDb(Math.max(0, ...clicks.map(({ peak }) => peak)))) };
  });
}

/** Hum of a sleeve without contact drowns everything else (common practice, no source): over the rest of the noise, dB. */
const HUM_OVER_REST_DB = 30;
/** Weaker hum than this is a finding and no lead, dBFS (chosen: an open lead into a recorder's input hums louder). */
const HUM_LEAST_DBFS = -70;

/** Lines of hum that are looked for before a take: mains that are picked up bring harmonics along (common practice, no source: those beyond lie 30 dB and more below). */
const HUM_LINES = 10;

/** How far hum stands over the rest, dB; null where that is no lead. */
function overRestDb(humPower: number, restPower: number): number | null {
  const overDb = powerToDb(Math.max(humPower, 1e-30) / Math.max(restPower, 1e-20));
  return meanSquareToDbfs(Math.max(humPower, 1e-30)) > HUM_LEAST_DBFS && overDb > HUM_OVER_REST_DB ? overDb : null;
}

/** Every output that hums so, told at once. */
function humProblem({ file, outputs }: Heard, over: readonly (number | null)[], playing: boolean): Problem | null {
  const overDb = Math.max(...over.map((db) => db ?? -Infinity));
  return overDb === -Infinity ? null : problem('capture.hum', { file, outputs: outputs.filter((_, c) => over[c] !== null), overDb, playing });
}

/** Hum that drowns the noise of an idle capture. */
export function checkIdleHum(heard: Heard, estimates: readonly IdleEstimate[]): Problem | null {
  const over = estimates.map(({ spectrum }) => (!spectrum || spectrum.humIsBound ? null : overRestDb(spectrum.hum.power, spectrum.hiss.power + (spectrum.whineIsBound ? 0 : spectrum.whine.power))));
  return humProblem(heard, over, false);
}

/** A tone that something plays drowns everything else; the whine of a supply is a finding. Over the rest of the noise, dB, and the least, dBFS (common practice, no source: supplies whine far lower). */
const TONE_OVER_REST_DB = 45;
const TONE_LEAST_DBFS = -60;

/** A steady tone where nothing should play. */
export function checkIdleTone({ file, outputs }: Heard, estimates: readonly IdleEstimate[]): Problem | null {
  const found = estimates.flatMap(({ spectrum }, c) => {
    const family = spectrum === null || spectrum.whineIsBound ? undefined : [...spectrum.lines.whine].sort((a, b) => b.power - a.power)[0];
    if (!spectrum || !family || meanSquareToDbfs(family.power) < TONE_LEAST_DBFS) return [];
    const overDb = powerToDb(family.power / Math.max(1e-20, spectrum.hiss.power + (spectrum.humIsBound ? 0 : spectrum.hum.power)));
    return overDb > TONE_OVER_REST_DB ? [{ output: outputs[c]!, hz: family.fundamentalHz, overDb }] : [];
  });
  const [first] = [...found].sort((a, b) => b.overDb - a.overDb);
  return first === undefined ? null : problem('capture.tone-in-idle', { file, outputs: found.map(({ output }) => output), hz: first.hz, overDb: first.overDb });
}

/** Hum in the second before a take. */
export function checkTakeHum(heard: Heard, recording: Recording, located: LocatedTake, mainsHz: number): Problem | null {
  const rate = recording.sampleRateHz;
  const end = Math.round(startFrameOf(located, rate) - 0.05 * rate);
  const from = Math.max(0, end - Math.round(0.9 * rate));
  if (end - from < rate / 2) return null;
  const window = hann(end - from);
  const over = recording.read(from, end - from).map((x) => {
    // Each line is taken out before the next is fitted: over less than whole periods the powers of lines do not add up to that of the samples.
    let rest: Float64Array = x;
    let hum = 0;
    let trueMainsHz = mainsHz;
    for (let n = 1; n <= HUM_LINES; n++) {
      const fit = fitSine(rest, rate, n * trueMainsHz, window);
      if (!fit || Math.abs(fit.frequencyHz / (n * mainsHz) - 1) > MAINS_TOLERANCE) continue;
      if (n === 1) trueMainsHz = fit.frequencyHz;
      hum += (fit.amplitude * fit.amplitude) / 2;
      rest = withoutTone(rest, rate, fit);
    }
    return overRestDb(hum, sumOfSquares(rest) / rest.length);
  });
  return humProblem(heard, over, true);
}

/** Is hum what a take is too quiet over? */
export const drowns = (hum: Problem, unfit: Problem | null): boolean =>
  unfit?.code === 'capture.too-quiet' && (hum.details['outputs'] as readonly string[]).includes(unfit.details['output'] as string);

/** A switching capture in which nothing was pressed says nothing of a switch. */
export function checkPresses({ file }: Heard, recording: Recording, estimates: readonly SwitchingEstimate[]): Problem | null {
  return estimates.some((e) => e.clicks.length > 0) ? null : problem('capture.no-press', { file, seconds: recording.frames / recording.sampleRateHz });
}

/**
 * The bench looped to itself is cleaner than this, harmonics aside, unless its samples are interpolated on the way, dB: straight
 * lines between the samples of 44.1 and 48 kHz, there and back, leave 57; a sound server that follows a clock was seen to leave 34 to 49.
 */
const CLEAN_BENCH_DB = 62;

/** A sample rate that is converted between player and recorder, in a take without the board. */
export function checkConverted({ file, outputs }: Heard, estimates: readonly TakeEstimate[]): Problem | null {
  for (const [c, { tone, silencePower }] of estimates.entries()) {
    if (!tone?.residual) continue;
    // A device distorts into harmonics, a converter beside them.
    const residual = tone.residual.apart.power - Math.max(0, tone.harmonicSquares / 2);
    if (residual <= 0) continue;
    const sinadDb = powerToDb((tone.amplitude * tone.amplitude) / 2 / residual);
    // What is noise is no conversion.
    if (sinadDb < CLEAN_BENCH_DB && residual > 4 * silencePower) return problem('capture.converted', { file, output: outputs[c]!, sinadDb });
  }
  return null;
}

export interface TakeOfState {
  readonly step: string;
  /** Loops with an effect that the state wants in. */
  readonly effects: readonly string[];
  readonly estimates: readonly TakeEstimate[];
}

/** Two takes this close sound the same, dB in the worst third of an octave; an effect that does nothing is no effect (chosen: half a percent). */
const SAME_DB = 0.05;
/** A state that differs from what it should be by this much, dB, is looked up among the others (chosen: most effects change some band by more, tolerances of parts by less). */
const OTHER_DB = 1;
/** … and is one of them where it is nearer to it than this share of that (chosen: another loop in besides would leave it further). */
const NEAR_SHARE = 0.2;
/** Bands that are compared, Hz (chosen: what every pedal passes; below and above coupling capacitors and cable differ). */
const BANDS_HZ = [100, 8000] as const;

function worstBandDb(a: readonly TakeEstimate[], b: readonly TakeEstimate[]): number {
  const differences = a.flatMap((e, c) => thirdOctaveRatios(ratio(e.response, b[c]!.response)).filter(({ nominalHz }) => nominalHz >= BANDS_HZ[0] && nominalHz <= BANDS_HZ[1]));
  return differences.reduce((worst, { db }) => Math.max(worst, Math.abs(db)), 0);
}

/** Is the board in the state that the step wants? Told by the effects: a loop that does nothing sounds like none. */
export function checkLoops({ file }: Heard, now: TakeOfState, earlier: readonly TakeOfState[]): Problem | null {
  const plain = earlier.filter((e) => e.effects.length === 0);
  const [rest] = plain;
  if (now.effects.length > 0) {
    const same = plain.find((e) => worstBandDb(now.estimates, e.estimates) < SAME_DB);
    return same ? problem('capture.loop-not-heard', { file, step: now.step, loop: now.effects.join(', '), asIn: same.step }) : null;
  }
  const off = rest ? worstBandDb(now.estimates, rest.estimates) : OTHER_DB;
  if (off < OTHER_DB) return null;
  const near = earlier.find((e) => e.effects.length === 1 && worstBandDb(now.estimates, e.estimates) < (rest ? NEAR_SHARE * off : SAME_DB));
  return near ? problem('capture.loop-heard', { file, step: now.step, loop: near.effects[0]!, asIn: near.step }) : null;
}
