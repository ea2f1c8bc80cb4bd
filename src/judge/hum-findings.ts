/**
 * Findings on mains hum: which loop, output or supply outlet it comes in with, what its harmonics say of how it gets in, and
 * what the ground lift says.
 *
 * Strong odd harmonics come from a stray field or from current in a shield, which look alike; strong even ones, from twice the
 * mains on, come through a rectifier and its filter (common practice, no source; the rectifier's own theory for the latter).
 *
 * @module
 */
import { inSentence } from '../units/format.js';
import { CUSTOM, NOWHERE, capital, dominates, explain, hears, isHeard, key, listed, loopName, loopOf, readingAt, shown } from './finding-context.js';
import type { FindingContext } from './finding-context.js';
import type { Finding, Reading } from './results.js';

/** How far a loop must raise hum over the state with every loop out before it is named, dB. */
const STEP_DB = 6;
/** A change by this much with the lift is the lift's doing, dB. */
const LIFT_DB = 6;
/** Hum this far under the hiss beside it is not heard, dB. */
const UNDER_HISS_DB = 10;
/** Outputs whose hum is within this of each other hear the same hum, dB. */
const ALIKE_DB = 6;
/** The lift of a shield is the only lift there is: said wherever one is spoken of. */
const EARTH = 'never the protective earth';

export function humFindings(context: FindingContext, explained: Set<Reading>): Finding[] {
  return [...ofOutputs(context, explained), ...ofLoops(context, explained), ...ofAll(context, explained)];
}

/** True where even harmonics carry more than odd ones, what is heard with every loop out taken off: a rectifier's ripple. */
function isRipple({ readings }: FindingContext, at: Pick<Reading, 'state' | 'output'>): boolean {
  let [odd, even] = [0, 0];
  const amplitude = (id: string, state: string): number => {
    const level = readingAt(readings, id, { state, output: at.output })?.value;
    return level === undefined ? 0 : 10 ** (level / 20);
  };
  for (const r of readings) {
    const harmonic = /^noise\.hum\.h(\d+)$/.exec(r.id)?.[1];
    if (harmonic === undefined || r.state !== at.state || r.output !== at.output || r.value === null) continue;
    const added = (amplitude(r.id, at.state) - (at.state === 'rest' ? 0 : amplitude(r.id, 'rest'))) ** 2;
    if (Number(harmonic) % 2 === 0) even += added;
    else odd += added;
  }
  return even > odd;
}

