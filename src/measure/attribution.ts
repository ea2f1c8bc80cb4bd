/**
 * Where the noise at an output comes from: the bench, the input stage, the output itself, and each loop.
 *
 * In powers, per third-octave and as hiss, hum and whine, the idle captures are sums of the same few sources:
 *
 *     bench        B
 *     unbuffered   B + O
 *     rest         B + O + I
 *     loop k       B + O + gₖ²·I + Lₖ
 *
 * gₖ is the gain of loop k from its take (1 where there is none). Non-negative least squares over them, each weighed by one
 * over its variance, gives the sources; the state `all` is left out and predicted,
 *
 *     all          B + O + Πg²·I + Σ Lₖ·Π(g² of the loops behind k)
 *
 * and so is `all` without any one loop. Noise of separate sources adds in power. Lines of one origin (mains, one clock) add
 * as voltages of unknown phase, so that a sum of them is only known to lie between the least and the most that phases allow, and a source is
 * known the less the stronger the lines that it stands among (line-phases.ts).
 * Where no `unbuffered` capture tells the input stage from the output, the two are one source, the path.
 *
 * @module
 */
import type { Bench, Board } from '../board/model.js';
import { nonNegativeLeastSquares } from '../numerics/nnls.js';
import { BINS_ALIKE } from '../numerics/psd.js';
import { thirdOctavesWithin } from '../numerics/third-octave.js';
import type { ThirdOctave } from '../numerics/third-octave.js';
import { levelScale } from './calibration.js';
import type { LevelScale } from './calibration.js';
import { COVERAGE, LEAST_LINES, humBetween, strangeHarmonic } from './hum-range.js';
import type { StrangeHarmonic } from './hum-range.js';
import { NOISE_HIGH_HZ, NOISE_LOW_HZ } from './idle.js';
import type { IdleEstimate, IdleSpectrum } from './idle.js';
import { linesOf, meetingLines, phaseSpread, phaseTerms } from './line-phases.js';
import type { MetLine, PhaseTerm } from './line-phases.js';
import { thirdOctaveRatios } from './match.js';
import { linePowerVariance } from './power-estimate.js';
import type { PowerEstimate } from './power-estimate.js';
import { meanPower, ratio } from './response.js';
import type { TakeEstimate } from './take.js';

export type NoiseClass = 'hiss' | 'hum' | 'whine';
export const NOISE_CLASSES: readonly NoiseClass[] = ['hiss', 'hum', 'whine'];

/** A mean square at the recorder with its 95 % interval, full scale 1. */
export interface PowerRange {
  readonly power: number;
  readonly low: number;
  readonly high: number;
  /** Standard uncertainties: from the scatter of the captures, and from the phases at which lines meet in them, the one that matters most and all others. */
  readonly scatter: number;
  readonly phase: number;
  readonly otherPhases: number;
}

/** Noise by class, as powers here and as levels in results.json: `Range` is what each is given as. */
export interface PartsOfNoise<Range = PowerRange> {
  readonly hiss: Range;
  readonly hum: Range;
  readonly whine: Range;
  /** All three together. */
  readonly total: Range;
}

/** What one part of the board, or the bench, adds to the noise at an output. */
export interface SourceOfNoise<Range = PowerRange> {
  /** `path`: input stage and output together, where no capture tells them apart. */
  readonly kind: 'bench' | 'input' | 'output' | 'path' | 'loop';
  /** Loop id of a loop. */
  readonly loop: string | null;
  readonly parts: PartsOfNoise<Range>;
  /** All noise in each third-octave band. */
  readonly bands: readonly Range[];
}

/** What the sources make together in a state, and what was measured there. */
export interface SumOfNoise<Range = PowerRange> {
  /** Loops that are in. */
  readonly loops: readonly string[];
  readonly predicted: PartsOfNoise<Range>;
  /** Null where that combination was not captured. */
  readonly measured: PartsOfNoise<Range> | null;
  /** True where the sum and the measured differ by more than both can be wrong: the loops do more, or less, together than one by one. Null where not measured. */
  readonly interacts: Readonly<Record<NoiseClass, boolean>> | null;
  /** The strangest of the measured; null where none is. */
  readonly humLine: StrangeHarmonic | null;
}

