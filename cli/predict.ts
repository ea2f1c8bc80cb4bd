/**
 * `boardproof predict <job>`: what the board will do to its player's tone, and the noise it cannot be without, from the
 * two files alone.
 *
 * @module
 */
import { benchPath } from '../src/board/bench-path.js';
import type { Board } from '../src/board/model.js';
import { printable } from '../src/board/printable.js';
import { titled } from '../src/board/states.js';
import { predict } from '../src/circuit/prediction.js';
import type { HangingPart, PlayerPrediction, Prediction, Route } from '../src/circuit/prediction.js';
import { exitCode } from '../src/problems.js';
import { fixed, formatQuantity, signed } from '../src/units/format.js';
import { openJob } from './job.js';
import type { Job } from './job.js';
import { columns, padTo, paragraph, wrap } from './layout.js';
import { beyondSentences, measuredBeside } from './predicted-measured.js';
import type { MeasuredBeside } from './predicted-measured.js';
import { note, paintFor, print, printJson } from './terminal.js';
import type { Context } from './terminal.js';

export const PREDICTION_FORMAT = 'boardproof-prediction/1';

export async function run(context: Context, [jobPath]: readonly string[], options: { readonly json?: boolean }): Promise<number> {
  const job = openJob(jobPath!, context);
  const prediction = predict(job.board, benchPath(job.bench));
  const { measured, remark } = await measuredBeside(job, jobPath!, prediction);
  if (options.json) printJson(context, asDocument(job, prediction, measured));
  else printPrediction(context, job.board, prediction, measured);
  if (remark !== null) note(context, `caution  ${printable(remark)}`);
  for (const { message } of job.cautions) note(context, `caution  ${printable(message)}`);
  return exitCode.done;
}

const NO_INSTRUMENT =
  'board.yaml has no "instrument", so what the player will hear cannot be said: add its pickup, pots and lead. What the bench will read, and the noise, do not need it.';

function asDocument(job: Job, prediction: Prediction, measured: MeasuredBeside | null): object {
  return {
    format: PREDICTION_FORMAT,
    board: job.board.name,
    serial: job.board.serial,
    invented: job.board.invented,
    instrument: job.board.instrument,
    ...(plainData(prediction) as object),
    measured,
    cautions: job.cautions.map(({ message }) => message),
    problems: job.board.instrument === null ? [{ code: 'no-instrument', message: NO_INSTRUMENT }] : [],
  };
}

/** Typed arrays as lists; an infinite resistance as null, since JSON has none. */
const plainData = (data: unknown): unknown =>
  JSON.parse(JSON.stringify(data, (_key, value: unknown) => (value instanceof Float64Array ? Array.from(value) : value === Infinity ? null : value)));

const ROUTE_WORDS: Readonly<Record<Route, string>> = { 'straight-lead': 'straight lead', 'buffer-in': 'buffer in', 'buffer-out': 'buffer out', 'no-buffer': 'no buffer' };

const kHz = (hz: number): string => `${fixed(hz / 1000, 2)} kHz`;
const ohms = (ohm: number): string => (Number.isFinite(ohm) ? formatQuantity(ohm, 'resistance', 3) : 'no resistance');
/** A shorted path without an amplifier has next to none. */
const noiseText = (dbu: number): string => (dbu < -140 ? '<-140' : fixed(dbu, 1));
const farads = (farad: number): string => formatQuantity(farad, 'capacitance', 3);

