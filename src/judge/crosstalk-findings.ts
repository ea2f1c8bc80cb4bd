/**
 * Findings on what crosses from one output to another, from takes that are played into their jacks.
 *
 * @module
 */
import { fixed } from '../units/format.js';
import { MEASURED, NOWHERE, explain, failing, key, pairOf, readingAt } from './finding-context.js';
import type { FindingContext } from './finding-context.js';
import type { Finding, Reading } from './results.js';

type Read = Reading & { readonly value: number };

/** From here on what crosses rises as through a capacitance, up to there it is the same at every frequency, dB per octave. */
const RISING = 4;
const FLAT = 2;
/** Two outputs so little apart hang on one point, dB. */
const AS_ONE_DB = -12;

type Way = 'capacitance' | 'resistance' | 'one point' | 'open';

interface Words {
  readonly cause: (a: string, b: string) => string;
  readonly tryNext: (a: string, b: string) => string;
  readonly certainty: 'likely' | 'possible';
}

const CAUSES: Readonly<Record<Way, Words>> = {
  capacitance: {
    cause: (a, b) => `It rises by about 6 dB per octave: a capacitance between ${a} and ${b}, as where their leads lie side by side without a shield, or in a double jack or switch; the more is heard the higher the output resistance of the one that hears it.`,
    tryNext: (a, b) => `Take the lead of ${b} out of its jack and leave it in the recorder: if it is heard all the same, it crosses in the leads or the recorder. If not, part the wires of ${a} and ${b} inside the board and use shielded ones.`,
    certainty: 'likely',
  },
  resistance: {
    cause: (a, b) => `It is the same at every frequency: ${a} and ${b} share a resistance, most often a thin or long return from both jacks to the ground of the board, or a dry joint in it; or one driver feeds both.`,
    tryNext: (a, b) => `With the board off, measure from the sleeve of each jack to the ground of the board with a meter; give ${a} and ${b} a return each. If both are right, look at what drives the two.`,
    certainty: 'likely',
  },
  'one point': {
    cause: (a, b) => `${a} and ${b} hang on one driver, or on the input, with next to nothing between them: what is plugged into one loads the other, and a short of one silences both.`,
    tryNext: (a, b) => `Give ${a} and ${b} a driver each, or a resistor each behind the one they share.`,
    certainty: 'likely',
  },
  open: {
    cause: (a, b) => `It is neither as through a capacitance nor the same at every frequency: a shared return, wires of ${a} and ${b} side by side, or a supply that both drivers share.`,
    tryNext: (a, b) => `Follow the wires of ${a} and ${b} from the jacks to the board, the returns first.`,
    certainty: 'possible',
  },
};

/** One finding per two outputs, whichever way it was heard. */
export function crosstalkFindings(context: FindingContext, explained: Set<Reading>): Finding[] {
  const ways = new Map<string, Read[]>();
  for (const r of failing(context, 'crosstalk.worst-band', explained)) {
    const pair = [...pairOf(r)!].sort().join(':');
    ways.set(pair, [...(ways.get(pair) ?? []), r]);
  }
  return [...ways].map(([pair, of]): Finding => {
    const worst = of.reduce((w, r) => (r.value > w.value ? r : w));
    const [from, to] = pairOf(worst)!;
    explain(explained, context.readings, (r) => of.some((o) => o.output === r.output), ['crosstalk.worst-band']);
    const { cause, tryNext, certainty } = CAUSES[wayOf(context, worst)];
    const back = of.find((r) => r !== worst);
    return {
      id: `crosstalk/${pair}`,
      severity: 'fault',
      where: { ...NOWHERE, output: to },
      title: `Output ${to} hears what is put on output ${from}, ${fixed(-worst.value, 1)} dB lower at its loudest${back ? `; the other way round, ${fixed(-back.value, 1)} dB` : ''}.`,
      evidence: of.flatMap((r) => [r, ...['crosstalk.1k', 'crosstalk.slope'].flatMap((id) => context.readings.filter((o) => o.id === id && o.state === r.state && o.output === r.output))]).map(key),
      cause: cause(from, to),
      certainty,
      tryNext: tryNext(from, to),
      confirm: `Capture ${worst.state}.take again: the crosstalk from ${from} to ${to} must be within its limit.`,
      basis: MEASURED,
    };
  });
}

function wayOf({ readings }: FindingContext, worst: Read): Way {
  const slope = readingAt(readings, 'crosstalk.slope', { state: worst.state, output: worst.output });
  if (slope === null) return 'open';
  if (slope.value > RISING) return 'capacitance';
  return Math.abs(slope.value) >= FLAT ? 'open' : worst.value > AS_ONE_DB ? 'one point' : 'resistance';
}
