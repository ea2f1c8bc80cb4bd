/** Linear devices with a closed-form response, for tests: applied by one long transform. */
import { irfft, nextPowerOfTwo, rfft } from '../../src/numerics/fft.js';

export type Complex = readonly [re: number, im: number];

export const times = ([a, b]: Complex, [c, d]: Complex): Complex => [a * c - b * d, a * d + b * c];

/** 1 / (1 + jf/fc) */
export const lowPass = (corner: number) => (hz: number): Complex => {
  const r = hz / corner;
  return [1 / (1 + r * r), -r / (1 + r * r)];
};

/** 1 / (1 − jfc/f) */
export const highPass = (corner: number) => (hz: number): Complex => {
  const r = corner / hz;
  return [1 / (1 + r * r), r / (1 + r * r)];
};

export const delay = (seconds: number) => (hz: number): Complex => [Math.cos(2 * Math.PI * hz * seconds), -Math.sin(2 * Math.PI * hz * seconds)];

export const gain = (db: number) => (): Complex => [10 ** (db / 20), 0];

export const invert = (): Complex => [-1, 0];

export const chain = (...parts: ((hz: number) => Complex)[]) => (hz: number): Complex => parts.reduce<Complex>((h, part) => times(h, part(hz)), [1, 0]);

export function through(x: Float64Array, sampleRateHz: number, response: (hz: number) => Complex): Float64Array {
  const size = nextPowerOfTwo(x.length + sampleRateHz);
  const s = rfft(x, size);
  for (let k = 0; k <= size / 2; k++) {
    const [re, im] = times([s.re[k]!, s.im[k]!], k === 0 ? [0, 0] : response((k * sampleRateHz) / size));
    s.re[k] = re;
    s.im[k] = im;
  }
  return irfft(s).slice(0, x.length);
}
