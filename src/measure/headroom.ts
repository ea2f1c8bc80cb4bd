/**
 * Headroom from the level stairs: the highest level before the tone has 1 % of harmonics, how the board clips there, and
 * how far that is above its noise.
 *
 * @module
 */
import type { Stated } from '../board/model.js';
import { DB_PER_RELATIVE, DB_PER_RELATIVE_AMPLITUDE, amplitudeToDb, dbToAmplitude } from '../units/decibels.js';
import { inSentence } from '../units/format.js';
import { calibrationPart } from './calibration.js';
import type { LevelScale } from './calibration.js';
import { BESIDE_DEGREES_OF_FREEDOM, squareVariance } from './distortion.js';
import { figure, part } from './figure.js';
import type { Figure, Place, UncertaintyPart } from './figure.js';
import type { StairEstimate, StairsEstimate } from './stairs.js';

/** 1 % as a ratio of squares. */
const LIMIT = 1e-4;
/** Highest harmonic that counts as distortion, as for `thd`. */
const HIGHEST_HARMONIC = 10;
/** What the reading between two stairs leaves on closed forms of clipping, hard and soft, on one side and on both, dB (tests/measure/headroom.test.ts). */
const METHOD_DB = 0.008;
/** Even over odd harmonics, dB, from which one half of the wave clips clearly before the other: 1 dB between the two thresholds makes −8 dB. */
export const ONE_SIDED_DB = -10;

/** A stair clearly over 1 %. */
const isOver = (s: StairEstimate): boolean => s.harmonicSquares > LIMIT * s.amplitude ** 2 && s.harmonicSquares > 3 * s.harmonicSquaresUncertainty;
/** A stair whose harmonics, noise and all, are under 1 %. */
const isUnder = (s: StairEstimate): boolean => s.harmonicSquares + 2 * s.harmonicSquaresUncertainty < LIMIT * s.amplitude ** 2;

/** Where 1 % is passed. */
interface Crossing {
  /** First stair over it; there is one below. */
  readonly index: number;
  /** Played, dBFS; and the tone at the recorder, amplitude with full scale 1. */
  readonly playedDbfs: number;
  readonly amplitude: number;
  /** Standard uncertainties of the tone's level, dB. */
  readonly betweenStairsDb: number;
  readonly noiseDb: number;
  /** Rise of the tone's level per dB played there: 1 where nothing clips yet. */
  readonly gain: number;
}

const TURN = 256;

/** Tone and harmonics over one turn of what `shape` makes of k·cos θ: Σ shape[n]·Tₙ(k·cos θ), as amplitudes from the first. */
function through(shape: readonly number[], k: number): { tone: number; distortion: number } {
  const sums = new Float64Array(HIGHEST_HARMONIC + 1);
  for (let i = 0; i < TURN / 2; i++) {
    const theta = (2 * Math.PI * (i + 0.5)) / TURN;
    const x = k * Math.cos(theta);
    // Clenshaw's recurrence for the Chebyshev sum.
    let b1 = 0;
    let b2 = 0;
    for (let n = shape.length - 1; n >= 1; n--) [b1, b2] = [2 * x * b1 - b2 + shape[n]!, b1];
    const y = x * b1 - b2 + shape[0]!;
    for (let n = 1; n <= HIGHEST_HARMONIC; n++) sums[n]! += (y * Math.cos(n * theta) * 4) / TURN;
  }
  let squares = 0;
  for (let n = 2; n <= HIGHEST_HARMONIC; n++) squares += sums[n]! ** 2;
  return { tone: Math.abs(sums[1]!), distortion: Math.sqrt(squares) / Math.abs(sums[1]!) };
}

/**
 * Between the last stair under 1 % and the first over it. The wave of the upper one holds the device's curve up to its peak, so
 * what smaller tones become follows from it: f(x) = Σ aₙ·Tₙ(x/A), tried at k·A. A curve that moves with level (a compressor's
 * gain) is taken up by bringing the level to what the lower stair showed.
 */
