/**
 * Faults that can be built into a simulated board, each described by its physics; nothing here knows how any of them
 * would be found.
 *
 * @module
 */

import { ASSUMED_DRIVER, drivenInto, impliedStage, type BoardBuild, type Coupling, type OutputStage } from '../circuit/board-network.js';
import type { BufferPart } from '../circuit/sections.js';
import type { Board } from '../board/model.js';
import { problem } from '../problems.js';
import { dbToAmplitude } from '../units/decibels.js';
import type { Bleed } from './bleed.js';
import type { Clip } from './clipping.js';
import type { HumPattern } from './lines.js';

export type Fault =
  /** The stage of an output has the wrong gain, or is wired the wrong way round. */
  | { readonly kind: 'output-gain'; readonly output: string; readonly gainDb: number }
  | { readonly kind: 'output-inverted'; readonly output: string }
  /** The device in a loop has the wrong gain, turns the signal over, or lets nothing through. */
  | { readonly kind: 'loop-gain'; readonly loop: string; readonly gainDb: number }
  | { readonly kind: 'loop-inverted'; readonly loop: string }
  | { readonly kind: 'loop-dead'; readonly loop: string }
  /** The device in a loop hisses: noise at its input, with a 1/f corner where it is excess noise. */
  | { readonly kind: 'loop-noise'; readonly loop: string; readonly densityVPerRtHz: number; readonly cornerHz: number }
  /** More capacitance to ground than designed: too long a lead, or a bad one. */
  | { readonly kind: 'loop-capacitance'; readonly loop: string; readonly farad: number }
  | { readonly kind: 'input-capacitance'; readonly farad: number }
  /** Hum that comes in with a loop; level of its strongest line at the first output with that loop alone in, and so below. */
  | { readonly kind: 'loop-hum'; readonly loop: string; readonly pattern: HumPattern; readonly levelDbu: number }
  /** Hum at one output, such as a ground loop to what it feeds; its lift switch cures it or not. */
  | { readonly kind: 'output-hum'; readonly output: string; readonly pattern: HumPattern; readonly levelDbu: number; readonly liftCures: boolean }
  /** Whine on a supply outlet: it comes in with every loop that hangs on it. Level of its strongest line at the first output. */
  | {
      readonly kind: 'whine';
      /** `<supply>.<outlet>` */
      readonly outlet: string;
      readonly fundamentalHz: number;
      readonly harmonicsDb: readonly number[];
      readonly levelDbu: number;
    }
  /** A loop's lead that has parted in its hot conductor, or whose hot conductor touches its shield. */
  | { readonly kind: 'loop-open'; readonly loop: string }
  | { readonly kind: 'loop-shorted'; readonly loop: string }
  /** The device in a loop, or the stage of an output, falls off early: first-order corner. */
  | { readonly kind: 'loop-dull'; readonly loop: string; readonly cornerHz: number }
  | { readonly kind: 'output-dull'; readonly output: string; readonly cornerHz: number }
  /** A coupling capacitor at an output that has lost most of its capacitance. */
  | { readonly kind: 'output-thin'; readonly output: string; readonly farad: number }
  /** Something digital in the way of a loop or of one output. */
  | { readonly kind: 'loop-latency'; readonly loop: string; readonly delayS: number }
  | { readonly kind: 'output-latency'; readonly output: string; readonly delayS: number }
  /** The contact that takes a loop out leaks: its device goes on being fed, and this much stands between its output and the path. */
  | { readonly kind: 'loop-bleeds'; readonly loop: string; readonly ohm: number }
  /** Too much in series with an output: a wrong resistor, a dry joint, a stage without a follower. */
  | { readonly kind: 'output-resistance'; readonly output: string; readonly ohm: number }
  /** The input buffer, or the driver of an output, hisses; at its input. */
  | { readonly kind: 'input-noise'; readonly densityVPerRtHz: number }
  | { readonly kind: 'output-noise'; readonly output: string; readonly densityVPerRtHz: number; readonly cornerHz: number }
  /** A wrong resistor across the input of the buffer. */
  | { readonly kind: 'input-load'; readonly ohm: number }
  /** A switch whose contacts do not move: the buffer stays in, the polarity stays as it was. */
  | { readonly kind: 'buffer-stuck' }
  | { readonly kind: 'polarity-switch-dead'; readonly output: string }
  /** The jacks of two outputs are wired the one for the other. */
  | { readonly kind: 'outputs-crossed'; readonly outputs: readonly [string, string] }
  /** Conductors of two outputs lie side by side without a shield between them. */
  | { readonly kind: 'outputs-coupled'; readonly outputs: readonly [string, string]; readonly farad: number }
  /** The sleeves of two jacks return to the board's ground by one conductor with resistance. */
  | { readonly kind: 'outputs-share-return'; readonly outputs: readonly [string, string]; readonly ohm: number }
  /** Ripple of a rectifier on a supply outlet: in every loop that hangs on it. Level of its strongest line at the first output. */
  | { readonly kind: 'outlet-ripple'; readonly outlet: string; readonly levelDbu: number }
  /** A clock in the device of one loop. */
  | { readonly kind: 'loop-whine'; readonly loop: string; readonly fundamentalHz: number; readonly harmonicsDb: readonly number[]; readonly levelDbu: number }
  /** Two clocks that meet on a supply outlet: each of them, their difference and sum, and twice the first less the second. */
  | { readonly kind: 'two-clocks'; readonly outlet: string; readonly firstHz: number; readonly secondHz: number; readonly levelDbu: number }
  /** Hum that flows only while both of two loops are in: their grounds meet twice. */
  | { readonly kind: 'loops-interact'; readonly loops: readonly [string, string]; readonly levelDbu: number }
  /** A contact that crackles while nothing moves it: bursts per second, and their peak at the outputs, in volts. */
  | { readonly kind: 'loop-crackle'; readonly loop: string; readonly perS: number; readonly peakV: number }
  | { readonly kind: 'output-crackle'; readonly output: string; readonly perS: number; readonly peakV: number }
  /** Noise of a device in a loop that grows from nothing to this density at the outputs while it is recorded. */
  | { readonly kind: 'loop-drift'; readonly loop: string; readonly densityVPerRtHz: number }
  /** The input buffer, the device in a loop or the driver of an output clips early: volts where its gain ends. */
  | { readonly kind: 'input-clips'; readonly clip: Clip }
  | { readonly kind: 'loop-clips'; readonly loop: string; readonly clip: Clip }
  | { readonly kind: 'output-clips'; readonly output: string; readonly clip: Clip }
  /** A loop's footswitch clicks: peak at the first output, in volts. */
  | { readonly kind: 'loop-click'; readonly loop: string; readonly peakV: number }
  /** The signal drops out for a moment while leads are moved; `output` null: at the input, so everywhere. */
  | { readonly kind: 'flex-dropout'; readonly output: string | null; readonly count: number }

  /** A contact of a loop that opens for moments while a take or a tone passes: how often a second, and for how long. */
  | { readonly kind: 'loop-intermittent'; readonly loop: string; readonly perS: number; readonly lengthS: number };

