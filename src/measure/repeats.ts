/**
 * Several captures of one step: put together, and held against each other.
 *
 * Idle captures are averaged as power, each by its degrees of freedom. Takes are averaged coherently: each response is first
 * turned back by the delay that its start was misjudged by, then weighed by its own noise at every frequency. Whether the
 * captures agree is asked figure by figure: where they scatter by more than their noise explains, the scatter becomes a
 * part of the uncertainty, and is said.
 *
 * Stairs are averaged stair by stair. Presses of a switch and moved leads are no estimates of one value, they are chances for something
 * to happen: the captures are laid end to end, the loudest click of all is the click and dropouts add up, and how the captures
 * differ is said beside it.
 *
 * @module
 */
import { chiSquareUpper } from '../numerics/statistics.js';
import { joinFlex } from './flex.js';
import { combineIdle } from './idle.js';
import type { CaptureEstimate, JobFigures } from './job.js';
import { part } from './figure.js';
import type { Figure, Repeats, UncertaintyPart } from './figure.js';
import { GRID_HZ } from './frequency-grid.js';
import { fitPhaseLine } from './match.js';
import { ratio } from './response.js';
import { joinHarmonics } from './sweep-distortion.js';
import type { StairEstimate, StairsEstimate } from './stairs.js';
import { joinSwitching } from './switching.js';
import type { ResponseEstimate, TakeEstimate, ToneEstimate } from './take.js';

/** Captures that agree are called disagreeing once in this many figures. */
const FALSE_ALARM = 1e-4;
/** The same for two captures, in standard uncertainties of their difference. */
const FAR = Math.sqrt(chiSquareUpper(FALSE_ALARM, 1));

/** Parts that come from the scatter of the capture itself: all others are alike in its repeats. */
const isOwn = ({ kind }: UncertaintyPart): boolean => kind === 'spectral statistics' || kind === 'fit' || kind === 'drift';
const ownStandard = (figure: Figure): number => Math.hypot(...(figure.parts ?? []).filter(isOwn).map((p) => p.standard));

/**
 * Measures a job some of whose steps were captured more than once.
 *
 * @param estimates - of one step the newest first.
 * @param measure - figures of a job with one capture per step.
 */
export function withRepeats(estimates: readonly CaptureEstimate[], mainsHz: number, measure: (estimates: readonly CaptureEstimate[]) => JobFigures): JobFigures {
  const steps = new Map<string, CaptureEstimate[]>();
  for (const estimate of estimates) steps.set(estimate.step.id, [...(steps.get(estimate.step.id) ?? []), estimate]);
  const groups = [...steps.values()];
  if (groups.every((g) => g.length === 1)) return measure(estimates);
  const joined = groups.map((group) => join(group, mainsHz));
  const together = measure(joined.map(({ estimate }) => estimate));
  const remarks = joined.flatMap(({ remark }) => (remark === null ? [] : [remark]));
  let figures = together.figures;
  joined.forEach(({ members }, at) => {
    if (members.length < 2) return;
    const step = members[0]!.step.id;
    const each = members.map((member) => new Map(measure(joined.map(({ estimate }, i) => (i === at ? member : estimate))).figures.map((f) => [placeKey(f), f])));
    figures = figures.map((f) => (f.capture.includes(step) ? held(f, step, each.map((of) => of.get(placeKey(f)) ?? null)) : f));
  });
  return { ...together, figures, remarks: [...together.remarks, ...remarks] };
}

const placeKey = ({ id, state, source, output, loop }: Figure): string => JSON.stringify([id, state, source, output, loop]);

interface Joined {
  readonly estimate: CaptureEstimate;
  /** The captures that went into it. */
  readonly members: readonly CaptureEstimate[];
  readonly remark: string | null;
}

