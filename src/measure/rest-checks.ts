/**
 * A take held against an earlier one while the leads still lie as they did. Against rest.take: is the polarity switch of the step inverted,
 * and no other; is the load connected? Against bench.take, where it is played into an output: is the plug in the jack? Against the same
 * state without its source plug: is that in series? Each may be the board itself, so each may be overruled.
 *
 * @module
 */
import type { Bench, Board, Step } from '../board/model.js';
import { invertedIn, passesBoard } from '../board/states.js';
import { DEFAULT_LOAD_OHM, loopsIn } from '../circuit/board-network.js';
import { problem } from '../problems.js';
import type { Problem } from '../problems.js';
import { DB_PER_RELATIVE } from '../units/decibels.js';
import type { Heard } from './capture-checks.js';
import { isLoaded } from './crosstalk.js';
import { fitPhaseLine, thirdOctaveRatios } from './match.js';
import { LEAST_OVER_NOISE, meanNoise, meanPower, ratio } from './response.js';
import type { ResponseEstimate, TakeEstimate } from './take.js';

const LOW_HZ = 200;
const HIGH_HZ = 5000;

/** What a step changes against rest.take. */
export interface AgainstRest {
  readonly step: string;
  /** Output whose polarity switch the step wants inverted; null: none. */
  readonly inverted: string | null;
  /** Outputs that have a polarity switch. */
  readonly switched: readonly string[];
  /** What the state changes in the path may invert, which is a finding and no slip: a loop what passes it, a buffer that is defeated every output. */
  readonly mayInvert: 'loop' | 'buffer' | null;
  /** What is across an output; null: nothing. */
  readonly load: { readonly id: string; readonly output: string; readonly ohm: number; readonly inputOhm: number } | null;
}

/** Null where a step has nothing to do with rest.take: without the board, into its outputs, or rest.take itself. */
export function againstRest(board: Board, bench: Bench, { id, state, plug }: Pick<Step, 'id' | 'state' | 'plug'>): AgainstRest | null {
  if (id === 'rest.take' || !passesBoard(state)) return null;
  const load = (bench.loads ?? []).find((l) => l.id === plug);
  const inputOhm = bench.inputs.find(({ output }) => output === load?.output)?.resistanceOhm ?? DEFAULT_LOAD_OHM;
  return {
    step: id,
    inverted: invertedIn(state),
    switched: board.outputs.flatMap((output) => (output.polaritySwitch ? output.id : [])),
    mayInvert: loopsIn(board, state).length > 0 ? 'loop' : state === 'unbuffered' ? 'buffer' : null,
    load: load === undefined ? null : { id: load.id, output: load.output, ohm: load.resistanceOhm.value, inputOhm },
  };
}

export interface FoundAgainstRest {
  /** What only a slip of the hand, or a fault, explains; null: nothing. */
  readonly refusal: Problem | null;
  /** What a slip may be, and as well what the step switches. */
  readonly caution: Problem | null;
}

/**
 * Compares a take with rest.take, both in the order of `heard.outputs`.
 *
 * @param alone - Takes, as they are filed, of loops that are in now, each alone: what a loop is filed to invert is not asked for again.
 */
export function checkAgainstRest(heard: Heard, now: readonly TakeEstimate[], rest: readonly TakeEstimate[], wanted: AgainstRest, alone: readonly (readonly TakeEstimate[])[] = []): FoundAgainstRest {
  const changesOf = (take: readonly TakeEstimate[]): ResponseEstimate[] => take.map((e, c) => ratio(e.response, rest[c]!.response));
  const changes = changesOf(now);
  const { refusal, caution } = checkPolarities(heard, changes, wanted, alone.map((take) => changesOf(take).map(signOf)));
  return { refusal: refusal ?? checkLoad(heard, changes, wanted), caution };
}

/** Compares a take that is played into an output with the bench looped to itself. */
export function checkJack({ file, outputs }: Heard, now: readonly TakeEstimate[], looped: readonly TakeEstimate[], { step, output }: { readonly step: string; readonly output: string }): Problem | null {
  const own = outputs.indexOf(output);
  return own >= 0 && isLoaded(now[own]!, looped[own]!) === false ? problem('capture.jack-not-loaded', { file, step, output }) : null;
}

const isNoise = (change: ResponseEstimate): boolean => !(meanPower(change, LOW_HZ, HIGH_HZ).power > LEAST_OVER_NOISE * meanNoise(change, LOW_HZ, HIGH_HZ));

/** Null where nothing is heard. */
const signOf = (change: ResponseEstimate): 1 | -1 | null => (isNoise(change) ? null : (fitPhaseLine(change)?.polarity ?? null));

function checkPolarities({ file, outputs }: Heard, changes: readonly ResponseEstimate[], { step, inverted, switched, mayInvert }: AgainstRest, alone: readonly (readonly (1 | -1 | null)[])[]): FoundAgainstRest {
  const signs = changes.map(signOf);
  /** Of loops that are known together. */
  const known = (c: number): number => alone.reduce((sign, loop) => sign * (loop[c] ?? 1), 1);
  const others = outputs.flatMap((output, c) => (output !== inverted && signs[c] !== null ? [{ output, change: changes[c]!, turned: signs[c] === -1, known: signs[c] === known(c) }] : []));
  const turned = others.filter((o) => o.turned);
  const names = turned.map(({ output }) => output);
  if (inverted !== null && signs[outputs.indexOf(inverted)] === 1) return { refusal: problem('capture.polarity-same', { file, step, output: inverted, instead: names }), caution: null };
  if (turned.length === 0) return { refusal: null, caution: null };
  const refused = { refusal: problem('capture.polarity-turned', { file, step, outputs: names }), caution: null };
  if (mayInvert === null) return refused;
  if (turned.length === others.length || others.every((o) => o.known)) return { refusal: null, caution: null };
  // A buffer stands before every output, a loop before those behind it.
  if (mayInvert === 'buffer') return refused;
  if (names.some((output) => !switched.includes(output))) return { refusal: null, caution: null };
  const upright = others.filter((o) => !o.turned);
  // An output that hears the loop as one that is inverted does, and is not, says that it was not the loop.
  if (turned.some((t) => upright.some((u) => isAlike(t.change, u.change)))) return refused;
  return { refusal: null, caution: problem('capture.polarity-loop', { file, step, outputs: names, upright: upright.map(({ output }) => output) }) };
}

