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
import { LINE_HALF_WIDTH, REACH, skirtsOf } from './line-skirts.js';
import type { Skirts } from './line-skirts.js';
import { FLOOR_HALF_WIDTH, closed, localFloor } from './local-floor.js';

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
  /** Standard uncertainty of the floor where lines and their skirts leave too little of it to be seen; 0 elsewhere. */
  readonly unseen: Float64Array;
  /** What the lines leave beside their bins; null where there is no line. */
  readonly skirts: Skirts | null;
}

/** False-alarm probability per bin. */
export const FALSE_ALARM_PER_BIN = 1e-9;
/** The floor's own scatter (median of 100 bins) raises the chance of a false line; this factor covers it. */
const FLOOR_MARGIN = 1.08;
/** Floor and skirts are each read over the other: so often in turn. */
const SKIRT_PASSES = 3;

/** The floor without lines and skirts; away from all of them it is what it was. */
function floorBeside(psd: Psd, { density, taken }: Skirts, lines: readonly SpectralLine[], before: Float64Array): Float64Array {
  const [low, high] = [lines[0]!.firstBin - REACH - FLOOR_HALF_WIDTH, lines.at(-1)!.lastBin + REACH + FLOOR_HALF_WIDTH];
  // As many bins again, for the neighbourhoods of the outermost.
  const from = Math.max(0, low - FLOOR_HALF_WIDTH - 2);
  const stretch = psd.density.subarray(from, high + FLOOR_HALF_WIDTH + 2).map((v, k) => v - density[from + k]!);
  const found = localFloor({ ...psd, density: stretch }, (k) => taken[from + k] === 1);
  const floor = before.slice();
  floor.set(found.subarray(Math.max(0, low) - from, high + 1 - from), Math.max(0, low));
  return floor;
}

/** Finds lines between two frequencies over the floor as it is, lines and all. */
export function linesOverFloor(psd: Psd, lowHz: number, highHz: number): LineSearch {
  const floor = localFloor(psd);
  const threshold = (FLOOR_MARGIN * chiSquareUpper(FALSE_ALARM_PER_BIN, psd.degreesOfFreedom)) / psd.degreesOfFreedom;
  return { lines: linesOver(psd, lowHz, highHz, floor, threshold), floor, unseen: new Float64Array(floor.length), thresholdDb: 10 * Math.log10(threshold), skirts: null };
}

/**
 * Finds lines between two frequencies, and the floor and the skirts beside them.
 *
 * Lines raise the floor between them, by the bins that they fill and by their skirts: the floor is then found again without both, and
 * each line's power is what it has over that.
 */
export function findLines(psd: Psd, lowHz: number, highHz: number): LineSearch {
  const found = linesOverFloor(psd, lowHz, highHz);
  if (found.lines.length === 0) return found;
  const threshold = 10 ** (found.thresholdDb / 10);
  let { floor, unseen, skirts } = found;
  for (let pass = 0; pass < SKIRT_PASSES; pass++) {
    skirts = skirtsOf(psd, found.lines, floor, threshold, skirts);
    ({ floor, unseen } = closed(floorBeside(psd, skirts, found.lines, found.floor), psd.density));
  }
  const lines = found.lines.map((line) => ({ ...line, power: powerOver(psd, floor, line.firstBin, line.lastBin) }));
  return { ...found, lines, floor, unseen, skirts };
}

/** Mean square of some bins over the floor. */
function powerOver({ density, binHz }: Psd, floor: Float64Array, first: number, last: number): number {
  let power = 0;
  for (let k = first; k <= last; k++) power += (density[k]! - floor[k]!) * binHz;
  return Math.max(0, power);
}

function linesOver(psd: Psd, lowHz: number, highHz: number, floor: Float64Array, threshold: number): SpectralLine[] {
  const { density, binHz, degreesOfFreedom: nu } = psd;
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
      power: powerOver(psd, floor, from, to),
      overFloorDb: 10 * Math.log10(snr),
      firstBin: from,
      lastBin: to,
    });
    k = end;
  }
  return lines;
}

/**
 * The most that a line can have without being found over such a floor, as a mean square: the highest bin of a Hann line holds
 * at least 1/2.08 of its power, half-way between two bins (1.5 bins of noise bandwidth and 1.42 dB of scalloping).
 */
export const unseenLinePower = ({ thresholdDb }: LineSearch, binHz: number, floor: number): number => 2.08 * (10 ** (thresholdDb / 10) - 1) * floor * binHz;