export interface Attribution {
  readonly output: string;
  readonly scale: LevelScale;
  readonly bands: readonly ThirdOctave[];
  readonly sources: readonly SourceOfNoise[];
  readonly sums: readonly SumOfNoise[];
  readonly captures: readonly string[];
  readonly remarks: readonly string[];
}

interface Observed {
  readonly power: number;
  readonly standard: number;
}

/**
 * Loops load each other, and a device hisses otherwise behind another than behind a buffer. What the sum of powers leaves out even on a good
 * board, rms over 60 simulated ones of 2 to 6 loops, relative: in a capture with one loop in, and in the sum of all.
 */
const LOOP_MODEL = 0.002;
const SUM_MODEL = 0.009;
/** Sum and measured must also differ by this much before loops are said to interact: 1 dB of noise, and LEAST_LINES. */
const LEAST_HISS = 10 ** 0.1;

/** Powers of one capture: its classes, then its bands. */
function observe(spectrum: IdleSpectrum, bands: readonly ThirdOctave[]): { classes: Record<NoiseClass, Observed>; bands: Observed[] } {
  const of = (power: number, relative: number): Observed => ({ power, standard: power * relative });
  // Where skirts of hum hide it, it is anywhere up to the most that it can be.
  const ofHiss = ({ power, relativeUncertainty, skirts = 0, isHidden }: PowerEstimate): Observed => (isHidden ? { power: power / 2, standard: power / Math.sqrt(12) } : of(power, Math.hypot(relativeUncertainty, skirts)));
  const { hiss, hum, whine, humIsBound, whineIsBound } = spectrum;
  return {
    classes: {
      hiss: ofHiss(hiss),
      // A line that is not seen is none, and could be as large as the bound.
      hum: humIsBound ? { power: 0, standard: hum.power / 2 } : of(hum.power, hum.relativeUncertainty),
      whine: whineIsBound ? { power: 0, standard: whine.power / 2 } : of(whine.power, whine.relativeUncertainty),
    },
    bands: bandPowers(spectrum, bands),
  };
}

/** Mean square in each band, lines included; Hann bins are alike over 1.94 of them. */
function bandPowers({ psd, search }: IdleSpectrum, bands: readonly ThirdOctave[]): Observed[] {
  const { density, binHz, degreesOfFreedom: nu } = psd;
  return bands.map(({ lowHz, highHz }) => {
    let power = 0;
    let squares = 0;
    for (let k = Math.max(1, Math.round(lowHz / binHz)); k <= Math.round(highHz / binHz) && k < density.length; k++) {
      const inside = Math.min(highHz / binHz, k + 0.5) - Math.max(lowHz / binHz, k - 0.5);
      if (inside <= 0) continue;
      power += density[k]! * binHz * inside;
      squares += (search.floor[k]! * binHz * inside) ** 2;
    }
    const ofLines = search.lines.filter(({ hz }) => hz >= lowHz && hz < highHz).reduce((sum, line) => sum + linePowerVariance(line, search, psd), 0);
    return { power, standard: Math.sqrt((2 / nu) * BINS_ALIKE * squares + ofLines) };
  });
}

interface Captured {
  readonly state: string;
  readonly loop: string | null;
  readonly spectrum: IdleSpectrum;
  readonly observed: ReturnType<typeof observe>;
}

interface Unknown {
  readonly kind: SourceOfNoise['kind'];
  readonly loop: string | null;
}

/** What share of each source's power a state holds. */
function share({ kind, loop }: Unknown, state: string, loops: readonly string[], squareGain: (loop: string) => number): number {
  if (kind === 'bench') return 1;
  if (state === 'bench') return 0;
  if (kind === 'output') return 1;
  if (kind === 'loop' && !loops.includes(loop!)) return 0;
  if (kind === 'input' && state === 'unbuffered') return 0;
  // The path's noise is mostly its output's, behind every loop: what of it stands before them is not known.
  if (kind === 'path') return 1;
  const behind = kind === 'input' ? loops : loops.slice(loops.indexOf(loop!) + 1);
  return behind.reduce((product, id) => product * squareGain(id), 1);
}

