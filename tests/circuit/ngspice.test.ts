/**
 * Networks solved by ngspice (tests/outside/ngspice) against our own solution of the same elements, and the parts in the
 * words of the trade against the same networks written out element by element.
 */
import { describe, expect, it } from 'vitest';
import { FULL_UP, PICKUP_SOURCE, instrumentSection } from '../../src/circuit/instrument.js';
import { GROUND, resistor, voltageSource } from '../../src/circuit/elements.js';
import type { Network } from '../../src/circuit/elements.js';
import { outputNoise } from '../../src/circuit/noise.js';
import { response, toGround } from '../../src/circuit/response.js';
import type { Port } from '../../src/circuit/response.js';
import { cases, elementsOf, temperatureK } from '../helpers/ngspice-circuits.js';
import type { Case } from '../helpers/ngspice-circuits.js';
import { pathNetwork } from '../../src/circuit/board-network.js';
import { bufferSection, isolationTransformerSection, loadSection } from '../../src/circuit/sections.js';

/** Response within 0.01 dB and 0.1°, noise within 0.05 dB: the tolerances asked of the circuit layer. */
function expectSame(network: Network, source: string, output: string | Port, want: Case): void {
  const port = typeof output === 'string' ? toGround(output) : output;
  const frequencies = Float64Array.from(want.frequencyHz);
  const got = response(network, source, port, frequencies);
  const noise = outputNoise(network, port, Float64Array.from(want.noiseFrequencyHz), temperatureK);
  // ngspice works with gmin = 1e-12 S and prints 10 digits: far below the peak both are rounding, so compare down to −160 dB of it.
  const peak = Math.max(...want.re.map((re, k) => Math.hypot(re, want.im[k])));
  want.frequencyHz.forEach((f, k) => {
    const where = `${want.name} at ${f} Hz`;
    const size = Math.hypot(want.re[k], want.im[k]);
    if (size > 1e-8 * peak) {
      const level = 20 * Math.log10(Math.hypot(got.re[k], got.im[k]) / size);
      const phase = Math.atan2(got.im[k] * want.re[k] - got.re[k] * want.im[k], got.re[k] * want.re[k] + got.im[k] * want.im[k]);
      expect(Math.abs(level), `${where}: level off by ${level} dB`).toBeLessThan(0.01);
      expect(Math.abs((phase * 180) / Math.PI), `${where}: phase off by ${(phase * 180) / Math.PI}°`).toBeLessThan(0.1);
    }
  });
  want.noiseFrequencyHz.forEach((f, k) => {
    const noiseDb = 20 * Math.log10(noise.densityVPerRtHz[k] / want.noiseVPerRtHz[k]);
    expect(Math.abs(noiseDb), `${want.name} at ${f} Hz: noise off by ${noiseDb} dB`).toBeLessThan(0.05);
  });
}

const caseOf = (name: string): Case => cases.find((candidate) => candidate.name === name)!;

describe('ngspice and we solve the same elements alike', () => {
  it.each(cases.map((c) => [c.name, c] as const))('%s', (_, want) => {
    expectSame(want.elements.flatMap((e) => elementsOf(e)), 'in', want.output, want);
  });
});

describe('parts in the words of the trade are the networks they stand for', () => {
  const instrument = {
    pickup: { resistanceOhm: 8200, inductanceH: 3.1, capacitanceF: 110e-12 },
    volumeOhm: 5e5,
    tone: { resistanceOhm: 5e5, capacitorF: 22e-9 },
    lead: { lengthM: 5, capacitanceFPerM: 95e-12 },
  };
  const controls = { ...FULL_UP, volumeTaper: 'logarithmic' as const };

  it.each([
    ['pickup-full-up', controls],
    ['pickup-volume-7', { ...controls, volume: 0.7 }],
    ['pickup-tone-down', { ...controls, tone: 0 }],
  ])('an instrument into 1 MΩ: %s', (name, settings) => {
    const section = instrumentSection(instrument, settings);
    const load = loadSection('load', section.output, { ohm: 1e6, farad: 30e-12 });
    expectSame([...section.elements, ...load.elements], PICKUP_SOURCE, section.output, caseOf(name));
  });

  it('an instrument at volume 7 into a buffer with noise', () => {
    const section = instrumentSection(instrument, { ...controls, volume: 0.7 });
    const buffer = bufferSection('buffer', section.output, {
      inputResistanceOhm: 1e6,
      inputCapacitanceF: 30e-12,
      outputResistanceOhm: 220,
      noise: { densityPerRtHz: 9e-9, cornerHz: 0 },
      currentNoise: { densityPerRtHz: 0.5e-12, cornerHz: 0 },
    });
    const load = loadSection('load', buffer.output, { ohm: 1e4 });
    expectSame([...section.elements, ...buffer.elements, ...load.elements], PICKUP_SOURCE, buffer.output, caseOf('pickup-buffer'));
  });

  it('two outputs, one of them played into: a capacitance between them, and a return that both share', () => {
    const stage = (outputResistanceOhm: number) => ({ driver: { inputResistanceOhm: 1e6, inputCapacitanceF: 0, outputResistanceOhm }, transformer: null });
    const plain = { lift: false, polaritySwitch: false, isolated: false };
    const { network, source, outputs } = pathNetwork(
      { instrument: null, input: { wiring: null, buffer: null }, loops: [], outputs: ['A', 'B'].map((id) => ({ id, loadOhm: 1e6, ...plain })) },
      {
        state: 'into-A',
        source: { kind: 'generator', resistanceOhm: 100, plugOhm: null },
        build: { outputs: { A: stage(100), B: stage(4700) }, couplings: [{ outputs: ['A', 'B'], farad: 220e-12 }, { outputs: ['A', 'B'], returnOhm: 0.5 }] },
      },
    );
    expectSame(network, source, outputs.get('B')!, caseOf('into-output'));
  });

  it.each([
    ['transformer-1-1', 1, 100, 1e6],
    ['transformer-step-down', 4.5, 600, 2400],
    ['transformer-inverted', -1, 100, 1e4],
  ])('an isolation transformer: %s', (name, ratio, driverOhm, loadOhm) => {
    const transformer = isolationTransformerSection('t', 'driver', {
      ratio,
      primaryResistanceOhm: 60,
      secondaryResistanceOhm: 60,
      magnetisingH: 20,
      leakageH: 2e-3,
      windingCapacitanceF: 150e-12,
    });
    const network = [
      voltageSource('in', 'src', GROUND),
      resistor('r', 'src', 'driver', driverOhm),
      ...transformer.elements,
      ...loadSection('load', transformer.output, { ohm: loadOhm }).elements,
    ];
    expectSame(network, 'in', transformer.output, caseOf(name));
  });
});
