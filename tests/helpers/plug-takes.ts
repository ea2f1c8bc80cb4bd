/** Responses as a take would give them, made from a closed form and seeded errors: no samples, so that hundreds are quick. */
import { GRID_HZ } from '../../src/measure/frequency-grid.js';
import type { ResponseEstimate } from '../../src/measure/take.js';
import type { Complex } from './device.js';
import { seeded } from './random.js';

/** The response with complex errors of that standard deviation (both parts together, relative), said and drawn alike. */
export function responseWith(h: (hz: number) => Complex, relativeError: number, seed: number): ResponseEstimate {
  const { gauss } = seeded(seed);
  const re = new Float64Array(GRID_HZ.length);
  const im = new Float64Array(GRID_HZ.length);
  const variance = new Float64Array(GRID_HZ.length);
  GRID_HZ.forEach((hz, i) => {
    const [a, b] = h(hz);
    const error = relativeError * Math.hypot(a, b);
    re[i] = a + (error / Math.SQRT2) * gauss();
    im[i] = b + (error / Math.SQRT2) * gauss();
    variance[i] = error * error;
  });
  return { curve: { re, im }, variance, peakLagS: 0 };
}

export const over = ([a, b]: Complex, [c, d]: Complex): Complex => [(a * c + b * d) / (c * c + d * d), (b * c - a * d) / (c * c + d * d)];

/** Voltage over G + j2πfC behind a resistance. */
export const behind = (ohm: number, siemens: number, farad: number) => (hz: number): Complex => over([1, 0], [1 + ohm * siemens, ohm * 2 * Math.PI * hz * farad]);
