/** What holds for every passive network, on seeded random ones. */
import { describe, expect, it } from 'vitest';
import { GROUND, capacitor, idealTransformer, inductor, resistor, voltageSource, type Element } from '../../src/circuit/elements.js';
import { outputNoise } from '../../src/circuit/noise.js';
import { impedance, inputImpedance, responses, toGround, transferImpedance } from '../../src/circuit/response.js';
import { BOLTZMANN_J_PER_K } from '../../src/units/constants.js';
import { seeded } from '../helpers/random.js';

const FREQUENCIES = Float64Array.from([0.5, 20, 173, 997, 5000, 20000, 90000]);

/** A random connected network of 3 to 9 nodes: resistors as a tree to ground, and branches of every passive kind. */
function randomNetwork(seed: number): { elements: Element[]; nodes: string[]; resistors: { ohm: number; a: string; b: string }[] } {
  const { uniform } = seeded(seed);
  const nodes = Array.from({ length: 3 + Math.floor(uniform() * 7) }, (_, k) => `n${k}`);
  const all = [GROUND, ...nodes];
  const between = (low: number, high: number): number => low * (high / low) ** uniform();
  const pick = (list: readonly string[]): string => list[Math.floor(uniform() * list.length)];
  const elements: Element[] = [];
  const resistors: { ohm: number; a: string; b: string }[] = [];
  const addResistor = (name: string, a: string, b: string): void => {
    const ohm = between(10, 1e6);
    resistors.push({ ohm, a, b });
    elements.push(resistor(name, a, b, ohm));
  };
  nodes.forEach((node, k) => addResistor(`tree${k}`, node, pick(all.slice(0, k + 1))));
  for (let k = 0; k < 2 * nodes.length; k++) {
    const a = pick(all);
    const b = pick(all.filter((node) => node !== a));
    const kind = Math.floor(uniform() * 4);
    if (kind === 0) addResistor(`r${k}`, a, b);
    else if (kind === 1) elements.push(capacitor(`c${k}`, a, b, between(10e-12, 1e-6)));
    else if (kind === 2) {
      addResistor(`rl${k}`, a, `m${k}`);
      elements.push(inductor(`l${k}`, `m${k}`, b, between(1e-3, 10)));
    } else {
      addResistor(`rp${k}`, a, `p${k}`);
      addResistor(`rs${k}`, `s${k}`, b);
      elements.push(inductor(`lt${k}`, `p${k}`, GROUND, between(0.1, 50)));
      elements.push(idealTransformer(`t${k}`, [`p${k}`, GROUND], [`s${k}`, GROUND], (uniform() < 0.5 ? -1 : 1) * between(0.2, 5)));
    }
  }
  return { elements, nodes, resistors };
}

const seeds = Array.from({ length: 40 }, (_, k) => [k + 1] as const);