function printPrediction(context: Context, board: Board, prediction: Prediction, measured: MeasuredBeside | null): void {
  const paint = paintFor(context, 'out');
  const heading = (text: string): void => print(context, `\n${paint('bold', text)}`);
  const serial = board.serial === null ? '' : `, serial ${printable(board.serial)}`;
  paragraph(context, `${printable(board.name)}${serial}: predicted from board.yaml${measured ? ', beside what was measured' : '; nothing here is measured'}.`);
  if (board.invented) print(context, 'The board is invented: it does not exist.');
  if (prediction.player.length === 0) {
    paragraph(context, NO_INSTRUMENT, '', '\n');
  } else {
    paragraph(context, instrumentWords(board), '        ', 'Player  ');
    for (const sentence of [...answers(prediction), ...(measured ? beyondSentences(measured) : [])]) paragraph(context, sentence, '', '\n');
    heading('Tone, from the level at 200-500 Hz, and thermal noise');
    print(context, toneTable(board, prediction));
    const causes = causesOf(board, prediction);
    if (causes.length > 0) {
      heading('What of the board the instrument feels at volume 10, each taken away alone');
      for (const { rows } of causes) print(context, columns(rows, '  ', context));
    }
    heading('One metre of lead more');
    print(context, metreTable(board, prediction));
  }
  if (measured) {
    heading(`Predicted, and measured ${measured.measuredAt.slice(0, 10)}`);
    if (!measured.sameBoardFile) paragraph(context, 'board.yaml has changed since: "boardproof measure" again before trusting the two side by side.');
    print(context, measuredTable(measured));
  }
  heading('The board’s input, as the lead meets it');
  print(context, columns(prediction.input.map(({ route, shunt }) => [ROUTE_WORDS[route], ohms(shunt.resistanceOhm), farads(shunt.capacitanceF)]), '  ', context));
  heading('Thermal noise at the outputs with the input shorted');
  print(context, columns([['', '', 'dBu(A)', 'dBu, 20 Hz-20 kHz'], ...prediction.terminated.map(({ route, output, noise }) => [`output ${output}`, ROUTE_WORDS[route], noiseText(noise.aWeightedDbu), noiseText(noise.unweightedDbu)])], '  ', context));
  if (prediction.plugs.length > 0) {
    heading('What the captures should read: droop in dB, and what the plug sees');
    print(context, plugTable(prediction));
  }
  heading('Assumed');
  for (const sentence of prediction.assumed) paragraph(context, printable(sentence), '    ', '  - ');
}

function instrumentWords({ instrument }: Board): string {
  const { pickup, volumeOhm, tone, lead } = instrument!;
  const loss = pickup.lossOhm === undefined ? '' : `, ${ohms(pickup.lossOhm)} across the coil`;
  return [
    `pickup ${ohms(pickup.resistanceOhm)}, ${formatQuantity(pickup.inductanceH, 'inductance', 3)}, ${farads(pickup.capacitanceF)}${loss}`,
    volumeOhm === null ? 'no volume pot' : `volume ${ohms(volumeOhm)}`,
    tone === null ? 'no tone control' : `tone ${ohms(tone.resistanceOhm)} and ${farads(tone.capacitorF)}`,
    lead === null ? 'no lead given' : `lead ${lead.lengthM} m at ${farads(lead.capacitanceFPerM)}/m, ${farads(lead.lengthM * lead.capacitanceFPerM)}`,
  ].join('; ');
}

const outputsOf = (items: readonly { readonly output: string | null }[]): string => {
  const ids = [...new Set(items.map(({ output }) => output!))];
  return `output${ids.length > 1 ? 's' : ''} ${ids.length > 1 ? `${ids.slice(0, -1).join(', ')} and ${ids.at(-1)}` : ids[0]}`;
};

/** One sentence per way through the board at volume 10: what is lost, and what most of it comes from. */
function answers({ player }: Prediction): string[] {
  const atTen = player.filter(({ volume }) => volume === 10);
  const straight = atTen.find(({ route }) => route === 'straight-lead')!;
  const worst = new Map<Route, PlayerPrediction>();
  for (const p of atTen) {
    if (p.loss && p.loss.band2to5kDb > (worst.get(p.route)?.loss?.band2to5kDb ?? -Infinity)) worst.set(p.route, p);
  }
  return [...worst.values()].map(({ route, tone, loss, hanging }) => {
    const who = { 'buffer-in': 'With the buffer in', 'buffer-out': 'With the buffer out', 'no-buffer': 'Through the board', 'straight-lead': '' }[route];
    const { band2to5kDb, at5kDb } = loss!;
    const moved = tone.resonance && straight.tone.resonance ? `; the resonance moves from ${kHz(straight.tone.resonance.frequencyHz)} to ${kHz(tone.resonance.frequencyHz)}` : '';
    const [most] = [...hanging].sort((a, b) => b.costs2to5kDb - a.costs2to5kDb);
    const because = most && most.costs2to5kDb >= 0.05 ? `. Most of it: ${partWords(most)}` : '';
    return `${who} the player ${lostWords(band2to5kDb)} in 2-5 kHz and ${sameVerb(lostWords(band2to5kDb), lostWords(at5kDb))} at 5 kHz, against the straight lead${moved}${because}.`;
  });
}

