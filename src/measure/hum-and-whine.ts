/**
 * Sorts the lines of a noise spectrum into mains hum and whine.
 *
 * The mains frequency is found first (50 or 60 Hz within 1.5 %; EN 50160 allows ±1 % for 99.5 % of the year), since
 * at the twentieth harmonic half a percent is ten hertz. Lines near whole multiples of it are hum; every other line
 * is whine, and lines at whole multiples of a common frequency are one family.
 *
 * @module
 */
import type { LineSearch, SpectralLine } from './spectral-lines.js';

export interface HumLine extends SpectralLine {
  readonly harmonic: number;
}

export interface WhineFamily {
  readonly fundamentalHz: number;
  readonly lines: readonly (SpectralLine & { readonly multiple: number })[];
  /** Mean square of all its lines. */
  readonly power: number;
}

export interface HumAndWhine {
  /** Found from the lines; null where there is no hum to find it from. */
  readonly mainsHz: number | null;
  readonly mainsHzUncertainty: number | null;
  readonly hum: readonly HumLine[];
  readonly humPower: number;
  readonly whine: readonly WhineFamily[];
  readonly whinePower: number;
}

/**
 * The mains are looked for in lines up to this harmonic: 2 kHz at 50 Hz. The buzz of a rectifier or a lamp dimmer reaches further (common
 * practice, no source); above, a line is hum only where the row of harmonics goes on to it.
 */
export const HIGHEST_HARMONIC = 40;
/** How far the mains may be from nominal. */
export const MAINS_TOLERANCE = 0.015;
/** Bins that a line may lie off a multiple. */
const MATCH_BINS = 0.75;

const matches = (line: SpectralLine, f0: number, binHz: number): number | null => {
  const harmonic = Math.round(line.hz / f0);
  if (harmonic < 1 || harmonic > HIGHEST_HARMONIC) return null;
  return Math.abs(line.hz - harmonic * f0) <= MATCH_BINS * binHz + 3 * line.hzUncertainty ? harmonic : null;
};

/**
 * The mains frequency that explains most of the lines.
 *
 * @returns null where the lines do not make a mains comb: at least one of the first three harmonics, or three lines, must fit.
 */
export function findMains(
  lines: readonly SpectralLine[],
  nominalHz: number,
  binHz: number,
): { hz: number; uncertainty: number; explainedDb: number } | null {
  const candidates = lines.filter((l) => l.hz < nominalHz * (1 + MAINS_TOLERANCE) * HIGHEST_HARMONIC + binHz);
  if (candidates.length === 0) return null;
  let best: { hz: number; explainedDb: number } | null = null;
  // The fortieth harmonic must move by less than a bin from one trial to the next.
  const step = binHz / HIGHEST_HARMONIC / 2;
  for (let f0 = nominalHz * (1 - MAINS_TOLERANCE); f0 <= nominalHz * (1 + MAINS_TOLERANCE); f0 += step) {
    let explainedDb = 0;
    let low = 0;
    let count = 0;
    for (const line of candidates) {
      const harmonic = matches(line, f0, binHz);
      if (harmonic === null) continue;
      // Nearness breaks ties between neighbouring trials.
      const off = Math.abs(line.hz - harmonic * f0) / binHz;
      explainedDb += Math.min(30, line.overFloorDb) * (1 - off / 4);
      count++;
      if (harmonic <= 3) low++;
    }
    if ((low > 0 || count >= 3) && (best === null || explainedDb > best.explainedDb)) best = { hz: f0, explainedDb };
  }
  if (best === null) return null;
  // Weighted least squares of f = n·f0 over the lines that fit.
  let numerator = 0;
  let denominator = 0;
  for (const line of candidates) {
    const harmonic = matches(line, best.hz, binHz);
    if (harmonic === null) continue;
    const weight = 1 / line.hzUncertainty ** 2;
    numerator += weight * harmonic * line.hz;
    denominator += weight * harmonic * harmonic;
  }
  return { hz: numerator / denominator, uncertainty: 1 / Math.sqrt(denominator), explainedDb: best.explainedDb };
}