function join(group: readonly CaptureEstimate[], mainsHz: number): Joined {
  const [newest] = group as [CaptureEstimate];
  const members = group.filter((other) => isAlike(newest, other));
  const apart = group.length - members.length;
  const remark = apart === 0 ? null : `${apart === 1 ? 'One capture' : `${apart} captures`} of ${newest.step.id} could not be put together with the newest: ${newest.kind === 'take' || newest.kind === 'stairs' ? 'another level or sweep was played' : 'another sample rate or length'}.`;
  if (members.length === 1) return { estimate: newest, members, remark };
  if (newest.kind === 'take') {
    const takes = members.map((m) => m.inputs as readonly TakeEstimate[]);
    return { estimate: { ...newest, inputs: newest.inputs.map((_, i) => joinTakes(takes.map((inputs) => inputs[i]!))) }, members, remark };
  }
  if (newest.kind === 'stairs') {
    const stairs = members.map((m) => m.inputs as readonly StairsEstimate[]);
    return { estimate: { ...newest, inputs: newest.inputs.map((_, i) => joinStairs(stairs.map((inputs) => inputs[i]!))) }, members, remark };
  }
  if (newest.kind === 'switching') {
    const captures = members.map((m) => (m as typeof newest).inputs).reverse();
    return { estimate: { ...newest, inputs: newest.inputs.map((_, i) => joinSwitching(captures.map((inputs) => inputs[i]!))) }, members, remark };
  }
  if (newest.kind === 'flex') return { estimate: { ...newest, inputs: joinFlex(members.map((m) => (m as typeof newest).inputs).reverse()) }, members, remark };
  const idles = members.map((m) => (m as typeof newest).inputs);
  return { estimate: { ...newest, inputs: newest.inputs.map((_, i) => combineIdle(idles.map((inputs) => inputs[i]!), mainsHz)) }, members, remark };
}

function isAlike(a: CaptureEstimate, b: CaptureEstimate): boolean {
  if ((a.kind === 'take' && b.kind === 'take') || (a.kind === 'stairs' && b.kind === 'stairs')) {
    const [x, y] = [a.inputs[0]!.located.identity, b.inputs[0]!.located.identity];
    return x.levelDbfs === y.levelDbfs && x.sweepTopHz === y.sweepTopHz;
  }
  if (a.kind !== 'idle' || b.kind !== 'idle') return a.kind === b.kind;
  return a.inputs.every(({ spectrum }, i) => {
    const other = b.inputs[i]!.spectrum;
    return a === b || (spectrum !== null && other !== null && spectrum.psd.binHz === other.psd.binHz && spectrum.psd.density.length === other.psd.density.length);
  });
}

/** One output of several takes of one step. */
export function joinTakes(takes: readonly TakeEstimate[]): TakeEstimate {
  const [first] = takes as [TakeEstimate];
  const tones = takes.flatMap(({ tone }) => (tone === null ? [] : [tone]));
  return {
    located: first.located,
    tone: tones.length === 0 ? null : joinTones(tones),
    response: joinResponses(takes.map((t) => t.response)),
    silencePower: mean(takes.map((t) => t.silencePower)),
    dropouts: takes.reduce((sum, t) => sum + (t.dropouts ?? 0), 0),
    ...(takes.every((t) => t.harmonics) ? { harmonics: joinHarmonics(takes.map((t) => t.harmonics!)) } : {}),
  };
}

const mean = (values: readonly number[]): number => values.reduce((s, v) => s + v, 0) / values.length;
/** Standard uncertainty of a mean of independent values. */
const meanUncertainty = (standards: readonly number[]): number => Math.hypot(...standards) / standards.length;

/**
 * Mean of responses, each 1/σ² heavy at every frequency, the delay between them taken out first: a start misjudged by a
 * hundredth of a sample would cost 0.001 dB at 20 kHz.
 */
