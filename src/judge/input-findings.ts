/**
 * Findings on what hangs on the board's input: more capacitance than its file accounts for, and what that or a low input
 * resistance costs the player.
 *
 * @module
 */
import { leadCapacitanceF } from '../circuit/sections.js';
import { perMetre } from '../measure/over-design.js';
import { fixed } from '../units/format.js';
import { NOWHERE, capital, explain, key, withState } from './finding-context.js';
import type { FindingContext } from './finding-context.js';
import type { Finding, Reading } from './results.js';

/** Two metres of lead: less is wiring that nobody measured when the file was written (common practice, no source). */
const NAMED_FROM_PF = 200;
/** Two states show the same excess where it differs by less than this: half a metre of lead. */
const SAME_PF = 50;
/** An input below this damps a pickup that is used to 1 MΩ (common practice, no source). */
const LOW_INPUT_KOHM = 700;

const BASIS = 'Measured against board.yaml; the cause is common practice, no source.';
/** An input resistance this far under that of board.yaml is another one. */
const LOADS_SHARE = 0.7;
/** Two fits of one input agree within so many of their standard uncertainties, what they have in common left out. */
const SAME_SIGMAS = 4;

const samePlace = (a: Reading, b: Reading): boolean => a.state === b.state && a.source === b.source && a.output === b.output;
const pF = (value: number): string => `${fixed(value, 0)} pF`;
const kOhm = (value: number): string => `${fixed(value, 0)} kΩ`;

export function inputFindings(context: FindingContext, explained: Set<Reading>): Finding[] {
  return [...stuckBuffer(context), ...lowInput(context, explained), ...tooMuchLead(context, explained), ...playerLosses(context, explained)];
}

const plugged = ({ readings }: FindingContext, id: string, state: string): (Reading & { readonly value: number })[] =>
  readings.flatMap((r) => (r.id === id && r.state === state && r.value !== null && r.uncertainty !== null ? [{ ...r, value: r.value }] : []));

/** Scatter of a fit alone: the plug's tolerance is the same in both of two fits through it. */
const scatterOf = (r: Reading): number => Math.hypot(...r.budget.filter((p) => p.kind !== 'stated tolerance').map((p) => p.standard));

/** With the buffer defeated the plug sees exactly what it sees with the buffer in: it never left. */
function stuckBuffer(context: FindingContext): Finding[] {
  if (!context.board.input.buffer?.defeatable) return [];
  const compared = ['capacitance', 'input-resistance'].map((id) =>
    plugged(context, id, 'unbuffered').flatMap((out) => {
      const inside = plugged(context, id, 'rest').find((r) => r.source === out.source && r.output === out.output);
      // Where one of the two is only a bound, nothing can be said.
      if (!inside || inside.bound !== null || out.bound !== null) return [];
      const scatter = Math.hypot(scatterOf(out), scatterOf(inside));
      return [{ out, inside, same: Math.abs(out.value - inside.value) <= SAME_SIGMAS * scatter + 1e-3 * Math.abs(inside.value) }];
    }),
  );
  const [capacitance] = compared;
  if (capacitance!.length === 0 || !compared.every((list) => list.every(({ same }) => same))) return [];
  const evidence = compared.flat().flatMap(({ out, inside }) => [key(out), key(inside)]);
  return [
    {
      id: 'buffer-stuck/input',
      severity: 'fault',
      where: NOWHERE,
      title: 'Defeating the buffer does nothing: with it out the input is, to the picofarad, what it is with it in.',
      evidence,
      cause: 'The relay or switch that should take the buffer out does not move; or it was not thrown during the capture.',
      certainty: 'likely',
      tryNext: 'Throw the buffer’s switch and listen for its relay; check the relay’s supply, then its contacts.',
      confirm: `Capture unbuffered+${capacitance![0]!.out.source ?? ''}.take again: capacitance and input resistance must differ from those with the buffer in.`,
      basis: BASIS,
    },
  ];
}

