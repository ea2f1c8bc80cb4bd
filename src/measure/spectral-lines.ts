/**
 * Narrow lines in a noise spectrum: where they are, how strong, and the floor beneath them.
 *
 * The local floor is the median density of the 100 bins around (37 Hz to each side at the usual resolution), brought to the mean by the
 * median-to-mean ratio of chi-square. A bin is part of a line where it exceeds that floor by the factor that chi-square
 * noise with the estimate's degrees of freedom exceeds once in 10⁹ bins; a clean floor of 27 000 bins therefore shows a
 * line about once in 30 000 captures.
 *
 * @module
 */
import { chiSquareUpper } from '../numerics/statistics.js';
import type { Psd } from '../numerics/psd.js';

export interface SpectralLine {
  readonly hz: number;
  /** Standard uncertainty of the frequency. */
  readonly hzUncertainty: number;
  /** Mean square above the floor. */
  readonly power: number;
  /** Highest bin over the local floor, dB. */
  readonly overFloorDb: number;
  readonly firstBin: number;
  readonly lastBin: number;
}

export interface LineSearch {
  readonly lines: readonly SpectralLine[];
  /** Local floor density per bin. */
  readonly floor: Float64Array;
  /** A bin this far over the floor counts as a line. */
  readonly thresholdDb: number;
}

/** False-alarm probability per bin. */
export const FALSE_ALARM_PER_BIN = 1e-9;
/** Half-width of the floor's neighbourhood, bins. */
const HALF_WIDTH = 50;
/** The floor's own scatter (median of 100 bins) raises the chance of a false line; this factor covers it. */
const FLOOR_MARGIN = 1.08;
/** Half-width of a Hann line with its skirts: 3 bins hold all but 1e-4 of its power. */
export const LINE_HALF_WIDTH = 3;

/** Running median of the density, as a mean: corrected by the median-to-mean ratio of chi-square (Wilson-Hilferty). */
export function localFloor(psd: Psd): Float64Array {
  const { density, degreesOfFreedom: nu } = psd;
  const toMean = 1 / (1 - 2 / (9 * nu)) ** 3;
  const n = density.length;
  const floor = new Float64Array(n);
  const sorted = new Float64Array(2 * HALF_WIDTH + 2);
  let count = 0;
  const place = (v: number): number => {
    let low = 0;
    let high = count;
    while (low < high) {
      const mid = (low + high) >> 1;
      if (sorted[mid]! < v) low = mid + 1;
      else high = mid;
    }
    return low;
  };
  const insert = (v: number): void => {
    const at = place(v);
    sorted.copyWithin(at + 1, at, count);
    sorted[at] = v;
    count++;
  };
  const remove = (v: number): void => {
    const at = place(v);
    sorted.copyWithin(at, at + 1, count);
    count--;
  };
  /** Takes the place of a value, and moves those between its rank and the new one's. */
  const replace = (old: number, v: number): void => {
    let at = place(old);
    for (; at + 1 < count && sorted[at + 1]! < v; at++) sorted[at] = sorted[at + 1]!;
    for (; at > 0 && sorted[at - 1]! > v; at--) sorted[at] = sorted[at - 1]!;
    sorted[at] = v;
  };
  // Bin 0 and 1 hold what is left of DC.
  const first = 2;
  for (let k = first; k < Math.min(n, first + HALF_WIDTH); k++) insert(density[k]!);
  for (let k = first; k < n; k++) {
    const [entering, leaving] = [k + HALF_WIDTH, k - HALF_WIDTH - 1];
    if (entering < n && leaving >= first) replace(density[leaving]!, density[entering]!);
    else if (entering < n) insert(density[entering]!);
    else if (leaving >= first) remove(density[leaving]!);
    const half = count >> 1;
    floor[k] = toMean * (count % 2 ? sorted[half]! : (sorted[half - 1]! + sorted[half]!) / 2);
  }
  floor.fill(floor[first]!, 0, first);
  return floor;
}

/** Finds lines between two frequencies. */
export function findLines(psd: Psd, lowHz: number, highHz: number, floor: Float64Array = localFloor(psd)): LineSearch {
  const { density, binHz, degreesOfFreedom: nu } = psd;
  const threshold = (FLOOR_MARGIN * chiSquareUpper(FALSE_ALARM_PER_BIN, nu)) / nu;
  const first = Math.max(3, Math.ceil(lowHz / binHz));
  const last = Math.min(density.length - 4, Math.floor(highHz / binHz));
  const lines: SpectralLine[] = [];
  const over = (k: number): boolean => density[k]! > threshold * floor[k]!;
  for (let k = first; k <= last; k++) {
    if (!over(k)) continue;
    // A run of bins over the threshold, one bin of grace inside it, is one line.
    let end = k;
    while (end < last && (over(end + 1) || (end + 2 <= last && over(end + 2)))) end++;
    let peak = k;
    for (let j = k; j <= end; j++) if (density[j]! > density[peak]!) peak = j;
    // A neighbour's bins are the neighbour's.
    const from = Math.max(lines.length > 0 ? lines[lines.length - 1]!.lastBin + 1 : 0, Math.min(k, peak - LINE_HALF_WIDTH));
    const to = Math.min(density.length - 1, Math.max(end, peak + LINE_HALF_WIDTH));
    let power = 0;
    for (let j = from; j <= to; j++) power += (density[j]! - floor[j]!) * binHz;
    // Hann main lobe: with amplitudes a− and a+ beside the peak a0, the line lies (2r − 1)/(r + 1) bins towards the larger
    // neighbour, r its ratio to the peak. Exact for a lone line.
    const a0 = Math.sqrt(Math.max(0, density[peak]! - floor[peak]!));
    const above = Math.sqrt(Math.max(0, density[peak + 1]! - floor[peak + 1]!));
    const below = Math.sqrt(Math.max(0, density[peak - 1]! - floor[peak - 1]!));
    const ratio = Math.max(above, below) / a0;
    const offset = Math.max(0, Math.min(0.5, (2 * ratio - 1) / (ratio + 1))) * (above >= below ? 1 : -1);
    const snr = density[peak]! / floor[peak]!;
    lines.push({
      hz: (peak + offset) * binHz,
      // Scatter of the amplitude ratio through the formula above, with noise alike in neighbouring bins: 0.45/√(SNR·ν) of a bin
      // (by simulation, tests/accuracy/coverage.mjs); a ten-thousandth of a bin is the model's own limit.
      hzUncertainty: binHz * Math.max(1e-4, 0.45 / Math.sqrt(snr * nu)),
      power: Math.max(0, power),
      overFloorDb: 10 * Math.log10(snr),
      firstBin: from,
      lastBin: to,
    });
    k = end;
  }
  return { lines, floor, thresholdDb: 10 * Math.log10(threshold) };
}

/**
 * The most that a line can have without being found over such a floor, as a mean square: the highest bin of a Hann line holds
 * at least 1/2.08 of its power, half-way between two bins (1.5 bins of noise bandwidth and 1.42 dB of scalloping).
 */
export const unseenLinePower = ({ thresholdDb }: LineSearch, binHz: number, floor: number): number => 2.08 * (10 ** (thresholdDb / 10) - 1) * floor * binHz;
