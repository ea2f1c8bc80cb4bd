/**
 * Decibels and their references.
 *
 * Samples are dimensionless with ±1 at digital full scale. dBFS is that of AES17: a sine whose peaks just reach
 * full scale is 0 dBFS, read as rms or as peak, so a level from an rms value carries +3.0103 dB.
 *
 * @module
 */

/** 0 dBu in volts rms: sqrt(1 mW × 600 Ω) = sqrt(0.6) V. */
export const DBU_REFERENCE_V: number = Math.sqrt(0.6);

/** dBu minus dBV of the same voltage: 10·lg(1 / 0.6). */
export const DBU_MINUS_DBV: number = -10 * Math.log10(0.6);

/** 20·lg(ratio) of an amplitude ratio; −Infinity at 0. */
export const amplitudeToDb = (ratio: number): number => 20 * Math.log10(ratio);

/** 10·lg(ratio) of a power ratio; −Infinity at 0. */
export const powerToDb = (ratio: number): number => 10 * Math.log10(ratio);

/** Decibels of a small relative change of a power: d(10·lg P) = this·dP/P. */
export const DB_PER_RELATIVE: number = 10 / Math.LN10;

/** The same of an amplitude: d(20·lg A) = this·dA/A. */
export const DB_PER_RELATIVE_AMPLITUDE: number = 20 / Math.LN10;

/** What stands for the level of silence, dBFS: below whatever is recorded (chosen). */
export const SILENCE_DBFS = -200;

/** Magnitude from which a sample of any format stands at full scale: just below the top code of 16 bits, 1 − 2⁻¹⁵. */
export const AT_FULL_SCALE = 0.99996;

/** Amplitude ratio of a level difference in dB. */
export const dbToAmplitude = (db: number): number => 10 ** (db / 20);

/** Power ratio of a level difference in dB. */
export const dbToPower = (db: number): number => 10 ** (db / 10);

/** dBFS (AES17) of a mean square: 10·lg(2·meanSquare). A full-scale sine, mean square 1/2, is 0 dBFS. */
export const meanSquareToDbfs = (meanSquare: number): number => 10 * Math.log10(2 * meanSquare);

/** Mean square of a level in dBFS (AES17). */
export const dbfsToMeanSquare = (dbfs: number): number => 10 ** (dbfs / 10) / 2;

/** dBu of a voltage in volts rms. */
export const voltsToDbu = (volts: number): number => 20 * Math.log10(volts / DBU_REFERENCE_V);

/** Volts rms of a level in dBu. */
export const dbuToVolts = (dbu: number): number => DBU_REFERENCE_V * 10 ** (dbu / 20);
