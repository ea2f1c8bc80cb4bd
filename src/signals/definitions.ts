/**
 * The reference signals written down, as `reference-signals/definitions.json` holds them.
 *
 * @module
 */
import { referenceSignal } from './reference-elements.js';
import { DEFAULT_LEVEL_DBFS, HIGHEST_RATE_HZ, LEVEL_STEP_DB, LOWEST_LEVEL_DBFS, LOWEST_RATE_HZ, REFERENCE_NAMES } from './reference.js';
import { STAIRS_CEILING_DBFS, STAIRS_FROM_DB, STAIRS_TO_DB, STAIR_DB } from './stairs.js';
import { sweepDurationS, sweepTopHz } from './sweep.js';

export const DEFINITIONS_FORMAT = 'boardproof-reference-signals/1';

/** Rates and sample formats whose bytes are on record in `reference-signals/sha256.json`. */
export const RECORDED_RATES_HZ: readonly number[] = [44100, 48000, 88200, 96000, 192000];
/** Levels and timetables are shown as they are at this rate; only the sweep's end depends on it. */
const SHOWN_RATE_HZ = 48000;

/** Six decimals: the last bits of a logarithm are left to the engine, and nobody reads them. */
const rounded = (x: number): number => Math.round(x * 1e6) / 1e6;

export function referenceDefinitions(): object {
  const settings = { sampleRateHz: SHOWN_RATE_HZ, levelDbfs: DEFAULT_LEVEL_DBFS };
  return {
    format: DEFINITIONS_FORMAT,
    made: 'npx vitest run tests/signals/reference.test.ts -u',
    channels: 1,
    sampleRateHz: { from: LOWEST_RATE_HZ, to: HIGHEST_RATE_HZ, shown: SHOWN_RATE_HZ },
    levelDbfs: { from: LOWEST_LEVEL_DBFS, to: 0, step: LEVEL_STEP_DB, default: DEFAULT_LEVEL_DBFS },
    bits: {
      16: 'TPDF dither of ±1 LSB, under silences too',
      24: 'TPDF dither of ±1 LSB, under silences too',
      '32f': 'nearest float, no dither: silences are exact zeros',
    },
    sweep: RECORDED_RATES_HZ.map((rate) => ({ sampleRateHz: rate, topHz: sweepTopHz(rate), lengthS: rounded(sweepDurationS(sweepTopHz(rate))) })),
    stairs: { fromDb: STAIRS_FROM_DB, toDb: STAIRS_TO_DB, stepDb: STAIR_DB, ceilingDbfs: STAIRS_CEILING_DBFS },
    signals: REFERENCE_NAMES.map((name) => {
      const { leadS, lengthS, elements } = referenceSignal(name, settings);
      return {
        name,
        file: `${name}.wav`,
        leadS,
        lengthS: rounded(lengthS),
        elements: elements.map((e) => ({
          ...e,
          atS: rounded(e.atS),
          lengthS: rounded(e.lengthS),
          peakDbfs: rounded(e.peakDbfs),
          rmsDbfs: rounded(e.rmsDbfs),
          crestDb: rounded(e.crestDb),
        })),
      };
    }),
  };
}
