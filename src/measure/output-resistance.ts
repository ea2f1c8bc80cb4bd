/**
 * The output resistance of a board, from its level with two loads: the recorder's input, and a known resistance across it.
 *
 *   q = V2/V1 = [R2/(Z + R2)] / [R1/(Z + R1)]   →   Z = R1·R2·(1 − q) / (q·R1 − R2)
 *
 * R1 is the recorder's input, R2 that beside the load; q is the mean over 200 Hz to 5 kHz, where an output is resistive.
 *
 * @module
 */
import type { Bench } from '../board/model.js';
import { DEFAULT_LOAD_OHM } from '../circuit/board-network.js';
import { fixed } from '../units/format.js';
import { standardOf } from './calibration.js';
import { figure, part } from './figure.js';
import type { Figure, UncertaintyPart } from './figure.js';
import { meanPower, ratio } from './response.js';
import type { TakeEstimate } from './take.js';

/** A load without a stated tolerance: a metal film resistor's 1 % (common practice, no source). */
const ASSUMED_TOLERANCE = 0.01;

/** A recorder input whose resistance is not given may be off by this, relative, one standard uncertainty (common practice, no source). */
const UNSTATED_INPUT = 0.3;

/** From 200–500 Hz to 2–5 kHz a resistance takes the same everywhere; more than this, dB, is a capacitor or a coil. */
const MOST_TILT_DB = 0.1;

/** Output resistance for a ratio of levels; infinite where the level falls as if the output were a current source. */
export const outputOhm = (q: number, firstOhm: number, secondOhm: number): number => {
  const divisor = q * firstOhm - secondOhm;
  return divisor > 0 ? (firstOhm * secondOhm * (1 - q)) / divisor : Infinity;
};

/** One reading for every load that was captured. */
export function outputResistances(bench: Bench, takeOf: (id: string) => readonly TakeEstimate[] | null): Figure[] {
  return (bench.loads ?? []).flatMap(({ id, output, resistanceOhm }): Figure[] => {
    const loaded = takeOf(`rest+${id}.take`);
    const i = bench.inputs.findIndex((input) => input.output === output);
    if (loaded === null || i < 0) return [];
    const place = { state: 'rest', source: null, output, loop: null, capture: [`rest+${id}.take`, 'rest.take'] };
    const common = { id: 'output-resistance', label: 'Output resistance', unit: 'Ω', method: 'output.resistance' };
    const free = takeOf('rest.take');
    if (free === null) {
      return [figure(place, { ...common, value: null, parts: null, uncertaintyReason: 'no fit', remarks: ['One load alone does not tell what an output loses in it: capture rest.take as well.'] })];
    }
    const stated = bench.inputs[i].resistanceOhm;
    const firstOhm = stated ?? DEFAULT_LOAD_OHM;
    const change = ratio(loaded[i].response, free[i].response);
    const { power, relativeUncertainty } = meanPower(change, 200, 5000);
    const [bass, treble] = [meanPower(change, 200, 500), meanPower(change, 2000, 5000)];
    const tiltDb = 10 * Math.log10(treble.power / bass.power);
    const tiltSlackDb = Math.max(MOST_TILT_DB, (50 / Math.LN10) * Math.hypot(bass.relativeUncertainty, treble.relativeUncertainty));
    const q = Math.sqrt(power);
    const ohmOf = (level: number, first: number, load: number): number => outputOhm(level, first, (first * load) / (first + load));
    const loadOhm = resistanceOhm.value;
    const value = ohmOf(q, firstOhm, loadOhm);
    const remarks = [
      `With ${loadOhm} Ω across the recorder’s ${firstOhm / 1000} kΩ the level falls by ${fixed(-10 * Math.log10(power), 3)} dB.`,
      ...(stated === null ? ['The recorder’s input resistance is not in bench.yaml and was taken as 1 MΩ.'] : []),
      'Without a buffer or driver before the output, the generator’s own resistance is in it.',
    ];
    const unlike = !(value > 0) || !Number.isFinite(value) ? ': look at the load and its lead.' : Math.abs(tiltDb) > tiltSlackDb ? `, but by ${fixed(Math.abs(tiltDb), 1)} dB more at its ${tiltDb > 0 ? 'low end: a capacitor in series that is small for the load' : 'high end: a coil or a long lead in series'}.` : null;
    if (unlike !== null) {
      return [figure(place, { ...common, value: null, parts: null, uncertaintyReason: 'no fit', remarks: [`The level does not fall as into a resistance${unlike}`, ...remarks] })];
    }
    // q is an amplitude: half the relative uncertainty of its power.
    const off = (level: number, first: number, load: number): number => Math.abs(ohmOf(level, first, load) - value);
    const uq = (q * relativeUncertainty) / 2;
    const uLoad = resistanceOhm.tolerance === null ? (ASSUMED_TOLERANCE / 2) * loadOhm : standardOf(resistanceOhm);
    const parts: UncertaintyPart[] = [
      part('spectral statistics', 'noise in the sweep', off(q + uq, firstOhm, loadOhm)),
      part('stated tolerance', 'tolerance of the load', off(q, firstOhm, loadOhm + uLoad)),
      ...(stated === null ? [part('stated tolerance', 'recorder input not stated', off(q, firstOhm * (1 + UNSTATED_INPUT), loadOhm))] : []),
    ];
    return [figure(place, { ...common, value, parts, remarks })];
  });
}
