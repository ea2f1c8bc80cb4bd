/**
 * A take held against rest.take while the leads still lie as they did: is the polarity switch of the step inverted, and no other; is the
 * load connected? Each may be the board itself, so each may be overruled.
 *
 * @module
 */
import { problem } from '../problems.js';
import type { Problem } from '../problems.js';
import type { Heard } from './capture-checks.js';
import { fitPhaseLine } from './match.js';
import { meanNoise, meanPower, ratio } from './response.js';
import type { ResponseEstimate, TakeEstimate } from './take.js';

const LOW_HZ = 200;
const HIGH_HZ = 5000;
const DB_PER_RELATIVE = 10 / Math.LN10;

/** What a step changes against rest.take. */
export interface AgainstRest {
  readonly step: string;
  /** Output whose polarity switch the step wants inverted; null: none. */
  readonly inverted: string | null;
  /** Outputs that have a polarity switch. */
  readonly switched: readonly string[];
  /** True where a loop is in, which may invert what passes it: that is a finding, and no slip. */
  readonly hasLoop: boolean;
  /** What is across an output; null: nothing. */
  readonly load: { readonly id: string; readonly output: string; readonly ohm: number; readonly inputOhm: number } | null;
}

/** Compares a take with rest.take, both in the order of `heard.outputs`. */
export function checkAgainstRest(heard: Heard, now: readonly TakeEstimate[], rest: readonly TakeEstimate[], wanted: AgainstRest): Problem | null {
  const changes = now.map((e, c) => ratio(e.response, rest[c]!.response));
  return checkPolarities(heard, changes, wanted) ?? checkLoad(heard, changes, wanted);
}

const isNoise = (change: ResponseEstimate): boolean => !(meanPower(change, LOW_HZ, HIGH_HZ).power > 4 * meanNoise(change, LOW_HZ, HIGH_HZ));

function checkPolarities({ file, outputs }: Heard, changes: readonly ResponseEstimate[], { step, inverted, switched, hasLoop }: AgainstRest): Problem | null {
  const signs = changes.map((change) => (isNoise(change) ? null : (fitPhaseLine(change)?.polarity ?? null)));
  const turned = outputs.filter((output, c) => output !== inverted && signs[c] === -1);
  if (inverted !== null && signs[outputs.indexOf(inverted)] === 1) return problem('capture.polarity-same', { file, step, output: inverted, instead: turned });
  if (turned.length === 0) return null;
  // A loop inverts every output behind it, a switch its own.
  if (hasLoop && (turned.length === outputs.length || turned.some((output) => !switched.includes(output)))) return null;
  return problem('capture.polarity-turned', { file, step, outputs: turned });
}

/**
 * The stiffest output that is expected: this much is put behind a stage so that it drives cable without ringing (common practice, no
 * source). One that has less loses too little in a load for a forgotten one to show.
 */
const STIFFEST_OHM = 47;
/** Levels of one interface repeat to this from one take to the next, dB (common practice, no source): a level this near is the same. */
const SAME_DB = { least: 0.01, most: 0.02 };
/** A load that is there must take off this many times what counts as the same. */
const CLEAR = 4;

/** By how much the level falls, dB, where a load is put across the recorder's input. */
export const loadLossDb = (sourceOhm: number, inputOhm: number, loadOhm: number): number => {
  const both = (inputOhm * loadOhm) / (inputOhm + loadOhm);
  return 20 * Math.log10((inputOhm / (sourceOhm + inputOhm)) * ((sourceOhm + both) / both));
};

function checkLoad({ file, outputs }: Heard, changes: readonly ResponseEstimate[], { step, load }: AgainstRest): Problem | null {
  if (load === null) return null;
  const own = outputs.indexOf(load.output);
  if (own < 0) return null;
  const levels = changes.map((change) => {
    const { power, relativeUncertainty } = meanPower(change, LOW_HZ, HIGH_HZ);
    return { db: 10 * Math.log10(power), slack: 3 * DB_PER_RELATIVE * relativeUncertainty };
  });
  const leastDb = loadLossDb(STIFFEST_OHM, load.inputOhm, load.ohm);
  const { db, slack } = levels[own]!;
  const same = Math.max(slack, Math.min(SAME_DB.most, leastDb / CLEAR));
  if (same < SAME_DB.least || leastDb < CLEAR * same || !(Math.abs(db) < same)) return null;
  const instead = outputs.filter((_, c) => c !== own && levels[c]!.db < -Math.max(leastDb / 2, levels[c]!.slack));
  return problem('capture.load-not-heard', { file, step, output: load.output, load: load.id, changeDb: db, leastDb, sourceOhm: STIFFEST_OHM, instead });
}
