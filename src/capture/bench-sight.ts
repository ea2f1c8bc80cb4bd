/**
 * Can this bench see what the limits ask for? What `measure` would say of a board that stands exactly at a limit.
 *
 * The board is put together on the bench's own captures, and read by the functions that read every board. To the bench's noise its own
 * comes as power, Pm = P + Pb; so do its hum and its harmonics in the mean, since their phase may be any. Taken off again, Pb leaves P, with
 * what the phase leaves uncertain; or too little is left, and the reading is only a bound. With q = Pb/P, room of −10·lg q dB from the bench
 * to the limit, that is (standard uncertainty of the power, relative, one harmonic for all):
 *
 *   noise, whine   a bound where Pm < 2·Pb: q > 1, room below 0 dB
 *   hum            a bound likewise, else √2·√(Pm·Pb)/P = √2·√((1 + q)·q)
 *   distortion     a bound where Pm < 4·Pb: q > 1/3, room below 4.8 dB, else √2·√((Pm + Pb)·Pb)/P = √2·√((1 + 2q)·q)
 *
 * Headroom needs no capture: it is a bound where the stairs end, or the input is full, below the limit. A click is one where it is no higher
 * than what could hide in the bench's noise.
 *
 * @module
 */
import type { Bench, BenchInput, LimitSet } from '../board/model.js';
import { expanded } from '../judge/uncertainty.js';
import { levelScale } from '../measure/calibration.js';
import type { LevelScale } from '../measure/calibration.js';
import { clickFigures } from '../measure/click-figures.js';
import { figure } from '../measure/figure.js';
import type { Figure, Place } from '../measure/figure.js';
import type { IdleEstimate, IdleSpectrum } from '../measure/idle.js';
import { LINE_HALF_WIDTH } from '../measure/line-skirts.js';
import { noiseFigures } from '../measure/noise-figures.js';
import { linePowerVariance } from '../measure/power-estimate.js';
import type { PowerEstimate } from '../measure/power-estimate.js';
import { snrFigure, takeFigures } from '../measure/take-figures.js';
import { CLICK_LOW_HZ } from '../measure/switching.js';
import type { TakeEstimate, ToneEstimate } from '../measure/take.js';
import { DEFAULT_LEVEL_DBFS } from '../signals/reference.js';
import { stairsOf } from '../signals/stairs.js';
import { dbToAmplitude, dbToPower, dbfsToMeanSquare } from '../units/decibels.js';

/** What the bench may hide, and on which side its limit is. */
const ASKED = [
  { reading: 'noise.a', side: 'max', unit: 'dBu' },
  { reading: 'noise.hum', side: 'max', unit: 'dBu' },
  { reading: 'noise.whine', side: 'max', unit: 'dBu' },
  { reading: 'snr.a', side: 'min', unit: 'dB' },
  { reading: 'thd', side: 'max', unit: 'dB' },
  { reading: 'headroom', side: 'min', unit: 'dBu' },
  { reading: 'click.peak', side: 'max', unit: 'dBu' },
] as const;

export type SightReading = (typeof ASKED)[number]['reading'];

/** A figure as it is read: `upper`, at most; `lower`, at least. The uncertainty is of 95 %, null where none can be given. */
export interface Read {
  readonly value: number;
  readonly uncertainty: number | null;
  readonly bound: 'upper' | 'lower' | null;
}

export interface Sight {
  readonly reading: SightReading;
  readonly output: string;
  readonly unit: 'dBu' | 'dB';
  /** Of the bench itself; of headroom, the highest level that it can play and hear. */
  readonly bench: Read;
  /** The strictest of any state. */
  readonly limit: number;
  /** By how much the bench is better than the limit, dB; where it is a bound, at least. */
  readonly roomDb: number;
  /** Of a board that stands exactly at the limit, and neither adds nor takes gain. */
  readonly boardAtLimit: Read;
}

/** The bench's own captures, per input; null where they are not there. */
export interface BenchCaptures {
  readonly idle: readonly IdleEstimate[] | null;
  readonly take: readonly TakeEstimate[] | null;
}

