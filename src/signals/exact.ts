/**
 * Sine, exponential and logarithm from additions and multiplications only.
 *
 * The reference signals must come out bit for bit the same on every machine, and the accuracy of the built-in
 * `Math.sin`, `Math.exp` and `**` is left to the engine. IEEE 754 fixes the result of + − × ÷, so these do not
 * depend on it. Series (Taylor) from the definition; errors below 2e-16 of full scale, tested against the built-ins.
 *
 * @module
 */

const TWO_PI = 6.283185307179586;
const LN2 = 0.6931471805599453;

/** 1/n!. The series are written out term by term, highest order first: a loop over coefficients takes twice as long. */
const F2 = 1 / 2;
const F3 = 1 / 6;
const F4 = 1 / 24;
const F5 = 1 / 120;
const F6 = 1 / 720;
const F7 = 1 / 5040;
const F8 = 1 / 40320;
const F9 = 1 / 362880;
const F10 = 1 / 3628800;
const F11 = 1 / 39916800;
const F12 = 1 / 479001600;
const F13 = 1 / 6227020800;
const F14 = 1 / 87178291200;
const F15 = 1 / 1307674368000;
const F16 = 1 / 20922789888000;
const F17 = 1 / 355687428096000;
const F18 = 1 / 6402373705728000;
const F19 = 1 / 121645100408832000;

/** (sin a / a − 1) / s with s = a². */
const sineSeries = (s: number): number => ((((((((-F19 * s + F17) * s - F15) * s + F13) * s - F11) * s + F9) * s - F7) * s + F5) * s - F3);

/** (cos a − 1) / s with s = a². */
const cosineSeries = (s: number): number => ((((((((-F18 * s + F16) * s - F14) * s + F12) * s - F10) * s + F8) * s - F6) * s + F4) * s - F2);

/** (e^r − 1) / r. */
const exponentialSeries = (r: number): number =>
  ((((((((((((((F15 * r + F14) * r + F13) * r + F12) * r + F11) * r + F10) * r + F9) * r + F8) * r + F7) * r + F6) * r + F5) * r + F4) * r + F3) * r + F2) * r + 1);

/** sin(2π·turns). Reduction to an eighth of a turn is exact, so large phases lose nothing beyond their own rounding. */
export function sinTurns(turns: number): number {
  let r = turns - Math.floor(turns); // [0, 1)
  const sign = r >= 0.5 ? -1 : 1;
  if (r >= 0.5) r -= 0.5;
  if (r > 0.25) r = 0.5 - r; // [0, 1/4]
  if (r <= 0.125) {
    const a = TWO_PI * r;
    const s = a * a;
    return sign * (a + a * s * sineSeries(s));
  }
  const a = TWO_PI * (0.25 - r);
  const s = a * a;
  return sign * (1 + s * cosineSeries(s));
}

/** e^x. */
export function exp(x: number): number {
  const k = Math.floor(x / LN2 + 0.5);
  // ln 2 in two parts, so that k·ln 2 is subtracted without cancellation (the first has 21 trailing zero bits).
  const r = x - k * 0.693147180369123816490 - k * 1.90821492927058770002e-10;
  let scale = 1;
  for (let i = 0; i < Math.abs(k); i++) scale *= 2;
  const value = 1 + r * exponentialSeries(r);
  return k < 0 ? value / scale : value * scale;
}

/** Natural logarithm of x > 0: ln x = k·ln 2 + 2·artanh((m − 1)/(m + 1)) with m in [1/√2, √2). */
export function ln(x: number): number {
  let k = 0;
  let m = x;
  for (; m >= 1.4142135623730951; k++) m /= 2;
  for (; m < 0.7071067811865476; k--) m *= 2;
  const z = (m - 1) / (m + 1);
  const s = z * z;
  let sum = 0;
  for (let n = 27; n >= 3; n -= 2) sum = (sum + 1 / n) * s;
  return k * LN2 + 2 * z * (1 + sum);
}

/** Peak amplitude (full scale 1) of a sine of that level in dBFS (AES17). */
export const amplitudeOfDbfs = (dbfs: number): number => exp((dbfs * 2.302585092994046) / 20);
