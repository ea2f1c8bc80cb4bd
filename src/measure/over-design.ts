/**
 * The board as built against the board as its file has it: capacitance that no wiring of the file accounts for, and hiss
 * above what its resistors must make.
 *
 * @module
 */
import type { Bench, Board, Lead } from '../board/model.js';
import { loopsIn, pathNetwork } from '../circuit/board-network.js';
import type { Load } from '../circuit/board-network.js';
import { outputNoise } from '../circuit/noise.js';
import { SHORT_OHM, USUAL_LEAD_F_PER_M, designedShunt, levelOfDensity, noiseLevel } from '../circuit/prediction.js';
import { leadCapacitanceF } from '../circuit/sections.js';
import { fixed, inSentence } from '../units/format.js';
import { figure, part } from './figure.js';
import type { Figure, UncertaintyPart } from './figure.js';
import type { ShuntFit } from './shunt-fit.js';
import type { StateFit } from './through-plugs.js';

/** What every metre of lead more would add to a board, F/m: that of its own wiring where the file says. */
export function perMetre(board: Board, loop: string | null): number {
  const own = board.loops.find(({ id }) => id === loop)?.wiring ?? board.input.wiring ?? board.wiring ?? board.outputs.find(({ wiring }) => wiring)?.wiring;
  return own?.capacitanceFPerM ?? USUAL_LEAD_F_PER_M;
}

interface Comparison {
  readonly measuredF: number;
  readonly designedF: number;
  readonly parts: readonly UncertaintyPart[];
  readonly remarks: readonly string[];
}

const isFit = (fit: StateFit['fit'] | undefined): fit is ShuntFit => fit !== undefined && !('reason' in fit);

const noisePart = (name: string, { noise }: ShuntFit): UncertaintyPart => part('fit', name, Math.sqrt(noise.cc) * 1e12);

/** Plugs used for both figures of a difference count once. */
function plugPart(fits: readonly (readonly [ShuntFit, sign: 1 | -1])[]): UncertaintyPart {
  const byPlug = new Map<string, number>();
  for (const [{ plugs }, sign] of fits) for (const { plug, capacitanceF } of plugs) byPlug.set(plug, (byPlug.get(plug) ?? 0) + sign * capacitanceF);
  return part('stated tolerance', 'tolerance of the source plug', Math.hypot(...byPlug.values()) * 1e12);
}

/**
 * The recorder's input as the board's output sees it. Its capacitance is what the straight lead shows over its own; with
 * several inputs on the straight lead at once theirs cannot be told apart, and is taken as none.
 */
function recorderLoads(bench: Bench, fits: readonly StateFit[]): Record<string, Load> {
  const lead = fits.find(({ state }) => state === 'lead')?.fit;
  const own = isFit(lead) && bench.lead && bench.inputs.length === 1 ? Math.max(0, lead.capacitanceF - leadCapacitanceF(bench.lead)) : 0;
  return Object.fromEntries(bench.inputs.map(({ output, resistanceOhm }) => [output, { ohm: resistanceOhm ?? 1e6, farad: own }]));
}

/** Does the file say what should hang there? Without any wiring in it there is nothing to compare with. */
const isDesigned = (board: Board, state: string): boolean =>
  board.input.wiring !== null || board.wiring !== undefined || (state === 'rest' && board.input.buffer !== null) || board.outputs.some(({ wiring }) => wiring !== undefined);

function compareState(board: Board, bench: Bench, fits: readonly StateFit[], { state, fit }: StateFit): Comparison | null {
  if (!isFit(fit) || !isDesigned(board, state)) return null;
  const behindBuffer = board.input.buffer !== null && state !== 'unbuffered';
  return {
    measuredF: fit.capacitanceF,
    designedF: designedShunt(board, state, recorderLoads(bench, fits)).capacitanceF,
    parts: [noisePart('noise in what was fitted', fit), plugPart([[fit, 1]])],
    remarks: behindBuffer
      ? ['Wiring up to the buffer and the buffer’s own input: from outside they cannot be told apart.']
      : ['All that hangs on the path, with the recorder’s input where no driver keeps it away.'],
  };
}

/** A loop that is in, against every loop out: what its wiring adds, where no buffer stands before it. */
function compareLoop(fits: readonly StateFit[], { output, fit }: StateFit, wiring: Lead): Comparison | null {
  const rest = fits.find((f) => f.state === 'rest' && f.output === output)?.fit;
  if (!isFit(fit) || !isFit(rest)) return null;
  return {
    measuredF: fit.capacitanceF - rest.capacitanceF,
    designedF: leadCapacitanceF(wiring),
    parts: [noisePart('noise in what was fitted', fit), noisePart('noise in what was fitted with every loop out', rest), plugPart([[fit, 1], [rest, -1]])],
    remarks: ['Over the board with every loop out; the input of a device in the loop is in it.'],
  };
}

/** Capacitance beyond what the file has, per state and loop. */
export function overDesign(board: Board, bench: Bench, fits: readonly StateFit[]): Figure[] {
  return fits.flatMap((of): Figure[] => {
    const { state, place } = of;
    if (state === 'lead' || state === 'bench') return [];
    const [loopId] = loopsIn(board, state);
    if (loopId !== undefined && (state === 'all' || board.input.buffer !== null)) return [];
    const wiring = board.loops.find(({ id }) => id === loopId)?.wiring ?? null;
    const compared = loopId === undefined ? compareState(board, bench, fits, of) : wiring && compareLoop(fits, of, wiring);
    if (!compared) return [];
    const { measuredF, designedF, parts, remarks } = compared;
    const over = measuredF - designedF;
    const metre = perMetre(board, loopId ?? null);
    return [
      figure(place, {
        id: 'capacitance.over-design',
        label: loopId === undefined ? 'Shunt capacitance beyond what the board file has' : 'Capacitance of the loop beyond what the board file has',
        value: over * 1e12,
        unit: 'pF',
        method: 'design.capacitance',
        parts: [...parts],
        remarks: [
          `${fixed(measuredF * 1e12, 0)} pF measured, ${fixed(designedF * 1e12, 0)} pF by board.yaml${lengthWords(over, metre)}.`,
          ...remarks,
        ],
      }),
    ];
  });
}