/** Readings that have a limit and that the captures allow, in the order of {@link ASKED}. */
export function benchSight(bench: Bench, { idle, take }: BenchCaptures, limits: LimitSet): Sight[] {
  return ASKED.flatMap(({ reading, side, unit }) => {
    const given = limits.rows.flatMap((row) => (row.reading === reading && row.unit === unit && row[side] !== null ? [row[side]] : []));
    if (given.length === 0) return [];
    const limit = side === 'max' ? Math.min(...given) : Math.max(...given);
    return bench.inputs.flatMap((input, i): Sight[] => {
      const on: Input = { bench, input, idle: idle?.[i] ?? null, take: take?.[i] ?? null };
      const [own, boardAtLimit] = [asRead(ownFigure(on, reading)), asRead(figureAtLimit(on, reading, limit))];
      if (own === null || boardAtLimit === null) return [];
      return [{ reading, output: input.output, unit, bench: own, limit, roomDb: side === 'max' ? limit - own.value : own.value - limit, boardAtLimit }];
    });
  });
}

interface Input {
  readonly bench: Bench;
  readonly input: BenchInput;
  readonly idle: IdleEstimate | null;
  readonly take: TakeEstimate | null;
}

const asRead = (read: Figure | null): Read | null => read && read.value !== null ? { value: read.value, uncertainty: read.parts && expanded(read.parts), bound: read.bound } : null;

const placeIn = (state: string, { output }: BenchInput): Place => ({ state, source: null, output, loop: null, capture: [] });
const named = (figures: readonly Figure[], id: string): Figure | null => figures.find((f) => f.id === id) ?? null;

/** Of the bench looped to itself, or terminated. */
function ownFigure({ bench, input, idle, take }: Input, reading: SightReading): Figure | null {
  const place = placeIn('bench', input);
  const scale = levelScale(input);
  const ofTake = (id: string): Figure | null => take && named(takeFigures(place, take, null, input, bench, scale), id);
  const ofIdle = (id: string): Figure | null => idle && scale.unit === 'dBu' ? named(noiseFigures(place, idle, null, scale), id) : null;
  if (reading === 'headroom') return highestLevel(place, bench, input);
  if (reading === 'click.peak') return clickOver(place, idle, scale, null);
  if (reading === 'thd') return ofTake('thd');
  if (reading !== 'snr.a') return ofIdle(reading);
  const [level, noise] = [ofTake('level.tone'), ofIdle('noise.a')];
  return level && noise && snrFigure(place, level, noise);
}

/** Of a board at the limit, in the bench's captures. */
function figureAtLimit({ bench, input, idle, take }: Input, reading: SightReading, limit: number): Figure | null {
  const place = placeIn('rest', input);
  const scale = levelScale(input);
  if (reading === 'headroom') {
    const highest = highestLevel(place, bench, input);
    // The crossing is read between two stairs: to their calibration.
    return highest && (highest.value! < limit ? highest : figure(place, { ...highest, value: limit, bound: null }));
  }
  if (reading === 'click.peak') return clickOver(place, idle, scale, limit);
  if (reading === 'thd') return take && named(takeFigures(place, distortedBy(take, limit), take, input, bench, scale), 'thd');
  if (idle === null || scale.unit !== 'dBu') return null;
  const noisy = (key: NoiseKey, dbu: number): Figure[] => noiseFigures(place, withNoise(idle, key, dbfsToMeanSquare(dbu - scale.offsetDb)), idle, scale);
  if (reading !== 'snr.a') return named(noisy(KEYS[reading], limit), reading);
  const level = take && named(takeFigures(place, take, take, input, bench, scale), 'level.tone');
  if (level?.value == null) return null;
  return snrFigure(place, level, named(noisy('aWeighted', level.value - limit), 'noise.a')!);
}

/** Top stair and full input, whichever comes first; a board may have more. */
function highestLevel(place: Place, { output }: Bench, input: BenchInput): Figure | null {
  if (!output?.fullScaleDbu || !input.fullScaleDbu) return null;
  const top = stairsOf(output.levelDbfs ?? DEFAULT_LEVEL_DBFS).at(-1)!.levelDbfs;
  const value = Math.min(output.fullScaleDbu.value + top, input.fullScaleDbu.value);
  return figure(place, { id: 'headroom', label: 'Highest level that the bench plays and hears', value, unit: 'dBu', method: 'stairs.headroom', bound: 'lower', benchLimited: true, parts: levelScale(input).parts });
}

