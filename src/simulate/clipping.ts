/**
 * Stages that clip: what a stage without memory does to the wave at its output, and how that reaches the recorder.
 *
 * A stage's ideal gain drives the rest of the path, so a change of its voltage, e(t) = f(v) − v, goes on as the voltage itself
 * does. Clipping makes harmonics without end, so it is worked out at four times the rate of the capture, and what lies above
 * its band is left behind, as a recorder's filter would.
 *
 * @module
 */

import { drivenInto, loopsIn, type PathNetwork } from '../circuit/board-network.js';
import { responses, toGround, type ComplexCurve } from '../circuit/response.js';
import { irfft, rfft, zeroSpectrum, type Spectrum } from '../numerics/fft.js';
import type { Board } from '../board/model.js';
import { times } from './bench-response.js';
import type { Fault } from './faults.js';

/** Where each half of a wave comes to its end, in volts, and how sharply: 1 bends from the beginning, Infinity cuts off straight. */
export interface Clip {
  readonly positiveV: number;
  readonly negativeV: number;
  readonly sharpness: number;
}

/** v/(1 + |v/V|^p)^(1/p), the usual model of an amplifier near its rails (Rapp 1991, from memory); p → ∞ cuts off at V. */
export function clipped(v: number, { positiveV, negativeV, sharpness }: Clip): number {
  const limit = v < 0 ? negativeV : positiveV;
  if (sharpness === Infinity) return Math.max(-negativeV, Math.min(positiveV, v));
  return v / (1 + Math.abs(v / limit) ** sharpness) ** (1 / sharpness);
}

/** A stage of the path that clips. */
export interface ClippingStage {
  readonly clip: Clip;
  /** Node that its ideal gain drives. */
  readonly node: string;
  /** The one output that hears it; null: all. */
  readonly output: string | null;
}

/**
 * The clipping stages that a state has in its path, in the order of the signal.
 *
 * @param driverClips - What clips on a board without a fault, by output id.
 */
export function clippingStages(board: Board, path: PathNetwork, state: string, faults: readonly Fault[], driverClips: Readonly<Record<string, Clip>> = {}): ClippingStage[] {
  if (state === 'bench' || state === 'lead' || drivenInto(state) !== null) return [];
  /** Behind its inner pole where it has one. */
  const nodeOf = (name: string): string | null => [`${name}.driven`, `${name}.inner`].find((node) => path.network.some((e) => 'plus' in e && e.plus === node)) ?? null;
  const inPath = loopsIn(board, state);
  const stages: ClippingStage[] = [];
  const add = (name: string, clip: Clip, output: string | null): void => {
    const node = nodeOf(name);
    if (node !== null) stages.push({ clip, node, output });
  };
  for (const fault of faults) if (fault.kind === 'input-clips') add('input buffer', fault.clip, null);
  for (const id of inPath) for (const fault of faults) if (fault.kind === 'loop-clips' && fault.loop === id) add(`loop ${id} device`, fault.clip, null);
  for (const [output, clip] of Object.entries(driverClips)) add(`output ${output} driver`, clip, output);
  for (const fault of faults) if (fault.kind === 'output-clips') add(`output ${fault.output} driver`, fault.clip, fault.output);
  return stages;
}

/** Between a wave's peak and a steady tone's through the same response, with room. */
const PEAK_MARGIN = 2;

/** A stage that cuts off straight, and that a signal of this peak never drives so far: it adds nothing. */
export function isNeverReached({ stage, drive }: Pick<ClippingPath, 'stage' | 'drive'>, playedPeakV: number): boolean {
  const { positiveV, negativeV, sharpness } = stage.clip;
  return sharpness === Infinity && PEAK_MARGIN * playedPeakV * drive.re.reduce((most, re, k) => Math.max(most, Math.hypot(re, drive.im[k])), 0) < Math.min(positiveV, negativeV);
}

/** A clipping stage in a path: what drives it, and where its error goes. All on one grid of frequencies. */
export interface ClippingPath {
  readonly stage: ClippingStage;
  /** Its voltage per volt of the player's signal. */
  readonly drive: ComplexCurve;
  /** Its voltage per volt of error of each earlier stage; null where that is not in its way. */
  readonly from: readonly (ComplexCurve | null)[];
  /** Samples of each hearing per volt of its error; null where it is not heard. */
  readonly to: readonly (ComplexCurve | null)[];
}

/**
 * @param outputs - The output of each hearing.
 * @param transfers - Samples of each hearing per volt of the player's signal.
 * @param player - The player's own response.
 */
export function clippingPaths(path: PathNetwork, stages: readonly ClippingStage[], outputs: readonly string[], transfers: readonly ComplexCurve[], player: ComplexCurve, frequenciesHz: Float64Array): ClippingPath[] {
  if (stages.length === 0) return [];
  const nodes = responses(path.network, path.source, stages.map(({ node }) => toGround(node)), frequenciesHz);
  return stages.map((stage, s) => {
    const drive = times(nodes[s], player);
    return {
      stage,
      drive,
      from: stages.slice(0, s).map((earlier, r) => (earlier.output === null || earlier.output === stage.output ? quotient(nodes[s], nodes[r]) : null)),
      to: outputs.map((output, i) => (stage.output === null || stage.output === output ? quotient(transfers[i], drive) : null)),
    };
  });
}

function quotient(a: ComplexCurve, b: ComplexCurve): ComplexCurve {
  const square = b.re.map((v, k) => v * v + b.im[k] * b.im[k]);
  return {
    re: a.re.map((v, k) => (v * b.re[k] + a.im[k] * b.im[k]) / square[k]),
    im: a.re.map((v, k) => (a.im[k] * b.re[k] - v * b.im[k]) / square[k]),
  };
}

const OVERSAMPLING = 4;

/** Spectrum of e = f(v) − v for a stage whose voltage has the spectrum given, of a transform of `size` points. */
export function clippingError(voltage: Spectrum, size: number, clip: Clip): Spectrum {
  const wide = zeroSpectrum(OVERSAMPLING * size);
  wide.re.set(voltage.re.subarray(0, size / 2));
  wide.im.set(voltage.im.subarray(0, size / 2));
  const wave = irfft(wide);
  // The inverse divides by its own length, four times that of the spectrum.
  for (let n = 0; n < wave.length; n++) {
    const v = OVERSAMPLING * wave[n];
    wave[n] = clipped(v, clip) - v;
  }
  const back = rfft(wave);
  const error = zeroSpectrum(size);
  for (let k = 0; k < size / 2; k++) {
    error.re[k] = back.re[k] / OVERSAMPLING;
    error.im[k] = back.im[k] / OVERSAMPLING;
  }
  return error;
}