/** The buffer's input resistance is not that of the file. */
function lowInput(context: FindingContext, explained: Set<Reading>): Finding[] {
  const { board, readings } = context;
  const { buffer } = board.input;
  if (!buffer) return [];
  const designed = buffer.inputResistanceOhm / 1000;
  const low = plugged(context, 'input-resistance', 'rest').filter((r) => r.bound !== 'lower' && r.value + r.uncertainty! < LOADS_SHARE * designed);
  const [worst] = [...low].sort((a, b) => a.value - b.value);
  if (!worst) return [];
  explain(explained, readings, (r) => r.state === 'rest', ['player.*', 'droop.*']);
  const loss = readings.find((r) => r.id === 'player.loss-2-5k' && samePlace(r, worst));
  return [
    {
      id: 'input-load/rest',
      severity: 'fault',
      where: NOWHERE,
      title: `The input loads the pickup with ${kOhm(worst.value)} where board.yaml has ${kOhm(designed)}${loss?.value == null ? '' : `: the player loses ${fixed(loss.value, 1)} dB in 2–5 kHz`}.`,
      evidence: [key(worst), ...(loss ? [key(loss)] : [])],
      cause: 'A wrong or damaged resistor at the input of the buffer, a leaking protection diode, or a second input in parallel.',
      certainty: 'likely',
      tryNext: 'With the board off, measure from the tip of the input jack to its shield with a meter; then look at the bias resistor of the buffer.',
      confirm: `Capture rest+${worst.source ?? ''}.take again: the input resistance must be near ${kOhm(designed)}.`,
      basis: BASIS,
    },
  ];
}

/** One per state: every output reads the same input, and the firmest plug is enough. */
function excesses({ readings }: FindingContext): Reading[] {
  const worst = new Map<string, Reading>();
  for (const r of readings) {
    if (r.id !== 'capacitance.over-design' || r.value === null || r.value - (r.uncertainty ?? 0) < NAMED_FROM_PF) continue;
    if (r.value > (worst.get(r.state)?.value ?? -Infinity)) worst.set(r.state, r);
  }
  const rest = worst.get('rest');
  // What is there with the buffer in is there with it out as well.
  return [...worst.values()].filter((r) => !(r.state === 'unbuffered' && rest && r.value! - rest.value! < NAMED_FROM_PF));
}

function tooMuchLead(context: FindingContext, explained: Set<Reading>): Finding[] {
  const { board, readings } = context;
  return excesses(context).map((r): Finding => {
    const loop = board.loops.find(({ id }) => id === r.loop) ?? null;
    const whole = readings.find((o) => o.id === 'capacitance' && samePlace(o, r));
    const expected = loop?.wiring ? leadCapacitanceF(loop.wiring) * 1e12 : (whole?.value ?? r.value!) - r.value!;
    const metres = `about ${fixed(r.value! / (perMetre(board, r.loop) * 1e12), 1)} m of lead too much, or a bad lead`;
    const amounts = `${pF(expected + r.value!)}, ${pF(expected)} expected`;
    // What hangs there costs the player treble, with the buffer out as well: one cause, one finding.
    const states = r.state === 'rest' ? ['rest', 'unbuffered'] : [r.state];
    const losses = readings.filter((o) => o.verdict === 'fail' && states.includes(o.state) && /^(player|droop)\./.test(o.id));
    for (const o of losses) explained.add(o);
    const loss = losses.find((o) => o.id === 'player.loss-2-5k');
    const cost = loss?.value == null ? '' : `; with all that hangs there the player loses ${fixed(loss.value, 1)} dB in 2–5 kHz`;
    const common = {
      severity: losses.length > 0 ? ('fault' as const) : ('caution' as const),
      evidence: [key(r), ...(whole ? [key(whole)] : []), ...losses.filter((o) => o.id === 'player.loss-2-5k').map(key)],
      certainty: 'likely' as const,
      confirm: `Capture ${r.state}+${r.source ?? ''}.take again: the capacitance must come down to what board.yaml accounts for.`,
      basis: BASIS,
    };
    if (loop) {
      return {
        ...common,
        id: `capacitance/${r.state}`,
        where: { ...NOWHERE, loop: loop.id },
        title: `Loop ${loop.id} adds ${amounts}: ${metres}${cost}.`,
        cause: `A send or return lead of ${loop.id} that is longer than board.yaml says, or damaged; or a device with a capacitor at its input.`,
        tryNext: `Swap the send lead of ${loop.id} for a short known good one and capture ${r.state}+${r.source ?? ''}.take again; then its return.`,
      };
    }
    const { buffer } = board.input;
    const isBehind = buffer !== null && r.state === 'unbuffered';
    const where = buffer === null ? 'On the board’s path' : isBehind ? 'With the buffer out' : 'Before the buffer';
    return {
      ...common,
      id: `capacitance/${r.state}`,
      where: NOWHERE,
      title: `${where} hang ${amounts}: ${metres}${cost}.`,
      cause: isBehind
        ? 'Wiring past the buffer, past the loops or to the outputs that board.yaml does not have, or a damaged lead in it.'
        : 'Wiring from the input jack that is longer than board.yaml says, or a damaged lead in it.',
      tryNext: `Unplug the leads of that path one after the other, the last first, and capture ${r.state}+${r.source ?? ''}.take each time: the one whose going takes the capacitance with it is the one.`,
    };
  });
}

