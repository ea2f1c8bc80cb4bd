/**
 * Findings on what hangs on the board's input: more capacitance than its file accounts for, and what that or a low input
 * resistance costs the player.
 *
 * @module
 */
import type { Board } from '../board/model.js';
import { leadCapacitanceF } from '../circuit/sections.js';
import { perMetre } from '../measure/over-design.js';
import type { Finding, Reading } from './results.js';

/** Two metres of lead: less is wiring that nobody measured when the file was written (common practice, no source). */
const NAMED_FROM_PF = 200;
/** Two states show the same excess where it differs by less than this: half a metre of lead. */
const SAME_PF = 50;
/** An input below this damps a pickup that is used to 1 MΩ (common practice, no source). */
const LOW_INPUT_KOHM = 700;

const NOWHERE = { loop: null, output: null, supply: null };
const BASIS = 'Measured against board.yaml; the cause is common practice, no source.';

const key = (r: Reading): string => `${r.id} in ${r.state}${r.source === null ? '' : ` through ${r.source}`}${r.output === null ? '' : ` on ${r.output}`}`;
const samePlace = (a: Reading, b: Reading): boolean => a.state === b.state && a.source === b.source && a.output === b.output;
const pF = (value: number): string => `${value.toFixed(0)} pF`;

interface Context {
  readonly board: Board;
  readonly readings: readonly Reading[];
}

export function inputFindings(context: Context, explained: Set<Reading>): Finding[] {
  return [...tooMuchLead(context), ...playerLosses(context, explained)];
}

/** One per state: every output reads the same input, and the firmest plug is enough. */
function excesses({ readings }: Context): Reading[] {
  const worst = new Map<string, Reading>();
  for (const r of readings) {
    if (r.id !== 'capacitance.over-design' || r.value === null || r.value - (r.uncertainty ?? 0) < NAMED_FROM_PF) continue;
    if (r.value > (worst.get(r.state)?.value ?? -Infinity)) worst.set(r.state, r);
  }
  const rest = worst.get('rest');
  // What is there with the buffer in is there with it out as well.
  return [...worst.values()].filter((r) => !(r.state === 'unbuffered' && rest && Math.abs(r.value! - rest.value!) < SAME_PF));
}

function tooMuchLead(context: Context): Finding[] {
  const { board, readings } = context;
  return excesses(context).map((r): Finding => {
    const loop = board.loops.find(({ id }) => id === r.loop) ?? null;
    const whole = readings.find((o) => o.id === 'capacitance' && samePlace(o, r));
    const expected = loop?.wiring ? leadCapacitanceF(loop.wiring) * 1e12 : (whole?.value ?? r.value!) - r.value!;
    const metres = `about ${(r.value! / (perMetre(board, r.loop) * 1e12)).toFixed(1)} m of lead too much, or a bad lead`;
    const amounts = `${pF(expected + r.value!)}, ${pF(expected)} expected`;
    const common = { severity: 'caution' as const, evidence: [key(r), ...(whole ? [key(whole)] : [])], basis: BASIS };
    if (loop) {
      return {
        ...common,
        id: `capacitance/${r.state}`,
        where: { ...NOWHERE, loop: loop.id },
        title: `Loop ${loop.id} adds ${amounts}: ${metres}.`,
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
      title: `${where} hang ${amounts}: ${metres}.`,
      cause: isBehind
        ? 'Wiring past the buffer, past the loops or to the outputs that board.yaml does not have, or a damaged lead in it.'
        : 'Wiring from the input jack that is longer than board.yaml says, or a damaged lead in it.',
      tryNext: `Unplug the leads of that path one after the other, the last first, and capture ${r.state}+${r.source ?? ''}.take each time: the one whose going takes the capacitance with it is the one.`,
    };
  });
}

function playerLosses({ board, readings }: Context, explained: Set<Reading>): Finding[] {
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
    const how = board.input.buffer === null ? 'Through the board' : state === 'unbuffered' ? 'With the buffer out' : state === 'rest' ? 'With the buffer in' : `In the state ${state}`;
    const moved = shift?.value == null ? '' : `, and the resonance moves by ${shift.value.toFixed(1)} %`;
    const hanging = [
      capacitance?.value == null ? null : `${pF(capacitance.value)}${over?.value != null && over.value > SAME_PF ? ` (${pF(over.value)} more than board.yaml has)` : ''}`,
      resistance?.value == null ? null : `${resistance.value.toFixed(0)} kΩ`,
    ].filter((part) => part !== null);
    const isLow = resistance?.value != null && resistance.value < LOW_INPUT_KOHM;
    return {
      id: `player/${state}`,
      severity: 'fault',
      where: NOWHERE,
      title: `${how} the player loses ${loss.value === null ? 'an unknown amount' : `${loss.value.toFixed(1)} dB`} in 2–5 kHz${moved}.`,
      evidence: of.map(key),
      cause: hanging.length === 0 ? 'What hangs on the pickup is not known.' : `The pickup has ${hanging.join(' and ')} to drive${isLow ? ': the low input resistance damps it' : ''}.`,
      tryNext: isLow
        ? 'Put a buffer of 1 MΩ or more first in the path, and capture the state again.'
        : state === 'unbuffered'
          ? 'Leave the buffer in for this player, or shorten the wiring that hangs on the path with it out; "boardproof predict" says what each part costs.'
          : 'Shorten the wiring before the first buffer; "boardproof predict" says what each part costs.',
      basis: 'Measured and put behind the instrument of board.yaml.',
    };
  });
}
