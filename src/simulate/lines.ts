/**
 * Steady lines: mains hum and the whine of supplies and digital circuits.
 *
 * @module
 */

import { dbuToVolts } from '../units/decibels.js';

export interface Line {
  readonly hz: number;
  /** Level in volts rms, at a board's output. */
  readonly volts: number;
  /** Phase at the beginning of the recording, in turns. */
  readonly turns: number;
}

/** A line as a recorder channel hears it: `amplitude` in samples. */
export interface HeardLine {
  readonly hz: number;
  readonly amplitude: number;
  readonly phaseRad: number;
}

/**
 * Levels of the mains harmonics 1, 2, 3 … relative to the strongest, in dB. Patterns after rectifier theory and common
 * practice: magnetic pick-up and ground loops are strong at odd harmonics, rectifier ripple at even ones.
 */
export const HUM_PATTERNS = {
  magnetic: [0, -22, -7, -26, -12, -30, -17, -34, -22, -38, -26],
  'rectifier-ripple': [-24, 0, -30, -5, -34, -10, -37, -14, -40, -18, -42, -21, -44, -24],
} as const satisfies Record<string, readonly number[]>;

export type HumPattern = keyof typeof HUM_PATTERNS;

/** Phases that look arbitrary and follow from the order alone: multiples of the golden section. */
const phaseOf = (order: number, salt: number): number => (order * 0.6180339887498949 + salt) % 1;

/** Hum of a pattern whose strongest line has that level in dBu. */
export function humLines(mainsHz: number, pattern: HumPattern, strongestDbu: number, salt = 0): Line[] {
  return HUM_PATTERNS[pattern].map((db, k) => ({ hz: (k + 1) * mainsHz, volts: dbuToVolts(strongestDbu + db), turns: phaseOf(k + 1, salt) }));
}

/** A family of a fundamental and its harmonics; levels relative to `strongestDbu`. */
export function whineLines(fundamentalHz: number, harmonicsDb: readonly number[], strongestDbu: number, salt = 0): Line[] {
  return harmonicsDb.map((db, k) => ({ hz: (k + 1) * fundamentalHz, volts: dbuToVolts(strongestDbu + db), turns: phaseOf(k + 1, salt) }));
}

/**
 * Two clocks and what a common supply's rectifying junctions make of them: their difference, their sum, and twice the first
 * less the second (second and third-order products); levels relative to the first, falling with the order.
 */
export function clockLines(firstHz: number, secondHz: number, strongestDbu: number, salt = 0): Line[] {
  const lines: readonly (readonly [number, number])[] = [
    [firstHz, 0],
    [secondHz, -3],
    [Math.abs(secondHz - firstHz), -6],
    [firstHz + secondHz, -9],
    [Math.abs(2 * firstHz - secondHz), -12],
  ];
  return lines.map(([hz, db], k) => ({ hz, volts: dbuToVolts(strongestDbu + db), turns: phaseOf(k + 1, salt) }));
}

/** Samples between exact settings of the recurrence, so that its rounding stays below 1e-10 of a line. */
const RESET_FRAMES = 1024;

/**
 * Adds amplitude·cos(2π·hz·n/rate + phase) of every line to every sample n.
 *
 * cos(φ + ω) = 2·cos ω·cos φ − cos(φ − ω), four lines at a time, which keeps four independent chains in flight.
 *
 * @param rateHz - True rate of the samples.
 */
export function addLines(out: Float64Array, lines: readonly HeardLine[], rateHz: number): void {
  const silent: HeardLine = { hz: 0, amplitude: 0, phaseRad: 0 };
  for (let first = 0; first < lines.length; first += 4) {
    const four = [0, 1, 2, 3].map((k) => lines[first + k] ?? silent);
    const turns = four.map(({ hz }) => hz / rateHz);
    const [f0, f1, f2, f3] = turns.map((t) => 2 * Math.cos(2 * Math.PI * t));
    for (let start = 0; start < out.length; start += RESET_FRAMES) {
      const at = (k: number, n: number): number => four[k].amplitude * Math.cos(four[k].phaseRad + 2 * Math.PI * ((turns[k] * n) % 1));
      let a0 = at(0, start);
      let a1 = at(1, start);
      let a2 = at(2, start);
      let a3 = at(3, start);
      let b0 = at(0, start - 1);
      let b1 = at(1, start - 1);
      let b2 = at(2, start - 1);
      let b3 = at(3, start - 1);
      const end = Math.min(out.length, start + RESET_FRAMES);
      for (let n = start; n < end; n++) {
        out[n] += a0 + a1 + a2 + a3;
        const c0 = f0 * a0 - b0;
        const c1 = f1 * a1 - b1;
        const c2 = f2 * a2 - b2;
        const c3 = f3 * a3 - b3;
        b0 = a0;
        b1 = a1;
        b2 = a2;
        b3 = a3;
        a0 = c0;
        a1 = c1;
        a2 = c2;
        a3 = c3;
      }
    }
  }
}