export const noFaults: readonly Fault[] = [];

/** A device that does nothing but stand in a loop: what a fault of gain or polarity is built into where none is described. */
const PLAIN_DEVICE: BufferPart = { inputResistanceOhm: 1e6, inputCapacitanceF: 30e-12, outputResistanceOhm: 470 };

const DEAD_GAIN = 1e-7;
/** A parted conductor: what its insulation leaks. */
const OPEN_OHM = 1e10;
/** Two conductors that touch. */
const TOUCHING_OHM = 0.2;
/** What hangs on the far side of the break where the file states no wiring. */
const PARTED_LEAD_F = 20e-12;

/** Refuses a fault in a loop, output or outlet that the board does not have. */
export function checkFaults(board: Board, faults: readonly Fault[]): void {
  const loops = board.loops.map(({ id }) => id);
  const outputs = board.outputs.map(({ id }) => id);
  const outlets = board.supplies.flatMap(({ id, outlets: all }) => all.map((outlet) => `${id}.${outlet.id}`));
  for (const fault of faults) {
    if ('loop' in fault && !loops.includes(fault.loop)) throw problem('simulate.fault', { fault: fault.kind, where: `loop "${fault.loop}"`, known: loops });
    if ('output' in fault && fault.output !== null && !outputs.includes(fault.output)) {
      throw problem('simulate.fault', { fault: fault.kind, where: `output "${fault.output}"`, known: outputs });
    }
    for (const loop of fault.kind === 'loops-interact' ? fault.loops : []) {
      if (!loops.includes(loop)) throw problem('simulate.fault', { fault: fault.kind, where: `loop "${loop}"`, known: loops });
    }
    for (const output of 'outputs' in fault ? fault.outputs : []) {
      if (!outputs.includes(output)) throw problem('simulate.fault', { fault: fault.kind, where: `output "${output}"`, known: outputs });
    }
    if ('outlet' in fault && !outlets.includes(fault.outlet)) {
      throw problem('simulate.fault', { fault: fault.kind, where: `outlet "${fault.outlet}"`, known: outlets });
    }
  }
}

