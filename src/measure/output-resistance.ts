/**
 * The output resistance of a board, from its level with two loads: the recorder's input, and a known resistance across it.
 *
 *   q = V2/V1 = [R2/(Z + R2)] / [R1/(Z + R1)]   →   Z = R1·R2·(1 − q) / (q·R1 − R2)
 *
 * R1 is the recorder's input, R2 that beside the load. What an output has besides resistance, in series or across it, is fitted with it
 * from 100 Hz to 10 kHz (two-loads).
 *
 * @module
 */
import type { Bench } from '../board/model.js';
import { DEFAULT_LOAD_OHM } from '../circuit/board-network.js';
import { coverageFactor95 } from '../numerics/statistics.js';
import { fixed, formatQuantity } from '../units/format.js';
import { standardOf } from './calibration.js';
import { figure, part } from './figure.js';
import type { Figure, UncertaintyPart } from './figure.js';
import { meanPower, ratio } from './response.js';
import type { TakeEstimate } from './take.js';
import { fitTwoLoads } from './two-loads.js';
import type { Reactance } from './two-loads.js';

/** A load without a stated tolerance: a metal film resistor's 1 % (common practice, no source). */
const ASSUMED_TOLERANCE = 0.01;

/** A recorder input whose resistance is not given may be off by this, relative, one standard uncertainty (common practice, no source). */
const UNSTATED_INPUT = 0.3;

/** What is left of the level beyond noise, dB, from which on no output explains it. */
const MOST_LEFT_DB = 0.1;

/** A resistance that is known worse than this, relative, behind a reactance that hides it, is no figure. */
const WORST_RELATIVE = 0.25;

/**
 * From 100 to 300 Hz, and from there to 900, the level may rise by so much, dB: a capacitor in series alone gives 9.5, and from here on it,
 * not the resistance, says what the load takes.
 */
const MOST_BASS_DB = 4;

/** A reactance that does this much to the level is told, dB. */
const TOLD_DB = 0.05;

/** Output resistance for a ratio of levels; infinite where the level falls as if the output were a current source. */
export const outputOhm = (q: number, firstOhm: number, secondOhm: number): number => {
  const divisor = q * firstOhm - secondOhm;
  return divisor > 0 ? (firstOhm * secondOhm * (1 - q)) / divisor : Infinity;
};

const HIDDEN = 'What lies beside the resistance hides it.';

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
    const loadOhm = resistanceOhm.value;
    const change = ratio(loaded[i].response, free[i].response);
    const fit = fitTwoLoads(change, [1 / firstOhm, 1 / firstOhm + 1 / loadOhm]);
    const q = fit && (1 + fit.ohm / firstOhm) / (1 + fit.ohm / firstOhm + fit.ohm / loadOhm);
    const remarks = [
      ...(q === null ? [] : [`With ${loadOhm} Ω across the recorder’s ${firstOhm / 1000} kΩ the level falls by ${fixed(-20 * Math.log10(q), 3)} dB.`]),
      ...(fit === null ? [] : [...reactanceRemark(fit.bass, 'bass'), ...reactanceRemark(fit.treble, 'treble')]),
      ...(stated === null ? ['The recorder’s input resistance is not in bench.yaml and was taken as 1 MΩ.'] : []),
      'Without a buffer or driver before the output, the generator’s own resistance is in it.',
    ];
    const unread = (why: string): Figure[] => [figure(place, { ...common, value: null, parts: null, uncertaintyReason: 'no fit', remarks: [why, ...remarks] })];
    if (fit === null || q === null || fit.leftDb > MOST_LEFT_DB) return unread('The level does not fall as it does from a resistance, whatever lies beside it: look at the load and its lead.');
    const value = fit.ohm;
    const hidden = [fit.bass, fit.treble].some(isTold);
    const spread = Math.hypot(fit.noiseOhm, fit.shapeOhm);
    const [at100, at300, at900] = [100, 300, 900].map((hz) => 10 * Math.log10(meanPower(change, hz, 1.07 * hz).power));
    if (Math.max(at300 - at100, at900 - at300) > MOST_BASS_DB) return unread(HIDDEN);
    // A load that takes 40 dB off an output: a reactance was taken for the resistance.
    if ((hidden && spread > WORST_RELATIVE * Math.abs(value)) || Math.max(value, spread) > 100 * loadOhm) return unread(HIDDEN);
    const ohmOf = (level: number, first: number, load: number): number => outputOhm(level, first, (first * load) / (first + load));
    const off = (level: number, first: number, load: number): number => Math.abs(ohmOf(level, first, load) - value);
    const uLoad = resistanceOhm.tolerance === null ? (ASSUMED_TOLERANCE / 2) * loadOhm : standardOf(resistanceOhm);
    const parts: UncertaintyPart[] = [
      part('fit', 'noise in the sweep', fit.noiseOhm),
      part('method', 'what lies in series or across', fit.shapeOhm),
      ...(fit.leftDb > 0 ? [part('method', 'what the fit leaves', off(q * 10 ** (fit.leftDb / 20), firstOhm, loadOhm))] : []),
      part('stated tolerance', 'tolerance of the load', off(q, firstOhm, loadOhm + uLoad)),
      ...(stated === null ? [part('stated tolerance', 'recorder input not stated', off(q, firstOhm * (1 + UNSTATED_INPUT), loadOhm))] : []),
    ];
    const standard = Math.hypot(...parts.map((p) => p.standard));
    if (!Number.isFinite(standard)) return unread(HIDDEN);
    if (value > 0) return [figure(place, { ...common, value, parts, remarks })];
    // A resistance of nearly nothing comes out below nothing as often as above.
    const most = value + coverageFactor95(null) * standard;
    if (!(most > 0)) return unread('The level rises with the load: look at the load and its lead.');
    if (most > loadOhm) return unread(HIDDEN);
    return [figure(place, { ...common, value: most, bound: 'upper', parts: [], remarks: ['It cannot be told from none: it is at most this.', ...remarks] })];
  });
}

const isTold = (reactance: Reactance | null): reactance is Reactance => reactance !== null && reactance.effectDb > TOLD_DB;

function reactanceRemark(reactance: Reactance | null, end: 'bass' | 'treble'): string[] {
  if (!isTold(reactance)) return [];
  const { where, value } = reactance;
  // In series a capacitor takes bass and a coil treble; across it is the other way round.
  const what = (where === 'series') === (end === 'bass') ? `A capacitance of ${formatQuantity(value, 'capacitance', 2)}` : `An inductance of ${formatQuantity(value, 'inductance', 2)}`;
  return [`${what} ${where === 'series' ? 'in series' : 'across the output'} is told apart from it.`];
}
