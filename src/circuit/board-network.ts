/**
 * The signal path of a board in one of its states, as a network: source, input wiring, buffer, the loops that are in,
 * output stages, loads. In the states `into-<output>` the source is in the jack of that output, and the input is shorted.
 * What board.yaml does not say is assumed, and every assumption is listed in words.
 *
 * `BoardPath` names only what the path needs of a board; board/model's Board is one.
 *
 * @module
 */

import { problem } from '../problems.js';
import { GROUND, capacitor, resistor, voltageSource, type Element, type Network, type SourceNoise } from './elements.js';
import { FULL_UP, PICKUP_SOURCE, instrumentSection, type Controls, type InstrumentPart } from './instrument.js';
import { toGround, type Port } from './response.js';
import {
  bufferSection,
  isolationTransformerSection,
  leadSection,
  loadSection,
  seriesResistance,
  type BufferPart,
  type IsolationTransformerPart,
  type LeadPart,
  type Section,
} from './sections.js';

export interface BoardPath {
  readonly instrument: InstrumentPart | null;
  readonly input: {
    readonly wiring: LeadPart | null;
    readonly buffer: {
      readonly inputResistanceOhm: number;
      readonly inputCapacitanceF: number;
      readonly outputResistanceOhm: number;
      readonly noiseVPerRtHz: number | null;
      readonly defeatable: boolean;
    } | null;
  };
  /** Of the path itself, from the input past the loops to the outputs. */
  readonly wiring?: LeadPart;
  readonly loops: readonly { readonly id: string; readonly wiring: LeadPart | null }[];
  readonly outputs: readonly {
    readonly id: string;
    readonly loadOhm: number | null;
    readonly lift: boolean;
    readonly polaritySwitch: boolean;
    readonly isolated: boolean;
    /** From the output's stage to its jack. */
    readonly wiring?: LeadPart;
  }[];
}

/** What drives the path. */
export type PathSource =
  | {
      /** A generator, or a termination where nothing plays; with a source plug in series or without. */
      readonly kind: 'generator';
      readonly resistanceOhm: number;
      readonly plugOhm: number | null;
      readonly noise?: SourceNoise | null;
    }
  | { readonly kind: 'instrument'; readonly controls?: Controls };

export interface Load {
  readonly ohm: number;
  readonly farad?: number;
}

/** What stands between the path and one output; null parts are plain connections. */
export interface OutputStage {
  readonly driver: BufferPart | null;
  readonly transformer: IsolationTransformerPart | null;
}

/** What two outputs have in common beside the path. */
export interface Coupling {
  readonly outputs: readonly [string, string];
  /** Between the conductors of their leads or jacks. */
  readonly farad?: number;
  /** Of the one conductor by which the sleeves of both jacks return to the board's ground. */
  readonly returnOhm?: number;
}

/** How a board is made where its file does not say: devices in loops by loop id, output stages by output id. */
export interface BoardBuild {
  /** The device in a loop; null or absent: patched through, only the loop's wiring counts. */
  readonly devices?: Readonly<Record<string, BufferPart | null>>;
  /** Wiring behind the buffer that is in the path in every state: past the bypassed loops, to the outputs. */
  readonly wiring?: LeadPart | null;
  readonly outputs?: Readonly<Record<string, OutputStage>>;
  /** Outputs that are taken before the loops. */
  readonly dryOutputs?: readonly string[];
  readonly couplings?: readonly Coupling[];
}

export interface PathOptions {
  readonly state: string;
  readonly source: PathSource;
  /** Loads by output id; an output without one gets the board file's load, or 1 MΩ. */
  readonly loads?: Readonly<Record<string, Load>>;
  readonly build?: BoardBuild;
  /** The lead of the `lead` state; null: none. */
  readonly straightLead?: LeadPart | null;
  /** What is in the board's input where the source is in the jack of an output. Absent: a shorting plug. */
  readonly terminationOhm?: number;
}

export interface PathNetwork {
  readonly network: Network;
  /** Name of the voltage source that drives the path. */
  readonly source: string;
  /** Node of the board's input jack. */
  readonly input: string;
  /** Where each loop that is in goes back into the path. */
  readonly loopReturns: ReadonlyMap<string, string>;
  /** Where the path passes each loop that is out. */
  readonly bypassed: ReadonlyMap<string, string>;
  /** Where the path divides to the outputs, behind the last loop. */
  readonly end: string;
  readonly outputs: ReadonlyMap<string, Port>;
  /** What was assumed, one sentence each. */
  readonly assumed: readonly string[];
}

