/**
 * The cue sheet: on paper beside the bench, what to patch, what to play and how long to record, in order.
 *
 * @module
 */
import type { Bench, Board, Step, StepKind } from '../src/board/model.js';
import { printable } from '../src/board/printable.js';
import { IDLE_S } from '../src/board/steps.js';
import type { SampleBits } from '../src/signals/quantise.js';
import { referenceFileS } from '../src/signals/reference.js';
import type { ReferenceName } from '../src/signals/reference.js';
import { STAIRS_CEILING_DBFS, STAIRS_TO_DB, stairsOf } from '../src/signals/stairs.js';
import { sweepTopHz } from '../src/signals/sweep.js';
import { fixed } from '../src/units/format.js';
import { columns, wrap } from './layout.js';

export const CUE_SHEET_HEADING = 'CUE SHEET';

export interface CueSheet {
  readonly sampleRateHz: number;
  readonly levelDbfs: number;
  readonly bits: readonly SampleBits[];
  /** The job that the takes were rendered for; null for takes of no step in particular. */
  readonly job: { readonly board: Board; readonly bench: Bench; readonly steps: readonly Step[] } | null;
}

/** Recording before and after what is played, seconds. */
const MARGIN_S = 2;

/** What is played in a step; null for nothing. */
export const signalOf: Readonly<Record<StepKind, ReferenceName | null>> = { idle: null, take: 'take', switching: null, flex: 'tone', stairs: 'stairs' };

/** File that is played in a step. The steady tone says nothing of its step, so one file serves all. */
export const fileOf = (step: Pick<Step, 'id' | 'kind'>): string | null => {
  const signal = signalOf[step.kind];
  return signal === null || signal === 'tone' ? signal && `${signal}.wav` : `${step.id}.wav`;
};

const bullet = (text: string): string => wrap(text, '  ', '- ');
const numbered = (text: string, index: number): string => wrap(text, '   ', `${index + 1}. `);
const seconds = (s: number): string => `${fixed(s, 1).replace(/\.0$/, '')} s`;
const played = (name: ReferenceName): string => seconds(referenceFileS(name));
const recorded = (name: ReferenceName): string => `${Math.ceil(referenceFileS(name) + 2 * MARGIN_S)} s`;

/** The whole sheet as plain text. The same for the same settings: no date, no path. */
export function cueSheetText(sheet: CueSheet): string {
  const { job } = sheet;
  const parts = [
    [CUE_SHEET_HEADING, '', heading(sheet)],
    ['BEFORE ANY SOUND', '', ...cautions(sheet).map(bullet)],
    ['SETTING LEVELS', '', ...levels(sheet).map(numbered)],
    ['RECORDING', '', ...recording(job !== null).map(numbered)],
    ['STEPS', '', job ? allSteps(job.steps) : generalSteps()],
  ];
  return `${parts.map((lines) => lines.join('\n')).join('\n\n')}\n`;
}

function heading({ sampleRateHz, levelDbfs, bits, job }: CueSheet): string {
  const fullScale = job?.bench.output?.fullScaleDbu?.value ?? null;
  const atOutput = fullScale === null ? '' : `, ${Math.round(100 * (levelDbfs + fullScale)) / 100} dBu at the bench output`;
  const rows = [
    ...(job ? [['Board', printable(job.board.name) + (job.board.serial === null ? '' : `, serial ${printable(job.board.serial)}`)], ['Bench', printable(job.bench.name)]] : []),
    ['Signals', `${sampleRateHz} Hz, ${bits.map((b) => (b === '32f' ? '32-bit float' : `${b}-bit`)).join(', ')}, mono`],
    ['Level', `${levelDbfs} dBFS${atOutput}`],
  ];
  return columns(rows, '') + (bits.length > 1 ? `\n\n${wrap(`Each sample format has a folder of its own (${bits.join(', ')}) with the same files: play one of them.`)}` : '');
}

