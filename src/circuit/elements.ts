/**
 * The elements a network is made of, and the checks on their values.
 *
 * Nodes are names; `GROUND` is the reference. Every element is linear and time-invariant, and its equations are
 * of the form (G + jω·B)·x = b, so a network is two real matrices however many frequencies are asked for.
 *
 * Current convention: a source's current, and a branch's, flows inside the element from the first terminal to the second.
 *
 * @module
 */

import { problem } from '../problems.js';

/** The reference node. */
export const GROUND = 'ground';

export interface Resistor {
  readonly kind: 'resistor';
  readonly name: string;
  readonly a: string;
  readonly b: string;
  readonly ohm: number;
  /** False for a resistance that stands for something without thermal noise (a dynamic resistance). */
  readonly noisy: boolean;
}

export interface Capacitor {
  readonly kind: 'capacitor';
  readonly name: string;
  readonly a: string;
  readonly b: string;
  readonly farad: number;
}

export interface Inductor {
  readonly kind: 'inductor';
  readonly name: string;
  readonly a: string;
  readonly b: string;
  readonly henry: number;
}

/**
 * Noise of a source: a one-sided amplitude density of `densityPerRtHz` (V or A per √Hz) well above `cornerHz`,
 * rising as 1/f in power below it: d²(f) = densityPerRtHz²·(1 + cornerHz / f).
 */
export interface SourceNoise {
  readonly densityPerRtHz: number;
  readonly cornerHz: number;
}

export interface VoltageSource {
  readonly kind: 'voltage-source';
  readonly name: string;
  readonly plus: string;
  readonly minus: string;
  readonly noise: SourceNoise | null;
}

/** Drives its current out of `plus` into the network and takes it back at `minus`. */
export interface CurrentSource {
  readonly kind: 'current-source';
  readonly name: string;
  readonly plus: string;
  readonly minus: string;
  readonly noise: SourceNoise | null;
}

/** Voltage-controlled voltage source: v(plus) − v(minus) = gain·(v(sensePlus) − v(senseMinus)). */
export interface VoltageAmplifier {
  readonly kind: 'voltage-amplifier';
  readonly name: string;
  readonly plus: string;
  readonly minus: string;
  readonly sensePlus: string;
  readonly senseMinus: string;
  readonly gain: number;
}

/** Voltage-controlled current source: drives siemens·(v(sensePlus) − v(senseMinus)) out of `plus`, taken back at `minus`. */
export interface Transconductor {
  readonly kind: 'transconductor';
  readonly name: string;
  readonly plus: string;
  readonly minus: string;
  readonly sensePlus: string;
  readonly senseMinus: string;
  readonly siemens: number;
}

/** Ideal transformer: v(primary) = ratio·v(secondary), no loss. A negative ratio inverts. */
export interface IdealTransformer {
  readonly kind: 'ideal-transformer';
  readonly name: string;
  readonly primaryPlus: string;
  readonly primaryMinus: string;
  readonly secondaryPlus: string;
  readonly secondaryMinus: string;
  readonly ratio: number;
}

export type Element =
  | Resistor
  | Capacitor
  | Inductor
  | VoltageSource
  | CurrentSource
  | VoltageAmplifier
  | Transconductor
  | IdealTransformer;

/** A network: its elements in any order. The order of the signal gives the fastest solution. */
export type Network = readonly Element[];

/**
 * The value itself where it is finite and above zero.
 *
 * @throws circuit.value otherwise.
 */
export function positive(part: string, quantity: string, value: number, unit: string): number {
  if (!(Number.isFinite(value) && value > 0)) throw problem('circuit.value', { part, quantity, value, unit, allowed: 'above zero' });
  return value;
}

/**
 * The value itself where it is finite and not below zero.
 *
 * @throws circuit.value otherwise.
 */
export function notNegative(part: string, quantity: string, value: number, unit: string): number {
  if (!(Number.isFinite(value) && value >= 0)) throw problem('circuit.value', { part, quantity, value, unit, allowed: 'zero or above' });
  return value;
}

/**
 * The value itself where it is finite and not zero.
 *
 * @throws circuit.value otherwise.
 */