/** Name of the voltage source of a generator. */
export const GENERATOR_SOURCE = 'generator.voltage';

/** A shorting plug with its contacts (common practice, no source). */
const SHORTING_PLUG_OHM = 0.02;

/** Stands in where a load is not known: an amplifier's instrument input (common practice, no source). */
export const DEFAULT_LOAD_OHM = 1e6;

/** Output driver assumed where several outputs, a transformer or a polarity switch hang on the path (common practice, no source). */
export const ASSUMED_DRIVER: BufferPart = { inputResistanceOhm: 1e6, inputCapacitanceF: 20e-12, outputResistanceOhm: 100 };

/** Line isolation transformer assumed for an isolated output (from memory of usual data sheets, no source). */
export const ASSUMED_TRANSFORMER: IsolationTransformerPart = {
  ratio: 1,
  primaryResistanceOhm: 60,
  secondaryResistanceOhm: 60,
  magnetisingH: 20,
  leakageH: 2e-3,
  windingCapacitanceF: 150e-12,
};

/** The states of a board's signal path, in the order in which they are usually captured. */
export function pathStates(board: BoardPath): string[] {
  return [
    'bench',
    'lead',
    'rest',
    ...(board.input.buffer?.defeatable ? ['unbuffered'] : []),
    ...board.loops.map(({ id }) => `loop-${id}`),
    ...(board.loops.length > 0 ? ['all'] : []),
    ...board.outputs.filter(({ lift }) => lift).map(({ id }) => `lift-${id}`),
    ...board.outputs.filter(({ polaritySwitch }) => polaritySwitch).map(({ id }) => `invert-${id}`),
    ...(board.outputs.length > 1 ? board.outputs.map(({ id }) => `into-${id}`) : []),
  ];
}

/** The output into whose jack is played in a state; null where the signal comes in at the board's input, or there is no board. */
export const drivenInto = (state: string): string | null => (state.startsWith('into-') ? state.slice('into-'.length) : null);

/** Loops in the path in a state. */
export const loopsIn = (board: BoardPath, state: string): readonly string[] =>
  board.loops.filter(({ id }) => state === 'all' || state === `loop-${id}`).map(({ id }) => id);

/** The stage that the board file implies for an output: a driver where the path is split, isolated or turned over. */
export function impliedStage(board: BoardPath, output: BoardPath['outputs'][number]): OutputStage {
  const driven = board.outputs.length > 1 || output.isolated || output.polaritySwitch;
  return { driver: driven ? ASSUMED_DRIVER : null, transformer: output.isolated ? ASSUMED_TRANSFORMER : null };
}

function assumptionsOf(id: string, { driver, transformer }: OutputStage): string[] {
  return [
    ...(driver ? [`Output ${id}: a unity driver of 1 MΩ and 20 pF at its input and 100 Ω at its output.`] : []),
    ...(transformer ? [`Output ${id}: an isolation transformer of 20 H, 2 mH leakage, 60 Ω each winding, 150 pF.`] : []),
  ];
}

/** With the output's polarity switch thrown. */
function inverted(id: string, { driver, transformer }: OutputStage): OutputStage {
  if (transformer) return { driver, transformer: { ...transformer, ratio: -transformer.ratio } };
  if (driver) return { driver: { ...driver, gain: -(driver.gain ?? 1) }, transformer };
  throw problem('circuit.value', { part: `output ${id}`, quantity: 'polarity', value: -1, unit: '', allowed: '1 without a driver or a transformer' });
}

/**
 * The network of a state.
 *
 * In the states `bench` and `lead` there is no board: every load given hangs on the source, or on the straight lead.
 * A loop that is out is bypassed with its wiring (true bypass).
 *
 * @throws circuit.state for a state that the board does not have; circuit.no-instrument; circuit.value for impossible parts.
 */
