/**
 * What a response means for the tone of an instrument: its level in the band where a guitar speaks, at three high
 * frequencies, the peak that pickup and cable capacitance make, and where it is 3 dB down.
 *
 * Everything is counted from the response's own level at 200 to 500 Hz, as droop is: below anything that cable
 * capacitance does, above any coupling capacitor.
 *
 * @module
 */

/** Power response |H|² at any frequencies, in their order. */
export type PowerResponse = (frequenciesHz: Float64Array) => Float64Array;

export interface ToneFigures {
  /** Level at 200 to 500 Hz, dB of |H|². */
  readonly referenceDb: number;
  /** Mean level over 2 to 5 kHz from the reference, dB, every octave weighing the same. */
  readonly band2to5kDb: number;
  readonly at5kDb: number;
  readonly at10kDb: number;
  readonly at20kDb: number;
  /** The highest peak of 500 Hz to 20 kHz; null where it has none of 1.25 dB or more. */
  readonly resonance: { readonly frequencyHz: number; readonly heightDb: number } | null;
  /** First fall through −3.01 dB above 500 Hz (and above the peak); null where it is still within 3 dB at 20 kHz. */
  readonly cornerHz: number | null;
}

/** Points that share the octaves between two frequencies evenly, each in the middle of its share. */
export function evenOctaves(lowHz: number, highHz: number, count: number): Float64Array {
  return Float64Array.from({ length: count }, (_, i) => lowHz * (highHz / lowHz) ** ((i + 0.5) / count));
}

const REFERENCE_HZ = evenOctaves(200, 500, 32);
/** 1/48 octave apart: a peak of the height of 12 dB, the highest of any pickup, is 60 such steps wide. */
const BAND_HZ = evenOctaves(2000, 5000, 64);
const SPOTS_HZ = Float64Array.of(5000, 10000, 20000);
const SCAN_HZ = Float64Array.from({ length: 130 }, (_, i) => 500 * 40 ** (i / 129));
const HALF_POWER = 0.5;
/**
 * A flatter peak than that of Q = 1 is no resonance, dB: for Q = R·√(C/L) the peak √(1 − 1/(2Q²))/(2π·√(LC)) of a damped
 * circuit then rises with more cable, so that its frequency speaks of damping and not of capacitance.
 */
const LEAST_PEAK_DB = 1.25;

const toDb = (power: number): number => 10 * Math.log10(power);
const mean = (values: Float64Array): number => values.reduce((sum, v) => sum + v, 0) / values.length;

/** The figures of a response. It is asked for a few hundred frequencies, in a few calls. */
export function toneFigures(power: PowerResponse): ToneFigures {
  const reference = mean(power(REFERENCE_HZ));
  const referenceDb = toDb(reference);
  const [at5kDb, at10kDb, at20kDb] = Array.from(power(SPOTS_HZ), (p) => toDb(p / reference));
  const scan = power(SCAN_HZ);
  const peak = highestPeak(scan, power);
  const heightDb = peak === null ? 0 : toDb(peak.power / reference);
  const resonance = peak !== null && heightDb > LEAST_PEAK_DB ? { frequencyHz: peak.hz, heightDb } : null;
  return {
    referenceDb,
    // A mean in decibels: of powers, a peak that only moves within the band would hide all that is lost above it.
    band2to5kDb: mean(power(BAND_HZ).map(toDb)) - referenceDb,
    at5kDb,
    at10kDb,
    at20kDb,
    resonance,
    cornerHz: firstFall(scan, power, reference * HALF_POWER, resonance?.frequencyHz ?? 0),
  };
}

/** Points evenly over the octaves from a to b, both included. */
const between = (a: number, b: number, count: number): Float64Array => Float64Array.from({ length: count }, (_, i) => a * (b / a) ** (i / (count - 1)));

function highestPeak(scan: Float64Array, power: PowerResponse): { hz: number; power: number } | null {
  let at = -1;
  for (let i = 1; i < scan.length - 1; i++) {
    if (scan[i] >= scan[i - 1] && scan[i] >= scan[i + 1] && (at < 0 || scan[i] > scan[at])) at = i;
  }
  if (at < 0) return null;
  // Twice 32 steps between the neighbours, then the vertex of a parabola: 1e-7 of the frequency on a smooth peak.
  let grid = between(SCAN_HZ[at - 1], SCAN_HZ[at + 1], 33);
  let values = power(grid);
  let best = largest(values);
  grid = between(grid[best - 1], grid[best + 1], 33);
  values = power(grid);
  best = largest(values);
  const [before, top, after] = [values[best - 1], values[best], values[best + 1]];
  const bend = before - 2 * top + after;
  const shift = bend < 0 ? (before - after) / (2 * bend) : 0;
  return { hz: grid[best] * (grid[best + 1] / grid[best]) ** shift, power: top - ((before - after) * shift) / 4 };
}

/** Index of the largest value that has neighbours. */
function largest(values: Float64Array): number {
  let best = 1;
  for (let i = 2; i < values.length - 1; i++) if (values[i] > values[best]) best = i;
  return best;
}

function firstFall(scan: Float64Array, power: PowerResponse, threshold: number, fromHz: number): number | null {
  for (let i = 0; i < scan.length - 1; i++) {
    if (SCAN_HZ[i + 1] <= fromHz || scan[i] < threshold || scan[i + 1] >= threshold) continue;
    let [low, high] = [SCAN_HZ[i], SCAN_HZ[i + 1]];
    // Twice 32 steps, then straight in log frequency.
    for (let pass = 0; pass < 2; pass++) {
      const grid = between(low, high, 33);
      const values = power(grid);
      const k = Math.max(0, values.findIndex((v) => v < threshold) - 1);
      [low, high] = [grid[k], grid[k + 1]];
    }
    const [above, below] = power(Float64Array.of(low, high));
    return low * (high / low) ** ((above - threshold) / (above - below));
  }
  return null;
}
