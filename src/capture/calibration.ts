/**
 * From a voltmeter's reading to what 0 dBFS is.
 *
 * One lead carries the tone from the bench output to every recorder input, with the voltmeter across it: what the meter
 * shows is both what the output gives at the level played and what each input hears. So
 * output full scale = reading − level played; input full scale = reading − level recorded (all in dB).
 *
 * @module
 */
import { fitSine } from '../numerics/sine-fit.js';
import { hann } from '../numerics/window.js';
import { TONE_HZ } from '../signals/take.js';
import { amplitudeToDb, dbuToVolts, voltsToDbu } from '../units/decibels.js';
import { fixed } from '../units/format.js';
import { readQuantity } from '../units/quantity.js';

export interface MeterReading {
  readonly dbu: number;
  /** 95 %, dB. */
  readonly uncertaintyDb: number;
}

/** A bench voltmeter without a stated accuracy, as a share of its reading, 95 % (common practice, no source). */
export const METER_SHARE = 0.01;

/** dB of a small relative error. */
const DB_PER_SHARE = 20 / Math.LN10;

/**
 * Reads what was typed: `0.775 V`, `775 mV`, `-2.2 dBu`, each with `± 0.5 %` or `± 0.1 dB` where the meter's accuracy is
 * known. Without one, the meter is taken to be within 1 %. The last digit that was typed is uncertain by half its step,
 * evenly: 95 % of that is 0.95 of the half.
 *
 * @returns null where it is no reading.
 */
export function readMeter(text: string): MeterReading | null {
  const asVolts = readQuantity(text, 'voltage');
  const asLevel = readQuantity(text, 'level');
  const digits = lastDigit(text);
  if (!('fault' in asLevel)) {
    const accuracy = asLevel.tolerance ?? DB_PER_SHARE * METER_SHARE;
    return { dbu: asLevel.value, uncertaintyDb: Math.hypot(accuracy, 0.475 * digits) };
  }
  // Without a unit it is no reading: volts and dBu are too easily taken for each other.
  if ('fault' in asVolts || !/v/i.test(text) || !(asVolts.value > 0)) return null;
  const number = Number(/[\d.]+/.exec(text)![0]);
  const share = Math.hypot((asVolts.tolerance ?? METER_SHARE * asVolts.value) / asVolts.value, (0.475 * digits) / number);
  return { dbu: voltsToDbu(asVolts.value), uncertaintyDb: DB_PER_SHARE * share };
}

/** Worth of one step in the last digit typed: 0.001 of `0.775 V`. */
function lastDigit(text: string): number {
  const decimals = /\d*\.?(\d*)/.exec(text.replace(/^[^\d]*/, ''))?.[1]?.length ?? 0;
  return 10 ** -decimals;
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
  /** 95 %, dB. */
  readonly uncertaintyDb: number;
}

/** Level of a steady 997 Hz tone, or why there is none. The middle of what is given is taken: its ends may be fades. */
export function toneLevel(x: Float64Array, sampleRateHz: number): ToneLevel | { readonly why: string } {
  if (x.length < 2 * sampleRateHz) return { why: `${fixed(x.length / sampleRateHz, 1)} s are too short` };
  const part = x.subarray(Math.round(0.15 * x.length), Math.round(0.85 * x.length));
  const pieces = [0, 1, 2, 3].map((q) => part.subarray(Math.floor((q * part.length) / 4), Math.floor(((q + 1) * part.length) / 4)));
  const levels: number[] = [];
  let noise = 0;
  for (const piece of pieces) {
    const fit = fitSine(piece, sampleRateHz, TONE_HZ, hann(piece.length));
    if (!fit || fit.amplitude < 1e-4 || Math.abs(fit.frequencyHz / TONE_HZ - 1) > 1e-3) return { why: 'it is not there' };
    if (fit.amplitude / Math.SQRT2 < 30 * fit.residualRms) return { why: `only ${fixed(amplitudeToDb(fit.amplitude / Math.SQRT2 / fit.residualRms), 0)} dB above noise and distortion` };
    levels.push(amplitudeToDb(fit.amplitude));
    noise = Math.max(noise, fit.residualRms / fit.amplitude);
  }
  const peak = part.reduce((m, v) => Math.max(m, Math.abs(v)), 0);
  if (peak >= 0.9999) return { why: 'it clips' };
  const spread = Math.max(...levels) - Math.min(...levels);
  if (spread > 0.1) return { why: `its level moves by ${fixed(spread, 1)} dB` };
  // Noise moves a fit over N samples by its rms times √(2/N), relative to the amplitude; Hann weights make it √1.5 times that.
  const standard = DB_PER_SHARE * noise * Math.sqrt((2 * 1.5) / part.length);
  // Four pieces, each twice as uncertain as their mean, lie 3.6 of their standard uncertainties apart at most, 19 times in 20: more is drift.
  const drift = spread > 3.6 * 2 * standard ? spread / 2 : 0;
  return { dbfs: levels.reduce((s, v) => s + v, 0) / levels.length, uncertaintyDb: Math.hypot(1.96 * standard, drift) };
}

export interface FullScale {
  readonly dbu: number;
  readonly uncertaintyDb: number;
}

export const outputFullScale = (reading: MeterReading, playedDbfs: number): FullScale => ({ dbu: reading.dbu - playedDbfs, uncertaintyDb: reading.uncertaintyDb });

export const inputFullScale = (reading: MeterReading, heard: ToneLevel): FullScale => ({
  dbu: reading.dbu - heard.dbfs,
  uncertaintyDb: Math.hypot(reading.uncertaintyDb, heard.uncertaintyDb),
});

/** As bench.yaml holds it: `12.03 dBu ± 0.09 dB`, the tolerance rounded up. */
export const fullScaleText = ({ dbu, uncertaintyDb }: FullScale): string => `${fixed(dbu, 2)} dBu ± ${fixed(Math.max(0.01, Math.ceil(uncertaintyDb * 100 - 1e-9) / 100), 2)} dB`;
