/**
 * Responses and impedances of a network. Every function takes frequencies in Hz (any order, 0 allowed where the
 * network has a solution there) and gives split complex curves of the same length, phase after e^(+jωt).
 *
 * @module
 */

import { problem } from '../problems.js';
import { GROUND, type Element, type Network } from './elements.js';
import { equationsOf, type Equations } from './equations.js';

export interface ComplexCurve {
  readonly re: Float64Array;
  readonly im: Float64Array;
}

/** Two nodes between which a voltage is read or a current driven. */
export interface Port {
  readonly plus: string;
  readonly minus: string;
}

/** The port between a node and ground. */
export const toGround = (node: string): Port => ({ plus: node, minus: GROUND });

export const emptyCurve = (length: number): ComplexCurve => ({ re: new Float64Array(length), im: new Float64Array(length) });

/** Puts 1 at `plus` and −1 at `minus`: a unit current into a port, or, in the transposed equations, the reading of its voltage. */
export function selectPort(equations: Equations, port: Port, re: Float64Array): void {
  const plus = equations.nodeIndex(port.plus);
  const minus = equations.nodeIndex(port.minus);
  if (plus >= 0) re[plus] += 1;
  if (minus >= 0) re[minus] -= 1;
}

const findSource = (network: Network, source: string): Element => {
  const element = network.find((candidate) => candidate.name === source);
  if (element?.kind !== 'voltage-source' && element?.kind !== 'current-source') throw problem('circuit.unknown-source', { source });
  return element;
};

/** Excites one source by 1 V or 1 A. */
function excite(equations: Equations, source: string, re: Float64Array): void {
  const element = findSource(equations.network, source);
  if (element.kind === 'voltage-source') re[equations.branchIndex(source)] = 1;
  else if (element.kind === 'current-source') selectPort(equations, element, re);
}

/**
 * Voltage at each output per volt (or ampere) of one source, every other independent source at zero.
 *
 * @returns one curve per output, in V/V or V/A.
 * @throws circuit.unknown-source, circuit.unknown-node, circuit.floating, circuit.duplicate, circuit.frequency, circuit.singular.
 */
export function responses(network: Network, source: string, outputs: readonly Port[], frequenciesHz: Float64Array): ComplexCurve[] {
  const equations = equationsOf(network);
  const indices = outputs.map((port) => [equations.nodeIndex(port.plus), equations.nodeIndex(port.minus)] as const);
  const curves = outputs.map(() => emptyCurve(frequenciesHz.length));
  const re = new Float64Array(equations.size);
  const im = new Float64Array(equations.size);
  for (let k = 0; k < frequenciesHz.length; k++) {
    equations.setFrequency(frequenciesHz[k]);
    re.fill(0);
    im.fill(0);
    excite(equations, source, re);
    equations.solve(re, im);
    indices.forEach(([plus, minus], o) => {
      curves[o].re[k] = (plus >= 0 ? re[plus] : 0) - (minus >= 0 ? re[minus] : 0);
      curves[o].im[k] = (plus >= 0 ? im[plus] : 0) - (minus >= 0 ? im[minus] : 0);
    });
  }
  return curves;
}

/** The one-output form of `responses`. */
export function response(network: Network, source: string, output: Port, frequenciesHz: Float64Array): ComplexCurve {
  return responses(network, source, [output], frequenciesHz)[0];
}

/**
 * Voltage at port `to` per ampere driven into port `from`, in ohm, every independent source at zero. Equal both ways
 * round in a network without amplifiers (reciprocity).
 */
export function transferImpedance(network: Network, from: Port, to: Port, frequenciesHz: Float64Array): ComplexCurve {
  const equations = equationsOf(network);
  const plus = equations.nodeIndex(to.plus);
  const minus = equations.nodeIndex(to.minus);
  const curve = emptyCurve(frequenciesHz.length);
  const re = new Float64Array(equations.size);
  const im = new Float64Array(equations.size);
  for (let k = 0; k < frequenciesHz.length; k++) {
    equations.setFrequency(frequenciesHz[k]);
    re.fill(0);
    im.fill(0);
    selectPort(equations, from, re);
    equations.solve(re, im);
    curve.re[k] = (plus >= 0 ? re[plus] : 0) - (minus >= 0 ? re[minus] : 0);
    curve.im[k] = (plus >= 0 ? im[plus] : 0) - (minus >= 0 ? im[minus] : 0);
  }
  return curve;
}

/** Impedance seen at a port with every independent source at zero, in ohm: the output impedance where the port is an output. */
export function impedance(network: Network, port: Port, frequenciesHz: Float64Array): ComplexCurve {
  return transferImpedance(network, port, port, frequenciesHz);
}

/** Impedance that a voltage source works into, in ohm: −1 V over the current through it. */
export function inputImpedance(network: Network, source: string, frequenciesHz: Float64Array): ComplexCurve {
  const equations = equationsOf(network);
  const branch = equations.branchIndex(source);
  const curve = emptyCurve(frequenciesHz.length);
  const re = new Float64Array(equations.size);
  const im = new Float64Array(equations.size);
  for (let k = 0; k < frequenciesHz.length; k++) {
    equations.setFrequency(frequenciesHz[k]);
    re.fill(0);
    im.fill(0);
    re[branch] = 1;
    equations.solve(re, im);
    const size2 = re[branch] * re[branch] + im[branch] * im[branch];
    curve.re[k] = -re[branch] / size2;
    curve.im[k] = im[branch] / size2;
  }
  return curve;
}