export function joinResponses(responses: readonly ResponseEstimate[]): ResponseEstimate {
  const [first] = responses as [ResponseEstimate];
  const later = responses.map((r) => (r === first ? 0 : (fitPhaseLine(ratio(r, first))?.delayS ?? 0)));
  const common = mean(later);
  const [re, im, variance] = [0, 0, 0].map(() => new Float64Array(GRID_HZ.length)) as [Float64Array, Float64Array, Float64Array];
  const noiseless = responses.some((r) => r.variance.some((v) => v === 0));
  GRID_HZ.forEach((hz, i) => {
    let total = 0;
    responses.forEach(({ curve, variance: own }, k) => {
      const weight = noiseless ? 1 : 1 / own[i]!;
      const turn = 2 * Math.PI * hz * (later[k]! - common);
      const [c, s] = [Math.cos(turn), Math.sin(turn)];
      re[i]! += weight * (curve.re[i]! * c - curve.im[i]! * s);
      im[i]! += weight * (curve.re[i]! * s + curve.im[i]! * c);
      variance[i]! += weight * weight * own[i]!;
      total += weight;
    });
    re[i]! /= total;
    im[i]! /= total;
    variance[i]! /= total * total;
  });
  return { curve: { re, im }, variance, peakLagS: first.peakLagS - later[0]! + common };
}

/** Amplitudes by their noise; powers, whose noise grows with themselves, evenly. */
function joinTones(tones: readonly ToneEstimate[]): ToneEstimate {
  const [first] = tones as [ToneEstimate];
  const standards = tones.map((t) => t.amplitude * t.relativeUncertainty);
  const weights = standards.every((s) => s > 0) ? standards.map((s) => 1 / (s * s)) : standards.map(() => 1);
  const total = weights.reduce((s, w) => s + w, 0);
  const amplitude = tones.reduce((s, t, k) => s + weights[k]! * t.amplitude, 0) / total;
  const residuals = tones.flatMap(({ residual }) => (residual === null ? [] : [residual]));
  const residualOf = (key: keyof (typeof residuals)[number]): { power: number; relativeUncertainty: number } => {
    const power = mean(residuals.map((r) => r[key].power));
    return { power, relativeUncertainty: power > 0 ? meanUncertainty(residuals.map((r) => r[key].power * r[key].relativeUncertainty)) / power : 0 };
  };
  return {
    amplitude,
    relativeUncertainty: Math.sqrt(standards.reduce((s, u, k) => s + (weights[k]! * u) ** 2, 0)) / total / amplitude,
    phaseRad: first.phaseRad,
    harmonicSquares: mean(tones.map((t) => t.harmonicSquares)),
    harmonicSquaresUncertainty: meanUncertainty(tones.map((t) => t.harmonicSquaresUncertainty)),
    harmonics: first.harmonics.map((_, n) => Math.sqrt(mean(tones.map((t) => t.harmonics[n]! ** 2)))),
    residual: residuals.length === 0 ? null : { whole: residualOf('whole'), apart: residualOf('apart'), notched: residualOf('notched') },
  };
}

/**
 * One output of several captures of the stairs: stair by stair as tones are averaged, and the wave as the mean of its harmonics, which stand
 * turned to the tone's own phase already. A stair that was not heard in all of them is that of the others.
 */
export function joinStairs(captures: readonly StairsEstimate[]): StairsEstimate {
  const [first] = captures as [StairsEstimate];
  const levels = [...new Set(captures.flatMap(({ stairs }) => stairs.map((s) => s.levelDbfs)))].sort((a, b) => a - b);
  const joinStair = (levelDbfs: number): StairEstimate => {
    const own = captures.flatMap(({ stairs }) => stairs.filter((s) => s.levelDbfs === levelDbfs));
    const { amplitude, relativeUncertainty, harmonicSquares, harmonicSquaresUncertainty, harmonics } = joinTones(own.map((s) => ({ ...s, phaseRad: 0, residual: null })));
    return { levelDbfs, amplitude, relativeUncertainty, harmonicSquares, harmonicSquaresUncertainty, harmonics, noiseSquares: own[0]!.noiseSquares.map((_, n) => mean(own.map((s) => s.noiseSquares[n]!)) / own.length), shape: own[0]!.shape.map((_, n) => mean(own.map((s) => s.shape[n]!))) };
  };
  return { located: first.located, stairs: levels.map(joinStair) };
}

