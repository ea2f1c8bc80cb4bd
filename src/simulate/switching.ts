/**
 * What a footswitch makes of a direct voltage: the coupling capacitor of a loop has leaked and holds one, and when the contact
 * closes it is put across the path, through the resistance of the device, and runs off through whatever the path has there.
 *
 * @module
 */

import { loopsIn, type PathNetwork } from '../circuit/board-network.js';
import { toGround, transferImpedance, type ComplexCurve, type Port } from '../circuit/response.js';
import type { Board, Step } from '../board/model.js';

/** The capacitor that holds the voltage, and what lies in series with it. */
const COUPLING_F = 1e-6;
const SERIES_OHM = 1000;

/** One press each so often, the first so long after the silence before. */
export const PRESS_EVERY_S = 1.2;
export const PRESS_AFTER_S = 0.3;
/** In the capture of one loop its switch is pressed so often, in and out. */
const PRESSES_OF_ONE = 10;

/** Loops whose switches are pressed, in order: each in and out, or the one of the step again and again. */
export function pressesOf(board: Board, step: Pick<Step, 'state'>): readonly string[] {
  const [own] = step.state.startsWith('loop-') ? loopsIn(board, step.state) : [];
  return own === undefined ? board.loops.flatMap(({ id }) => [id, id]) : Array.from({ length: PRESSES_OF_ONE }, () => own);
}

/**
 * Spectrum of the voltage at each port after the contact has closed at time 0, per volt held, V/Hz: a current
 * 1/(jω)·Y/(1 + Z·Y) into the end of the path, with Y = 1/(R + 1/jωC) and Z what the path shows there.
 */
export function closingContact(path: PathNetwork, ports: readonly Port[], frequenciesHz: Float64Array): ComplexCurve[] {
  const node = toGround(path.end);
  const own = transferImpedance(path.network, node, node, frequenciesHz);
  return ports.map((port) => {
    const to = transferImpedance(path.network, node, port, frequenciesHz);
    const re = new Float64Array(frequenciesHz.length);
    const im = new Float64Array(frequenciesHz.length);
    frequenciesHz.forEach((f, k) => {
      const omega = 2 * Math.PI * f;
      // Y/(jω·(1 + Z·Y)) = C/(1 + jωC·(R + Z)).
      const a = 1 - omega * COUPLING_F * own.im[k];
      const b = omega * COUPLING_F * (SERIES_OHM + own.re[k]);
      const scale = COUPLING_F / (a * a + b * b);
      re[k] = scale * (to.re[k] * a + to.im[k] * b);
      im[k] = scale * (to.im[k] * a - to.re[k] * b);
    });
    return { re, im };
  });
}