export function notZero(part: string, quantity: string, value: number, unit: string): number {
  if (!(Number.isFinite(value) && value !== 0)) throw problem('circuit.value', { part, quantity, value, unit, allowed: 'other than zero' });
  return value;
}

export const resistor = (name: string, a: string, b: string, ohm: number, noisy = true): Resistor => ({
  kind: 'resistor',
  name,
  a,
  b,
  ohm: positive(name, 'resistance', ohm, 'ohm'),
  noisy,
});

export const capacitor = (name: string, a: string, b: string, farad: number): Capacitor => ({
  kind: 'capacitor',
  name,
  a,
  b,
  farad: positive(name, 'capacitance', farad, 'F'),
});

export const inductor = (name: string, a: string, b: string, henry: number): Inductor => ({
  kind: 'inductor',
  name,
  a,
  b,
  henry: positive(name, 'inductance', henry, 'H'),
});

const checkedNoise = (name: string, noise: SourceNoise | null, unit: string): SourceNoise | null => {
  if (noise === null) return null;
  notNegative(name, 'noise density', noise.densityPerRtHz, unit);
  notNegative(name, 'noise corner', noise.cornerHz, 'Hz');
  return noise.densityPerRtHz === 0 ? null : noise;
};

export const voltageSource = (name: string, plus: string, minus: string, noise: SourceNoise | null = null): VoltageSource => ({
  kind: 'voltage-source',
  name,
  plus,
  minus,
  noise: checkedNoise(name, noise, 'V/rtHz'),
});

export const currentSource = (name: string, plus: string, minus: string, noise: SourceNoise | null = null): CurrentSource => ({
  kind: 'current-source',
  name,
  plus,
  minus,
  noise: checkedNoise(name, noise, 'A/rtHz'),
});

export const voltageAmplifier = (
  name: string,
  [plus, minus]: readonly [string, string],
  [sensePlus, senseMinus]: readonly [string, string],
  gain: number,
): VoltageAmplifier => ({ kind: 'voltage-amplifier', name, plus, minus, sensePlus, senseMinus, gain: notZero(name, 'gain', gain, '') });

export const transconductor = (
  name: string,
  [plus, minus]: readonly [string, string],
  [sensePlus, senseMinus]: readonly [string, string],
  siemens: number,
): Transconductor => ({
  kind: 'transconductor',
  name,
  plus,
  minus,
  sensePlus,
  senseMinus,
  siemens: notZero(name, 'transconductance', siemens, 'S'),
});

export const idealTransformer = (
  name: string,
  [primaryPlus, primaryMinus]: readonly [string, string],
  [secondaryPlus, secondaryMinus]: readonly [string, string],
  ratio: number,
): IdealTransformer => ({
  kind: 'ideal-transformer',
  name,
  primaryPlus,
  primaryMinus,
  secondaryPlus,
  secondaryMinus,
  ratio: notZero(name, 'turns ratio', ratio, ''),
});

/** The nodes an element touches, sensing terminals included. */
export function nodesOf(element: Element): readonly string[] {
  switch (element.kind) {
    case 'resistor':
    case 'capacitor':
    case 'inductor':
      return [element.a, element.b];
    case 'voltage-source':
    case 'current-source':
      return [element.plus, element.minus];
    case 'voltage-amplifier':
    case 'transconductor':
      return [element.sensePlus, element.senseMinus, element.plus, element.minus];
    case 'ideal-transformer':
      return [element.primaryPlus, element.primaryMinus, element.secondaryPlus, element.secondaryMinus];
  }
}

/** Pairs of nodes that an element ties together, so that a path to ground may run through it. A current source ties nothing. */
export function tiesOf(element: Element): readonly (readonly [string, string])[] {
  switch (element.kind) {
    case 'resistor':
    case 'capacitor':
    case 'inductor':
      return [[element.a, element.b]];
    case 'voltage-source':
    case 'voltage-amplifier':
    case 'transconductor':
      return [[element.plus, element.minus]];
    case 'current-source':
      return [];
    case 'ideal-transformer':
      return [
        [element.primaryPlus, element.primaryMinus],
        [element.secondaryPlus, element.secondaryMinus],
      ];
  }
}
