/**
 * The steps of a sign-off: every capture that a board on a bench needs, in an order that changes the patching as
 * seldom as possible, each with its instructions.
 *
 * First without the board; then everything with its input terminated; then everything driven by the bench directly;
 * with each load across its output; then through one source plug after the other; last, into the outputs themselves.
 *
 * @module
 */
import type { Bench, Board, Step, StepKind } from './model.js';
import { drivenInto } from '../circuit/board-network.js';
import { boardStates, settingOf, stepId, titled } from './states.js';

/** Shortest useful idle capture, seconds: a figure of noise then rests on some hundred independent spectra. */
export const IDLE_S = 20;

export function stepsOf(board: Board, bench: Bench): readonly Step[] {
  const patches = patchesOf(board, bench);
  const states = boardStates(board);
  const made = (state: string, kind: StepKind, patch: string, plug: string | null = null, required = true): Step => ({
    id: stepId({ state, plug, kind }),
    state,
    plug,
    kind,
    patch,
    set: [settingOf(board, state), doing({ kind, state })].filter((part) => part !== '').join(' '),
    required,
  });
  const optional = (state: string, kind: StepKind, patch: string): Step => made(state, kind, patch, null, false);
  const plugs = bench.plugs.map(({ id }) => id);
  // One loop alone in is every loop in.
  const loopStates = states.filter((state) => state.startsWith('loop-') || (state === 'all' && board.loops.length > 1));
  const unbuffered = states.filter((state) => state === 'unbuffered');
  const lifts = states.filter((state) => state.startsWith('lift-'));
  const inverts = states.filter((state) => state.startsWith('invert-'));
  // What comes across is heard where both outputs are recorded.
  const into = bench.inputs.length > 1 ? states.filter((state) => bench.inputs.some(({ output }) => output === drivenInto(state))) : [];

  return [
    made('bench', 'idle', patches.benchTerminated),
    made('bench', 'take', patches.benchLooped),
    optional('bench', 'stairs', patches.benchLooped),
    ...plugs.map((plug) => made('lead', 'take', patches.leadThrough(plug), plug)),

    ...['rest', ...unbuffered, ...loopStates, ...lifts].map((state) => made(state, 'idle', patches.boardTerminated)),
    ...(board.loops.length > 0 ? [optional('rest', 'switching', patches.boardTerminated)] : []),
    ...board.loops.map(({ id }) => optional(`loop-${id}`, 'switching', patches.boardTerminated)),

    ...['rest', ...unbuffered, ...loopStates, ...inverts].map((state) => made(state, 'take', patches.boardDriven(null))),
    ...lifts.map((state) => optional(state, 'take', patches.boardDriven(null))),
    optional('rest', 'flex', patches.boardDriven(null)),
    ...['rest', ...unbuffered, ...loopStates].map((state) => optional(state, 'stairs', patches.boardDriven(null))),

    ...(bench.loads ?? []).map(({ id, output }) => made('rest', 'take', patches.boardLoaded(id, output), id, false)),

    ...plugs.flatMap((plug) => [
      ...['rest', ...unbuffered].map((state) => made(state, 'take', patches.boardDriven(plug), plug)),
      // Without a buffer before them the loops hang on the plug as well, each with its leads.
      ...(board.input.buffer === null ? board.loops : []).map(({ id }) => made(`loop-${id}`, 'take', patches.boardDriven(plug), plug, false)),
    ]),

    ...into.map((state) => optional(state, 'take', patches.outputDriven(drivenInto(state)!))),
  ];
}

/** What hands do in a switching capture of a state. */
export function pressing(state: string): string {
  return state === 'rest'
    ? 'press the footswitch of each loop in and out again, in the order of the loops, with a second between'
    : 'press the footswitch of this loop out and in again, five times, with a second between';
}

/** What is played in a step, and what hands do meanwhile: one sentence. */
export function doing({ kind, state }: Pick<Step, 'kind' | 'state'>): string {
  return kind === 'switching' ? `Play nothing; ${pressing(state)}.` : playing[kind];
}

