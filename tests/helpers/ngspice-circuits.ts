/** The circuits that ngspice solved (tests/outside/ngspice/circuits.json), as elements of ours. */
import { readFileSync } from 'node:fs';
import { GROUND, capacitor, currentSource, idealTransformer, inductor, resistor, transconductor, voltageAmplifier, voltageSource } from '../../src/circuit/elements.js';
import type { Element } from '../../src/circuit/elements.js';

interface SpiceElement {
  kind: string;
  name: string;
  a: string;
  b: string;
  c: string;
  d: string;
  plus: string;
  minus: string;
  sensePlus: string;
  senseMinus: string;
  value: number;
  noise: number;
  magnetising: number;
  leakage: number;
  ratio: number;
}

export interface Case {
  name: string;
  output: string;
  elements: SpiceElement[];
  frequencyHz: number[];
  re: number[];
  im: number[];
  noiseFrequencyHz: number[];
  noiseVPerRtHz: number[];
}

export const { cases, temperatureK, oracle } = JSON.parse(readFileSync(new URL('../outside/ngspice/circuits.json', import.meta.url), 'utf8')) as {
  cases: Case[];
  temperatureK: number;
  oracle: string;
};

const node = (name: string): string => (name === '0' ? GROUND : name);

export function elementsOf(e: SpiceElement): Element[] {
  const [a, b, plus, minus] = [e.a, e.b, e.plus, e.minus].map((name) => node(name));
  const noise = e.noise > 0 ? { densityPerRtHz: e.noise, cornerHz: 0 } : null;
  switch (e.kind) {
    case 'resistor':
      return [resistor(e.name, a, b, e.value)];
    case 'capacitor':
      return [capacitor(e.name, a, b, e.value)];
    case 'inductor':
      return [inductor(e.name, a, b, e.value)];
    case 'voltage-source':
      return [voltageSource(e.name, plus, minus, noise)];
    case 'current-source':
      return [currentSource(e.name, plus, minus, noise)];
    case 'voltage-amplifier':
      return [voltageAmplifier(e.name, [plus, minus], [node(e.sensePlus), node(e.senseMinus)], e.value)];
    case 'transconductor':
      return [transconductor(e.name, [plus, minus], [node(e.sensePlus), node(e.senseMinus)], e.value)];
    case 'transformer':
      return [
        inductor(`${e.name}.leakage`, a, 'core', e.leakage),
        inductor(`${e.name}.magnetising`, 'core', b, e.magnetising),
        idealTransformer(e.name, ['core', b], [node(e.c), node(e.d)], e.ratio),
      ];
    default:
      throw new Error(`unknown element ${e.kind}`);
  }
}
