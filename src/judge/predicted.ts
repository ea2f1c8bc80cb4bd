/**
 * What the board file alone says of the player's tone and of the noise that the path must make, as plain data for
 * results.json: the measured figures stand beside it on paper.
 *
 * @module
 */
import { benchPath } from '../board/bench-path.js';
import type { Bench, Board, Instrument } from '../board/model.js';
import { predict } from '../circuit/prediction.js';
import type { PlayerPrediction, ToneLoss } from '../circuit/prediction.js';
import { fixed, formatQuantity } from '../units/format.js';

export interface PredictedTone {
  /** `lead` for the straight lead. */
  readonly state: string;
  /** Null for the straight lead. */
  readonly output: string | null;
  /** The volume knob, 0 to 10. */
  readonly volume: number;
  /** Against the straight lead, dB; null for the straight lead itself. */
  readonly loss: ToneLoss | null;
  readonly resonance: { readonly frequencyHz: number; readonly heightDb: number } | null;
  /** Null where it is still within 3 dB at 20 kHz. */
  readonly cornerHz: number | null;
  /** Thermal noise of instrument and path, 20 Hz to 20 kHz. */
  readonly noiseDbuA: number;
  /** One metre of lead more: further loss in 2 to 5 kHz, and how far the resonance moves. */
  readonly metreMore: readonly { readonly where: 'before-board' | 'after-board'; readonly loses2to5kDb: number; readonly resonanceShiftHz: number | null }[];
  /** Parts of the board that the instrument feels, and what each costs in 2 to 5 kHz. */
  readonly causes: readonly { readonly part: string; readonly capacitancePf: number | null; readonly resistanceOhm: number | null; readonly costs2to5kDb: number }[];
  /** Level from 200 to 500 Hz, dB, at the frequencies of `curveHz`. */
  readonly curveDb: readonly number[];
}

export interface Predicted {
  /** The player's instrument, a part for each entry; null where the board file has none, and `player` is empty. */
  readonly instrument: readonly string[] | null;
  /** Capacitance of the metre of lead that `metreMore` adds. */
  readonly metrePf: number | null;
  readonly curveHz: readonly number[];
  readonly player: readonly PredictedTone[];
  /** What hangs on the input jack; a resistance of null is none. */
  readonly input: readonly { readonly state: string; readonly capacitancePf: number; readonly resistanceOhm: number | null }[];
  /** Thermal noise at the outputs with the input shorted, 20 Hz to 20 kHz. */
  readonly terminated: readonly { readonly state: string; readonly output: string; readonly dbu: number; readonly dbuA: number }[];
  readonly assumed: readonly string[];
}

const round = (value: number, decimals: number): number => Number(fixed(value, decimals)) + 0;

export function predictedOf(board: Board, bench: Bench): Predicted {
  const { player, input, terminated, assumed } = predict(board, benchPath(bench));
  const [first] = player;
  return {
    instrument: board.instrument === null ? null : instrumentParts(board.instrument),
    metrePf: first?.metreMore[0] === undefined ? null : round(first.metreMore[0].capacitanceF * 1e12, 1),
    curveHz: first === undefined ? [] : Array.from(first.curve.frequencyHz, (hz) => Number(hz.toPrecision(7))),
    player: player.map(toneOf),
    input: input.map(({ state, shunt }) => ({ state, capacitancePf: round(shunt.capacitanceF * 1e12, 2), resistanceOhm: Number.isFinite(shunt.resistanceOhm) ? round(shunt.resistanceOhm, 0) : null })),
    // A short without an amplifier makes next to nothing, but never a zero that has no decibels.
    terminated: terminated.map(({ state, output, noise }) => ({ state, output, dbu: round(noise.unweightedDbu, 2), dbuA: round(noise.aWeightedDbu, 2) })),
    assumed,
  };
}

function toneOf({ state, output, volume, loss, tone, noise, metreMore, hanging, curve }: PlayerPrediction): PredictedTone {
  return {
    state,
    output,
    volume,
    loss,
    resonance: tone.resonance,
    cornerHz: tone.cornerHz,
    noiseDbuA: round(noise.aWeightedDbu, 2),
    metreMore: metreMore.map(({ where, loses2to5kDb, resonanceShiftHz }) => ({ where, loses2to5kDb, resonanceShiftHz })),
    causes: hanging.map(({ part, capacitanceF, resistanceOhm, costs2to5kDb }) => ({
      part,
      capacitancePf: capacitanceF === null ? null : round(capacitanceF * 1e12, 2),
      resistanceOhm: resistanceOhm === null || !Number.isFinite(resistanceOhm) ? null : round(resistanceOhm, 0),
      costs2to5kDb,
    })),
    curveDb: Array.from(curve.levelDb, (db) => round(db, 3)),
  };
}

function instrumentParts({ pickup, volumeOhm, tone, lead }: Instrument): string[] {
  const ohms = (v: number): string => formatQuantity(v, 'resistance', 3);
  const farads = (v: number): string => formatQuantity(v, 'capacitance', 3);
  return [
    `pickup ${ohms(pickup.resistanceOhm)}, ${formatQuantity(pickup.inductanceH, 'inductance', 3)}, ${farads(pickup.capacitanceF)}${pickup.lossOhm === undefined ? '' : `, ${ohms(pickup.lossOhm)} across the coil`}`,
    volumeOhm === null ? 'no volume pot' : `volume ${ohms(volumeOhm)}`,
    tone === null ? 'no tone control' : `tone ${ohms(tone.resistanceOhm)} and ${farads(tone.capacitorF)}`,
    lead === null ? 'no lead given' : `lead ${String(lead.lengthM)} m at ${farads(lead.capacitanceFPerM)}/m, ${farads(lead.lengthM * lead.capacitanceFPerM)}`,
  ];
}
