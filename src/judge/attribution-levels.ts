/**
 * The sources of the noise as levels, for results.json.
 *
 * @module
 */
import type { Attribution, PartsOfNoise, PowerRange } from '../measure/attribution.js';
import { meanSquareToDbfs } from '../units/decibels.js';
import type { LevelRange, NoiseAttribution, NoiseParts } from './results.js';

/** A hundredth of a decibel is finer than any of them is known. */
const rounded = (db: number): number => Math.round(db * 100) / 100;

export function attributionLevels({ output, scale, bands, sources, sums, remarks }: Attribution): NoiseAttribution {
  const level = (power: number): number | null => (power > 0 ? rounded(scale.offsetDb + meanSquareToDbfs(power)) : null);
  const range = ({ power, low, high }: PowerRange): LevelRange => ({ level: level(power), low: level(low), high: level(high) });
  const parts = ({ hiss, hum, whine, total }: PartsOfNoise): NoiseParts => ({ hiss: range(hiss), hum: range(hum), whine: range(whine), total: range(total) });
  return {
    output,
    unit: scale.unit,
    bandsHz: bands.map(({ nominalHz }) => nominalHz),
    sources: sources.map((source) => ({ kind: source.kind, loop: source.loop, parts: parts(source.parts), bands: source.bands.map(range) })),
    sums: sums.map(({ loops, predicted, measured, interacts, humLine }) => ({ loops, predicted: parts(predicted), measured: measured && parts(measured), interacts, humLine })),
    remarks,
  };
}