function cautions({ sampleRateHz, levelDbfs, job }: CueSheet): string[] {
  const top = stairsOf(levelDbfs).at(-1)!.levelDbfs;
  const above = top > levelDbfs ? `, ${top - levelDbfs} dB above that` : '';
  return [
    'Power amplifiers, loudspeakers and headphones are off or unplugged, and stay so. Steady tones and sweeps harm hearing and loudspeakers at levels at which music does not.',
    `The takes sweep from 10 Hz to ${fixed(sweepTopHz(sampleRateHz) / 1000, 1)} kHz at ${levelDbfs} dBFS.${hasStairs(job) ? ` The level stairs rise to ${top} dBFS${above}.` : ''}`,
    'No loudspeaker output of an amplifier goes into a board or a recorder; 48 V phantom power is off.',
    'Player and recorder leave the signal alone: no equaliser, effect, limiter, automatic gain, noise suppression, monitoring of the input through the output, or change of sample rate.',
    'Protective earth stays connected on everything, whatever hums. A ground lift is a switch for the audio shield only. Work on mains wiring is for licensed people under local rules.',
  ];
}

const hasStairs = (job: CueSheet['job']): boolean => job === null || job.steps.some(({ kind }) => kind === 'stairs');

function levels({ levelDbfs, job }: CueSheet): string[] {
  const room = Math.min(STAIRS_TO_DB, STAIRS_CEILING_DBFS - levelDbfs);
  return [
    'Turn the player down. Play tone.wav into the board with every loop out, and bring the player up to where it will stay: the level at which the bench was calibrated, if it was.',
    `Set the recorder so that the tone reads well below full scale on every input${hasStairs(job) && room > 0 ? `, by ${room + 1} dB at least where the level stairs are recorded (they rise ${room} dB above it)` : ', by 10 dB at least'}, and more where a loop adds gain.`,
    'From here on no knob of player or recorder is touched until the last step.',
  ];
}

function recording(coded: boolean): string[] {
  return [
    'All inputs of the recorder go into one file per recording (or one mono file per output, of equal length). Any sample rate from 44.1 to 192 kHz will do; 24-bit or float is best.',
    `Start the recorder first, wait ${MARGIN_S} s, play the file once from beginning to end, wait ${MARGIN_S} s, stop.`,
    coded
      ? 'Each take, and the level stairs, say in their markers which step they are. So they may come in any order and several in one long recording: "boardproof import <job> <recording.wav>" finds them.'
      : 'These takes say nothing of their step, so it is named when they are filed: "boardproof import <job> <recording.wav> --step <step>". With "boardproof signals --job <job>" they would.',
    'Everything else is a recording of its own, whose step is named: "boardproof import <job> <recording.wav> --step <step>".',
  ];
}

/** Every step under its patching, which stands once for all that follow with the same. */
function allSteps(steps: readonly Step[]): string {
  let patch = '';
  let patches = 0;
  return steps
    .map((step, i) => {
      const repatch = step.patch === patch ? '' : `${wrap(printable(step.patch), '   ', `Patch ${++patches}: `)}\n\n`;
      patch = step.patch;
      return repatch + stepText(step, i);
    })
    .join('\n\n');
}

function stepText(step: Step, index: number): string {
  const signal = signalOf[step.kind];
  const play = signal === null ? 'nothing' : `${fileOf(step)!}, ${played(signal)}`;
  const record: Readonly<Record<StepKind, string>> = {
    idle: `${IDLE_S} s or more`,
    take: recorded('take'),
    switching: `from ${MARGIN_S} s before the first press to ${MARGIN_S} s after the last`,
    flex: recorded('tone'),
    stairs: recorded('stairs'),
  };
  const own = step.kind === 'take' || step.kind === 'stairs' ? '' : `; file it with --step ${step.id}`;
  const line = (label: string, text: string): string => wrap(text, ' '.repeat(19), ' '.repeat(11) + label.padEnd(8));
  return [
    `   [ ] ${`${index + 1}.`.padEnd(3)} ${step.id}${step.required ? '' : ' (optional)'}`,
    line('Do', printable(step.set.trim())),
    line('Play', play),
    line('Record', record[step.kind] + own),
  ].join('\n');
}

function generalSteps(): string {
  return [
    wrap('For each state of the board that is to have figures ("boardproof steps <job>" lists them, and what to patch and set):'),
    '',
    bullet(`Idle: the input of the board terminated as the step says, nothing playing; record ${IDLE_S} s or more.`),
    bullet(`Take: play take.wav (${played('take')}); record ${recorded('take')}.`),
    '',
    wrap('Once, where wanted:'),
    '',
    bullet('Switching: nothing playing; press each footswitch in and out while recording.'),
    bullet(`Flex: play tone.wav (${played('tone')}); move every lead and plug in turn while recording.`),
    bullet(`Stairs: play stairs.wav (${played('stairs')}); record ${recorded('stairs')}.`),
  ].join('\n');
}