const lostWords = (db: number): string => (Math.abs(db) < 0.005 ? 'loses nothing' : db > 0 ? `loses ${fixed(db, 2)} dB` : `gains ${fixed(-db, 2)} dB`);

/** "loses 1 dB … and 2 dB": the verb once. */
const sameVerb = (first: string, second: string): string => (first.endsWith('dB') && first.slice(0, 6) === second.slice(0, 6) ? second.slice(6) : second);

const partWords = ({ part, capacitanceF, resistanceOhm }: HangingPart): string =>
  capacitanceF !== null ? `${part}, ${farads(capacitanceF)}` : `the ${part}, ${ohms(resistanceOhm!)} where an amplifier has 1 MΩ`;

/** Cells at the right of their columns, the first at the left. */
const ruled = ([first, ...cells]: readonly string[], widths: readonly number[]): string =>
  `  ${padTo(first!, LABEL_WIDTH)}${cells.map((cell, i) => cell.padStart(widths[i]!)).join('')}`.trimEnd();
const LABEL_WIDTH = 21;
const TONE_WIDTHS = [8, 6, 6, 6, 8, 6, 8, 9];

function toneTable(board: Board, { player }: Prediction): string {
  const cells = ({ volume, route, tone, loss, noise }: PlayerPrediction): string[] => [
    `volume ${volume}${loss === null ? '' : `, ${ROUTE_WORDS[route]}`}`,
    ...(loss === null ? ['', '', '', ''] : [loss.band2to5kDb, loss.at5kDb, loss.at10kDb, loss.at20kDb].map((db) => fixed(db, 2))),
    tone.resonance ? fixed(tone.resonance.frequencyHz / 1000, 2) : 'none',
    tone.resonance ? fixed(tone.resonance.heightDb, 1) : '',
    tone.cornerHz === null ? '>20' : fixed(tone.cornerHz / 1000, 2),
    fixed(noise.aWeightedDbu, 1),
  ];
  const lines = [
    ruled(['', 'loss, dB', '', '', '', 'resonance', '-3 dB', 'noise'], [10, 6, 6, 4, 2, 14, 8, 9]),
    ruled(['', '2-5 kHz', '5 k', '10 k', '20 k', 'kHz', 'dB', 'kHz', 'dBu(A)'], TONE_WIDTHS),
  ];
  const volumes = [...new Set(player.map(({ volume }) => volume))];
  for (const output of [null, ...board.outputs.map(({ id }) => id)]) {
    lines.push(wrap(output === null ? 'Straight lead' : `Output ${titled(board.outputs.find(({ id }) => id === output)!)}`));
    for (const volume of volumes) for (const p of player) if (p.output === output && p.volume === volume) lines.push(ruled(cells(p), TONE_WIDTHS));
  }
  return lines.join('\n');
}

/** Parts per way and output, outputs that read alike together. */
function causesOf(board: Board, { player }: Prediction): { rows: string[][] }[] {
  const straight = player.find(({ route, volume }) => route === 'straight-lead' && volume === 10);
  const routes = [...new Set(player.map(({ route }) => route))];
  return routes.flatMap((route) => {
    const groups = new Map<string, PlayerPrediction[]>();
    for (const p of player) {
      if (p.route !== route || p.volume !== 10 || p.hanging.length === 0) continue;
      const alike = JSON.stringify(p.hanging.map((part) => causeCells(part, straight)));
      groups.set(alike, [...(groups.get(alike) ?? []), p]);
    }
    return [...groups.values()].map((alike) => ({
      rows: [
        [`${ROUTE_WORDS[route]}${board.outputs.length > 1 ? `, ${outputsOf(alike)}` : ''}`, '', 'loss in 2-5 kHz', 'resonance without it'],
        ...alike[0]!.hanging.map((part) => causeCells(part, straight)),
      ],
    }));
  });
}

function causeCells(part: HangingPart, straight: PlayerPrediction | undefined): string[] {
  const value = part.capacitanceF !== null ? farads(part.capacitanceF) : ohms(part.resistanceOhm!);
  const alone = part.resonanceWithoutHz !== null && straight?.tone.resonance ? kHz(part.resonanceWithoutHz) : '';
  return [`  ${part.part}`, value, `${fixed(part.costs2to5kDb, 2)} dB`, alone];
}

