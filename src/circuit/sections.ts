/**
 * Parts in the words of the trade, as sections of a signal path: each takes the node that it is connected to and gives
 * its elements and the node where the path goes on. Everything is referred to ground. Names of elements and inner nodes
 * begin with the section's own name.
 *
 * @module
 */

import {
  GROUND,
  capacitor,
  currentSource,
  idealTransformer,
  inductor,
  notNegative,
  positive,
  resistor,
  voltageAmplifier,
  voltageSource,
  type Element,
  type Network,
  type SourceNoise,
} from './elements.js';

export interface Section {
  readonly elements: Network;
  /** Where the path goes on. */
  readonly output: string;
}

/** A lead or a run of wiring. */
export interface LeadPart {
  readonly lengthM: number;
  readonly capacitanceFPerM: number;
  /** Centre conductor and shield together; 0 or absent leaves it out, as 0.1 Ω/m is nothing beside any source here. */
  readonly resistanceOhmPerM?: number;
}

/** Capacitance of a lead to its shield: length × capacitance per metre. */
export const leadCapacitanceF = (lead: LeadPart): number => lead.lengthM * lead.capacitanceFPerM;

/**
 * A lead as its lumped equivalent: its capacitance to ground between two halves of its resistance. Good while it is short
 * beside the wavelength (at 20 kHz: 10 km of it), so always. A length of zero is a plain connection.
 */
export function leadSection(name: string, input: string, lead: LeadPart): Section {
  notNegative(name, 'length', lead.lengthM, 'm');
  positive(name, 'capacitance per metre', lead.capacitanceFPerM, 'F/m');
  const halfOhm = (notNegative(name, 'resistance per metre', lead.resistanceOhmPerM ?? 0, 'ohm/m') * lead.lengthM) / 2;
  if (lead.lengthM === 0) return { elements: [], output: input };
  const middle = halfOhm > 0 ? `${name}.middle` : input;
  const output = halfOhm > 0 ? `${name}.end` : input;
  const shunt = capacitor(`${name}.capacitance`, middle, GROUND, leadCapacitanceF(lead));
  if (halfOhm === 0) return { elements: [shunt], output };
  return {
    elements: [resistor(`${name}.resistance-in`, input, middle, halfOhm), shunt, resistor(`${name}.resistance-out`, middle, output, halfOhm)],
    output,
  };
}

/** A source plug, or any resistance in series with the path. */
export function seriesResistance(name: string, input: string, ohm: number): Section {
  return { elements: [resistor(name, input, `${name}.end`, ohm)], output: `${name}.end` };
}

/** What the path ends in: a resistance and, where not zero, a capacitance to ground, or to the return that is named. */
export function loadSection(name: string, input: string, load: { readonly ohm: number; readonly farad?: number }, back: string = GROUND): Section {
  const elements: Element[] = [resistor(`${name}.resistance`, input, back, load.ohm)];
  if (notNegative(name, 'capacitance', load.farad ?? 0, 'F') > 0) elements.push(capacitor(`${name}.capacitance`, input, back, load.farad!));
  return { elements, output: input };
}

export interface BufferPart {
  readonly inputResistanceOhm: number;
  readonly inputCapacitanceF: number;
  readonly outputResistanceOhm: number;
  /** Voltage gain; −1 inverts. Default 1. */
  readonly gain?: number;
  /** Voltage noise, referred to the input. */
  readonly noise?: SourceNoise | null;
  /** Current noise at the input. */
  readonly currentNoise?: SourceNoise | null;
  /** Coupling capacitor at the output: with the load, the low corner. Absent: direct. */
  readonly couplingF?: number | null;
  /** −3 dB corner of a first-order fall inside the stage. Absent: none. */
  readonly bandwidthHz?: number | null;
}

/** Resistance of the inner pole of a stage: arbitrary, as an ideal gain drives it and another reads it. */
const INNER_POLE_OHM = 1000;

/** A buffer or an amplifying stage: input R ‖ C, an ideal gain, output R; its noises stand at its input. */
export function bufferSection(name: string, input: string, part: BufferPart): Section {
  const noisy = part.noise ?? null;
  const sense = noisy === null ? input : `${name}.sense`;
  const elements: Element[] = [resistor(`${name}.input-resistance`, input, GROUND, part.inputResistanceOhm)];
  if (notNegative(name, 'input capacitance', part.inputCapacitanceF, 'F') > 0) {
    elements.push(capacitor(`${name}.input-capacitance`, input, GROUND, part.inputCapacitanceF));
  }
  if (part.currentNoise) elements.push(currentSource(`${name}.current-noise`, input, GROUND, part.currentNoise));
  if (noisy !== null) elements.push(voltageSource(`${name}.voltage-noise`, sense, input, noisy));
  let inner = `${name}.inner`;
  elements.push(voltageAmplifier(`${name}.gain`, [inner, GROUND], [sense, GROUND], part.gain ?? 1));
  if (part.bandwidthHz) {
    const pole = `${name}.pole`;
    const driven = `${name}.driven`;
    positive(name, 'bandwidth', part.bandwidthHz, 'Hz');
    elements.push(
      resistor(`${name}.pole-resistance`, inner, pole, INNER_POLE_OHM, false),
      capacitor(`${name}.pole-capacitance`, pole, GROUND, 1 / (2 * Math.PI * part.bandwidthHz * INNER_POLE_OHM)),
      voltageAmplifier(`${name}.pole-follower`, [driven, GROUND], [pole, GROUND], 1),
    );
    inner = driven;
  }
  const resistorEnd = part.couplingF ? `${name}.coupling` : `${name}.output`;
  elements.push(resistor(`${name}.output-resistance`, inner, resistorEnd, part.outputResistanceOhm));
  if (part.couplingF) elements.push(capacitor(`${name}.coupling-capacitor`, resistorEnd, `${name}.output`, part.couplingF));
  return { elements, output: `${name}.output` };
}

export interface IsolationTransformerPart {
  /** Primary to secondary turns; negative where the windings are connected against each other. */
  readonly ratio: number;
  readonly primaryResistanceOhm: number;
  readonly secondaryResistanceOhm: number;
  readonly magnetisingH: number;
  /** All leakage, referred to the primary. */
  readonly leakageH: number;
  /** Across the secondary. */
  readonly windingCapacitanceF: number;
}

/**
 * An isolation transformer with the cold ends of both windings at the reference. Magnetising inductance sets the low
 * corner with what drives it; leakage and winding capacitance set the top.
 */
export function isolationTransformerSection(name: string, input: string, part: IsolationTransformerPart): Section {
  const copper = `${name}.copper`;
  const core = `${name}.core`;
  const secondary = `${name}.secondary`;
  const output = `${name}.output`;
  const elements: Element[] = [
    resistor(`${name}.primary-resistance`, input, copper, part.primaryResistanceOhm),
    inductor(`${name}.leakage`, copper, core, part.leakageH),
    inductor(`${name}.magnetising`, core, GROUND, part.magnetisingH),
    idealTransformer(`${name}.turns`, [core, GROUND], [secondary, GROUND], part.ratio),
    resistor(`${name}.secondary-resistance`, secondary, output, part.secondaryResistanceOhm),
  ];
  if (notNegative(name, 'winding capacitance', part.windingCapacitanceF, 'F') > 0) {
    elements.push(capacitor(`${name}.winding-capacitance`, output, GROUND, part.windingCapacitanceF));
  }
  return { elements, output };
}
