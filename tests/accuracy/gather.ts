/** Everything the accuracy page says, computed now, and what is known not to be better. */
import { readFileSync } from 'node:fs';
import { resultOf } from './check.js';
import type { CheckResult } from './check.js';
import { decisionRates, populationRisks } from './decision-rates.js';
import type { DecisionRate, PopulationRisk } from './decision-rates.js';
import { levelChecks } from './level-checks.js';
import { responseChecks } from './response-checks.js';
import { weightingChecks } from './weighting-checks.js';

export const ACCURACY_FORMAT = 'boardproof-accuracy/1';

export interface CoverageRow {
  readonly reading: string;
  readonly trials: number;
  readonly coveragePercent: number;
  /** Null where it was not kept. */
  readonly meanError: number;
  readonly rmsError: number;
  /** Mean, or root of the mean square, over the trials. */
  readonly uncertainty95: number;
}

export interface Accuracy {
  readonly format: typeof ACCURACY_FORMAT;
  readonly made: string;
  readonly checks: readonly CheckResult[];
  readonly decisions: readonly DecisionRate[];
  readonly populations: readonly PopulationRisk[];
  readonly coverage: Readonly<Record<string, readonly CoverageRow[]>>;
  readonly losses: readonly string[];
}

const report = (name: string): unknown => JSON.parse(readFileSync(new URL(`../../reports/${name}`, import.meta.url), 'utf8'));

type Table = Readonly<Record<string, { trials: number; coveragePercent: number; meanError: number; rmsError: number; meanUncertainty95: number }>>;
const rowsOf = (table: Table): CoverageRow[] =>
  Object.entries(table).map(([reading, { trials, coveragePercent, meanError, rmsError, meanUncertainty95 }]) => ({ reading, trials, coveragePercent, meanError, rmsError, uncertainty95: meanUncertainty95 }));

function coverage(): Record<string, CoverageRow[]> {
  const { tables } = report('coverage.json') as { tables: Record<string, Table> };
  return Object.fromEntries(Object.entries(tables).map(([name, table]) => [name, rowsOf(table)]));
}

/** Where something is lost, or where a figure is not better than this, in words. */
const LOSSES: readonly string[] = [
  'The two burst tables of the quasi-peak meter, AES17, IEEE 1057 and IEC 60268-3 are from memory, not held against their text.',
  'The quasi-peak meter’s time constants were fitted to those tables: 0.25 dB of them are left.',
  'At 20 Hz the sweep’s response is 0.002 dB off and its noise 1.5 times what is stated, from the fade-in; from 50 Hz on a tenth of that.',
  'K-weighting away from 48 kHz departs by up to 0.041 dB (2.7 kHz at 192 kHz): the Recommendation gives coefficients for 48 kHz only.',
  'Student’s t is an expansion: 0.5 % off at 3 degrees of freedom, 0.1 % from 4 on, and steps below 3.',
  'Where hum or distortion of bench and board, or hum of several loops, meet at a phase that may be any, the interval reaches either end, and can hold the truth in more than 95 of 100.',
  'What headroom leaves open between two stairs is a bound of 0.016 dB for every shape of clipping: where calibration and noise add nothing to it, the interval holds always.',
  'A level-match or a loop’s worst third-octave is named by the noise where several are alike; its interval is widened for that, and then holds more than 95 %.',
  'Hum 57 dB over the hiss leaves it known to 0.02 dB in 10 s and the density at 1 kHz to 0.25 dB, 70 dB over it to 0.03 and 0.4 dB; in 3 s, where its skirts meet, they hide both, which are then upper bounds or known to 1 to 2 dB.',
  'A whine that lies within what a line of hum fills is taken for a part of it: 6 Hz beside a harmonic of hum 57 dB over the hiss. A line that is broader by itself than by a steady wandering leaves skirts that count as hiss.',
  'Harmonics of a take are as far as 20 kHz and the tenth; a hard-clipped wave has more.',
  'SciPy’s CCIR-RMS is normalised with the rounded 5.629 dB: 0.0002 dB from ours, which takes the network’s own value. The case is kept.',
  'FFmpeg’s ebur128 rounds each block down to 0.01 LU: computed without a histogram the loudness is ours. The cases are kept.',
  'SoX and FFmpeg print six decimals: agreement beyond that is not shown by them.',
];

export function gather(): Accuracy {
  return {
    format: ACCURACY_FORMAT,
    made: 'npm run accuracy',
    checks: [...weightingChecks, ...levelChecks, ...responseChecks].map(resultOf),
    decisions: decisionRates(),
    populations: populationRisks(),
    coverage: coverage(),
    losses: LOSSES,
  };
}
