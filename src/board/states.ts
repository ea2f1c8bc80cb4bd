/**
 * The states of a board, how to set each, and the ids of steps.
 *
 * @module
 */
import { drivenInto, loopsIn, pathStates } from '../circuit/board-network.js';
import { printable } from './printable.js';
import type { Board, Step, StepKind } from './model.js';

/** States in the order in which they are usually captured; `bench` and `lead` are without the board. */
export const boardStates = (board: Board): readonly string[] => pathStates(board);

/** True where an effect is in the path: it may breathe, so its level need not be steady. */
export const stateHasEffect = (board: Board, state: string): boolean =>
  board.loops.some(({ id, expect }) => expect === 'effect' && (state === 'all' || state === `loop-${id}`));

/** Output whose polarity switch is inverted in a state; null: none. */
export const invertedIn = (state: string): string | null => (state.startsWith('invert-') ? state.slice('invert-'.length) : null);

/** True where what is played passes the board from its input to its outputs. */
export const passesBoard = (state: string): boolean => state !== 'bench' && state !== 'lead' && drivenInto(state) === null;

export const stepKinds: readonly StepKind[] = ['idle', 'take', 'switching', 'flex', 'stairs'];

export type StepName = Pick<Step, 'state' | 'plug' | 'kind'>;

/** `<state>[+<plug>].<kind>` */
export const stepId = ({ state, plug, kind }: StepName): string => `${state}${plug === null ? '' : `+${plug}`}.${kind}`;

/** What an id says; null where it is none. */
export function parseStepId(id: string): StepName | null {
  const match = /^([A-Za-z0-9][A-Za-z0-9_-]*)(?:\+([A-Za-z0-9][A-Za-z0-9_-]*))?\.([a-z]+)$/.exec(id);
  const kind = stepKinds.find((k) => k === match?.[3]);
  return match && kind ? { state: match[1]!, plug: match[2] ?? null, kind } : null;
}

/** A name with its id, where the two differ. */
export const titled = ({ id, name }: { readonly id: string; readonly name: string }): string => (name === id ? id : `${id} (${printable(name)})`);

/** How to set the board for a state: one sentence that names every kind of switch the board has; empty where the board is left out or has none. */
export function settingOf(board: Board, state: string): string {
  const parts = settingParts(board, state).filter((part) => part !== '');
  return parts.length === 0 ? '' : `${parts.join('; ').replace(/^./, (c) => c.toUpperCase())}.`;
}

/** What of {@link settingOf} is not as at rest, without a full stop; empty where nothing is. */
export function departureOf(board: Board, state: string): string {
  const rest = settingParts(board, 'rest');
  return settingParts(board, state)
    .filter((part, i) => part !== rest[i])
    .join('; ');
}

/** One entry per kind of switch, empty where the board has none of the kind; none at all where the board is left out. */
function settingParts(board: Board, state: string): readonly string[] {
  if (state === 'bench' || state === 'lead') return [];
  const lifts = board.outputs.filter(({ lift }) => lift);
  const switches = board.outputs.filter(({ polaritySwitch }) => polaritySwitch);
  return [loopWords(board, loopsIn(board, state)), bufferWords(board, state), liftWords(lifts, state), switchWords(switches, state)];
}

function loopWords({ loops }: Board, inLoops: readonly string[]): string {
  if (loops.length === 0) return '';
  if (inLoops.length === 0) return 'every loop out';
  if (inLoops.length === loops.length) return loops.length === 1 ? `loop ${titled(loops[0]!)} in` : 'every loop in';
  return `only loop ${loops.filter(({ id }) => inLoops.includes(id)).map(titled).join(', ')} in`;
}

const bufferWords = ({ input }: Board, state: string): string => (input.buffer?.defeatable ? (state === 'unbuffered' ? 'buffer defeated' : 'buffer in') : '');

type Outputs = Board['outputs'];

/** Lifting the audio shield is one thing, lifting protective earth another and deadly: say so where it matters. */
function liftWords(lifts: Outputs, state: string): string {
  const lifted = lifts.find(({ id }) => state === `lift-${id}`);
  if (lifted) return `ground lift of output ${titled(lifted)} engaged (its switch for the audio shield; protective earth stays connected)`;
  return lifts.length === 0 ? '' : 'no ground lift engaged';
}

function switchWords(switches: Outputs, state: string): string {
  const turned = switches.find(({ id }) => state === `invert-${id}`);
  if (turned) return `polarity switch of output ${titled(turned)} set to inverted`;
  return switches.length === 0 ? '' : 'polarity normal';
}
