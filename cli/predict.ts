/**
 * `boardproof predict <job>`: what the board will do to its player's tone, and the noise it cannot be without, from the
 * two files alone.
 *
 * @module
 */
import { benchPath } from '../src/board/bench-path.js';
import type { Board } from '../src/board/model.js';
import { printable } from '../src/board/printable.js';
import { predict } from '../src/circuit/prediction.js';
import type { HangingPart, PlayerPrediction, Prediction, Route } from '../src/circuit/prediction.js';
import { exitCode } from '../src/problems.js';
import { fixed, formatQuantity } from '../src/units/format.js';
import { openJob } from './job.js';
import type { Job } from './job.js';
import { heading, paragraph } from './layout.js';
import { nextCapture, nextStep, word } from './next-step.js';
import { beyondSentences, measuredBeside } from './predicted-measured.js';
import type { MeasuredBeside } from './predicted-measured.js';
import { farads, kHz, ohms, printCauses, printInput, printMeasured, printMetre, printPlugs, printThermal, printTone } from './prediction-tables.js';
import { note, printJson } from './terminal.js';
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
  sayNext(context, job, jobPath!, measured);
  return exitCode.done;
}

function sayNext(context: Context, job: Job, jobPath: string, measured: MeasuredBeside | null): void {
  const shown = word(jobPath);
  const isMeasured = measured?.sameBoardFile === true && job.steps.every(({ id, required }) => !required || job.captures.has(id));
  if (job.board.instrument === null) nextStep(context, 'put what the player plugs in into board.yaml ("instrument"), then', `boardproof predict ${shown}`);
  else if (isMeasured) nextStep(context, 'put what is predicted and what was measured on paper', `boardproof report ${shown}`);
  else nextCapture(context, job, jobPath);
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

function printPrediction(context: Context, board: Board, prediction: Prediction, measured: MeasuredBeside | null): void {
  const serial = board.serial === null ? '' : `, serial ${printable(board.serial)}`;
  paragraph(context, `${printable(board.name)}${serial}: predicted from board.yaml${measured ? ', beside what was measured' : '; nothing here is measured'}.`);
  if (board.invented) paragraph(context, 'The board is invented: it does not exist.');
  if (prediction.player.length === 0) {
    paragraph(context, NO_INSTRUMENT, '', '\n');
  } else {
    paragraph(context, instrumentWords(board), '        ', 'Player  ');
    for (const sentence of [...answers(board, prediction), ...(measured ? beyondSentences(measured) : [])]) paragraph(context, sentence, '', '\n');
    heading(context, 'Tone, from the level at 200-500 Hz, and thermal noise');
    printTone(context, board, prediction);
    if (prediction.player.some(({ volume, hanging }) => volume === 10 && hanging.length > 0)) {
      heading(context, 'What of the board the instrument feels at volume 10, each taken away alone');
      printCauses(context, board, prediction);
    }
    heading(context, `One metre of lead more, ${farads(prediction.player[0]!.metreMore[0]!.capacitanceF)}`);
    printMetre(context, board, prediction);
  }
  if (measured) {
    heading(context, `Predicted, and measured ${measured.measuredAt.slice(0, 10)}`);
    if (!measured.sameBoardFile) paragraph(context, 'board.yaml has changed since: "boardproof measure" again before trusting the two side by side.');
    printMeasured(context, measured);
  }
  heading(context, 'The board’s input, as the lead meets it');
  printInput(context, prediction);
  heading(context, 'Thermal noise at the outputs with the input shorted');
  printThermal(context, prediction);
  if (prediction.plugs.length > 0) {
    heading(context, 'What the captures through a plug should read');
    printPlugs(context, prediction);
  }
  heading(context, 'Assumed');
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

/** Per way through the board at volume 10: what is lost, what most of it comes from, what limits the treble, and what a shorter lead would gain. */
function answers(board: Board, { player, input }: Prediction): string[] {
  const atTen = player.filter(({ volume }) => volume === 10);
  const straight = atTen.find(({ route }) => route === 'straight-lead')!;
  const worst = new Map<Route, PlayerPrediction>();
  for (const p of atTen) {
    if (p.loss && p.loss.band2to5kDb > (worst.get(p.route)?.loss?.band2to5kDb ?? -Infinity)) worst.set(p.route, p);
  }
  return [...worst.values()].map((of) => {
    const { route, tone, loss, hanging } = of;
    const who = { 'buffer-in': 'With the buffer in', 'buffer-out': 'With the buffer out', 'no-buffer': 'Through the board', 'straight-lead': '' }[route];
    const { band2to5kDb, at5kDb } = loss!;
    const moved = tone.resonance && straight.tone.resonance ? `; the resonance moves from ${kHz(straight.tone.resonance.frequencyHz)} to ${kHz(tone.resonance.frequencyHz)}` : '';
    const [most] = [...hanging].sort((a, b) => b.costs2to5kDb - a.costs2to5kDb);
    const because = most && most.costs2to5kDb >= 0.05 ? `. Most of it: ${partWords(most)}` : '';
    return `${who} the player ${lostWords(band2to5kDb)} in 2-5 kHz and ${sameVerb(lostWords(band2to5kDb), lostWords(at5kDb))} at 5 kHz, against the straight lead${moved}${because}. ${limitOfTreble(board, of, input.find((i) => i.route === route)!.shunt.capacitanceF)}`;
  });
}

/** The inductance of the pickup with all that hangs across it: what of that is the player's own, and what a shorter lead would do. */
function limitOfTreble({ instrument }: Board, { metreLess, tone }: PlayerPrediction, boardF: number): string {
  const { pickup, lead } = instrument!;
  const leadF = lead === null ? 0 : lead.lengthM * lead.capacitanceFPerM;
  const parts = [...(lead === null ? [] : [{ what: 'the player’s lead', farad: leadF }]), { what: 'the pickup’s own', farad: pickup.capacitanceF }, { what: 'the board’s', farad: boardF }].sort((a, b) => b.farad - a.farad);
  const shares = parts.map(({ what, farad }) => `${farads(farad)} ${what}`);
  const limit = `The treble is limited by the pickup’s ${formatQuantity(pickup.inductanceH, 'inductance', 3)} with ${farads(pickup.capacitanceF + leadF + boardF)} across it: ${shares.slice(0, -1).join(', ')} and ${shares.at(-1)!}`;
  if (metreLess === null) return `${limit}.`;
  const { gains2to5kDb, resonanceShiftHz } = metreLess;
  const shift = resonanceShiftHz === null || !tone.resonance || Math.abs(resonanceShiftHz) < 0.5 ? '' : ` and ${resonanceShiftHz > 0 ? 'lift' : 'lower'} the resonance by ${fixed(Math.abs(resonanceShiftHz), 0)} Hz`;
  return `${limit}; a lead one metre shorter would ${lostWords(-gains2to5kDb).replace(/s(?= )/, '')} in 2-5 kHz${shift}.`;
}

const lostWords = (db: number): string => (Math.abs(db) < 0.005 ? 'loses nothing' : db > 0 ? `loses ${fixed(db, 2)} dB` : `gains ${fixed(-db, 2)} dB`);

/** "loses 1 dB … and 2 dB": the verb once. */
const sameVerb = (first: string, second: string): string => (first.endsWith('dB') && first.slice(0, 6) === second.slice(0, 6) ? second.slice(6) : second);

const partWords = ({ part, capacitanceF, resistanceOhm }: HangingPart): string =>
  capacitanceF !== null ? `${part}, ${farads(capacitanceF)}` : `the ${part}, ${ohms(resistanceOhm!)} where an amplifier has 1 MΩ`;
