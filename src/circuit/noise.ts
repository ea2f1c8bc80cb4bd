/**
 * Noise at the outputs of a network: the thermal noise of every resistor, 4·k·T/R in A²/Hz (Johnson, Nyquist), and the
 * noise of every source that has one, each carried to the output by its own transfer and added as power. One transposed
 * solution per output and frequency gives all transfers at once (the adjoint method).
 *
 * @module
 */

import { BOLTZMANN_J_PER_K, REFERENCE_TEMPERATURE_K } from '../units/constants.js';
import { equationsOf, type Equations } from './equations.js';
import type { Element, Network } from './elements.js';
import { selectPort, type Port } from './response.js';

export interface NoiseContribution {
  /** Name of the resistor or source. */
  readonly part: string;
  /** What it adds at the output, V/√Hz. */
  readonly densityVPerRtHz: Float64Array;
}

export interface OutputNoise {
  /** All together, V/√Hz, one-sided. */
  readonly densityVPerRtHz: Float64Array;
  readonly contributions: readonly NoiseContribution[];
}

/** Cross-spectral density of the noise at several outputs, one-sided, V²/Hz; entry i·count + j is ⟨vᵢ·vⱼ*⟩. */
export interface NoiseMatrix {
  readonly count: number;
  readonly re: readonly Float64Array[];
  readonly im: readonly Float64Array[];
}

interface Generator {
  readonly part: string;
  /** Indices whose adjoint values, first minus second, are the transfer; −1 for none. */
  readonly first: number;
  readonly second: number;
  /** Power density at a frequency, V²/Hz or A²/Hz. */
  readonly power: (frequencyHz: number) => number;
}

function generatorOf(element: Element, equations: Equations, temperatureK: number): Generator | null {
  if (element.kind === 'resistor') {
    if (!element.noisy) return null;
    const power = (4 * BOLTZMANN_J_PER_K * temperatureK) / element.ohm;
    return { part: element.name, first: equations.nodeIndex(element.a), second: equations.nodeIndex(element.b), power: () => power };
  }
  if ((element.kind !== 'voltage-source' && element.kind !== 'current-source') || element.noise === null) return null;
  const { densityPerRtHz, cornerHz } = element.noise;
  const white = densityPerRtHz * densityPerRtHz;
  const power = (frequencyHz: number): number => white * (cornerHz > 0 ? 1 + cornerHz / frequencyHz : 1);
  return element.kind === 'voltage-source'
    ? { part: element.name, first: equations.branchIndex(element.name), second: -1, power }
    : { part: element.name, first: equations.nodeIndex(element.plus), second: equations.nodeIndex(element.minus), power };
}

/** Calls `visit` with each frequency's index and the generators' transfers to every output, as [re, im] per output and generator. */
function sweepTransfers(
  network: Network,
  outputs: readonly Port[],
  frequenciesHz: Float64Array,
  temperatureK: number,
  visit: (k: number, generators: readonly Generator[], re: readonly Float64Array[], im: readonly Float64Array[]) => void,
): readonly Generator[] {
  const equations = equationsOf(network);
  const generators = network.map((element) => generatorOf(element, equations, temperatureK)).filter((generator) => generator !== null);
  const re = outputs.map(() => new Float64Array(generators.length));
  const im = outputs.map(() => new Float64Array(generators.length));
  const yRe = new Float64Array(equations.size);
  const yIm = new Float64Array(equations.size);
  for (let k = 0; k < frequenciesHz.length; k++) {
    equations.setFrequency(frequenciesHz[k]);
    outputs.forEach((output, o) => {
      yRe.fill(0);
      yIm.fill(0);
      selectPort(equations, output, yRe);
      equations.solveTransposed(yRe, yIm);
      generators.forEach(({ first, second }, s) => {
        re[o][s] = (first >= 0 ? yRe[first] : 0) - (second >= 0 ? yRe[second] : 0);
        im[o][s] = (first >= 0 ? yIm[first] : 0) - (second >= 0 ? yIm[second] : 0);
      });
    });
    visit(k, generators, re, im);
  }
  return generators;
}

/**
 * Noise density at one output, in all and by part.
 *
 * @param temperatureK - Of every resistor.
 * @throws as `responses` does. A source with a 1/f corner has infinite density at 0 Hz.
 */
export function outputNoise(network: Network, output: Port, frequenciesHz: Float64Array, temperatureK: number = REFERENCE_TEMPERATURE_K): OutputNoise {
  const total = new Float64Array(frequenciesHz.length);
  const parts: Float64Array[] = [];
  const generators = sweepTransfers(network, [output], frequenciesHz, temperatureK, (k, all, [re], [im]) => {
    let sum = 0;
    all.forEach((generator, s) => {
      parts[s] ??= new Float64Array(frequenciesHz.length);
      const power = generator.power(frequenciesHz[k]) * (re[s] * re[s] + im[s] * im[s]);
      parts[s][k] = Math.sqrt(power);
      sum += power;
    });
    total[k] = Math.sqrt(sum);
  });
  return {
    densityVPerRtHz: total,
    contributions: generators.map(({ part }, s) => ({ part, densityVPerRtHz: parts[s] ?? new Float64Array(0) })),
  };
}

/** Noise of several outputs together, with what they have in common (a buffer ahead of a split is heard in both). */
export function noiseMatrix(
  network: Network,
  outputs: readonly Port[],
  frequenciesHz: Float64Array,
  temperatureK: number = REFERENCE_TEMPERATURE_K,
): NoiseMatrix {
  const count = outputs.length;
  const matrixRe = Array.from({ length: count * count }, () => new Float64Array(frequenciesHz.length));
  const matrixIm = Array.from({ length: count * count }, () => new Float64Array(frequenciesHz.length));
  sweepTransfers(network, outputs, frequenciesHz, temperatureK, (k, generators, re, im) => {
    generators.forEach((generator, s) => {
      const power = generator.power(frequenciesHz[k]);
      for (let i = 0; i < count; i++) {
        for (let j = 0; j < count; j++) {
          matrixRe[i * count + j][k] += power * (re[i][s] * re[j][s] + im[i][s] * im[j][s]);
          matrixIm[i * count + j][k] += power * (im[i][s] * re[j][s] - re[i][s] * im[j][s]);
        }
      }
    });
  });
  return { count, re: matrixRe, im: matrixIm };
}
