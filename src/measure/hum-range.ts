/**
 * Between what and what the hum of several loops can lie when all of them are in, from captures with one in at a time.
 *
 * Lines of one frequency add as voltages, and their phases are not known: each harmonic lies between what cancels and what adds up.
 *
 * @module
 */
import type { IdleSpectrum } from './idle.js';
import { LINE_HALF_WIDTH } from './line-skirts.js';
import { linePowerVariance } from './power-estimate.js';
import { unseenLinePower } from './spectral-lines.js';

/** For 95 % of a normal distribution. */
export const COVERAGE = 1.96;
/** Lines must be so much over what they can be, as power, before loops are said to interact: 3 dB. */
export const LEAST_LINES = 10 ** 0.3;

/** The harmonic of the mains that is furthest over the most that all phases of it can make. A weak hum of two loops together shows beside a strong one of another pattern. */
export interface StrangeHarmonic {
  readonly harmonic: number;
  readonly overDb: number;
}

interface Amplitude {
  readonly value: number;
  /** Of its estimate: σ²(P)/4P, as A = √P (JCGM 100 5.1.2). */
  readonly variance: number;
}

/** One harmonic in the captures of a sum: at rest, then with each loop in. */
interface Harmonic {
  readonly amplitudes: readonly Amplitude[];
  /** Gain of each loop. */
  readonly gains: readonly number[];
  /** Whether it is seen with the loop in. */
  readonly seen: readonly boolean[];
}

/** Amplitude of one harmonic of the mains in a capture; where it is not seen, the most it can have unseen, which scatters as a line of that power would. */
function harmonicAmplitude({ lines, search, psd }: IdleSpectrum, harmonic: number, hz: number): Amplitude {
  const bin = Math.round(hz / psd.binHz);
  const line = lines.hum.find((l) => l.harmonic === harmonic) ?? { power: unseenLinePower(search, psd.binHz, search.floor[bin]!), firstBin: bin - LINE_HALF_WIDTH, lastBin: bin + LINE_HALF_WIDTH };
  return { value: Math.sqrt(line.power), variance: line.power > 0 ? linePowerVariance(line, search, psd) / (4 * line.power) : 0 };
}

/** A sum of amplitudes, each of a capture of its own, so that their variances add. */
const sumOfAmplitudes = (amplitudes: readonly Amplitude[], shares: readonly number[]): Amplitude => ({
  value: amplitudes.reduce((sum, { value }, k) => sum + shares[k]! * value, 0),
  variance: amplitudes.reduce((sum, { variance }, k) => sum + shares[k]! ** 2 * variance, 0),
});

/** A capture with one loop in, and the loop's gain as power. */
export interface HummingLoop {
  readonly spectrum: IdleSpectrum;
  readonly squareGain: number;
}

function harmonicOf(harmonic: number, hz: number, rest: IdleSpectrum, loops: readonly HummingLoop[]): Harmonic {
  return {
    amplitudes: [rest, ...loops.map(({ spectrum }) => spectrum)].map((spectrum) => harmonicAmplitude(spectrum, harmonic, hz)),
    gains: loops.map(({ squareGain }) => Math.sqrt(squareGain)),
    seen: loops.map(({ spectrum }) => spectrum.lines.hum.some((line) => line.harmonic === harmonic)),
  };
}

const product = (gains: readonly number[]): number => gains.reduce((a, b) => a * b, 1);

/**
 * The most that one harmonic can be with loops in, from what the captures one by one show. A loop's own amplitude is at most that of its
 * capture and that of rest together, so that with gains gₖ
 *
 *     A(loops) ≤ A(rest)·Πg + Σₖ (A(loop k) + gₖ·A(rest))·Π(g of the loops behind k)
 *
 * whatever the phases.
 */
function mostOf({ amplitudes, gains }: Harmonic): Amplitude {
  const behind = gains.map((_, k) => product(gains.slice(k + 1)));
  const atRest = gains.reduce((sum, g, k) => sum + g * behind[k]!, product(gains));
  return sumOfAmplitudes(amplitudes, [atRest, ...behind]);
}

/** The harmonic with every loop in that is furthest over what it can be. Counts from 3 dB on, and where three standard uncertainties of both do not reach there. */
export function strangeHarmonic(all: IdleSpectrum, rest: IdleSpectrum, loops: readonly HummingLoop[]): StrangeHarmonic | null {
  let most: StrangeHarmonic | null = null;
  for (const line of all.lines.hum) {
    const { value, variance } = mostOf(harmonicOf(line.harmonic, line.hz, rest, loops));
    const allowed = value ** 2;
    const slack = 3 * Math.sqrt(linePowerVariance(line, all.search, all.psd) + 4 * allowed * variance);
    const overDb = 10 * Math.log10(line.power / allowed);
    if (line.power - slack > allowed && line.power > LEAST_LINES * allowed && overDb > (most?.overDb ?? 0)) most = { harmonic: line.harmonic, overDb };
  }
  return most;
}

/** The least: one loop's capture as it is, with all others against it. */
function leastOf({ amplitudes, gains, seen }: Harmonic): Amplitude {
  const behind = gains.map((_, k) => product(gains.slice(k + 1)));
  return seen.reduce<Amplitude>(
    (least, isSeen, k) => {
      if (!isSeen) return least;
      const before = product(gains.slice(0, k));
      const atRest = gains.reduce((sum, g, j) => sum - g * behind[j]! * (j === k ? Math.abs(before - 1) : 1), 0);
      const own = sumOfAmplitudes(amplitudes, [atRest, ...behind.map((b, j) => (j === k ? b : -b))]);
      return own.value > least.value ? own : least;
    },
    { value: 0, variance: 0 },
  );
}

/**
 * Least and most that hum can be with loops in, as mean squares, and so much further as the scatter of the lines that they are read from
 * may reach: of Σ A² the variance is Σ (2A)²·σ²(A). Harmonics of which none is seen in any of the captures do not count.
 *
 * @param model - What the sum leaves out, relative, a standard uncertainty.
 */
export function humBetween(rest: IdleSpectrum, loops: readonly HummingLoop[], model: number): { readonly least: number; readonly most: number } {
  const seen = new Map([rest, ...loops.map(({ spectrum }) => spectrum)].flatMap(({ lines }) => lines.hum.map(({ harmonic, hz }) => [harmonic, hz] as const)));
  const harmonics = [...seen].map(([harmonic, hz]) => harmonicOf(harmonic, hz, rest, loops));
  const sumOfSquares = (of: typeof mostOf, side: 1 | -1): number => {
    const each = harmonics.map(of);
    const power = each.reduce((sum, { value }) => sum + value ** 2, 0);
    const scatter = Math.sqrt(each.reduce((sum, { value, variance }) => sum + (2 * value) ** 2 * variance, 0));
    return Math.max(0, power + side * COVERAGE * Math.hypot(scatter, model * power));
  };
  return { least: sumOfSquares(leastOf, -1), most: sumOfSquares(mostOf, 1) };
}