function playerLosses({ board, readings }: FindingContext, explained: Set<Reading>): Finding[] {
  const failed = readings.filter((r) => r.id.startsWith('player.') && r.verdict === 'fail' && !explained.has(r));
  return [...new Set(failed.map((r) => r.state))].map((state): Finding => {
    const of = failed.filter((r) => r.state === state);
    for (const r of of) explained.add(r);
    const [first] = of;
    const loss = readings.find((r) => r.id === 'player.loss-2-5k' && samePlace(r, first!)) ?? first!;
    const shift = readings.find((r) => r.id === 'player.resonance-shift' && samePlace(r, first!));
    const capacitance = readings.find((r) => r.id === 'capacitance' && samePlace(r, first!));
    const resistance = readings.find((r) => r.id === 'input-resistance' && samePlace(r, first!));
    const over = readings.find((r) => r.id === 'capacitance.over-design' && samePlace(r, first!));
    const how = board.input.buffer === null ? 'Through the board' : state === 'unbuffered' ? 'With the buffer out' : state === 'rest' ? 'With the buffer in' : capital(withState(state));
    const moved = shift?.value == null ? '' : `, and the resonance moves by ${fixed(shift.value, 1)} %`;
    const hanging = [
      capacitance?.value == null ? null : `${pF(capacitance.value)}${over?.value != null && over.value > SAME_PF ? ` (${pF(over.value)} more than board.yaml has)` : ''}`,
      resistance?.value == null ? null : `${fixed(resistance.value, 0)} kΩ`,
    ].filter((part) => part !== null);
    const isLow = resistance?.value != null && resistance.value < LOW_INPUT_KOHM;
    return {
      id: `player/${state}`,
      severity: 'fault',
      where: NOWHERE,
      title: `${how} the player loses ${loss.value === null ? 'an unknown amount' : `${fixed(loss.value, 1)} dB`} in 2–5 kHz${moved}.`,
      evidence: of.map(key),
      cause: hanging.length === 0 ? 'What hangs on the pickup is not known.' : `The pickup has ${hanging.join(' and ')} to drive${isLow ? ': the low input resistance damps it' : ''}.`,
      certainty: 'measured',
      confirm: `Capture ${state}${first!.source === null ? '.take' : `+${first!.source}.take`} again: the loss in 2–5 kHz must be within its limit.`,
      tryNext: isLow
        ? 'Put a buffer of 1 MΩ or more first in the path, and capture the state again.'
        : state === 'unbuffered'
          ? 'Leave the buffer in for this player, or shorten the wiring that hangs on the path with it out; "boardproof predict" says what each part costs.'
          : 'Shorten the wiring before the first buffer; "boardproof predict" says what each part costs.',
      basis: 'Measured and put behind the instrument of board.yaml.',
    };
  });
}
