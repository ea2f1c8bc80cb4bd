/**
 * From a voltmeter's reading to what 0 dBFS is.
 *
 * One lead carries the tone from the bench output to every recorder input, with the voltmeter across it: what the meter
 * shows is what each input hears, and what the output gives while all inputs hang on it. Full scale of an input is the level at its
 * terminals, that of the output its own voltage with nothing on it (measure/calibration.ts), so (all in dB)
 * input full scale = reading − level recorded; output full scale = reading − level played + what the inputs take off.
 *
 * @module
 */
import type { Bench } from '../board/model.js';
import { expanded } from '../judge/uncertainty.js';
import { loopLoading } from '../measure/calibration.js';
import { part } from '../measure/figure.js';
import type { UncertaintyPart } from '../measure/figure.js';
import { fitSine } from '../numerics/sine-fit.js';
import { hann } from '../numerics/window.js';
import { TONE_HZ } from '../signals/take.js';
import { AT_FULL_SCALE, DB_PER_RELATIVE_AMPLITUDE, amplitudeToDb, dbuToVolts, voltsToDbu } from '../units/decibels.js';
import { fixed } from '../units/format.js';
import { readQuantity } from '../units/quantity.js';

/** A level, and the parts of what it is not known to, dB. */
export interface MeterReading {
  readonly dbu: number;
  readonly parts: readonly UncertaintyPart[];
}

/** A bench voltmeter without a stated accuracy, as a share of its reading, 95 % (common practice, no source). */
export const METER_SHARE = 0.01;

/** So far either way, all alike: the standard uncertainty is the half-width over √3 (JCGM 100 4.3.7). */
const anywhereWithin = (name: string, halfWidthDb: number): UncertaintyPart => part('calibration', name, halfWidthDb / Math.sqrt(3), { distribution: 'rectangular' });

/**
 * Reads what was typed: `0.775 V`, `775 mV`, `-2.2 dBu`, each with `± 0.5 %` or `± 0.1 dB` where the meter's accuracy is
 * known, and with `± 3 digits` (`+ 3 digits`) where its maker states some beside it: steps of the last digit, which add to the share.
 * What is stated is a 95 % figure; without a share, the meter is taken to be within 1 %. The last digit that was typed is uncertain by half
 * its step either way, evenly.
 *
 * @returns null where it is no reading.
 */
export function readMeter(text: string): MeterReading | null {
  const { said, digits } = statedDigits(text.trim());
  const asLevel = readQuantity(said, 'level');
  const typed = typedNumber(said);
  if (typed === null) return null;
  const reading = (dbu: number, accuracyDb: number, stepDb: number): MeterReading => ({
    dbu,
    parts: [part('calibration', 'accuracy of the voltmeter', (accuracyDb + digits * stepDb) / 2), anywhereWithin('last digit of the reading', stepDb / 2)],
  });
  if (!('fault' in asLevel)) return reading(asLevel.value, asLevel.tolerance ?? DB_PER_RELATIVE_AMPLITUDE * METER_SHARE, typed.step);
  const asVolts = readQuantity(said, 'voltage');
  // Without a unit it is no reading: volts and dBu are too easily taken for each other.
  if ('fault' in asVolts || !/v/i.test(said) || !(asVolts.value > 0)) return null;
  const share = asVolts.tolerance === null ? METER_SHARE : asVolts.tolerance / asVolts.value;
  return reading(voltsToDbu(asVolts.value), DB_PER_RELATIVE_AMPLITUDE * share, (DB_PER_RELATIVE_AMPLITUDE * typed.step) / typed.number);
}

/** Takes `± 3 digits` off the end, and the brackets of `± (1 % + 3 digits)`. */
function statedDigits(text: string): { readonly said: string; readonly digits: number } {
  const plain = text.replace(/(±|\+\/-|\+-)\s*\(([^()]*)\)$/, '$1 $2').trim();
  const match = /^(.*?)\s*(?:±|\+\/-|\+-|\+)\s*(\d{1,3})\s*(?:digits?|dgts?|counts?)$/i.exec(plain);
  return match ? { said: match[1]!, digits: Number(match[2]) } : { said: plain, digits: 0 };
}

/** The number as it was typed, without its unit, and the worth of one step in its last digit: 775 and 1 of `775 mV`, 0.775 and 0.001 of `.775 V`. */
function typedNumber(text: string): { readonly number: number; readonly step: number } | null {
  const match = /(?:\d+\.?(\d*)|\.(\d+))(?:e([+-]?\d{1,3}))?/i.exec(text);
  if (!match) return null;
  const decimals = (match[1] ?? match[2]!).length;
  return { number: Number(match[0]), step: 10 ** (Number(match[3] ?? 0) - decimals) };
}