function ofOutputs(context: FindingContext, explained: Set<Reading>): Finding[] {
  const { board, readings } = context;
  const atRest = readings.filter((r) => r.id === 'noise.hum' && r.state === 'rest' && r.verdict === 'fail' && r.value !== null);
  if (atRest.length === 0) return [];
  for (const r of atRest) explainHum(context, explained, r.output!, null);
  const levels = atRest.map((r) => r.value!);
  const isCommon = atRest.length > 1 && atRest.length === board.outputs.length && Math.max(...levels) - Math.min(...levels) < ALIKE_DB;
  return (isCommon ? [atRest[0]!] : atRest).map((r) => {
    const output = r.output!;
    const ripple = isRipple(context, r);
    const basis = `Harmonic pattern and lift: ${CUSTOM}.`;
    const level = `${inSentence(r.value!, 1)} ${r.unit}`;
    if (isCommon) {
      return {
        id: 'hum/board',
        severity: 'fault' as const,
        where: NOWHERE,
        title: `Every output hums alike with every loop out (${level}): it comes in before they part.`,
        evidence: atRest.map(key),
        cause: ripple ? 'Mostly even harmonics of the mains: ripple on the supply of the input stage.' : 'Mostly odd harmonics of the mains: a stray field into the input wiring, or current in the shield between the bench and the board’s input.',
        certainty: 'likely' as const,
        tryNext: ripple ? 'Feed the board’s own electronics from another outlet or a battery.' : 'Put the shorting plug straight into the input jack and turn the board away from mains parts; the protective earth stays as it is.',
        confirm: 'Capture rest.idle again: the mains hum must fall at every output.',
        basis,
      };
    }
    const lifted = readingAt(readings, 'noise.hum', { state: `lift-${output}`, output });
    const fallDb = lifted === null ? null : r.value! - lifted.value;
    const common = { id: `hum/${output}`, severity: 'fault' as const, where: { ...NOWHERE, output }, evidence: [key(r), ...(lifted ? [key(lifted)] : [])], basis };
    const title = `Output ${output} hums (${level})`;
    if (ripple) {
      return {
        ...common,
        title: `${title}: ripple of a rectifier.`,
        cause: 'Mostly even harmonics of the mains: ripple on the supply of this output’s stage.',
        certainty: 'likely' as const,
        tryNext: `Feed the stage of output ${output} from another outlet or a battery.`,
        confirm: `Capture rest.idle again: the mains hum at output ${output} must fall.`,
      };
    }
    if (fallDb !== null && fallDb > LIFT_DB) {
      return {
        ...common,
        title: `${title}, and its ground lift takes ${shown(fallDb)} dB of it away: a ground loop.`,
        cause: `A ground loop: mains current flows in the audio shield between output ${output} and what it feeds.`,
        certainty: 'measured' as const,
        tryNext: `Leave the ground lift of ${output} engaged (it lifts the audio shield, ${EARTH}), or feed both ends from one mains outlet.`,
        confirm: `Capture lift-${output}.idle again with the lead in its final place: the mains hum must stay down.`,
      };
    }
    return {
      ...common,
      title: fallDb === null ? `${title}.` : `${title}, with its ground lift engaged as well.`,
      cause: fallDb === null ? 'Mostly odd harmonics of the mains: a ground loop to what it feeds, or a stray field into its wiring or transformer.' : 'Mostly odd harmonics of the mains, lifted or not: a stray field into its wiring or transformer, or a lift switch that does not open.',
      certainty: 'possible' as const,
      tryNext: `Move the wiring and the transformer of output ${output} away from mains parts${fallDb === null ? '' : `; with the lift engaged and nothing but a meter on the jack, check that shield and chassis part (${EARTH})`}.`,
      confirm: fallDb === null ? `Capture rest.idle with the lead of ${output} turned a quarter round: the mains hum changes with a stray field, and not with a ground loop.` : `Capture lift-${output}.idle again: the mains hum must fall.`,
    };
  });
}

/** Everything that this hum makes fail: the hum itself, and the noise that it makes most of. */
function explainHum({ readings }: FindingContext, explained: Set<Reading>, output: string | null, loop: string | null): void {
  const isThere = (r: Reading): boolean => (output === null || r.output === output) && hears(r, loop);
  explain(explained, readings, isThere, ['noise.hum*']);
  explain(explained, readings, (r) => isThere(r) && dominates(readings, r, ['noise.hum', 'noise.whine']), ['noise.a', 'noise.unweighted', 'noise.ccir-rms', 'noise.468-qpk', 'snr.a']);
  // snr.a stands in the take's state, beside the noise of the same state.
  for (const r of readings) if (r.id === 'snr.a' && r.verdict === 'fail' && isThere(r) && explainedBeside(readings, explained, r)) explained.add(r);
}

const explainedBeside = (readings: readonly Reading[], explained: Set<Reading>, r: Reading): boolean =>
  readings.some((o) => o.id === 'noise.a' && o.state === r.state && o.output === r.output && explained.has(o));

interface Raised {
  readonly r: Reading & { readonly value: number };
  readonly stepDb: number;
  readonly isBound: boolean;
  /** Where what is heard with every loop out hides how much it is: the least that the loop adds, as a reading. */
  readonly least: (Reading & { readonly value: number }) | null;
}

/** Outputs on which a loop raises hum over every loop out, or must add more of its own than its limit allows; the worst first. */
function raisedBy({ readings }: FindingContext, loop: string): Raised[] {
  return readings
    .flatMap((r): Raised[] => {
      if (r.id !== 'noise.hum' || r.loop !== loop || r.value === null || r.bound !== null || !isHeard(readings, r, UNDER_HISS_DB)) return [];
      const rest = readings.find((o) => o.id === 'noise.hum' && o.state === 'rest' && o.output === r.output);
      const stepDb = rest?.value == null ? 0 : r.value - rest.value;
      const slack = Math.hypot(r.uncertainty ?? 0, rest?.uncertainty ?? 0);
      const found = { r: { ...r, value: r.value }, stepDb, isBound: rest?.bound === 'upper' };
      if (stepDb - slack > STEP_DB) return [{ ...found, least: null }];
      const least = readingAt(readings, 'loop.hum', { state: r.state, output: r.output });
      const most = r.limit?.max;
      return least && most != null && least.value - (least.uncertainty ?? 0) > most ? [{ ...found, least }] : [];
    })
    .sort((a, b) => b.stepDb - a.stepDb);
}

