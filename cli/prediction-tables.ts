/**
 * The tables of `predict`.
 *
 * @module
 */
import type { Board } from '../src/board/model.js';
import { titled } from '../src/board/states.js';
import type { HangingPart, PlayerPrediction, Prediction, Route } from '../src/circuit/prediction.js';
import { fixed, formatQuantity, signed } from '../src/units/format.js';
import { table } from './layout.js';
import type { Head } from './layout.js';
import type { MeasuredBeside, Pair, RouteMeasured } from './predicted-measured.js';
import type { Context } from './terminal.js';

export const ROUTE_WORDS: Readonly<Record<Route, string>> = { 'straight-lead': 'straight lead', 'buffer-in': 'buffer in', 'buffer-out': 'buffer out', 'no-buffer': 'no buffer' };

export const kHz = (hz: number): string => `${fixed(hz / 1000, 2)} kHz`;
export const ohms = (ohm: number): string => (Number.isFinite(ohm) ? formatQuantity(ohm, 'resistance', 3) : 'no resistance');
export const farads = (farad: number): string => formatQuantity(farad, 'capacitance', 3);
/** A shorted path without an amplifier has next to none. */
const noiseText = (dbu: number): string => (dbu < -140 ? '<-140' : fixed(dbu, 1));

/** A column of numbers. */
const number = (text: string, over = ''): Head => ({ text, over, right: true });
const LOSS = 'loss in dB at';

/** Loss, resonance, corner and noise, per volume and way through the board. */
export function printTone(context: Context, board: Board, { player }: Prediction): void {
  const row = ({ volume, route, tone, loss, noise }: PlayerPrediction): string[] => [
    `  volume ${volume}${loss === null ? '' : `, ${ROUTE_WORDS[route]}`}`,
    ...(loss === null ? ['', '', '', ''] : [loss.band2to5kDb, loss.at5kDb, loss.at10kDb, loss.at20kDb].map((db) => fixed(db, 2))),
    tone.resonance ? fixed(tone.resonance.frequencyHz / 1000, 2) : 'none',
    tone.resonance ? fixed(tone.resonance.heightDb, 1) : '',
    tone.cornerHz === null ? '>20' : fixed(tone.cornerHz / 1000, 2),
    fixed(noise.aWeightedDbu, 1),
  ];
  const volumes = [...new Set(player.map(({ volume }) => volume))];
  const rows = [null, ...board.outputs.map(({ id }) => id)].flatMap((output): (string[] | string)[] => [
    output === null ? 'Straight lead' : `Output ${titled(board.outputs.find(({ id }) => id === output)!)}`,
    ...volumes.flatMap((volume) => player.filter((p) => p.output === output && p.volume === volume).map(row)),
  ]);
  table(context, ['', number('2-5 kHz', LOSS), number('5 k', LOSS), number('10 k', LOSS), number('20 k', LOSS), number('kHz', 'resonance'), number('dB', 'resonance'), number('kHz', '-3 dB'), number('dBu(A)', 'noise')], rows);
}

/** What of the board costs what, per way and output; outputs that read alike together. */
export function printCauses(context: Context, board: Board, { player }: Prediction): void {
  const straight = player.find(({ route, volume }) => route === 'straight-lead' && volume === 10);
  const row = (part: HangingPart): string[] => [
    `  ${part.part}`,
    part.capacitanceF !== null ? farads(part.capacitanceF) : ohms(part.resistanceOhm!),
    `${fixed(part.costs2to5kDb, 2)} dB`,
    part.resonanceWithoutHz !== null && straight?.tone.resonance ? kHz(part.resonanceWithoutHz) : '',
  ];
  const rows = [...new Set(player.map(({ route }) => route))].flatMap((route) => {
    const hanging = player.filter((p) => p.route === route && p.volume === 10 && p.hanging.length > 0);
    return alike(hanging, (p) => p.hanging.map(row)).flatMap(({ of, cells }): (string[] | string)[] => [`${capital(ROUTE_WORDS[route])}${board.outputs.length > 1 ? `, ${outputsOf(of)}` : ''}`, ...cells]);
  });
  table(context, ['', 'is', number('costs in 2-5 kHz'), number('resonance without it')], rows, '  ');
}