/** What a meter would show, in three digits: `0.775 V`, `38.8 mV`, `3880 V`. */
export function voltsText(dbu: number): string {
  const volts = dbuToVolts(dbu);
  const [value, unit] = volts < 0.1 ? [1000 * volts, 'mV'] : [volts, 'V'];
  return `${fixed(Number(value.toPrecision(3)), Math.max(0, 2 - Math.floor(Math.log10(value) + 1e-12)))} ${unit}`;
}

export interface ToneLevel {
  /** Level of the tone, dBFS. */
  readonly dbfs: number;
  readonly parts: readonly UncertaintyPart[];
}

/** A weaker tone is none, full scale 1: −80 dBFS (chosen: what is left of the softest tone through 20 dB of loss). */
const LEAST_AMPLITUDE = 1e-4;
/** Clocks of two devices are less apart than this share (chosen: ten times what crystals allow). */
const MOST_APART = 1e-3;
/** The tone's rms over that of all else, least (chosen: 30 dB, of which a meter that reads all of it reads 0.05 % too much). */
const LEAST_OVER_REST = 30;
/** A level that moves by more is not steady, dB (chosen: about what a meter without a stated accuracy leaves open). */
const MOST_SPREAD_DB = 0.1;

/** Level of a steady 997 Hz tone, or why there is none. The middle of what is given is taken: its ends may be fades. */
export function toneLevel(x: Float64Array, sampleRateHz: number): ToneLevel | { readonly why: string } {
  if (x.length < 2 * sampleRateHz) return { why: `${fixed(x.length / sampleRateHz, 1)} s are too short` };
  const middle = x.subarray(Math.round(0.15 * x.length), Math.round(0.85 * x.length));
  const pieces = [0, 1, 2, 3].map((q) => middle.subarray(Math.floor((q * middle.length) / 4), Math.floor(((q + 1) * middle.length) / 4)));
  const levels: number[] = [];
  let noise = 0;
  for (const piece of pieces) {
    const fit = fitSine(piece, sampleRateHz, TONE_HZ, hann(piece.length));
    if (!fit || fit.amplitude < LEAST_AMPLITUDE || Math.abs(fit.frequencyHz / TONE_HZ - 1) > MOST_APART) return { why: 'it is not there' };
    if (fit.amplitude / Math.SQRT2 < LEAST_OVER_REST * fit.residualRms) return { why: `only ${fixed(amplitudeToDb(fit.amplitude / Math.SQRT2 / fit.residualRms), 0)} dB above noise and distortion` };
    levels.push(amplitudeToDb(fit.amplitude));
    noise = Math.max(noise, fit.residualRms / fit.amplitude);
  }
  const peak = middle.reduce((m, v) => Math.max(m, Math.abs(v)), 0);
  if (peak >= AT_FULL_SCALE) return { why: 'it clips' };
  const spread = Math.max(...levels) - Math.min(...levels);
  if (spread > MOST_SPREAD_DB) return { why: `its level moves by ${fixed(spread, 1)} dB` };
  // Noise moves a fit over N samples by its rms times √(2/N), relative to the amplitude; Hann weights make it √1.5 times that.
  const standard = DB_PER_RELATIVE_AMPLITUDE * noise * Math.sqrt((2 * 1.5) / middle.length);
  // Four pieces, each twice as uncertain as their mean, lie 3.6 of their standard uncertainties apart at most, 19 times in 20: more is drift.
  const drift = spread > 3.6 * 2 * standard ? [anywhereWithin('drift of the tone', spread / 2)] : [];
  return { dbfs: levels.reduce((s, v) => s + v, 0) / levels.length, parts: [part('fit', 'noise beside the tone', standard), ...drift] };
}

export interface FullScale {
  readonly dbu: number;
  /** 95 %, dB. */
  readonly uncertaintyDb: number;
}

const fullScale = (dbu: number, parts: readonly UncertaintyPart[]): FullScale => ({ dbu, uncertaintyDb: expanded(parts) });

/** Of the output, with nothing on it: while the reading is taken every recorder input of the bench hangs on it. */
export function outputFullScale(reading: MeterReading, playedDbfs: number, bench: Pick<Bench, 'output' | 'inputs'>): FullScale {
  const { lowDb, highDb } = loopLoading(bench);
  const loading = lowDb < highDb ? [anywhereWithin('load of the recorder inputs', (highDb - lowDb) / 2)] : [];
  return fullScale(reading.dbu - playedDbfs + (lowDb + highDb) / 2, [...reading.parts, ...loading]);
}

/** Of an input, at its terminals. */
export const inputFullScale = (reading: MeterReading, heard: ToneLevel): FullScale => fullScale(reading.dbu - heard.dbfs, [...reading.parts, ...heard.parts]);

/** As bench.yaml holds it: `12.03 dBu ± 0.09 dB`, the tolerance rounded up. */
export const fullScaleText = ({ dbu, uncertaintyDb }: FullScale): string => `${fixed(dbu, 2)} dBu ± ${fixed(Math.max(0.01, Math.ceil(uncertaintyDb * 100 - 1e-9) / 100), 2)} dB`;