interface Humming {
  readonly loop: string;
  readonly raised: readonly Raised[];
  readonly ripple: boolean;
}

function ofLoops(context: FindingContext, explained: Set<Reading>): Finding[] {
  const { board, readings } = context;
  const humming = board.loops.flatMap(({ id }): Humming[] => {
    const raised = raisedBy(context, id);
    return raised.length === 0 ? [] : [{ loop: id, raised, ripple: isRipple(context, raised[0]!.r) }];
  });
  for (const { loop } of humming) explainHum(context, explained, null, loop);
  // Every loop of an outlet with the same kind of hum: the outlet's.
  const groups: Humming[][] = [];
  for (const h of humming) {
    const supply = loopOf(board, h.loop)?.supply ?? null;
    const group = supply === null ? undefined : groups.find(([first]) => loopOf(board, first!.loop)?.supply === supply && first!.ripple === h.ripple);
    if (group) group.push(h);
    else groups.push([h]);
  }
  return groups.flatMap((group) => {
    const outlet = loopOf(board, group[0]!.loop)?.supply ?? null;
    const captured = board.loops.filter((l) => l.supply === outlet && readings.some((r) => r.id === 'noise.hum' && r.loop === l.id));
    const isOutlet = outlet !== null && group.length > 1 && group.length === captured.length;
    return isOutlet ? [outletFinding(outlet, group)] : group.map((h) => loopFinding(context, h));
  });
}

function outletFinding(outlet: string, group: readonly Humming[]): Finding {
  const names = group.map((h) => h.loop);
  const failed = group.some((h) => h.raised.some(({ r }) => r.verdict === 'fail'));
  const { ripple } = group[0]!;
  return {
    id: `hum/${outlet}`,
    severity: failed ? 'fault' : 'caution',
    where: { ...NOWHERE, supply: outlet },
    title: `Hum comes in with every loop on supply outlet ${outlet} (${listed(names)}): ${ripple ? 'ripple of its rectifier' : 'their grounds and their supply make a loop'}.`,
    evidence: group.flatMap((h) => h.raised.map(({ r }) => key(r))),
    cause: ripple ? `Mostly even harmonics of the mains: ripple of the rectifier behind outlet ${outlet}, whose filter has failed or is overloaded.` : `Mostly odd harmonics of the mains in all of them: a ground loop through the common supply lead of ${outlet}, or its transformer beside their leads.`,
    certainty: 'likely',
    tryNext: ripple ? `Feed ${names[0]!} from a battery or from another outlet; check the load of ${outlet} against its limit.` : `Give ${names[0]!} an isolated outlet of its own, and move the supply away from the leads.`,
    confirm: `Capture loop-${names[0]!}.idle again: the mains hum must fall to that of rest.idle.`,
    basis: `Harmonic pattern: ${CUSTOM}.`,
  };
}