/** What one metre of lead more does, before and behind the board. */
export function printMetre(context: Context, board: Board, { player }: Prediction): void {
  const volumes = [...new Set(player.map(({ volume }) => volume))];
  const loses = (db: number | undefined): string => (db === undefined ? '' : Math.abs(db) < 0.005 ? 'nothing' : `${fixed(db, 2)} dB`);
  const rows = [...new Set(player.flatMap((p) => p.metreMore.map(({ where }) => where)))].flatMap((where) => {
    const more = (p: PlayerPrediction): PlayerPrediction['metreMore'][number] | undefined => p.metreMore.find((m) => m.where === where);
    const there = player.filter((p) => more(p) !== undefined);
    const ofRoute = (route: Route): string[][] => {
      const at = (output: string | null, volume: number): PlayerPrediction['metreMore'][number] | undefined => there.filter((p) => p.route === route && p.output === output && p.volume === volume).map(more)[0];
      const cells = ({ output }: PlayerPrediction): string[] => {
        const shift = at(output, 10)?.resonanceShiftHz ?? null;
        return [...volumes.map((volume) => loses(at(output, volume)?.loses2to5kDb)), shift === null ? '' : Math.abs(shift) < 0.5 ? 'stays' : `${signed(shift, 0)} Hz`];
      };
      const each = there.filter((p, i, all) => p.route === route && all.findIndex((o) => o.route === route && o.output === p.output) === i);
      return alike(each, cells).map(({ of, cells: own }) => [`  ${ROUTE_WORDS[route]}${of[0]!.output === null || board.outputs.length === 1 ? '' : `, ${outputsOf(of)}`}`, ...own]);
    };
    return [where === 'after-board' ? 'Behind the board' : 'Before the board', ...[...new Set(there.map(({ route }) => route))].flatMap(ofRoute)];
  });
  table(context, ['', ...volumes.map((v) => number(`volume ${v}`)), number('resonance')], rows, '  ');
}

/** At volume 10, the loss in 2 to 5 kHz; hiss with the input shorted. What was measured nowhere has no columns. */
export function printMeasured(context: Context, { routes }: MeasuredBeside): void {
  const cell = (value: number | null | undefined, digits: number, scale: number): string => (value == null ? '-' : fixed(value / scale, digits));
  const pairs = (
    [
      ['loss, dB', 2, 1, (r) => r.loss2to5kDb],
      ['resonance, kHz', 2, 1000, (r) => r.resonanceHz],
      ['input, pF', 0, 1, (r) => r.inputCapacitancePf],
      ['hiss, dBu', 0, 1, (r) => r.hissDbu],
    ] satisfies readonly (readonly [over: string, digits: number, scale: number, of: (r: RouteMeasured) => Pair])[]
  ).filter(([, , , of]) => routes.some((r) => of(r).measured !== null));
  table(
    context,
    ['', ...pairs.flatMap(([over]) => [number('pred.', over), number('meas.', over)])],
    routes.map((r) => [
      `${ROUTE_WORDS[r.route]}, ${r.output}`,
      ...pairs.flatMap(([, digits, scale, of]) => [cell(of(r).predicted, digits, scale), cell(of(r).measured?.value, digits, scale)]),
    ]),
    '  ',
  );
}

export function printInput(context: Context, { input }: Prediction): void {
  table(context, ['', number('resistance'), number('capacitance')], input.map(({ route, shunt }) => [ROUTE_WORDS[route], ohms(shunt.resistanceOhm), farads(shunt.capacitanceF)]), '  ');
}

export function printThermal(context: Context, { terminated }: Prediction): void {
  table(
    context,
    ['', 'out', number('dBu(A)'), number('dBu, 20 Hz-20 kHz')],
    terminated.map(({ route, output, noise }) => [ROUTE_WORDS[route], output, noiseText(noise.aWeightedDbu), noiseText(noise.unweightedDbu)]),
    '  ',
  );
}

export function printPlugs(context: Context, { plugs }: Prediction): void {
  const droopHead = (text: string): Head => number(text, 'droop in dB at');
  table(
    context,
    ['', 'out', droopHead('5 kHz'), droopHead('10 kHz'), droopHead('20 kHz'), number('-3 dB at'), number('sees', 'the plug'), number('and', 'the plug')],
    plugs.map(({ plug, route, output, droop, cornerHz, shunt }) => [
      `${plug}, ${ROUTE_WORDS[route]}`,
      output,
      ...[droop.at5kDb, droop.at10kDb, droop.at20kDb].map((db) => fixed(db, 2)),
      cornerHz === null ? '>20 kHz' : kHz(cornerHz),
      farads(shunt.capacitanceF),
      ohms(shunt.resistanceOhm),
    ]),
    '  ',
  );
}

/** Items with the same cells, together. */
function alike<T, C>(items: readonly T[], cellsOf: (item: T) => C): { readonly of: readonly T[]; readonly cells: C }[] {
  const groups = new Map<string, { of: T[]; cells: C }>();
  for (const item of items) {
    const cells = cellsOf(item);
    const group = groups.get(JSON.stringify(cells));
    if (group) group.of.push(item);
    else groups.set(JSON.stringify(cells), { of: [item], cells });
  }
  return [...groups.values()];
}

const capital = (text: string): string => text.charAt(0).toUpperCase() + text.slice(1);

const outputsOf = (items: readonly { readonly output: string | null }[]): string => {
  const ids = [...new Set(items.map(({ output }) => output!))];
  return `output${ids.length > 1 ? 's' : ''} ${ids.length > 1 ? `${ids.slice(0, -1).join(', ')} and ${ids.at(-1)}` : ids[0]}`;
};