/** A loop that changes less than this, dB (rms of the third-octaves), is told from none by nothing (chosen: 1 %). */
const HEARD_DB = 0.1;
/** Two outputs hear the same where they differ by less than this share of it (chosen: apart from their loads they hear one loop alike). */
const ALIKE_SHARE = 0.25;

function isAlike(a: ResponseEstimate, b: ResponseEstimate): boolean {
  const [bands, others] = [thirdOctaveRatios(a), thirdOctaveRatios(b)];
  const pairs = bands.flatMap(({ nominalHz, db }) => others.flatMap((o) => (o.nominalHz === nominalHz ? [[db, o.db] as const] : [])));
  const rmsDb = (of: (pair: readonly [number, number]) => number): number => Math.sqrt(pairs.reduce((sum, pair) => sum + of(pair) ** 2, 0) / Math.max(1, pairs.length));
  const heardDb = rmsDb(([db]) => db);
  return heardDb > HEARD_DB && rmsDb(([db, other]) => db - other) < ALIKE_SHARE * heardDb;
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

/** Mean level of a change, and what noise may make of it, dB. */
function meanLevel(change: ResponseEstimate, lowHz: number, highHz: number): { readonly db: number; readonly slack: number } {
  const { power, relativeUncertainty } = meanPower(change, lowHz, highHz);
  return { db: 10 * Math.log10(power), slack: 3 * DB_PER_RELATIVE * relativeUncertainty };
}

/** Levels this near are the same, dB, where something is to take off `leastDb`; null where that is too little to be told. */
function sameDb(slack: number, leastDb: number): number | null {
  const same = Math.max(slack, Math.min(SAME_DB.most, leastDb / CLEAR));
  return same < SAME_DB.least || leastDb < CLEAR * same ? null : same;
}

/** A source plug that a step wants in series. */
export interface PlugOfStep {
  readonly step: string;
  readonly plug: string;
  readonly ohm: number;
  /** What it stands before, at most. */
  readonly inputOhm: number;
  /** The step that is the same without it. */
  readonly without: string;
}

/** Null for a step without a source plug. */
export function plugOfStep(board: Board, bench: Bench, { id, state, plug, kind }: Pick<Step, 'id' | 'state' | 'plug' | 'kind'>): PlugOfStep | null {
  const own = bench.plugs.find((p) => p.id === plug);
  if (own === undefined || kind !== 'take') return null;
  const buffer = passesBoard(state) && state !== 'unbuffered' ? board.input.buffer : null;
  const recorderOhm = 1 / bench.inputs.reduce((sum, { resistanceOhm }) => sum + 1 / (resistanceOhm ?? DEFAULT_LOAD_OHM), 0);
  return { step: id, plug: own.id, ohm: own.resistanceOhm.value, inputOhm: buffer?.inputResistanceOhm ?? recorderOhm, without: `${state === 'lead' ? 'bench' : state}.take` };
}

/** Where cable and input capacitance take something off behind a plug. */
const TREBLE_HZ = [10_000, 20_000] as const;

/** Compares a take through a source plug with the same without it: one that changes neither level nor treble has been left out. */
export function checkPlug({ file, outputs }: Heard, now: readonly TakeEstimate[], without: readonly TakeEstimate[], wanted: PlugOfStep): Problem | null {
  const changes = now.map((e, c) => ratio(e.response, without[c]!.response)).filter((change) => !isNoise(change));
  const leastDb = 20 * Math.log10(1 + wanted.ohm / wanted.inputOhm);
  const levels = changes.flatMap((change) => [meanLevel(change, LOW_HZ, HIGH_HZ), meanLevel(change, ...TREBLE_HZ)]);
  const isSame = levels.every(({ db, slack }) => {
    const same = sameDb(slack, leastDb);
    return same !== null && Math.abs(db) < same;
  });
  return levels.length > 0 && isSame ? problem('capture.plug-not-heard', { file, step: wanted.step, outputs, plug: wanted.plug, without: wanted.without, leastDb, inputOhm: wanted.inputOhm }) : null;
}

function checkLoad({ file, outputs }: Heard, changes: readonly ResponseEstimate[], { step, load }: AgainstRest): Problem | null {
  if (load === null) return null;
  const own = outputs.indexOf(load.output);
  if (own < 0) return null;
  const levels = changes.map((change) => meanLevel(change, LOW_HZ, HIGH_HZ));
  const leastDb = loadLossDb(STIFFEST_OHM, load.inputOhm, load.ohm);
  const { db, slack } = levels[own]!;
  const same = sameDb(slack, leastDb);
  if (same === null || !(Math.abs(db) < same)) return null;
  const instead = outputs.filter((_, c) => c !== own && levels[c]!.db < -Math.max(leastDb / 2, levels[c]!.slack));
  return problem('capture.load-not-heard', { file, step, output: load.output, load: load.id, changeDb: db, leastDb, sourceOhm: STIFFEST_OHM, instead });
}
