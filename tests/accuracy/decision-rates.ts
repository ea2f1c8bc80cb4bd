/**
 * How often the rule of verdicts passes what is outside a limit, and fails what is inside: simulated, through the code that judges.
 *
 * Each trial draws a reading about a truth, with its stated uncertainty; at few degrees of freedom the stated one is drawn too, as a
 * budget would estimate it.
 */
import { expanded } from '../../src/judge/uncertainty.js';
import { judge } from '../../src/judge/verdict.js';
import { seeded } from '../helpers/random.js';

export interface DecisionRate {
  /** Truth less the limit, in standard uncertainties: above zero is outside. */
  readonly truth: number;
  /** Of the standard uncertainty; null: known. */
  readonly degreesOfFreedom: number | null;
  readonly passPercent: number;
  readonly undecidedPercent: number;
  readonly failPercent: number;
}

export interface PopulationRisk {
  /** Spread of boards about their mean, and of the mean within the limit, in standard uncertainties. */
  readonly spread: number;
  readonly meanInside: number;
  /** Boards outside that were passed, and boards inside that were failed, of all boards: JCGM 106 9.3. */
  readonly falseAcceptPercent: number;
  readonly falseRejectPercent: number;
  readonly undecidedPercent: number;
}

export const TRIALS = 100_000;
const LIMIT = { max: 0, min: null, within: null };

function verdictOf(truth: number, degreesOfFreedom: number | null, gauss: () => number): ReturnType<typeof judge> {
  let standard = 1;
  if (degreesOfFreedom !== null) {
    let squares = 0;
    for (let i = 0; i < degreesOfFreedom; i++) squares += gauss() ** 2;
    standard = Math.sqrt(squares / degreesOfFreedom);
  }
  return judge({ value: truth + gauss(), uncertainty: expanded([{ standard, degreesOfFreedom }]), bound: null, benchLimited: false }, LIMIT);
}

const percent = (count: number): number => Number(((100 * count) / TRIALS).toFixed(2));

export function decisionRates(): DecisionRate[] {
  return [null, 4].flatMap((degreesOfFreedom) =>
    [-4, -3, -2, -1, 0, 1, 2, 3, 4].map((truth) => {
      const { gauss } = seeded(1000 + 10 * truth + (degreesOfFreedom ?? 0));
      const count = { pass: 0, fail: 0, undecided: 0, 'bench-limited': 0, info: 0 };
      for (let i = 0; i < TRIALS; i++) count[verdictOf(truth, degreesOfFreedom, gauss)]++;
      return { truth, degreesOfFreedom, passPercent: percent(count.pass), undecidedPercent: percent(count.undecided), failPercent: percent(count.fail) };
    }),
  );
}

export function populationRisks(): PopulationRisk[] {
  return [
    [2, 2],
    [5, 5],
    [10, 10],
  ].map(([spread, meanInside]) => {
    const { gauss } = seeded(7 + spread!);
    let [accept, reject, open] = [0, 0, 0];
    for (let i = 0; i < TRIALS; i++) {
      const truth = -meanInside! + spread! * gauss();
      const verdict = verdictOf(truth, null, gauss);
      if (verdict === 'pass' && truth > 0) accept++;
      if (verdict === 'fail' && truth <= 0) reject++;
      if (verdict === 'undecided') open++;
    }
    return { spread: spread!, meanInside: meanInside!, falseAcceptPercent: percent(accept), falseRejectPercent: percent(reject), undecidedPercent: percent(open) };
  });
}