export function pathNetwork(board: BoardPath, options: PathOptions): PathNetwork {
  const { state, source, loads = {}, build = {}, straightLead = null, terminationOhm = SHORTING_PLUG_OHM } = options;
  const known = pathStates(board);
  if (!known.includes(state)) throw problem('circuit.state', { state, known });

  const elements: Element[] = [];
  const assumed: string[] = [];
  const loopReturns = new Map<string, string>();
  const bypassed = new Map<string, string>();
  const outputs = new Map<string, Port>();
  const into = drivenInto(state);
  if (into !== null && source.kind === 'instrument') throw problem('circuit.state', { state, known: known.filter((s) => drivenInto(s) === null) });
  let node = into === null ? 'generator.output' : 'input jack';
  const append = (section: Section): void => {
    elements.push(...section.elements);
    node = section.output;
  };
  const loadOf = (id: string, loadOhm: number | null): Load => {
    if (loads[id]) return loads[id];
    if (loadOhm === null) assumed.push(`Output ${id}: a load of 1 MΩ.`);
    return { ohm: loadOhm ?? DEFAULT_LOAD_OHM };
  };

  const generator = (at: string, back: string): void => {
    if (source.kind !== 'generator') return;
    elements.push(voltageSource(GENERATOR_SOURCE, 'generator.inner', back, source.noise ?? null));
    elements.push(resistor('generator.resistance', 'generator.inner', at, source.resistanceOhm));
  };
  if (into !== null) {
    elements.push(resistor('termination', node, GROUND, terminationOhm));
  } else if (source.kind === 'generator') {
    generator(node, GROUND);
    if (source.plugOhm !== null) append(seriesResistance('plug', node, source.plugOhm));
  } else {
    if (board.instrument === null) throw problem('circuit.no-instrument', {});
    append(instrumentSection(board.instrument, source.controls ?? FULL_UP));
  }
  const input = node;
  let end = node;
  const network = (): PathNetwork => ({
    network: elements,
    source: source.kind === 'generator' ? GENERATOR_SOURCE : PICKUP_SOURCE,
    input,
    loopReturns,
    bypassed,
    end,
    outputs,
    assumed,
  });

  if (state === 'bench' || state === 'lead') {
    if (state === 'lead' && straightLead) append(leadSection('straight-lead', node, straightLead));
    const hung = Object.keys(loads).length > 0 ? board.outputs.filter(({ id }) => id in loads) : board.outputs.slice(0, 1);
    for (const { id, loadOhm } of hung) {
      elements.push(...loadSection(`output ${id} load`, node, loadOf(id, loadOhm)).elements);
      outputs.set(id, toGround(node));
    }
    return network();
  }

  if (board.input.wiring) append(leadSection('input wiring', node, board.input.wiring));
  const { buffer } = board.input;
  if (buffer && state !== 'unbuffered') {
    const noise = buffer.noiseVPerRtHz === null ? null : { densityPerRtHz: buffer.noiseVPerRtHz, cornerHz: 0 };
    if (noise === null) assumed.push('Input buffer: no noise of its own, as none is stated.');
    append(bufferSection('input buffer', node, { ...buffer, noise }));
  }
  const ownWiring = build.wiring ?? board.wiring;
  if (ownWiring) append(leadSection('path wiring', node, ownWiring));
  const beforeLoops = node;
  const inPath = loopsIn(board, state);
  for (const { id, wiring } of board.loops) {
    if (!inPath.includes(id)) {
      bypassed.set(id, node);
      continue;
    }
    if (wiring) append(leadSection(`loop ${id} wiring`, node, wiring));
    const device = build.devices?.[id] ?? null;
    if (device) append(bufferSection(`loop ${id} device`, node, device));
    else assumed.push(`Loop ${id}: patched through, with its wiring only.`);
    loopReturns.set(id, node);
  }

  const split = node;
  end = split;
  const { couplings = [] } = build;
  const returnOf = (id: string): string => {
    const shared = couplings.findIndex(({ outputs: both, returnOhm }) => returnOhm !== undefined && both.includes(id));
    return shared < 0 ? GROUND : `return ${shared}`;
  };
  for (const output of board.outputs) {
    const { id, loadOhm, wiring } = output;
    let stage = build.outputs?.[id] ?? impliedStage(board, output);
    if (!build.outputs?.[id]) assumed.push(...assumptionsOf(id, stage));
    if (state === `invert-${id}`) stage = inverted(id, stage);
    node = build.dryOutputs?.includes(id) ? beforeLoops : split;
    if (stage.driver) append(bufferSection(`output ${id} driver`, node, stage.driver));
    if (stage.transformer) append(isolationTransformerSection(`output ${id} transformer`, node, stage.transformer));
    if (wiring) append(leadSection(`output ${id} wiring`, node, wiring));
    const back = returnOf(id);
    append(loadSection(`output ${id} load`, node, loadOf(id, loadOhm), back));
    if (id === into) generator(node, back);
    outputs.set(id, { plus: node, minus: back });
  }
  couplings.forEach(({ outputs: [a, b], farad, returnOhm }, k) => {
    if (farad !== undefined) elements.push(capacitor(`coupling ${k}`, outputs.get(a)!.plus, outputs.get(b)!.plus, farad));
    if (returnOhm !== undefined) elements.push(resistor(`return ${k}`, `return ${k}`, GROUND, returnOhm));
  });
  return network();
}
