/**
 * Discrete Fourier transforms on typed arrays.
 *
 * Convention: forward X[k] = Σ x[n]·e^(−j2πkn/N), unscaled; the inverse divides by N. Complex arrays are interleaved re, im. Real
 * transforms give bins 0…N/2 (N/2 + 1 of them, DC and Nyquist real). Sizes are powers of two: at least 4 real points, 2 complex.
 *
 * The algorithm is Stockham's with four branches: every pass reads one array and writes another in order, so it needs no bit
 * reversal, and arrays larger than the caches are read and written in long runs. A real transform of N points runs as a complex
 * one of N/2 and an unpacking step. There and back again is within 1e-15 of the largest sample.
 *
 * @module
 */

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
  readonly size: number;
  /** e^(−j2πk/N), k from 0 to N − 1. */
  readonly twiddles: Float64Array;
  /** What every second pass writes. */
  readonly work: Float64Array;
  /** Where the real transforms pack their input, and find their output. */
  readonly input: Float64Array;
  readonly output: Float64Array;
}

const plans = new Map<number, Plan>();

function planOf(size: number): Plan {
  let plan = plans.get(size);
  if (!plan) {
    const twiddles = new Float64Array(2 * size);
    for (let k = 0; k < size; k++) {
      twiddles[2 * k] = Math.cos((2 * Math.PI * k) / size);
      twiddles[2 * k + 1] = -Math.sin((2 * Math.PI * k) / size);
    }
    const array = (): Float64Array => new Float64Array(2 * size);
    plan = { size, twiddles, work: array(), input: array(), output: array() };
    plans.set(size, plan);
  }
  return plan;
}

/**
 * All passes. `x` is left as it is; `out` must be another array.
 *
 * @param sign - 1 forward, −1 inverse.
 */
function transform({ size, twiddles, work }: Plan, x: Float64Array, out: Float64Array, sign: 1 | -1): void {
  let passes = 1;
  for (let n = size; n > 4; n /= 4) passes++;
  let from = x;
  let to = passes % 2 ? out : work;
  let length = size;
  let stride = 1;
  for (; length > 4; length /= 4, stride *= 4) {
    if (stride === 1) firstPass(from, to, twiddles, sign);
    else middlePass(length, stride, from, to, twiddles, sign);
    from = to;
    to = to === out ? work : out;
  }
  const scale = sign === 1 ? 1 : 1 / size;
  if (length === 4) lastPassOfFour(stride, from, out, sign, scale);
  else lastPassOfTwo(stride, from, out, scale);
}

// Every pass splits `length` points, `stride` sequences of them side by side, into four interleaved sequences of a quarter as many:
// from a, b, c, d a quarter apart come a + b + c + d, (a − jb − c + jd)·w, (a − b + c − d)·w² and (a + jb − c − jd)·w³, with
// w = e^(−j2πp/length). The inverse takes the conjugates of −j and of w.

/** The pass with stride 1, where p runs fastest. */
function firstPass(x: Float64Array, y: Float64Array, w: Float64Array, sign: number): void {
  const quarter = x.length >> 2;
  for (let a = 0, o = 0; a < quarter; a += 2, o += 8) {
    const b = a + quarter;
    const c = b + quarter;
    const d = c + quarter;
    const ar = x[a]!;
    const ai = x[a + 1]!;
    const br = x[b]!;
    const bi = x[b + 1]!;
    const cr = x[c]!;
    const ci = x[c + 1]!;
    const dr = x[d]!;
    const di = x[d + 1]!;
    const sumAcRe = ar + cr;
    const sumAcIm = ai + ci;
    const differenceAcRe = ar - cr;
    const differenceAcIm = ai - ci;
    const sumBdRe = br + dr;
    const sumBdIm = bi + di;
    const turnedBdRe = sign * (bi - di);
    const turnedBdIm = sign * (dr - br);
    y[o] = sumAcRe + sumBdRe;
    y[o + 1] = sumAcIm + sumBdIm;
    const re1 = differenceAcRe + turnedBdRe;
    const im1 = differenceAcIm + turnedBdIm;
    const re2 = sumAcRe - sumBdRe;
    const im2 = sumAcIm - sumBdIm;
    const re3 = differenceAcRe - turnedBdRe;
    const im3 = differenceAcIm - turnedBdIm;
    const c1 = w[a]!;
    const s1 = sign * w[a + 1]!;
    const c2 = w[2 * a]!;
    const s2 = sign * w[2 * a + 1]!;
    const c3 = w[3 * a]!;
    const s3 = sign * w[3 * a + 1]!;
    y[o + 2] = re1 * c1 - im1 * s1;
    y[o + 3] = re1 * s1 + im1 * c1;
    y[o + 4] = re2 * c2 - im2 * s2;
    y[o + 5] = re2 * s2 + im2 * c2;
    y[o + 6] = re3 * c3 - im3 * s3;
    y[o + 7] = re3 * s3 + im3 * c3;
  }
}