/** Groups lines into families of whole multiples; the lowest line of each is its fundamental. */
function families(lines: readonly SpectralLine[], binHz: number): WhineFamily[] {
  const left = [...lines].sort((a, b) => a.hz - b.hz);
  const found: WhineFamily[] = [];
  while (left.length > 0) {
    const fundamental = left.shift()!;
    const members = [{ ...fundamental, multiple: 1 }];
    for (let i = 0; i < left.length; ) {
      const line = left[i]!;
      const multiple = Math.round(line.hz / fundamental.hz);
      const slack = MATCH_BINS * binHz + 3 * (line.hzUncertainty + multiple * fundamental.hzUncertainty);
      // Beyond the point where the slack reaches a tenth of the fundamental, any line would fit.
      if (multiple >= 2 && slack < fundamental.hz / 10 && Math.abs(line.hz - multiple * fundamental.hz) <= slack) {
        members.push({ ...line, multiple });
        left.splice(i, 1);
      } else {
        i++;
      }
    }
    found.push({ fundamentalHz: fundamental.hz, lines: members, power: members.reduce((s, l) => s + l.power, 0) });
  }
  return found;
}

/** Hum falls off towards high harmonics: from this one on, a line this many times stronger than every lower harmonic is no hum (common practice, no source). */
const HIGH_HARMONIC = 7;
const TOO_STRONG = 4;

/** Lines at multiples of the mains that fall where hum never is so strong: a whine that happens to lie there. */
function strayed(hum: readonly HumLine[]): HumLine[] {
  return hum.filter((line) => line.harmonic >= HIGH_HARMONIC && hum.every((o) => o.harmonic >= line.harmonic || o.power * TOO_STRONG < line.power));
}

/** So many harmonics below one are looked at for the row that it would go on: three pairs of a rectifier's. */
const ROW = 6;

/** Lines above the highest harmonic that go on the row below them: two of the six before are there, and none so much weaker. */
function rowAbove(lines: readonly SpectralLine[], mains: { readonly hz: number; readonly uncertainty: number }, hum: readonly HumLine[], binHz: number): HumLine[] {
  const row = new Map(hum.map((line) => [line.harmonic, line.power]));
  return [...lines].sort((a, b) => a.hz - b.hz).flatMap((line): HumLine[] => {
    const harmonic = Math.round(line.hz / mains.hz);
    const slack = MATCH_BINS * binHz + 3 * (line.hzUncertainty + harmonic * mains.uncertainty);
    if (harmonic <= HIGHEST_HARMONIC || slack > mains.hz / 10 || Math.abs(line.hz - harmonic * mains.hz) > slack) return [];
    const before = Array.from({ length: ROW }, (_, k) => row.get(harmonic - 1 - k)).filter((power) => power !== undefined);
    if (before.length < 2 || Math.max(...before) * TOO_STRONG < line.power) return [];
    row.set(harmonic, line.power);
    return [{ ...line, harmonic }];
  });
}

export function sortLines(search: LineSearch, nominalMainsHz: number, binHz: number): HumAndWhine {
  // A strong whine near a multiple would pull the mains frequency along: it is taken out, and the mains looked for again.
  let candidates: readonly SpectralLine[] = search.lines;
  const humAmong = (lines: readonly SpectralLine[]): { mains: ReturnType<typeof findMains>; hum: HumLine[] } => {
    const mains = findMains(lines, nominalMainsHz, binHz);
    const hum = lines.flatMap((line) => {
      const harmonic = mains === null ? null : matches(line, mains.hz, binHz);
      return harmonic === null ? [] : [{ ...line, harmonic }];
    });
    return { mains, hum };
  };
  let found = humAmong(candidates);
  for (let out = strayed(found.hum); out.length > 0; out = strayed(found.hum)) {
    candidates = candidates.filter((line) => !out.some((o) => o.firstBin === line.firstBin));
    found = humAmong(candidates);
  }
  const { mains } = found;
  const hum = mains === null ? found.hum : [...found.hum, ...rowAbove(search.lines, mains, found.hum, binHz)];
  const isHum = new Set(hum.map((line) => line.firstBin));
  const rest = search.lines.filter((line) => !isHum.has(line.firstBin));
  const whine = families(rest, binHz);
  return {
    mainsHz: mains?.hz ?? null,
    mainsHzUncertainty: mains?.uncertainty ?? null,
    hum,
    humPower: hum.reduce((s, l) => s + l.power, 0),
    whine,
    whinePower: whine.reduce((s, f) => s + f.power, 0),
  };
}