function metreTable(board: Board, { player }: Prediction): string {
  const places = [...new Set(player.flatMap((p) => p.metreMore.map(({ where }) => where)))];
  const volumes = [...new Set(player.map(({ volume }) => volume))];
  const shown = (db: number | undefined): string => (db === undefined ? '' : Math.abs(db) < 0.005 ? 'nothing' : `${fixed(db, 2)} dB`);
  const rows = places.flatMap((where) =>
    [...new Set(player.map(({ route }) => route))].flatMap((route) => {
      const of = player.filter((p) => p.route === route && p.metreMore.some((m) => m.where === where));
      const cellsOf = (output: string | null): string[] => {
        const at = (volume: number): PlayerPrediction['metreMore'][number] | undefined =>
          of.find((p) => p.output === output && p.volume === volume)?.metreMore.find((m) => m.where === where);
        const shift = at(10)?.resonanceShiftHz ?? null;
        return [...volumes.map((v) => shown(at(v)?.loses2to5kDb)), shift === null ? '' : Math.abs(shift) < 0.5 ? 'stays' : `${signed(shift, 0)} Hz`];
      };
      const groups = new Map<string, (string | null)[]>();
      for (const output of [...new Set(of.map((p) => p.output))]) {
        const key = JSON.stringify(cellsOf(output));
        groups.set(key, [...(groups.get(key) ?? []), output]);
      }
      return [...groups.values()].map((outputs) => {
        const which = outputs[0] === null || (board.outputs.length === 1 && where === 'before-board') ? '' : `, ${outputsOf(outputs.map((output) => ({ output })))}`;
        const place = where === 'after-board' ? 'behind the board' : route === 'straight-lead' ? 'on the straight lead' : 'before the board';
        return [`${place}${route === 'straight-lead' ? '' : `, ${ROUTE_WORDS[route]}`}${which}`, ...cellsOf(outputs[0]!)];
      });
    }),
  );
  const farad = player[0]!.metreMore[0]!.capacitanceF;
  return columns([[`${farads(farad)} each`, ...volumes.map((v) => `volume ${v}`), 'resonance'], ...rows]);
}

const MEASURED_WIDTHS = [7, 7, 8, 7, 6, 6, 7, 7];

/** At volume 10, the loss in 2 to 5 kHz; hiss with the input shorted. */
function measuredTable({ routes }: MeasuredBeside): string {
  const cell = (value: number | null | undefined, digits: number, scale = 1): string => (value == null ? '-' : fixed(value / scale, digits));
  return [
    ruled(['', 'loss, dB', 'resonance, kHz', 'input, pF', 'hiss, dBu'], [14, 15, 12, 14]),
    ruled(['', ...Array.from({ length: 4 }, () => ['pred.', 'meas.']).flat()], MEASURED_WIDTHS),
    ...routes.map((r) =>
      ruled(
        [
          `${ROUTE_WORDS[r.route]}, ${r.output}`,
          cell(r.loss2to5kDb.predicted, 2),
          cell(r.loss2to5kDb.measured?.value, 2),
          cell(r.resonanceHz.predicted, 2, 1000),
          cell(r.resonanceHz.measured?.value, 2, 1000),
          cell(r.inputCapacitancePf.predicted, 0),
          cell(r.inputCapacitancePf.measured?.value, 0),
          cell(r.hissDbu.predicted, 0),
          cell(r.hissDbu.measured?.value, 0),
        ],
        MEASURED_WIDTHS,
      ),
    ),
  ].join('\n');
}

function plugTable({ plugs }: Prediction): string {
  const rows = plugs.map(({ plug, route, output, droop, cornerHz, shunt }) => [
    `${plug}, ${ROUTE_WORDS[route]}`,
    output,
    ...[droop.at5kDb, droop.at10kDb, droop.at20kDb].map((db) => fixed(db, 2)),
    cornerHz === null ? '>20 kHz' : kHz(cornerHz),
    farads(shunt.capacitanceF),
    ohms(shunt.resistanceOhm),
  ]);
  return columns([['', 'out', '5 kHz', '10 kHz', '20 kHz', '-3 dB', 'sees', ''], ...rows]);
}