/** A click of that peak over the bench's noise, where it is high enough to be found; null: what could hide in it. */
function clickOver(place: Place, idle: IdleEstimate | null, scale: LevelScale, peakDbu: number | null): Figure | null {
  if (!idle?.spectrum || scale.unit !== 'dBu') return null;
  const { density, binHz } = idle.spectrum.psd;
  // As a switching capture is read: through a second-order high-pass.
  const floorRms = Math.sqrt(density.reduce((sum, d, k) => (k === 0 ? sum : sum + (d * binHz) / (1 + (CLICK_LOW_HZ / (k * binHz)) ** 4)), 0));
  const quiet = { lengthS: 0, clicks: [], floorRms, floorEnergy: 0, floorEnergySpread: 0, floorStretches: 0, spanS: 0, silent: false, clippedAtFrame: null };
  const hidden = named(clickFigures(place, quiet, [], scale), 'click.peak');
  if (peakDbu === null || hidden?.value == null || peakDbu <= hidden.value) return hidden;
  const click = { atS: 0, peak: dbToAmplitude(peakDbu - scale.offsetDb), peakSpread: floorRms, peakSlack: 0, energy: null, energySpread: 0, middleHz: null };
  return named(clickFigures(place, { ...quiet, clicks: [click] }, [], scale), 'click.peak');
}

type NoiseKey = 'aWeighted' | 'hum' | 'whine';
const KEYS = { 'noise.a': 'aWeighted', 'noise.hum': 'hum', 'noise.whine': 'whine' } as const;

/** Where a line of hum or whine is put, if the bench shows none: the error of its power differs little from place to place. */
const LINE_HZ = { hum: 50, whine: 1000 } as const;

/** The bench's capture with a board's noise, a mean square, added to it; its spectrum stays the bench's. */
function withNoise(idle: IdleEstimate, key: NoiseKey, power: number): IdleEstimate {
  const { spectrum, stationarity } = idle;
  if (!spectrum) return idle;
  const bound = (key === 'hum' && spectrum.humIsBound) || (key === 'whine' && spectrum.whineIsBound);
  const sum = spectrum[key].power * (bound ? 0 : 1) + power;
  const read: PowerEstimate = key === 'aWeighted' ? { ...spectrum.aWeighted, power: sum } : lineOf(spectrum, key, sum);
  return { stationarity: { ...stationarity, driftDb: 0 }, spectrum: { ...spectrum, [key]: read, ...(key === 'hum' ? { humIsBound: false } : {}), ...(key === 'whine' ? { whineIsBound: false } : {}) } };
}

/** A line of that power over the bench's floor, where the bench's strongest is. */
function lineOf({ lines, psd, search }: IdleSpectrum, key: 'hum' | 'whine', power: number): PowerEstimate {
  const own = key === 'hum' ? lines.hum : lines.whine.flatMap((family) => family.lines);
  const [strongest] = [...own].sort((a, b) => b.power - a.power);
  const bin = Math.round((strongest?.hz ?? LINE_HZ[key]) / psd.binHz);
  const line = { power, firstBin: bin - LINE_HALF_WIDTH, lastBin: bin + LINE_HALF_WIDTH };
  return { power, relativeUncertainty: Math.sqrt(linePowerVariance(line, search, psd)) / power };
}

/** The bench's take with a board's harmonics: all of them on the bench's strongest, where its phase leaves most open. */
function distortedBy(take: TakeEstimate, thdDb: number): TakeEstimate {
  if (!take.tone) return take;
  const { amplitude, harmonics, harmonicSquares, harmonicSquaresUncertainty } = take.tone;
  const board = dbToPower(thdDb) * amplitude ** 2;
  const own = Math.max(0, harmonicSquares);
  // n squares A² that are read among noise ν each scatter by 2·ΣA²·ν + n·ν² together: from the bench's scatter ν, and from ν that with the board.
  const n = Math.max(1, harmonics.length);
  const noise = (Math.sqrt(own ** 2 + n * harmonicSquaresUncertainty ** 2) - own) / n;
  const strongest = harmonics.indexOf(Math.max(...harmonics));
  const tone: ToneEstimate = {
    ...take.tone,
    harmonicSquares: own + board,
    harmonicSquaresUncertainty: Math.sqrt(2 * (own + board) * noise + n * noise ** 2),
    harmonics: harmonics.map((a, i) => (i === strongest ? Math.sqrt(a * a + board) : a)),
  };
  return { ...take, tone };
}