/** The build of the board with the faults of its circuit in it; every output stage is written out. */
export function faultyBuild(board: Board, build: BoardBuild, faults: readonly Fault[]): BoardBuild {
  const devices: Record<string, BufferPart | null> = { ...build.devices };
  const outputs: Record<string, OutputStage> = Object.fromEntries(
    board.outputs.map((output) => [output.id, build.outputs?.[output.id] ?? impliedStage(board, output)]),
  );
  const changeDevice = (loop: string, change: (device: BufferPart) => BufferPart): void => {
    devices[loop] = change(devices[loop] ?? PLAIN_DEVICE);
  };
  const changeDriver = (output: string, change: (driver: BufferPart) => BufferPart): void => {
    const stage = outputs[output];
    outputs[output] = { ...stage, driver: change(stage.driver ?? ASSUMED_DRIVER) };
  };
  const scaleOutput = (output: string, factor: number): void => {
    changeDriver(output, (driver) => ({ ...driver, gain: (driver.gain ?? 1) * factor }));
  };
  const scaleDevice = (loop: string, factor: number): void => {
    changeDevice(loop, (device) => ({ ...device, gain: (device.gain ?? 1) * factor }));
  };
  for (const fault of faults) {
    if (fault.kind === 'output-gain') scaleOutput(fault.output, dbToAmplitude(fault.gainDb));
    else if (fault.kind === 'output-inverted') scaleOutput(fault.output, -1);
    else if (fault.kind === 'loop-gain') scaleDevice(fault.loop, dbToAmplitude(fault.gainDb));
    else if (fault.kind === 'loop-inverted') scaleDevice(fault.loop, -1);
    else if (fault.kind === 'loop-dead') scaleDevice(fault.loop, DEAD_GAIN);
    else if (fault.kind === 'loop-clips') changeDevice(fault.loop, (device) => device);
    else if (fault.kind === 'loop-noise') {
      changeDevice(fault.loop, (device) => ({ ...device, noise: { densityPerRtHz: fault.densityVPerRtHz, cornerHz: fault.cornerHz } }));
    } else if (fault.kind === 'loop-shorted') changeDevice(fault.loop, (device) => ({ ...device, inputResistanceOhm: TOUCHING_OHM }));
    else if (fault.kind === 'loop-dull') changeDevice(fault.loop, (device) => ({ ...device, bandwidthHz: fault.cornerHz }));
    else if (fault.kind === 'output-dull') changeDriver(fault.output, (driver) => ({ ...driver, bandwidthHz: fault.cornerHz }));
    else if (fault.kind === 'output-thin') changeDriver(fault.output, (driver) => ({ ...driver, couplingF: fault.farad }));
    else if (fault.kind === 'output-resistance') changeDriver(fault.output, (driver) => ({ ...driver, outputResistanceOhm: fault.ohm }));
    else if (fault.kind === 'output-noise') {
      changeDriver(fault.output, (driver) => ({ ...driver, noise: { densityPerRtHz: fault.densityVPerRtHz, cornerHz: fault.cornerHz } }));
    }
  }
  const couplings = faults.flatMap((fault): Coupling[] =>
    fault.kind === 'outputs-coupled' ? [{ outputs: fault.outputs, farad: fault.farad }] : fault.kind === 'outputs-share-return' ? [{ outputs: fault.outputs, returnOhm: fault.ohm }] : [],
  );
  return { ...build, devices, outputs, couplings: [...(build.couplings ?? []), ...couplings] };
}

/** Loops that are heard while they are out. */
export const bleedsOf = (build: BoardBuild, faults: readonly Fault[]): readonly Bleed[] =>
  faults.flatMap((fault) => (fault.kind === 'loop-bleeds' ? [{ loop: fault.loop, device: build.devices?.[fault.loop] ?? PLAIN_DEVICE, leakOhm: fault.ohm }] : []));

/** The board with the faults of its wiring in it. */
export function faultyBoard(board: Board, faults: readonly Fault[]): Board {
  /** Any capacitance is some length of some lead; only the product counts. */
  const more = (wiring: { lengthM: number; capacitanceFPerM: number } | null, farad: number): { lengthM: number; capacitanceFPerM: number } => ({
    lengthM: 1,
    capacitanceFPerM: (wiring ? wiring.lengthM * wiring.capacitanceFPerM : 0) + farad,
  });
  let { input, loops } = board;
  for (const fault of faults) {
    if (input.buffer && fault.kind === 'input-noise') input = { ...input, buffer: { ...input.buffer, noiseVPerRtHz: fault.densityVPerRtHz } };
    if (input.buffer && fault.kind === 'input-load') input = { ...input, buffer: { ...input.buffer, inputResistanceOhm: fault.ohm } };
    if (fault.kind === 'loop-open') {
      loops = loops.map((loop) => (loop.id === fault.loop ? { ...loop, wiring: { ...more(loop.wiring, PARTED_LEAD_F), resistanceOhmPerM: OPEN_OHM } } : loop));
    }
    if (fault.kind === 'input-capacitance') input = { ...input, wiring: more(input.wiring, fault.farad) };
    if (fault.kind === 'loop-capacitance') {
      loops = loops.map((loop) => (loop.id === fault.loop ? { ...loop, wiring: more(loop.wiring, fault.farad) } : loop));
    }
  }
  return { ...board, input, loops };
}

/** The state that the board is really in when its switches are set for another. */
export function stateAsBuilt(state: string, faults: readonly Fault[]): string {
  const isStuck = faults.some((fault) =>
    fault.kind === 'buffer-stuck' ? state === 'unbuffered' : fault.kind === 'polarity-switch-dead' && state === `invert-${fault.output}`,
  );
  if (isStuck) return 'rest';
  const jack = drivenInto(state);
  return jack === null ? state : `into-${outputAtJack(jack, faults)}`;
}

/** The output that is really at the jack of another. */
export function outputAtJack(jack: string, faults: readonly Fault[]): string {
  for (const fault of faults) {
    if (fault.kind !== 'outputs-crossed') continue;
    const [a, b] = fault.outputs;
    if (jack === a) return b;
    if (jack === b) return a;
  }
  return jack;
}