interface Solved {
  readonly x: Float64Array;
  readonly free: Float64Array;
  /** Of `free`, from the scatter of the captures. */
  readonly covariance: Float64Array;
  readonly phases: readonly PhaseTerm[];
}

interface Row {
  readonly shares: readonly number[];
  readonly seen: Observed;
  /** What the model leaves out of it, relative. */
  readonly model: number;
}

/**
 * @param lines - each in all rows.
 * @param isAlone - whether two sources are each heard without the other.
 */
function solve(count: number, rows: readonly Row[], lines: readonly MetLine[], isAlone: (i: number, j: number) => boolean): Solved | null {
  const y = Float64Array.from(rows, ({ seen }) => seen.power);
  const largest = y.reduce((most, v) => Math.max(most, v), 0);
  const columns = Array.from({ length: count }, (_, k) => Float64Array.from(rows, ({ shares }) => shares[k]!));
  if (!(largest > 0)) return { x: new Float64Array(count), free: new Float64Array(count), covariance: new Float64Array(count ** 2), phases: [] };
  // Powers are of the order of 1e-12: solved on the scale of the largest.
  const weights = Float64Array.from(rows, ({ seen, model }) => 1 / (Math.hypot(seen.standard, model * seen.power) / largest + 1e-9) ** 2);
  const fit = nonNegativeLeastSquares(columns, y.map((v) => v / largest), weights);
  if (!fit) return null;
  // (AᵀWA)⁻¹·AᵀW
  const inverse = columns.map((_, i) => rows.map(({ shares }, c) => shares.reduce((sum, share, j) => sum + fit.covariance[i * count + j]! * share * weights[c]!, 0)));
  return {
    x: fit.x.map((v) => v * largest),
    free: fit.free.map((v) => v * largest),
    covariance: fit.covariance.map((v) => v * largest * largest),
    phases: phaseTerms(lines, inverse, rows.map(({ shares }) => shares), isAlone),
  };
}

/** Variance of Σ shareₖ·xₖ. */
const varianceOf = (covariance: Float64Array, shares: readonly number[]): number =>
  Math.max(0, shares.reduce((sum, a, i) => sum + shares.reduce((row, b, j) => row + a * b * covariance[i * shares.length + j]!, 0), 0));

/**
 * Σ shareₖ·xₖ: the covariance is that of the fit without bounds, the value that of the fit with them.
 *
 * @param model - what the sum leaves out, relative.
 */
function sumOf({ x, free, covariance, phases }: Solved, shares: readonly number[], model = 0): PowerRange {
  const power = shares.reduce((sum, s, k) => sum + s * x[k]!, 0);
  const unbounded = shares.reduce((sum, s, k) => sum + s * free[k]!, 0);
  const scatter = Math.hypot(Math.sqrt(varianceOf(covariance, shares)), model * power);
  const { one, others, most } = phaseSpread(phases, shares);
  const half = COVERAGE * Math.hypot(scatter, one, others);
  const up = Math.hypot(COVERAGE * scatter, Math.max(COVERAGE * one, most), COVERAGE * others);
  return { power, low: Math.max(0, Math.min(power, unbounded - half)), high: Math.max(power, unbounded) + up, scatter: scatter + Math.abs(power - unbounded) / COVERAGE, phase: one, otherPhases: others };
}

const add = (ranges: readonly PowerRange[]): PowerRange => {
  const power = ranges.reduce((sum, r) => sum + r.power, 0);
  const half = (of: (r: PowerRange) => number): number => Math.hypot(...ranges.map(of));
  return { power, low: Math.max(0, power - half((r) => r.low - r.power)), high: power + half((r) => r.high - r.power), scatter: half((r) => r.scatter), phase: half((r) => r.phase), otherPhases: half((r) => r.otherPhases) };
};