/** A figure of the captures together, beside the same of each alone. */
function held(together: Figure, step: string, each: readonly (Figure | null)[]): Figure {
  if (each.some((f) => f === null)) return together;
  const figures = each as readonly Figure[];
  const pooled = POOLED[together.id.slice(0, together.id.indexOf('.'))];
  // A frequency that only describes the loudest click is nothing to agree on.
  if (pooled !== undefined && together.parts === null && together.unit !== '') return together;
  const agree = together.unit === 'sign' ? figures.every((f) => f.value === figures[0]!.value) : isCount(together) ? countsAgree(figures) : theyAgree(figures);
  const repeats: Repeats = { step, values: figures.map((f) => f.value), agree };
  const said = { ...together, repeats: [...(together.repeats ?? []), repeats] };
  if (pooled !== undefined) return { ...said, remarks: [...together.remarks, `Of ${figures.length} captures laid end to end; ${pooled}.${agree ? '' : ' They differ by more than chance.'}`] };
  if (agree) return said;
  const plain = figures.every(isPlain);
  const values = figures.map((f) => f.value!);
  return {
    ...said,
    parts: plain && together.parts !== null ? [...together.parts, part('repeats', `scatter between the captures of ${step}`, Math.sqrt(varianceOf(values) / values.length), { degreesOfFreedom: values.length - 1 })] : together.parts,
    remarks: [...together.remarks, `The ${figures.length} captures of ${step} do not agree within their uncertainty.`],
  };
}

/** Readings of what happens, not of a value: by the first word of their ids, what several captures make of them. */
const POOLED: Readonly<Partial<Record<string, string>>> = { click: 'the loudest click of all counts', flex: 'what happened in any of them counts' };

/** How often something happened. */
const isCount = (f: Figure): boolean => f.id === 'click.count' || f.id.startsWith('flex.');

/** Chance events: a count scatters by its root. Σ (n − n̄)²/n̄ against chi-square. */
function countsAgree(figures: readonly Figure[]): boolean {
  const counts = figures.map((f) => f.value);
  if (counts.some((n) => n === null)) return counts.every((n) => n === null);
  const centre = mean(counts as number[]);
  return centre === 0 || (counts as number[]).reduce((s, n) => s + (n - centre) ** 2, 0) / centre <= chiSquareUpper(FALSE_ALARM, counts.length - 1);
}

const isPlain = (f: Figure): boolean => f.value !== null && f.bound === null && f.parts !== null;

function varianceOf(values: readonly number[]): number {
  const centre = mean(values);
  return values.reduce((s, v) => s + (v - centre) ** 2, 0) / (values.length - 1);
}

/**
 * Σ (v − v̄)²/u² over the captures, v̄ weighed by 1/u², against chi-square with one degree of freedom fewer than captures. Noise of other
 * captures that all have in common is in u but not in the scatter, so that the test errs towards agreement. Where some are
 * bounds, or have no value, agreement is that their intervals meet.
 */
function theyAgree(figures: readonly Figure[]): boolean {
  if (figures.every((f) => f.value === null)) return true;
  if (figures.some((f) => f.value === null)) return false;
  if (!figures.every(isPlain)) {
    const intervals = figures.map((f): [number, number] => {
      const u = FAR * ownStandard(f);
      return [f.bound === 'upper' ? -Infinity : f.value! - u, f.bound === 'lower' ? Infinity : f.value! + u];
    });
    return Math.max(...intervals.map(([low]) => low)) <= Math.min(...intervals.map(([, high]) => high));
  }
  const weights = figures.map((f) => 1 / Math.max(ownStandard(f), 1e-12 * Math.abs(f.value!), Number.MIN_VALUE ** 0.5) ** 2);
  const total = weights.reduce((s, w) => s + w, 0);
  const centre = figures.reduce((s, f, k) => s + weights[k]! * f.value!, 0) / total;
  const sum = figures.reduce((s, f, k) => s + weights[k]! * (f.value! - centre) ** 2, 0);
  return sum <= chiSquareUpper(FALSE_ALARM, figures.length - 1);
}