describe('random passive networks', () => {
  it.each(seeds)('are reciprocal (%i)', (seed) => {
    const { elements, nodes } = randomNetwork(seed);
    const [p, q] = [toGround(nodes[0]), { plus: nodes[1], minus: nodes[2] }];
    const forth = transferImpedance(elements, p, q, FREQUENCIES);
    const back = transferImpedance(elements, q, p, FREQUENCIES);
    const zp = impedance(elements, p, FREQUENCIES);
    const zq = impedance(elements, q, FREQUENCIES);
    FREQUENCIES.forEach((f, k) => {
      // Relative to the ports' own impedances, as the transfer itself may be next to nothing; values span 1e-11 to 1e6,
      // so up to five of sixteen digits may go.
      const size = Math.sqrt(Math.hypot(zp.re[k], zp.im[k]) * Math.hypot(zq.re[k], zq.im[k]));
      expect(Math.hypot(forth.re[k] - back.re[k], forth.im[k] - back.im[k]) / size, `${f} Hz`).toBeLessThan(1e-10);
    });
  });

  it.each(seeds)('burn in their resistors exactly what the source delivers, never more (%i)', (seed) => {
    const { elements, nodes, resistors } = randomNetwork(seed);
    const network = [voltageSource('v', 'source', GROUND), resistor('rv', 'source', nodes[0], 1000), ...elements];
    const zIn = inputImpedance(network, 'v', FREQUENCIES);
    const ends = [...resistors, { ohm: 1000, a: 'source', b: nodes[0] }];
    const across = responses(network, 'v', ends.map(({ a, b }) => ({ plus: a, minus: b })), FREQUENCIES);
    FREQUENCIES.forEach((f, k) => {
      const delivered = zIn.re[k] / (zIn.re[k] ** 2 + zIn.im[k] ** 2);
      const burnt = ends.reduce((sum, { ohm }, r) => sum + (across[r].re[k] ** 2 + across[r].im[k] ** 2) / ohm, 0);
      expect(zIn.re[k], `${f} Hz: real part of the input impedance`).toBeGreaterThan(0);
      expect(Math.abs(burnt / delivered - 1), `${f} Hz: burnt ${burnt} W, delivered ${delivered} W`).toBeLessThan(1e-9);
      // No load gets more than the source can give: |V|²/(4R) at most, one volt behind 1 kΩ.
      resistors.forEach(({ ohm }, r) => expect((across[r].re[k] ** 2 + across[r].im[k] ** 2) / ohm).toBeLessThanOrEqual(0.25e-3 * (1 + 1e-9)));
    });
  });

  it.each(seeds)('make the thermal noise of the resistance seen: 4·k·T·Re(Z) (Nyquist) (%i)', (seed) => {
    const { elements, nodes } = randomNetwork(seed);
    const port = { plus: nodes[1], minus: nodes[0] };
    const z = impedance(elements, port, FREQUENCIES);
    const { densityVPerRtHz } = outputNoise(elements, port, FREQUENCIES, 300);
    FREQUENCIES.forEach((f, k) => {
      const want = Math.sqrt(4 * BOLTZMANN_J_PER_K * 300 * z.re[k]);
      expect(Math.abs(densityVPerRtHz[k] / want - 1), `${f} Hz: got ${densityVPerRtHz[k]}, want ${want}`).toBeLessThan(1e-8);
    });
  });

  it.each(seeds.slice(0, 10))('scale: all impedances times ten, the same transfer (%i)', (seed) => {
    const { elements, nodes } = randomNetwork(seed);
    const scaled = elements.map((e): Element => {
      if (e.kind === 'resistor') return { ...e, ohm: 10 * e.ohm };
      if (e.kind === 'inductor') return { ...e, henry: 10 * e.henry };
      return e.kind === 'capacitor' ? { ...e, farad: e.farad / 10 } : e;
    });
    const one = transferImpedance(elements, toGround(nodes[0]), toGround(nodes[1]), FREQUENCIES);
    const ten = transferImpedance(scaled, toGround(nodes[0]), toGround(nodes[1]), FREQUENCIES);
    const z = impedance(elements, toGround(nodes[0]), FREQUENCIES);
    FREQUENCIES.forEach((f, k) => {
      const size = Math.max(Math.hypot(one.re[k], one.im[k]), 1e-3 * Math.hypot(z.re[k], z.im[k]));
      expect(Math.hypot(ten.re[k] / 10 - one.re[k], ten.im[k] / 10 - one.im[k]) / size, `${f} Hz`).toBeLessThan(1e-8);
    });
  });

  it('give the same answer whatever the order of their elements', () => {
    const { elements, nodes } = randomNetwork(7);
    const forward = transferImpedance(elements, toGround(nodes[0]), toGround(nodes[1]), FREQUENCIES);
    const backward = transferImpedance([...elements].reverse(), toGround(nodes[0]), toGround(nodes[1]), FREQUENCIES);
    FREQUENCIES.forEach((_, k) => {
      const size = Math.hypot(forward.re[k], forward.im[k]);
      expect(Math.hypot(forward.re[k] - backward.re[k], forward.im[k] - backward.im[k]) / size).toBeLessThan(1e-9);
    });
  });
});
