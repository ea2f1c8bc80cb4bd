/**
 * The hum of a loop beside hum that is there without it, harmonic by harmonic.
 *
 * Lines of one frequency add as voltages, and between two captures their phases are not known. Where one shows the amplitude a and
 * the other r, something of |a − r| at least was added, whatever the phases; harmonics do not mix, so each is bounded by itself.
 *
 * @module
 */
import type { IdleSpectrum } from './idle.js';
import { linePowerVariance } from './power-estimate.js';
import { unseenLinePower } from './spectral-lines.js';

/** Mains voltage differs by so much from one capture to another (EN 50160 allows 10 % either way), and hum with it. */
const MAINS_CHANGE = 0.1;
/** Of one in up to 40 harmonics on three outputs: one false alarm in 10⁴ jobs. */
const SIGMAS = 5;

/** One harmonic in one capture: amplitudes as roots of mean squares. */
interface Seen {
  /** Between these, for sure: 0 to what can hide where no line stands out. */
  readonly low: number;
  readonly high: number;
}

function seen({ lines, search, psd }: IdleSpectrum, harmonic: number, mainsHz: number): Seen {
  const of = lines.hum.filter((line) => line.harmonic === harmonic);
  if (of.length === 0) {
    const bin = Math.min(search.floor.length - 1, Math.round((harmonic * mainsHz) / psd.binHz));
    const hidden = unseenLinePower(search, psd.binHz, search.floor[bin]!);
    return { low: 0, high: Math.sqrt(hidden) };
  }
  const power = of.reduce((sum, line) => sum + line.power, 0);
  const standard = Math.sqrt(of.reduce((sum, line) => sum + linePowerVariance(line, search, psd), 0));
  return { low: Math.sqrt(Math.max(0, power - SIGMAS * standard)), high: Math.sqrt(power + SIGMAS * standard) };
}

const harmonicsOf = (spectra: readonly IdleSpectrum[]): number[] => [...new Set(spectra.flatMap(({ lines }) => lines.hum.map(({ harmonic }) => harmonic)))].sort((a, b) => a - b);

/** The mains as these captures show it; `nominalHz` where none does. */
const mainsOf = (spectra: readonly IdleSpectrum[], nominalHz: number): number => spectra.find(({ lines }) => lines.mainsHz !== null)?.lines.mainsHz ?? nominalHz;

/**
 * The least hum that a loop must add, as a mean square: Σ(|a − r| − what else may have changed)² over the harmonics, a with the loop
 * in and r with every loop out. What else: the mains' own voltage, and what the loop does to hum that stands before it.
 *
 * @param gainChange - |g − 1| of the loop's complex gain at low frequencies.
 */
export function leastHumAdded(loop: IdleSpectrum, rest: IdleSpectrum, nominalHz: number, gainChange: number): number {
  const mainsHz = mainsOf([loop, rest], nominalHz);
  return harmonicsOf([loop, rest]).reduce((sum, harmonic) => {
    const [a, r] = [seen(loop, harmonic, mainsHz), seen(rest, harmonic, mainsHz)];
    const apart = Math.max(a.low - r.high, r.low - a.high) - (MAINS_CHANGE + gainChange) * r.high;
    return sum + Math.max(0, apart) ** 2;
  }, 0);
}
