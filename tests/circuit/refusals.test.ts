/** Networks that cannot be solved are refused in one clear sentence. */
import { describe, expect, it } from 'vitest';
import { GROUND, capacitor, currentSource, idealTransformer, inductor, resistor, voltageSource } from '../../src/circuit/elements.js';
import { FULL_UP, instrumentSection, potFraction } from '../../src/circuit/instrument.js';
import { response, toGround } from '../../src/circuit/response.js';
import { bufferSection, isolationTransformerSection, leadSection } from '../../src/circuit/sections.js';
import { Problem } from '../../src/problems.js';

const at1k = Float64Array.of(1000);

function refusal(act: () => unknown): Problem {
  try {
    act();
  } catch (error) {
    if (error instanceof Problem) return error;
    throw error;
  }
  throw new Error('was not refused');
}

describe('impossible parts', () => {
  it.each([
    ['circuit.value', () => resistor('plug', 'a', 'b', 0), 'plug: resistance is 0 ohm, but must be above zero'],
    ['circuit.value', () => resistor('plug', 'a', 'b', -8200), 'plug: resistance is -8200 ohm'],
    ['circuit.value', () => capacitor('tone.capacitor', 'a', 'b', Number.NaN), 'tone.capacitor: capacitance is NaN F'],
    ['circuit.value', () => inductor('coil', 'a', 'b', Infinity), 'coil: inductance is Infinity H'],
    ['circuit.value', () => idealTransformer('t', ['a', GROUND], ['b', GROUND], 0), 'turns ratio is 0, but must be other than zero'],
    ['circuit.value', () => leadSection('lead', 'a', { lengthM: -1, capacitanceFPerM: 1e-10 }), 'lead: length is -1 m, but must be zero or above'],
    ['circuit.value', () => leadSection('lead', 'a', { lengthM: 1, capacitanceFPerM: 0 }), 'capacitance per metre is 0 F/m'],
    [
      'circuit.value',
      () => bufferSection('buffer', 'a', { inputResistanceOhm: 1e6, inputCapacitanceF: -1e-12, outputResistanceOhm: 100 }),
      'buffer: input capacitance is -1e-12 F',
    ],
    [
      'circuit.value',
      () =>
        isolationTransformerSection('t', 'a', {
          ratio: 1,
          primaryResistanceOhm: 60,
          secondaryResistanceOhm: 60,
          magnetisingH: 0,
          leakageH: 1e-3,
          windingCapacitanceF: 0,
        }),
      't.magnetising: inductance is 0 H',
    ],
    ['circuit.value', () => potFraction('volume', 11, 'linear'), 'volume: setting is 11, but must be from 0 to 1'],
    ['circuit.value', () => voltageSource('v', 'a', GROUND, { densityPerRtHz: -1, cornerHz: 0 }), 'noise density is -1 V/rtHz'],
  ])('%s: %#', (code, act, says) => {
    const { code: got, message, exit } = refusal(act);
    expect(got).toBe(code);
    expect(exit).toBe(2);
    expect(message).toContain(says);
  });
});

describe('impossible networks', () => {
  it('names a floating node and the part it belongs to', () => {
    const network = [voltageSource('v', 'a', GROUND), resistor('r', 'a', GROUND, 1000), capacitor('stray', 'x', 'y', 1e-12)];
    expect(refusal(() => response(network, 'v', toGround('a'), at1k)).message).toMatch(/node "x" \(at stray\) has no path to ground/);
  });

  it('sees that a transformer carries no node to ground across its windings', () => {
    const network = [
      voltageSource('v', 'a', GROUND),
      idealTransformer('t', ['a', GROUND], ['s1', 's2'], 1),
      resistor('load', 's1', 's2', 600),
    ];
    expect(refusal(() => response(network, 'v', toGround('a'), at1k)).code).toBe('circuit.floating');
  });

  it('sees that a current source holds no node', () => {
    expect(refusal(() => response([currentSource('i', 'a', GROUND)], 'i', toGround('a'), at1k)).code).toBe('circuit.floating');
  });

  it('refuses two voltage sources across each other', () => {
    const network = [voltageSource('v', 'a', GROUND), voltageSource('w', 'a', GROUND), resistor('r', 'a', GROUND, 1)];
    expect(refusal(() => response(network, 'v', toGround('a'), at1k)).message).toMatch(/no single solution at 1000 Hz/);
  });

  it('refuses a node that only capacitors reach at 0 Hz, and solves it above', () => {
    const network = [voltageSource('v', 'a', GROUND), capacitor('c1', 'a', 'b', 1e-9), capacitor('c2', 'b', GROUND, 1e-9)];
    expect(response(network, 'v', toGround('b'), at1k).re[0]).toBeCloseTo(0.5, 12);
    expect(refusal(() => response(network, 'v', toGround('b'), Float64Array.of(0))).code).toBe('circuit.singular');
  });

  it('refuses two parts of one name, unknown nodes and sources, and frequencies below zero', () => {
    const network = [voltageSource('v', 'a', GROUND), resistor('r', 'a', GROUND, 1)];
    expect(refusal(() => response([...network, resistor('r', 'a', GROUND, 2)], 'v', toGround('a'), at1k)).code).toBe('circuit.duplicate');
    expect(refusal(() => response(network, 'v', toGround('b'), at1k)).code).toBe('circuit.unknown-node');
    expect(refusal(() => response(network, 'r', toGround('a'), at1k)).code).toBe('circuit.unknown-source');
    expect(refusal(() => response(network, 'v', toGround('a'), Float64Array.of(-1))).code).toBe('circuit.frequency');
  });
});

describe('pots', () => {
  it('follow their tapers through the ends and the middle', () => {
    for (const taper of ['linear', 'logarithmic', 'reverse-logarithmic'] as const) {
      expect(potFraction('p', 0, taper)).toBeCloseTo(0, 12);
      expect(potFraction('p', 1, taper)).toBeCloseTo(1, 12);
    }
    expect(potFraction('p', 0.5, 'linear')).toBe(0.5);
    expect(potFraction('p', 0.5, 'logarithmic')).toBeCloseTo(0.1, 12);
    expect(potFraction('p', 0.5, 'reverse-logarithmic')).toBeCloseTo(0.9, 12);
  });

  it('at their stops leave a network that can be solved: volume down is silence, not an error', () => {
    const instrument = { pickup: { resistanceOhm: 8200, inductanceH: 3.1, capacitanceF: 110e-12 }, volumeOhm: 5e5, tone: null, lead: null };
    const { elements, output } = instrumentSection(instrument, { ...FULL_UP, volume: 0 });
    const { re, im } = response(elements, 'pickup.voltage', toGround(output), at1k);
    expect(20 * Math.log10(Math.hypot(re[0], im[0]))).toBeLessThan(-90);
  });
});
