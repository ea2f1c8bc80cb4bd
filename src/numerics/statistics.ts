/**
 * Chi-square and normal distributions, and robust location and spread.
 *
 * @module
 */

/** ln Γ(x) for x > 0: Stirling's series with three terms above 10, recurrence below. Relative error under 1e-13. */
export function lnGamma(x: number): number {
  let shift = 0;
  let z = x;
  while (z < 10) {
    shift += Math.log(z);
    z += 1;
  }
  const r = 1 / (z * z);
  const tail = (1 / 12 - r * (1 / 360 - r * (1 / 1260 - r * (1 / 1680 - r / 1188)))) / z;
  return (z - 0.5) * Math.log(z) - z + 0.5 * Math.log(2 * Math.PI) + tail - shift;
}

/** Regularised upper incomplete gamma function Q(a, x): series below a + 1, continued fraction (Lentz) above. */
export function gammaQ(a: number, x: number): number {
  if (x <= 0) return 1;
  const front = Math.exp(a * Math.log(x) - x - lnGamma(a));
  if (x < a + 1) {
    let term = 1 / a;
    let sum = term;
    for (let n = 1; n < 100000 && term > sum * 1e-17; n++) {
      term *= x / (a + n);
      sum += term;
    }
    return 1 - front * sum;
  }
  let b = x + 1 - a;
  let c = 1e300;
  let d = 1 / b;
  let h = d;
  for (let n = 1; n < 100000; n++) {
    const an = -n * (n - a);
    b += 2;
    d = 1 / (an * d + b);
    c = b + an / c;
    const delta = d * c;
    h *= delta;
    if (Math.abs(delta - 1) < 1e-15) break;
  }
  return front * h;
}

/** Standard normal quantile: Hastings' rational start (from memory) and Halley steps on Φ make it exact to 1e-12. */
export function normalQuantile(p: number): number {
  if (p === 0.5) return 0;
  if (p > 0.5) return -normalQuantile(1 - p);
  const t = Math.sqrt(-2 * Math.log(p));
  // Hastings' rational form, good to 5e-4, then Newton with Φ from gammaQ(1/2, z²/2)/2.
  let z = t - (2.515517 + t * (0.802853 + t * 0.010328)) / (1 + t * (1.432788 + t * (0.189269 + t * 0.001308)));
  for (let i = 0; i < 4; i++) {
    const tail = 0.5 * gammaQ(0.5, (z * z) / 2);
    const density = Math.exp((-z * z) / 2) / Math.sqrt(2 * Math.PI);
    const e = (tail - p) / density;
    z += e / (1 - (e * z) / 2);
  }
  return -z;
}

/** Φ(z), the standard normal distribution function. */
export function normalCdf(z: number): number {
  const tail = 0.5 * gammaQ(0.5, (z * z) / 2);
  return z > 0 ? 1 - tail : tail;
}

/**
 * The value that a chi-square variable with `dof` degrees of freedom exceeds with probability `tail`.
 * Wilson and Hilferty's cube as the start, then Halley steps.
 */
export function chiSquareUpper(tail: number, dof: number): number {
  const z = -normalQuantile(tail);
  const h = 2 / (9 * dof);
  let x = dof * Math.max(1e-3, 1 - h + z * Math.sqrt(h)) ** 3;
  const a = dof / 2;
  for (let i = 0; i < 30; i++) {
    const density = 0.5 * Math.exp((a - 1) * Math.log(x / 2) - x / 2 - lnGamma(a));
    // Newton on ln Q, which is nearly straight far out in the tail where Q itself is not.
    const q = gammaQ(a, x / 2);
    const step = ((Math.log(q) - Math.log(tail)) * q) / density;
    const next = Math.max(x / 2, x + step);
    if (Math.abs(next - x) < 1e-13 * x) return next;
    x = next;
  }
  return x;
}

/** Student's t: the two-sided 95 % factor for `dof` degrees of freedom (Cornish-Fisher expansion; 0.1 % at 3 and above). */
export function coverageFactor95(dof: number | null): number {
  const z = 1.959963984540054;
  if (dof === null || !Number.isFinite(dof)) return z;
  const n = Math.max(1, dof);
  const g1 = (z ** 3 + z) / 4;
  const g2 = (5 * z ** 5 + 16 * z ** 3 + 3 * z) / 96;
  const g3 = (3 * z ** 7 + 19 * z ** 5 + 17 * z ** 3 - 15 * z) / 384;
  const g4 = (79 * z ** 9 + 776 * z ** 7 + 1482 * z ** 5 - 1920 * z ** 3 - 945 * z) / 92160;
  if (n < 3) return n < 2 ? 12.706 : 4.303;
  return z + g1 / n + g2 / n ** 2 + g3 / n ** 3 + g4 / n ** 4;
}

/** Median; the mean of the two middle values for an even count. NaN-free input, at least one value. */
export function median(values: ArrayLike<number>): number {
  const sorted = Float64Array.from(values).sort();
  const half = sorted.length >> 1;
  return sorted.length % 2 ? sorted[half]! : (sorted[half - 1]! + sorted[half]!) / 2;
}

/** 1.4826 × the median distance from the median: the standard deviation of normal data, deaf to outliers. */
export function robustSpread(values: ArrayLike<number>): number {
  const m = median(values);
  return 1.482602218505602 * median(Float64Array.from(values, (v) => Math.abs(v - m)));
}
