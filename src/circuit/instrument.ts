/**
 * The instrument: a pickup behind its volume and tone controls, and the lead to the board.
 *
 * The pickup is the usual equivalent (Lemme, "The Secrets of Electric Guitar Pickups"): its voltage in series with
 * inductance and wire resistance, its own capacitance across the terminals. Resistance across the coil for eddy-current
 * loss is common practice, no source.
 *
 * @module
 */

import { GROUND, capacitor, inductor, positive, resistor, voltageSource, type Element } from './elements.js';
import { problem } from '../problems.js';
import { leadSection, type LeadPart, type Section } from './sections.js';

export interface PickupPart {
  readonly resistanceOhm: number;
  readonly inductanceH: number;
  readonly capacitanceF: number;
  /** Across the coil: eddy currents in covers and pole pieces. Absent: none. */
  readonly lossOhm?: number | null;
}

/**
 * How a pot's resistance follows its rotation. `logarithmic` (audio) passes 10 % at half rotation, `reverse-logarithmic`
 * 90 %; both are exponentials through that point. Common practice, no source: real tracks are made of straight pieces.
 */
export type Taper = 'linear' | 'logarithmic' | 'reverse-logarithmic';

/** Controls of the instrument; 0 is fully down, 1 fully up (a knob's 10). */
export interface Controls {
  readonly volume: number;
  readonly volumeTaper: Taper;
  readonly tone: number;
  readonly toneTaper: Taper;
  /** Where the tone control is connected: at the pickup, or at the volume pot's wiper. */
  readonly toneAt: 'pickup' | 'wiper';
}

/** Everything up; tapers as most instruments have them (common practice, no source). */
export const FULL_UP: Controls = { volume: 1, volumeTaper: 'logarithmic', tone: 1, toneTaper: 'logarithmic', toneAt: 'pickup' };

export interface InstrumentPart {
  readonly pickup: PickupPart;
  readonly volumeOhm: number | null;
  readonly tone: { readonly resistanceOhm: number; readonly capacitorF: number } | null;
  readonly lead: LeadPart | null;
}

/** What is left of a pot's resistance at its stop, as a fraction of the whole, so that no resistance is zero. */
const END_FRACTION = 1e-5;

/** (b^x − 1)/(b − 1) passes 0.1 at x = 1/2 for b = 81. */
const LOG_BASE = 81;

/**
 * Fraction of a pot's resistance between its lower end and the wiper at a rotation of 0…1.
 *
 * @throws circuit.value outside 0…1.
 */
export function potFraction(part: string, rotation: number, taper: Taper): number {
  if (!(rotation >= 0 && rotation <= 1)) throw problem('circuit.value', { part, quantity: 'setting', value: rotation, unit: '', allowed: 'from 0 to 1' });
  const logarithmic = (x: number): number => (LOG_BASE ** x - 1) / (LOG_BASE - 1);
  if (taper === 'linear') return rotation;
  return taper === 'logarithmic' ? logarithmic(rotation) : 1 - logarithmic(1 - rotation);
}

const clampedOhm = (wholeOhm: number, fraction: number): number => wholeOhm * Math.max(fraction, END_FRACTION);

/** Name of the voltage source that stands for the string's motion over the pickup. */
export const PICKUP_SOURCE = 'pickup.voltage';

/** The pickup alone; its voltage source is `<name>.voltage`. */
export function pickupSection(name: string, part: PickupPart): Section {
  const coil = `${name}.coil`;
  const wire = `${name}.wire`;
  const output = `${name}.output`;
  const elements: Element[] = [
    voltageSource(`${name}.voltage`, coil, GROUND),
    inductor(`${name}.inductance`, coil, wire, part.inductanceH),
    resistor(`${name}.resistance`, wire, output, part.resistanceOhm),
    capacitor(`${name}.capacitance`, output, GROUND, part.capacitanceF),
  ];
  if (part.lossOhm) elements.push(resistor(`${name}.loss`, coil, wire, part.lossOhm));
  return { elements, output };
}

/** The volume pot as a voltage divider: the path comes in at its top and goes on at its wiper. */
export function volumeSection(name: string, input: string, ohm: number, rotation: number, taper: Taper): Section {
  positive(name, 'resistance', ohm, 'ohm');
  const fraction = potFraction(name, rotation, taper);
  const wiper = `${name}.wiper`;
  return {
    elements: [
      resistor(`${name}.upper`, input, wiper, clampedOhm(ohm, 1 - fraction)),
      resistor(`${name}.lower`, wiper, GROUND, clampedOhm(ohm, fraction)),
    ],
    output: wiper,
  };
}

/** The tone control: a variable resistance and a capacitor in series from the path to ground. */
export function toneSection(
  name: string,
  input: string,
  part: { readonly resistanceOhm: number; readonly capacitorF: number },
  rotation: number,
  taper: Taper,
): Section {
  positive(name, 'resistance', part.resistanceOhm, 'ohm');
  const ohm = clampedOhm(part.resistanceOhm, potFraction(name, rotation, taper));
  const middle = `${name}.middle`;
  return { elements: [resistor(`${name}.pot`, input, middle, ohm), capacitor(`${name}.capacitor`, middle, GROUND, part.capacitorF)], output: input };
}

/** Pickup, controls and lead, up to the plug at the board; the source is PICKUP_SOURCE. */
export function instrumentSection(part: InstrumentPart, controls: Controls = FULL_UP): Section {
  const elements: Element[] = [];
  let node = '';
  const append = (section: Section): void => {
    elements.push(...section.elements);
    node = section.output;
  };
  const appendTone = (): void => {
    if (part.tone) append(toneSection('tone', node, part.tone, controls.tone, controls.toneTaper));
  };
  append(pickupSection('pickup', part.pickup));
  if (controls.toneAt === 'pickup') appendTone();
  if (part.volumeOhm !== null) append(volumeSection('volume', node, part.volumeOhm, controls.volume, controls.volumeTaper));
  if (controls.toneAt === 'wiper') appendTone();
  if (part.lead) append(leadSection('lead', node, part.lead));
  return { elements, output: node };
}