function crossingOf(stairs: readonly StairEstimate[], index: number): Crossing {
  const [lower, upper] = [stairs[index - 1]!, stairs[index]!];
  const stepDb = upper.levelDbfs - lower.levelDbfs;
  const at = (db: number): { tone: number; distortion: number } => through(upper.shape, dbToAmplitude(db));
  let [low, high] = [-stepDb, 0];
  for (let pass = 0; pass < 30; pass++) {
    const middle = (low + high) / 2;
    if (at(middle).distortion > Math.sqrt(LIMIT)) high = middle;
    else low = middle;
  }
  const found = at(low);
  const foot = at(-stepDb);
  const footErrorDb = amplitudeToDb(lower.amplitude / foot.tone);
  const amplitude = found.tone * dbToAmplitude((-low / stepDb) * footErrorDb);
  // How steep distortion (in its own unit) and level are there, per dB played.
  const [below, above] = [at(low - 0.05), at(low + 0.05)];
  const steepness = Math.max(1e-4, (above.distortion - below.distortion) / 0.1);
  const gain = amplitudeToDb(above.tone / below.tone) / 0.1;
  // The curve foretells the lower stair's distortion; as far as that is wrong, so may the crossing be.
  const foretold = foot.distortion - Math.sqrt(Math.max(0, lower.harmonicSquares)) / lower.amplitude;
  const noise = (s: StairEstimate): number => s.harmonicSquaresUncertainty / (2 * Math.sqrt(LIMIT) * s.amplitude ** 2);
  const shareAbove = 1 + low / stepDb;
  return {
    index,
    playedDbfs: upper.levelDbfs + low,
    amplitude,
    betweenStairsDb: Math.hypot(METHOD_DB, ((-low / stepDb) * Math.abs(foretold) * gain) / steepness / Math.sqrt(3)),
    gain,
    noiseDb: Math.hypot((noise(upper) * gain) / steepness, DB_PER_RELATIVE_AMPLITUDE * Math.hypot(shareAbove * upper.relativeUncertainty, (1 - shareAbove) * lower.relativeUncertainty)),
  };
}

/** The first stair over 1 % that the next bears out: a crackle in one stair is no clipping. Null: none; the index of the first over it. */
function firstOver(stairs: readonly StairEstimate[]): number | null {
  const index = stairs.findIndex((s, k) => isOver(s) && (k + 1 === stairs.length || isOver(stairs[k + 1]!)));
  return index < 0 ? null : index;
}

/** Readings of the stairs on one output. `bench` is the stairs of the interface looped to itself, heard by the same input. */
export function headroomFigures(place: Place, { stairs }: StairsEstimate, bench: StairsEstimate | null, scale: LevelScale, player: Stated | null): Figure[] {
  const common = { id: 'headroom', label: 'Highest level before 1 % THD, 997 Hz', unit: scale.unit, method: 'stairs.headroom' };
  const level = (amplitude: number): number => scale.offsetDb + amplitudeToDb(amplitude);
  const index = firstOver(stairs);
  const top = stairs.at(-1);
  if (!top) return [figure(place, { ...common, value: null, parts: null, uncertaintyReason: 'no tone', remarks: ['No tone was heard on this output.'] })];
  if (index === null) {
    const highest = stairs.filter(isUnder).at(-1);
    if (!highest) return [figure(place, { ...common, value: null, parts: null, uncertaintyReason: 'noise', remarks: ['In no stair do harmonics of 1 % stand clear of the noise.'] })];
    return [
      figure(place, {
        ...common,
        value: level(highest.amplitude),
        bound: 'lower',
        benchLimited: true,
        parts: [part('fit', 'noise beside the tone', DB_PER_RELATIVE_AMPLITUDE * highest.relativeUncertainty), ...scale.parts],
        remarks: [`Still under 1 % at ${shown(highest.levelDbfs)} dBFS played, the highest that the stairs could tell: the board can do at least this.`],
      }),
    ];
  }
  if (index === 0) {
    const [first] = stairs;
    return [
      figure(place, {
        ...common,
        value: level(first!.amplitude),
        bound: 'upper',
        parts: [part('fit', 'noise beside the tone', DB_PER_RELATIVE_AMPLITUDE * first!.relativeUncertainty), ...scale.parts],
        remarks: [`Over 1 % at the lowest stair already (${shown(first!.levelDbfs)} dBFS played).`],
      }),
      ...clippingFigure(place, stairs, index),
    ];
  }
  const crossing = crossingOf(stairs, index);
  const parts: UncertaintyPart[] = [
    part('method', 'between two stairs', crossing.betweenStairsDb),
    part('fit', 'noise beside tone and harmonics', crossing.noiseDb),
  ];
  // A bench that distorts as early says nothing of what the board would do.
  const benchIndex = bench ? firstOver(bench.stairs) : null;
  const benchLimited = place.state !== 'bench' && benchIndex !== null && bench!.stairs[benchIndex]!.levelDbfs < crossing.playedDbfs + 2;
  const remarks = [
    `At ${shown(crossing.playedDbfs)} dBFS played.`,
    ...(benchLimited ? ['The bench itself has 1 % there: the board can do at least this.'] : []),
  ];
  return [
    figure(place, { ...common, value: level(crossing.amplitude), bound: benchLimited ? 'lower' : null, benchLimited, parts: [...parts, ...scale.parts], remarks }),
    ...(player && !benchLimited && place.state !== 'bench'
      ? [
          figure(place, {
            id: 'headroom.input',
            label: 'Level at the input there',
            value: crossing.playedDbfs + player.value,
            unit: 'dBu',
            method: 'stairs.headroom',
            parts: [...parts.map((p) => ({ ...p, standard: p.standard / Math.max(0.1, crossing.gain) })), calibrationPart('calibration of the generator output', player)],
            remarks: ['What the bench plays, without the loss of its own output resistance.'],
          }),
        ]
      : []),
    ...(benchLimited ? [] : clippingFigure(place, stairs, index)),
  ];
}

