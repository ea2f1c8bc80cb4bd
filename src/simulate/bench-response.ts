/**
 * Responses of the simulated player and recorder: first-order high-pass and low-pass of each, and on the recorder's side
 * a small ripple of linear phase as the filters of converters have it.
 *
 * @module
 */

import type { ComplexCurve } from '../circuit/response.js';
import type { BenchTruth } from './model.js';

/** jf/(jf + f_hp) · 1/(1 + jf/f_lp) at each frequency; a corner of 0, or of infinity, leaves its factor out. */
export function playerResponse(bench: BenchTruth, frequenciesHz: Float64Array): ComplexCurve {
  const re = new Float64Array(frequenciesHz.length);
  const im = new Float64Array(frequenciesHz.length);
  frequenciesHz.forEach((f, k) => {
    // f/(f − j·f_hp) · (1 − jx)/(1 + x²) with x = f/f_lp.
    const high = f * f + bench.highPassHz * bench.highPassHz;
    const hRe = high === 0 ? 1 : (f * f) / high;
    const hIm = high === 0 ? 0 : (f * bench.highPassHz) / high;
    const x = f / bench.lowPassHz;
    const low = 1 + x * x;
    re[k] = (hRe + hIm * x) / low;
    im[k] = (hIm - hRe * x) / low;
  });
  return { re, im };
}

/** The same corners, and the ripple. */
export function recorderResponse(bench: BenchTruth, frequenciesHz: Float64Array): ComplexCurve {
  const { re, im } = playerResponse(bench, frequenciesHz);
  frequenciesHz.forEach((f, k) => {
    const ripple = 10 ** ((bench.rippleDb * Math.cos((2 * Math.PI * f) / bench.ripplePeriodHz)) / 20);
    re[k] *= ripple;
    im[k] *= ripple;
  });
  return { re, im };
}

/** Element-wise product. */
export function times(a: ComplexCurve, b: ComplexCurve): ComplexCurve {
  return {
    re: a.re.map((value, k) => value * b.re[k] - a.im[k] * b.im[k]),
    im: a.re.map((value, k) => value * b.im[k] + a.im[k] * b.re[k]),
  };
}