const partsOf = (hiss: PowerRange, hum: PowerRange, whine: PowerRange): PartsOfNoise => ({ hiss, hum, whine, total: add([hiss, hum, whine]) });
const seenRange = ({ power, standard }: Observed): PowerRange => ({ power, low: Math.max(0, power - COVERAGE * standard), high: power + COVERAGE * standard, scatter: standard, phase: 0, otherPhases: 0 });

/** Lines of one origin: the least and the most that their phases in the sum allow. */
function coherent(solved: Solved, shares: readonly number[]): PowerRange {
  const sum = sumOf(solved, shares, SUM_MODEL);
  const amplitudes = shares.map((s, k) => Math.sqrt(s * solved.x[k]!));
  const most = amplitudes.reduce((a, b) => a + b, 0);
  const largest = Math.max(0, ...amplitudes);
  const least = Math.max(0, 2 * largest - most);
  const slack = COVERAGE * sum.scatter;
  return { ...sum, low: Math.min(Math.max(0, sum.power - slack), least ** 2), high: Math.max(sum.power, most ** 2) + slack };
}

/** Square gains of a loop: over all, and per band. */
interface Gains {
  readonly all: number;
  readonly bands: ReadonlyMap<number, number>;
}

function gainsOf(loop: readonly TakeEstimate[] | null, rest: readonly TakeEstimate[] | null, input: number): Gains | null {
  if (!loop || !rest) return null;
  const r = ratio(loop[input]!.response, rest[input]!.response);
  const { power } = meanPower(r, 200, 5000);
  if (!Number.isFinite(power)) return null;
  return { all: power, bands: new Map(thirdOctaveRatios(r).map(({ nominalHz, db }) => [nominalHz, 10 ** (db / 10)])) };
}