/**
 * The capacitance of the buffer's own input: what the plug sees with the buffer in, less the wiring before it. Wiring that
 * the file does not state cannot be taken off, and is then not guessed.
 */
export function bufferInput(board: Board, fits: readonly StateFit[]): Figure[] {
  const { buffer, wiring } = board.input;
  if (buffer === null) return [];
  return fits.flatMap(({ state, place, fit }): Figure[] => {
    if (state !== 'rest' || !isFit(fit)) return [];
    const common = { id: 'buffer.input-capacitance', label: 'Input capacitance of the buffer', unit: 'pF', method: 'design.capacitance' };
    if (wiring === null) {
      const remarks = ['From outside, the buffer’s input and the wiring before it are one capacitance: give input.wiring in board.yaml, or capture once with the plug straight in the buffer.'];
      return [figure(place, { ...common, value: null, parts: null, uncertaintyReason: 'not separable', remarks })];
    }
    return [
      figure(place, {
        ...common,
        value: (fit.capacitanceF - leadCapacitanceF(wiring)) * 1e12,
        parts: [noisePart('noise in what was fitted', fit), plugPart([[fit, 1]])],
        remarks: [`Less ${fixed(leadCapacitanceF(wiring) * 1e12, 0)} pF of wiring by board.yaml; board.yaml has ${fixed(buffer.inputCapacitanceF * 1e12, 0)} pF for the buffer.`],
      }),
    ];
  });
}

/** Nothing where it is less than the last digit. */
const lengthWords = (farad: number, perMetreF: number): string => {
  const metres = fixed(Math.abs(farad / perMetreF), 1);
  return metres === '0.0' ? '' : `: ${metres} m of lead ${farad < 0 ? 'less' : 'more'} at ${fixed(perMetreF * 1e12, 0)} pF/m`;
};

/** Below this a shorted path makes nothing that could be compared with, dBu. */
const NEXT_TO_NOTHING_DBU = -140;

/** Hiss over what the resistors of the path must make, and over what the player's instrument itself does. */
export function hissOverPhysics(board: Board, bench: Bench, measured: readonly Figure[]): Figure[] {
  const loads = recorderLoads(bench, []);
  const quiet = new Map<string, ReturnType<typeof pathNetwork>>();
  const shorted = (state: string): ReturnType<typeof pathNetwork> => {
    const known = quiet.get(state) ?? pathNetwork(board, { state, source: { kind: 'generator', resistanceOhm: SHORT_OHM, plugOhm: null }, loads });
    quiet.set(state, known);
    return known;
  };
  return measured.flatMap((hiss): Figure[] => {
    const { state, output, source, loop, capture, value } = hiss;
    if (hiss.id !== 'noise.hiss' || hiss.unit !== 'dBu' || value === null || output === null || (state !== 'rest' && state !== 'unbuffered')) return [];
    const place = { state, source, output, loop, capture };
    const common = { unit: 'dB', method: 'design.noise', bound: hiss.bound, benchLimited: hiss.benchLimited, parts: hiss.parts, uncertaintyReason: hiss.uncertaintyReason };
    const floorDbu = noiseLevel(shorted(state), output).unweightedDbu;
    const figures: Figure[] = [];
    if (floorDbu > NEXT_TO_NOTHING_DBU) {
      figures.push(
        figure(place, {
          ...common,
          id: 'noise.over-thermal',
          label: 'Hiss over the thermal noise of the path',
          value: value - floorDbu,
          remarks: [`The path of board.yaml with its input shorted makes ${inSentence(floorDbu, 1)} dBu: resistors at 290 K, and a buffer’s own noise where it is stated; a driver that is only assumed makes none.`],
        }),
      );
    }
    if (board.instrument !== null) {
      const instrumentDbu = instrumentNoiseDbu(board, state, output, loads);
      figures.push(
        figure(place, {
          ...common,
          id: 'player.hiss-over-instrument',
          label: 'Hiss over the thermal noise of the player’s instrument',
          value: value - instrumentDbu,
          remarks: [`Pickup and pots, at volume and tone 10, make ${inSentence(instrumentDbu, 1)} dBu at this output (20 Hz to 20 kHz).`],
        }),
      );
    }
    return figures;
  });
}

const isOfInstrument = (part: string): boolean => /^(pickup|volume|tone|lead)\./.test(part);

function instrumentNoiseDbu(board: Board, state: string, output: string, loads: Readonly<Record<string, Load>>): number {
  const { network, outputs } = pathNetwork(board, { state, source: { kind: 'instrument' }, loads });
  return levelOfDensity((frequenciesHz) => {
    const { contributions } = outputNoise(network, outputs.get(output)!, frequenciesHz);
    const own = contributions.filter(({ part }) => isOfInstrument(part));
    return frequenciesHz.map((_, i) => Math.hypot(...own.map(({ densityVPerRtHz }) => densityVPerRtHz[i])));
  }).unweightedDbu;
}
