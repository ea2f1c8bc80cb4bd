/**
 * A board of two loops and two outputs that SoX is: what each part does to a signal is a chain of SoX effects, and what it adds to
 * the silence are sounds that SoX makes. A board with a fault is the clean one with a chain or a sound changed. Invented.
 */
import { createHash } from 'node:crypto';
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { sox } from './third-party.js';

/** Effects of SoX from silence to a sound, or a share of the long white noise: its level in dBFS (rms), and what is done to it then. */
export type Sound = { readonly make: string } | { readonly hissDbfs: number; readonly then?: string };

export interface SoxPart {
  /** What it does to what passes it; '' for nothing. */
  readonly chain: string;
  readonly sounds: readonly Sound[];
  /** The same for the level stairs, where that differs. */
  readonly stairs?: string;
}

const LOOPS = ['trim', 'echo'] as const;
const OUTPUTS = ['A', 'B'] as const;
export type SoxLoop = (typeof LOOPS)[number];
export type SoxOutput = (typeof OUTPUTS)[number];

export interface SoxBoard {
  readonly loops: Readonly<Record<SoxLoop, SoxPart>>;
  readonly outputs: Readonly<Record<SoxOutput, SoxPart>>;
  /** Heard only while both loops are in. */
  readonly together: readonly Sound[];
  /** Two periods of 1 kHz at each press of a footswitch, dBFS: two presses of each loop, in their order. */
  readonly pressesDbfs: readonly number[];
  /** Per output, the part of each loop's signal mixed to it with that loop out; B hears none of the loops where this is given. */
  readonly echoBleed: number | null;
}

export const CLEAN_SOX_BOARD: SoxBoard = {
  loops: { trim: { chain: 'gain 0.04', sounds: [{ hissDbfs: -124 }] }, echo: { chain: 'gain 1.5', sounds: [{ hissDbfs: -115 }] } },
  outputs: { A: { chain: 'gain -0.1', sounds: [{ hissDbfs: -118 }] }, B: { chain: 'gain -0.05', sounds: [{ hissDbfs: -117 }] } },
  together: [],
  pressesDbfs: [-77, -78, -79, -80],
  echoBleed: null,
};

/** Latency of the loop that bleeds: 3.27 ms. */
export const ECHO_LATENCY_FRAMES = 157;

export const SOX_BOARD = `format: boardproof-board/1
invented: true
board: Two loops
mains: 50 Hz
limits: studio-quiet
loops:
  - { id: trim, expect: unity, supply: S1.1, current: 20 mA }
  - { id: echo, expect: effect, supply: S1.2, current: 60 mA }
outputs: [{ id: A }, { id: B }]
match: [[A, B]]
supplies:
  - { id: S1, outlets: [{ id: 1, volts: 9, limit: 100 mA }, { id: 2, volts: 9, limit: 100 mA }] }
`;

export const SOX_BENCH = `format: boardproof-bench/1
bench: software
sampleRate: 48000
output: { channel: 1, fullScale: 12 dBu ± 0.1 dB, resistance: 100 }
inputs:
  - { channel: 1, output: A, fullScale: 18 dBu ± 0.1 dB, resistance: 1M }
  - { channel: 2, output: B, fullScale: 18 dBu ± 0.1 dB, resistance: 1M }
`;

const IDLE_S = 5;
const TAKE_S = 15.66;
const PRESSES_S = 7;
const BENCH_HISS_DBFS = -128;
/** SoX's white noise is uniform within full scale: mean square 1/3, against 1/2 of a full-scale sine. */
const WHITE_DBFS = 10 * Math.log10(2 / 3);
/** Every part in every state has a stretch of its own of one long noise: SoX begins its noise with the same seed in every run. */
const SOURCES = ['bench A', 'bench B', 'output A', 'output B', 'trim', 'echo', 'together'] as const;
const STATES = ['bench', 'rest', 'loop-trim', 'loop-echo', 'all'] as const;

const STRETCHES = STATES.length * SOURCES.length;
/** The second sound of a part has a stretch of its own as well. */
const WHITE_S = 2 * STRETCHES * IDLE_S;

/** Once per folder, before any recording. */
export const makeWhite = (folder: string): void => {
  sox(folder, '-r', '48000', '-n', '-b', '32', 'white.wav', 'synth', String(WHITE_S), 'whitenoise');
};

const loopsIn = (state: string): readonly SoxLoop[] => (state === 'all' ? LOOPS : LOOPS.filter((id) => state === `loop-${id}`));