/** Sources of the noise at each output of the bench; nothing for an output without a `rest.idle`. */
export function attributeNoise(
  board: Board,
  bench: Bench,
  idleOf: (id: string) => readonly IdleEstimate[] | null,
  takeOf: (id: string) => readonly TakeEstimate[] | null,
): Attribution[] {
  const bands = thirdOctavesWithin(NOISE_LOW_HZ, NOISE_HIGH_HZ);
  return bench.inputs.flatMap((benchInput, i): Attribution[] => {
    const read = (state: string, loop: string | null): Captured[] => {
      const spectrum = idleOf(`${state}.idle`)?.[i]?.spectrum;
      return spectrum ? [{ state, loop, spectrum, observed: observe(spectrum, bands) }] : [];
    };
    const captured = [...read('bench', null), ...read('unbuffered', null), ...read('rest', null), ...board.loops.flatMap(({ id }) => read(`loop-${id}`, id))];
    const rest = captured.find(({ state }) => state === 'rest');
    if (!rest) return [];
    const has = (state: string): boolean => captured.some((c) => c.state === state);
    const split = has('unbuffered');
    const known = captured.flatMap(({ loop }) => loop ?? []);
    const unknowns: Unknown[] = [
      ...(has('bench') ? [{ kind: 'bench' as const, loop: null }] : []),
      ...(split ? [{ kind: 'output' as const, loop: null }, { kind: 'input' as const, loop: null }] : [{ kind: 'path' as const, loop: null }]),
      ...known.map((loop) => ({ kind: 'loop' as const, loop })),
    ];
    const gains = new Map(known.map((loop) => [loop, gainsOf(takeOf(`loop-${loop}.take`), takeOf('rest.take'), i)]));
    const unknownGains = known.filter((loop) => gains.get(loop) === null);
    // A loop is heard without the other loops; all else is only heard on top of what stands before it in the list.
    const isAlone = (a: number, b: number): boolean => unknowns[a]!.kind === 'loop' && unknowns[b]!.kind === 'loop';
    const solveBy = (seen: (c: Captured) => Observed, squareGain: (loop: string) => number, lines: readonly MetLine[] = []): Solved | null =>
      solve(
        unknowns.length,
        captured.map((c) => ({ shares: unknowns.map((u) => share(u, c.state, c.loop === null ? [] : [c.loop], squareGain)), seen: seen(c), model: c.loop === null ? 0 : LOOP_MODEL })),
        lines,
        isAlone,
      );
    const overall = (loop: string): number => gains.get(loop)?.all ?? 1;
    const { binHz } = captured[0]!.spectrum.psd;
    const classes = NOISE_CLASSES.map((of) => {
      // Harmonics are told by their number, whine by its frequency.
      const lines = meetingLines(captured.map(({ spectrum }) => linesOf(spectrum, of)), of === 'hum' ? 0 : 1.5 * binHz);
      return solveBy((c) => c.observed.classes[of], overall, lines);
    });
    const [hiss, hum, whine] = classes;
    if (!hiss || !hum || !whine) return [];
    const inBands = bands.map(({ nominalHz }, b) => solveBy((c) => c.observed.bands[b]!, (loop) => gains.get(loop)?.bands.get(nominalHz) ?? overall(loop)));

    const sources = unknowns.map((unknown, k): SourceOfNoise => {
      const unit = unknowns.map((_, j) => (j === k ? 1 : 0));
      return {
        ...unknown,
        parts: partsOf(sumOf(hiss, unit), sumOf(hum, unit), sumOf(whine, unit)),
        bands: inBands.map((solved) => (solved ? sumOf(solved, unit) : { power: 0, low: 0, high: 0, scatter: 0, phase: 0, otherPhases: 0 })),
      };
    });
    const sumWith = (loops: readonly string[], measured: Captured | null): SumOfNoise => {
      const shares = unknowns.map((u) => share(u, 'all', loops, overall));
      const humming = captured.flatMap(({ loop, spectrum }) => (loop !== null && loops.includes(loop) ? [{ spectrum, squareGain: overall(loop) }] : []));
      const ofHum = coherent(hum, shares);
      // Where a loop's hum cancels what is there at rest, its own is more than any sum of powers tells.
      const between = humBetween(rest.spectrum, humming, SUM_MODEL);
      const predicted = partsOf(sumOf(hiss, shares, SUM_MODEL), { ...ofHum, low: Math.min(ofHum.low, between.least), high: Math.max(ofHum.high, between.most) }, coherent(whine, shares));
      const m = measured?.observed.classes ?? null;
      const humLine = measured && strangeHarmonic(measured.spectrum, rest.spectrum, humming);
      return {
        loops,
        predicted,
        measured: m && partsOf(seenRange(m.hiss), seenRange(m.hum), seenRange(m.whine)),
        interacts: m && {
          hiss: differs(m.hiss, predicted.hiss, LEAST_HISS, true),
          hum: humLine !== null || differs(m.hum, predicted.hum, LEAST_LINES, false),
          whine: differs(m.whine, predicted.whine, LEAST_LINES, false),
        },
        humLine,
      };
    };
    const complete = known.length === board.loops.length && known.length > 1;
    const [all] = read('all', null);
    return [
      {
        output: benchInput.output,
        scale: levelScale(benchInput),
        bands,
        sources,
        sums: complete ? [sumWith(known, all ?? null), ...known.map((left) => sumWith(known.filter((id) => id !== left), null))] : [],
        captures: captured.map(({ state }) => `${state}.idle`),
        remarks: [
          ...(split ? [] : ['Input stage and output are one source: no capture with the buffer out tells them apart.']),
          ...(has('bench') ? [] : ['The bench’s own noise is in the sources: there is no bench.idle.']),
          ...(unknownGains.length > 0 ? [`Taken to have a gain of one, as there is no take of it: ${unknownGains.join(', ')}.`] : []),
          ...(complete || board.loops.length < 2 ? [] : ['No sum is given: not every loop has an idle capture.']),
        ],
      },
    ];
  });
}

/** Further from the prediction than both can be wrong, and than what does not matter; less than predicted counts for hiss only, as lines may cancel. */
function differs(seen: Observed, predicted: PowerRange, least: number, bothWays: boolean): boolean {
  const slack = 3 * seen.standard;
  if (seen.power - slack > predicted.high * 1.05 && seen.power > predicted.high * least) return true;
  return bothWays && seen.power + slack < predicted.low * 0.95 && seen.power * least < predicted.low;
}