/** A pass with twiddles, where the place within the stride runs fastest. */
function middlePass(length: number, stride: number, x: Float64Array, y: Float64Array, w: Float64Array, sign: number): void {
  const run = 2 * stride;
  const apart = (length >> 2) * run;
  for (let start = 0; start < apart; start += run) {
    // start/run is p, and p·stride the place of w in the table.
    const c1 = w[start]!;
    const s1 = sign * w[start + 1]!;
    const c2 = w[2 * start]!;
    const s2 = sign * w[2 * start + 1]!;
    const c3 = w[3 * start]!;
    const s3 = sign * w[3 * start + 1]!;
    const end = start + run;
    for (let a = start, o = 4 * start; a < end; a += 2, o += 2) {
      const b = a + apart;
      const c = b + apart;
      const d = c + apart;
      const ar = x[a]!;
      const ai = x[a + 1]!;
      const br = x[b]!;
      const bi = x[b + 1]!;
      const cr = x[c]!;
      const ci = x[c + 1]!;
      const dr = x[d]!;
      const di = x[d + 1]!;
      const sumAcRe = ar + cr;
      const sumAcIm = ai + ci;
      const differenceAcRe = ar - cr;
      const differenceAcIm = ai - ci;
      const sumBdRe = br + dr;
      const sumBdIm = bi + di;
      const turnedBdRe = sign * (bi - di);
      const turnedBdIm = sign * (dr - br);
      y[o] = sumAcRe + sumBdRe;
      y[o + 1] = sumAcIm + sumBdIm;
      const re1 = differenceAcRe + turnedBdRe;
      const im1 = differenceAcIm + turnedBdIm;
      const re2 = sumAcRe - sumBdRe;
      const im2 = sumAcIm - sumBdIm;
      const re3 = differenceAcRe - turnedBdRe;
      const im3 = differenceAcIm - turnedBdIm;
      y[o + run] = re1 * c1 - im1 * s1;
      y[o + run + 1] = re1 * s1 + im1 * c1;
      y[o + 2 * run] = re2 * c2 - im2 * s2;
      y[o + 2 * run + 1] = re2 * s2 + im2 * c2;
      y[o + 3 * run] = re3 * c3 - im3 * s3;
      y[o + 3 * run + 1] = re3 * s3 + im3 * c3;
    }
  }
}

/** The last pass of a power of four: no twiddles left. */
function lastPassOfFour(stride: number, x: Float64Array, y: Float64Array, sign: number, scale: number): void {
  const run = 2 * stride;
  for (let a = 0; a < run; a += 2) {
    const b = a + run;
    const c = b + run;
    const d = c + run;
    const ar = x[a]!;
    const ai = x[a + 1]!;
    const br = x[b]!;
    const bi = x[b + 1]!;
    const cr = x[c]!;
    const ci = x[c + 1]!;
    const dr = x[d]!;
    const di = x[d + 1]!;
    const sumAcRe = ar + cr;
    const sumAcIm = ai + ci;
    const differenceAcRe = ar - cr;
    const differenceAcIm = ai - ci;
    const sumBdRe = br + dr;
    const sumBdIm = bi + di;
    const turnedBdRe = sign * (bi - di);
    const turnedBdIm = sign * (dr - br);
    y[a] = scale * (sumAcRe + sumBdRe);
    y[a + 1] = scale * (sumAcIm + sumBdIm);
    y[b] = scale * (differenceAcRe + turnedBdRe);
    y[b + 1] = scale * (differenceAcIm + turnedBdIm);
    y[c] = scale * (sumAcRe - sumBdRe);
    y[c + 1] = scale * (sumAcIm - sumBdIm);
    y[d] = scale * (differenceAcRe - turnedBdRe);
    y[d + 1] = scale * (differenceAcIm - turnedBdIm);
  }
}