/**
 * Records a step of the board; takes and stairs are played from `play/<step>.wav` of the folder.
 *
 * @returns the file's name, the same for what sounds the same: it is made once.
 */
export function recordSox(folder: string, board: SoxBoard, step: string): string {
  const [state, kind] = step.split('.') as [string, string];
  const each = OUTPUTS.map((output) => (kind === 'idle' ? idleOf(board, state, output) : kind === 'switching' ? switchingOf(board, output) : playedOf(board, step, state, kind, output)));
  const file = `${step}-${createHash('sha256').update(JSON.stringify(each)).digest('hex').slice(0, 10)}.wav`;
  if (existsSync(join(folder, file))) return file;
  each.forEach((inputs, c) => {
    sox(folder, ...(inputs.length > 1 ? ['-m'] : []), ...inputs.flatMap((input) => [...(inputs.length > 1 ? ['-v', '1'] : []), input]), '-b', '32', `channel${c}.wav`);
  });
  sox(folder, '-M', 'channel0.wav', 'channel1.wav', '-b', '24', file);
  return file;
}

/** The recorder's own hiss under everything, so that nothing is digital silence. */
const benchHiss = (output: SoxOutput, atS: number, lengthS: number): string => `|sox -R -V1 white.wav -p trim ${atS + (output === 'A' ? 0 : 3)} ${lengthS} gain ${BENCH_HISS_DBFS - WHITE_DBFS}`;

function idleOf(board: SoxBoard, state: string, output: SoxOutput): string[] {
  const sound = (source: (typeof SOURCES)[number], of: Sound, nth = 0): string => {
    if ('make' in of) return `|sox -R -V1 -r 48000 -n -p ${of.make}`;
    const atS = (nth * STRETCHES + STATES.indexOf(state as (typeof STATES)[number]) * SOURCES.length + SOURCES.indexOf(source)) * IDLE_S;
    return `|sox -R -V1 white.wav -p trim ${atS} ${IDLE_S} gain ${of.hissDbfs - WHITE_DBFS} ${of.then ?? ''}`;
  };
  const sounds = (source: (typeof SOURCES)[number], list: readonly Sound[]): string[] => list.map((s, nth) => sound(source, s, nth === 0 ? 0 : 1));
  return [
    sound(`bench ${output}`, { hissDbfs: BENCH_HISS_DBFS }),
    ...(state === 'bench' ? [] : sounds(`output ${output}`, board.outputs[output].sounds)),
    ...loopsIn(state).flatMap((loop) => sounds(loop, board.loops[loop].sounds)),
    ...(state === 'all' ? sounds('together', board.together) : []),
  ];
}

function switchingOf({ pressesDbfs }: SoxBoard, output: SoxOutput): string[] {
  const hiss = `|sox -R -V1 white.wav -p trim ${output === 'A' ? 0 : PRESSES_S} ${PRESSES_S} gain ${-118 - WHITE_DBFS}`;
  return [hiss, ...pressesDbfs.map((dbfs, k) => `|sox -R -V1 -r 48000 -n -p synth 0.002 sine 1000 gain ${dbfs} pad ${1.2 * (k + 1)} 0`)];
}

function playedOf(board: SoxBoard, step: string, state: string, kind: string, output: SoxOutput): string[] {
  const through = (parts: readonly SoxPart[], more = ''): string => `|sox -R -V1 play/${step}.wav -p ${parts.map((p) => (kind === 'stairs' ? (p.stairs ?? p.chain) : p.chain)).join(' ')} ${more}`;
  const bleed = board.echoBleed !== null && state !== 'bench';
  const loops = loopsIn(state).filter((loop) => !(bleed && loop === 'echo' && output === 'B'));
  const latency = bleed && loops.includes('echo') ? `delay ${ECHO_LATENCY_FRAMES}s` : '';
  return [
    state === 'bench' ? `|sox -R -V1 play/${step}.wav -p ${output === 'A' ? '' : 'gain 0.01'}` : through([...loops.map((loop) => board.loops[loop]), board.outputs[output]], latency),
    ...(bleed && output === 'A' && !loops.includes('echo') ? [through([...loops.map((loop) => board.loops[loop]), board.outputs.A], `vol ${board.echoBleed} delay ${ECHO_LATENCY_FRAMES}s`)] : []),
    benchHiss(output, 10, kind === 'stairs' ? 20.4 : TAKE_S),
  ];
}