function loopFinding({ board }: FindingContext, { loop: id, raised, ripple }: Humming): Finding {
  const loop = loopOf(board, id)!;
  const worst = raised[0]!;
  const failed = raised.some(({ r }) => r.verdict === 'fail');
  return {
    id: `hum/${id}`,
    severity: failed ? 'fault' : 'caution',
    where: { ...NOWHERE, loop: id, supply: ripple ? loop.supply : null },
    title: worst.least
      ? `${capital(loopName(loop))} adds hum of its own to what is heard with every loop out: at least ${inSentence(worst.least.value, 1)} ${worst.least.unit}.`
      : `${capital(loopName(loop))} adds hum: ${worst.isBound ? 'at least ' : ''}${shown(worst.stepDb)} dB more than with every loop out.`,
    evidence: raised.flatMap(({ r, least }) => [key(r), ...(least ? [key(least)] : [])]),
    cause: ripple
      ? `Mostly even harmonics of the mains: rectifier ripple from the supply${loop.supply ? ` at ${loop.supply}` : ''}.`
      : 'Mostly odd harmonics of the mains: a lead or an effect beside a mains transformer (magnetic pick-up), or a ground loop.',
    certainty: worst.least ? 'possible' : 'likely',
    tryNext: ripple
      ? `Feed ${id} from another outlet or a battery.`
      : `Move the effect and its leads away from mains parts; if nothing changes, try the loop with its shield lifted at one end of one signal lead (${EARTH}).`,
    confirm: `Capture loop-${id}.idle again: the mains hum must fall to that of rest.idle.`,
    basis: `Harmonic pattern: ${CUSTOM}.`,
  };
}

/** Hum with every loop in that no loop makes alone. */
function ofAll(context: FindingContext, explained: Set<Reading>): Finding[] {
  const { readings, attribution } = context;
  const outputs = attribution.flatMap(({ output, sums }) => {
    const all = sums.find(({ measured }) => measured !== null);
    const reading = readingAt(readings, 'noise.hum', { state: 'all', output });
    return all?.interacts?.hum && reading && isHeard(readings, reading, UNDER_HISS_DB) ? [{ output, all, reading }] : [];
  });
  if (outputs.length === 0) return [];
  for (const { output } of outputs) explainAll(context, explained, output, ['noise.hum', 'noise.whine']);
  const over = Math.max(...outputs.map(({ all }) => 10 * Math.log10(all.measured!.hum.power / Math.max(all.predicted.hum.high, 1e-30))));
  const lines = outputs.flatMap(({ all }) => all.humLine ?? []);
  const line = lines.length === 0 ? null : lines.reduce((a, b) => (b.overDb > a.overDb ? b : a));
  // Beside a strong hum of another pattern the sum says nothing, and one line does.
  const how = line !== null && line.overDb > over ? `at least ${shown(line.overDb)} dB more at ${line.harmonic} × mains` : `at least ${shown(over)} dB more`;
  const { loops } = outputs[0]!.all;
  const isPair = loops.length === 2;
  const half = loops.slice(0, Math.ceil(loops.length / 2));
  return [
    {
      id: 'interaction/hum',
      severity: outputs.some(({ reading }) => reading.verdict === 'fail') ? 'fault' : 'caution',
      where: NOWHERE,
      title: `With every loop in the board hums, ${how} than its loops one by one can make together: two of them interact.`,
      evidence: outputs.flatMap(({ output, reading, all }) => [key(reading), ...readings.filter((r) => r.id === `noise.hum.h${all.humLine?.harmonic ?? 0}` && r.state === 'all' && r.output === output).map(key)]),
      cause: `A ground loop between two of the loops: their signal grounds meet once through the audio leads and once through the supply. ${isPair ? `They are ${listed(loops)}, the only two.` : 'Which two is not to be known from captures of one loop and of all.'}`,
      certainty: 'likely',
      tryNext: isPair
        ? `Give ${loops[0]!} or ${loops[1]!} an isolated outlet of its own.`
        : `With every loop in, switch ${listed(half)} out: hum that stays is made by two of the others, hum that goes needs one of these. Then one by one: it goes with either of the two. Give one of these an isolated outlet of its own.`,
      confirm: isPair
        ? 'Capture all.idle again: the mains hum must be near the sum of the loops one by one.'
        : 'Capture all.idle again with one loop left out: where the mains hum comes down to the sum of the others or less, that loop is one of the two. At the end once more with every loop in.',
      basis: `Measured against the sum of the loops; the cause is ${CUSTOM}.`,
    },
  ];
}

function explainAll({ readings }: FindingContext, explained: Set<Reading>, output: string, parts: readonly string[]): void {
  const isThere = (r: Reading): boolean => r.state === 'all' && r.output === output;
  explain(explained, readings, isThere, ['noise.hum*']);
  explain(explained, readings, (r) => isThere(r) && dominates(readings, r, parts), ['noise.a', 'noise.unweighted', 'noise.ccir-rms', 'noise.468-qpk']);
}