/** The last pass of twice a power of four. */
function lastPassOfTwo(stride: number, x: Float64Array, y: Float64Array, scale: number): void {
  const run = 2 * stride;
  for (let a = 0, b = run; a < run; a++, b++) {
    const first = x[a]!;
    const second = x[b]!;
    y[a] = scale * (first + second);
    y[b] = scale * (first - second);
  }
}

/** e^(−j2πk/N) for k = 0…N/4, the unpacking factors of a real transform of N points; interleaved. */
const unpackers = new Map<number, Float64Array>();

function unpackerOf(size: number): Float64Array {
  let table = unpackers.get(size);
  if (!table) {
    const quarter = size >> 2;
    table = new Float64Array(2 * (quarter + 1));
    for (let k = 0; k <= quarter; k++) {
      const angle = (2 * Math.PI * k) / size;
      table[2 * k] = Math.cos(angle);
      table[2 * k + 1] = -Math.sin(angle);
    }
    unpackers.set(size, table);
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
  const plan = planOf(size >> 1);
  const { input, output } = plan;
  if (x.length < size) {
    input.set(x);
    input.fill(0, x.length);
  }
  transform(plan, x.length < size ? input : x, output, 1);
  unpack(output, unpackerOf(size), out);
  return out;
}

/**
 * With z[n] = x[2n] + j·x[2n+1]: even part E = (Z[k] + conj Z[M−k])/2, odd part O = (Z[k] − conj Z[M−k])/2j,
 * X[k] = E + e^(−j2πk/N)·O and X[M−k] = conj(E − e^(−j2πk/N)·O).
 */
function unpack(z: Float64Array, w: Float64Array, { re, im }: Spectrum): void {
  const half = z.length >> 1;
  re[0] = z[0]! + z[1]!;
  im[0] = 0;
  re[half] = z[0]! - z[1]!;
  im[half] = 0;
  for (let k = 1; k <= half >> 1; k++) {
    const m = half - k;
    const ar = z[2 * k]!;
    const ai = z[2 * k + 1]!;
    const br = z[2 * m]!;
    const bi = z[2 * m + 1]!;
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
}

/**
 * Inverse of {@link rfft}: the real signal of `2·(bins − 1)` points. The imaginary parts at DC and Nyquist are
 * taken as zero.
 */
export function irfft(spectrum: Spectrum, out: Float64Array = new Float64Array(2 * (spectrum.re.length - 1))): Float64Array {
  const plan = planOf(spectrum.re.length - 1);
  pack(spectrum, unpackerOf(2 * plan.size), plan.input);
  transform(plan, plan.input, out, -1);
  return out;
}

/** Undoes {@link unpack}: with t = (X[k] − conj X[M−k])/2, O = t·e^(+j2πk/N); Z = E + jO, and Z[M−k] = conj(E) + j·conj(O). */
function pack({ re, im }: Spectrum, w: Float64Array, z: Float64Array): void {
  const half = re.length - 1;
  z[0] = (re[0]! + re[half]!) / 2;
  z[1] = (re[0]! - re[half]!) / 2;
  for (let k = 1; k <= half >> 1; k++) {
    const m = half - k;
    const evenRe = (re[k]! + re[m]!) / 2;
    const evenIm = (im[k]! - im[m]!) / 2;
    const tr = (re[k]! - re[m]!) / 2;
    const ti = (im[k]! + im[m]!) / 2;
    const c = w[2 * k]!;
    const s = w[2 * k + 1]!;
    const oddRe = tr * c + ti * s;
    const oddIm = ti * c - tr * s;
    z[2 * k] = evenRe - oddIm;
    z[2 * k + 1] = evenIm + oddRe;
    z[2 * m] = evenRe + oddIm;
    z[2 * m + 1] = oddRe - evenIm;
  }
}

/** Complex inverse transform, interleaved re, im; divided by the number of points. `out` must not be `input`. */
export function complexInverse(input: Float64Array, out: Float64Array = new Float64Array(input.length)): Float64Array {
  transform(planOf(input.length / 2), input, out, -1);
  return out;
}

/** Complex forward transform, interleaved re, im; unscaled. `out` must not be `input`. */
export function complexForward(input: Float64Array, out: Float64Array = new Float64Array(input.length)): Float64Array {
  transform(planOf(input.length / 2), input, out, 1);
  return out;
}