const playing: Readonly<Record<Exclude<StepKind, 'switching'>, string>> = {
  idle: `Play nothing; record ${IDLE_S} s or more.`,
  take: 'Play the take once.',
  flex: 'Play the steady tone, and move every lead and plug in turn.',
  stairs: 'Play the level stairs once.',
};

interface Patches {
  readonly benchTerminated: string;
  readonly benchLooped: string;
  readonly leadThrough: (plug: string) => string;
  readonly boardTerminated: string;
  readonly boardDriven: (plug: string | null) => string;
  readonly boardLoaded: (load: string, output: string) => string;
  readonly outputDriven: (output: string) => string;
}

function patchesOf(board: Board, bench: Bench): Patches {
  const inputs = [...bench.inputs].sort((a, b) => a.channel - b.channel);
  const channels = inputs.map(({ channel }) => channel);
  const player = bench.output ? `bench output ${bench.output.channel}` : 'the bench output';
  const recorders = `recorder input${channels.length > 1 ? 's' : ''} ${words(channels.map(String))}`;
  const split = channels.length > 1 ? `${recorders} at once (Y lead)` : recorders;
  const nameOf = (output: string): string => {
    const known = board.outputs.find(({ id }) => id === output);
    return known ? titled(known) : output;
  };
  const hear = (heardBy: typeof inputs): string => heardBy.map(({ channel, output }, i) => `${i === 0 ? 'output ' : ''}${nameOf(output)} to ${i === 0 ? 'recorder input ' : ''}${channel}`).join(', ');
  const heard = hear(inputs);
  return {
    // The player stays out: its own noise is not in the idle captures of the board either, and would be subtracted there.
    benchTerminated: `Board left out: a shorting plug (tip to sleeve) on the lead of ${recorders}; ${player} unpatched.`,
    benchLooped: `Board left out: ${player} straight to ${split}.`,
    leadThrough: (plug) => `Board left out: ${player} through source plug ${plug} and the straight lead to ${split}.`,
    boardTerminated: `A shorting plug (tip to sleeve) in the board’s input; ${player} unpatched; ${heard}.`,
    boardDriven: (plug) => `${capital(player)} ${plug === null ? 'straight' : `through source plug ${plug}`} into the board’s input; ${heard}.`,
    boardLoaded: (load, output) => `${capital(player)} straight into the board’s input; ${heard}; load ${load} across the lead of output ${output} (Y lead).`,
    outputDriven: (output) =>
      `${capital(player)} into the jack of output ${nameOf(output)} and recorder input ${inputs.find((i) => i.output === output)!.channel} (Y lead); ${hear(inputs.filter((i) => i.output !== output))}; a shorting plug in the board’s input. Line outputs only: never one for headphones or loudspeakers.`,
  };
}

const capital = (text: string): string => text.charAt(0).toUpperCase() + text.slice(1);

const words = (items: readonly string[]): string => (items.length < 2 ? items.join('') : `${items.slice(0, -1).join(', ')} and ${items.at(-1)}`);

/** What a bench cannot show because its file leaves it out; one sentence each. */
export function benchGaps(bench: Bench): readonly string[] {
  const uncalibrated = bench.inputs.filter(({ fullScaleDbu }) => fullScaleDbu === null).map(({ channel }) => channel).sort((a, b) => a - b);
  const many = uncalibrated.length > 1;
  return [
    ...(bench.plugs.length === 0 ? ['bench.yaml names no source plug, so tone loss cannot be measured; add one under "plugs".'] : []),
    ...(uncalibrated.length > 0 ? [`Recorder input${many ? 's' : ''} ${words(uncalibrated.map(String))} ${many ? 'have' : 'has'} no "fullScale" in bench.yaml: levels will be in dBFS, and limits in dBu cannot be judged; "boardproof calibrate" sets it with a voltmeter.`] : []),
  ];
}