const shown = (db: number): string => inSentence(db, 1);

/** Squared amplitudes of the even, or of the odd, harmonics, noise taken off, with their standard uncertainty. */
interface Half {
  readonly square: number;
  readonly standard: number;
}

/** Even harmonics against odd, one stair into the clipping: just where it begins, a hair between the halves of the wave decides. */
function clippingFigure(place: Place, stairs: readonly StairEstimate[], index: number): Figure[] {
  const stair = stairs[Math.min(index + 1, stairs.length - 1)]!;
  // The second, at place 0, is even.
  const [even, odd] = [0, 1].map((parity) => {
    const own = stair.harmonics.map((a, i) => ({ found: a * a, noise: stair.noiseSquares[i]! })).filter((_, i) => i % 2 === parity);
    return { square: own.reduce((sum, { found, noise }) => sum + found - noise, 0), standard: Math.sqrt(own.reduce((sum, { found, noise }) => sum + squareVariance(found, noise), 0)) };
  }) as [Half, Half];
  const [evenIsClear, oddIsClear] = [even, odd].map(({ square, standard }) => square > 4 * standard);
  if (!evenIsClear && !oddIsClear) return [];
  // What is not clear is at most this.
  const most = ({ square, standard }: Half): number => Math.max(0, square) + 2 * standard;
  const value = 10 * Math.log10((evenIsClear ? even.square : most(even)) / (oddIsClear ? odd.square : most(odd)));
  const bound = !evenIsClear ? ('upper' as const) : !oddIsClear ? ('lower' as const) : null;
  const relative = Math.hypot(even.standard / even.square, odd.standard / odd.square);
  return [
    figure(place, {
      id: 'headroom.even-odd',
      label: 'Clipping: even harmonics against odd',
      value,
      unit: 'dB',
      bound,
      method: 'stairs.clipping',
      parts: [part('fit', 'noise beside the harmonics', bound === null ? DB_PER_RELATIVE * relative : 0, { degreesOfFreedom: BESIDE_DEGREES_OF_FREEDOM })],
      remarks: [value > ONE_SIDED_DB && bound !== 'upper' ? 'One half of the wave clips before the other.' : 'Both halves of the wave clip alike.'],
    }),
  ];
}

/** From the floor to the highest clean level, of one state and output. */
export function dynamicRangeFigure(headroom: Figure, noise: Figure): Figure {
  const common = { id: 'dynamic-range', label: 'Dynamic range, 1 % THD over the A-weighted floor', unit: 'dB', method: 'stairs.dynamic-range', capture: [...headroom.capture, ...noise.capture] };
  if (headroom.value === null || noise.value === null) return figure(headroom, { ...common, value: null, parts: null, uncertaintyReason: 'no reading', remarks: ['The headroom or the noise was not read.'] });
  // The calibration of the one input is in both and cancels.
  const own = (f: Figure): UncertaintyPart[] => (f.parts ?? []).filter((p) => p.kind !== 'calibration');
  // The floor is at most what was read, the headroom at least: both make the range larger. Headroom at most leaves no bound with a floor at most.
  const bound = headroom.bound ?? (noise.bound === 'upper' ? ('lower' as const) : null);
  return figure(headroom, {
    ...common,
    value: headroom.bound === 'upper' && noise.bound === 'upper' ? null : headroom.value - noise.value,
    bound,
    benchLimited: headroom.benchLimited || noise.benchLimited,
    parts: [...own(headroom), ...own(noise)],
    uncertaintyReason: null,
    remarks: headroom.bound === 'upper' && noise.bound === 'upper' ? ['Of both ends only a bound is known.'] : [],
  });
}
