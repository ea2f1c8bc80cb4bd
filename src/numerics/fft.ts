/**
 * Discrete Fourier transforms on typed arrays, over fft.js.
 *
 * Convention: forward X[k] = Σ x[n]·e^(−j2πkn/N), unscaled; the inverse divides by N. Real transforms give bins
 * 0…N/2 (N/2 + 1 of them, DC and Nyquist real). Sizes are powers of two, at least 4.
 *
 * A real transform of N points runs as a complex one of N/2 and an unpacking step, which is faster than fft.js's
 * own real transform at large sizes and also gives the inverse that fft.js lacks.
 *
 * @module
 */
import FFT from 'fft.js';

/** One-sided spectrum of a real signal: bins 0…N/2. */
export interface Spectrum {
  readonly re: Float64Array;
  readonly im: Float64Array;
}

/** Smallest power of two that is at least n (and at least 4). */
export function nextPowerOfTwo(n: number): number {
  let size = 4;
  while (size < n) size *= 2;
  return size;
}

interface Plan {
  readonly fft: FFT;
  readonly input: Float64Array;
  readonly output: Float64Array;
}

const plans = new Map<number, Plan>();

function planOf(size: number): Plan {
  let plan = plans.get(size);
  if (!plan) {
    plan = { fft: new FFT(size), input: new Float64Array(2 * size), output: new Float64Array(2 * size) };
    plans.set(size, plan);
  }
  return plan;
}

/** e^(−j2πk/N) for k = 0…N/4, the unpacking factors of a real transform of N points; interleaved. */
const twiddles = new Map<number, Float64Array>();

function twiddleOf(size: number): Float64Array {
  let table = twiddles.get(size);
  if (!table) {
    const quarter = size >> 2;
    table = new Float64Array(2 * (quarter + 1));
    for (let k = 0; k <= quarter; k++) {
      const angle = (2 * Math.PI * k) / size;
      table[2 * k] = Math.cos(angle);
      table[2 * k + 1] = -Math.sin(angle);
    }
    twiddles.set(size, table);
  }
  return table;
}

/** A spectrum of zeros for a real signal of `size` points. */
export const zeroSpectrum = (size: number): Spectrum => ({
  re: new Float64Array(size / 2 + 1),
  im: new Float64Array(size / 2 + 1),
});

/**
 * Real forward transform. `x` may be shorter than `size`: it is padded with zeros.
 *
 * @param x - Samples.
 * @param size - Power of two, at least 4 and at least x.length.
 * @param out - Reused when given.
 */
export function rfft(x: Float64Array, size: number = nextPowerOfTwo(x.length), out: Spectrum = zeroSpectrum(size)): Spectrum {
  const half = size >> 1;
  const { fft, input, output } = planOf(half);
  if (x.length < size) {
    input.set(x);
    input.fill(0, x.length);
  }
  fft.transform(output, x.length < size ? input : x);
  // With z[n] = x[2n] + j·x[2n+1]: even part E = (Z[k] + conj Z[M−k])/2, odd part O = (Z[k] − conj Z[M−k])/2j,
  // X[k] = E + e^(−j2πk/N)·O and X[M−k] = conj(E − e^(−j2πk/N)·O).
  const { re, im } = out;
  const w = twiddleOf(size);
  re[0] = output[0]! + output[1]!;
  im[0] = 0;
  re[half] = output[0]! - output[1]!;
  im[half] = 0;
  for (let k = 1; k <= half >> 1; k++) {
    const m = half - k;
    const ar = output[2 * k]!;
    const ai = output[2 * k + 1]!;
    const br = output[2 * m]!;
    const bi = output[2 * m + 1]!;
    const evenRe = (ar + br) / 2;
    const evenIm = (ai - bi) / 2;
    const oddRe = (ai + bi) / 2;
    const oddIm = (br - ar) / 2;
    const c = w[2 * k]!;
    const s = w[2 * k + 1]!;
    const tr = c * oddRe - s * oddIm;
    const ti = c * oddIm + s * oddRe;
    re[k] = evenRe + tr;
    im[k] = evenIm + ti;
    re[m] = evenRe - tr;
    im[m] = ti - evenIm;
  }
  return out;
}

/**
 * Inverse of {@link rfft}: the real signal of `2·(bins − 1)` points. The imaginary parts at DC and Nyquist are
 * taken as zero.
 */
export function irfft(spectrum: Spectrum, out: Float64Array = new Float64Array(2 * (spectrum.re.length - 1))): Float64Array {
  const { re, im } = spectrum;
  const half = re.length - 1;
  const size = 2 * half;
  const { fft, input } = planOf(half);
  const w = twiddleOf(size);
  input[0] = (re[0]! + re[half]!) / 2;
  input[1] = (re[0]! - re[half]!) / 2;
  for (let k = 1; k <= half >> 1; k++) {
    const m = half - k;
    const evenRe = (re[k]! + re[m]!) / 2;
    const evenIm = (im[k]! - im[m]!) / 2;
    const tr = (re[k]! - re[m]!) / 2;
    const ti = (im[k]! + im[m]!) / 2;
    const c = w[2 * k]!;
    const s = w[2 * k + 1]!;
    // O = t·e^(+j2πk/N); Z = E + jO, and Z[M−k] = conj(E) + j·conj(O).
    const oddRe = tr * c + ti * s;
    const oddIm = ti * c - tr * s;
    input[2 * k] = evenRe - oddIm;
    input[2 * k + 1] = evenIm + oddRe;
    input[2 * m] = evenRe + oddIm;
    input[2 * m + 1] = oddRe - evenIm;
  }
  fft.inverseTransform(out, input);
  return out;
}

/** Complex inverse transform, interleaved re, im; divided by the number of points. */
export function complexInverse(input: Float64Array, out: Float64Array = new Float64Array(input.length)): Float64Array {
  planOf(input.length / 2).fft.inverseTransform(out, input);
  return out;
}

/** Complex forward transform, interleaved re, im; unscaled. */
export function complexForward(input: Float64Array, out: Float64Array = new Float64Array(input.length)): Float64Array {
  planOf(input.length / 2).fft.transform(out, input);
  return out;
}
