/**
 * What hangs on the board's input jack, from what source plugs of known resistance do to the response: a resistance and a
 * capacitance side by side.
 *
 *   |H through R| = |H| / |1 + R·Y|,  Y = G + j2πfC,  R = generator + plug
 *
 * One state is taken through two or more known resistances (no plug being one, with the generator's own); what the board
 * itself does to the response, H, is the same in all and drops out. So two plugs do without a take without a plug, and
 * every further plug makes the fit firmer.
 *
 * @module
 */
import { leastSquares } from '../numerics/linear-solve.js';
import { DB_PER_RELATIVE } from '../units/decibels.js';
import { GRID_HZ, gridRange } from './frequency-grid.js';
import { isMeasured, magnitudeDb, magnitudeDbUncertainty } from './response.js';
import type { ResponseEstimate } from './take.js';

/** One take of the state. All of them over the same bench take, or all over none. */
export interface SeriesTake {
  readonly response: ResponseEstimate;
  /** Null for the take without a plug. */
  readonly plug: { readonly id: string; readonly ohm: number; readonly relativeUncertainty: number } | null;
}

/** How a plug's resistance, one standard uncertainty above what is stated, would have changed the fit. */
export interface PlugSensitivity {
  readonly plug: string;
  readonly capacitanceF: number;
  readonly conductanceS: number;
}

export interface ShuntFit {
  readonly capacitanceF: number;
  readonly conductanceS: number;
  /** From the noise alone: variance of C, covariance, variance of G. */
  readonly noise: { readonly cc: number; readonly cg: number; readonly gg: number };
  readonly plugs: readonly PlugSensitivity[];
  /** Rms of what the fit leaves, over what noise should leave: about 1 where the model holds. */
  readonly misfit: number;
  /** Rms of what the fit leaves, dB. */
  readonly leftDb: number;
}

/** Why there is no fit, and what to capture for one. */
export interface NoFit {
  readonly reason: string;
}

/** A variation of the capacitance as large as itself is no figure. */
const WORST_RELATIVE = 0.5;
/** What can hardly be told from nothing is not fitted relative to itself, F. */
const SMALL_F = 20e-12;

/**
 * Weighted least squares on C, G and the deviation of each plug from what is stated (held by its tolerance), magnitude
 * only, 200 Hz to 20 kHz: two takes share no exact start. Gauss-Newton.
 *
 * @param generatorOhm - what the generator has without a plug.
 */
export function fitShunt(takes: readonly SeriesTake[], generatorOhm: number): ShuntFit | NoFit {
  const resistances = new Set(takes.map(({ plug }) => plug?.ohm ?? 0));
  if (resistances.size < 2) {
    return { reason: 'One resistance alone does not tell the board’s own response from its input: capture the state without a plug as well, or through a second plug.' };
  }
  const [first, last] = gridRange(200, 20000);
  const points = Array.from({ length: last - first + 1 }, (_, k) => first + k).filter((i) => takes.every(({ response }) => isMeasured(response, i)));
  const plugs = takes.flatMap(({ plug }) => (plug !== null && plug.relativeUncertainty > 0 ? [plug] : []));
  const deviations = new Float64Array(plugs.length);
  const levels = takes.map(({ response }) => Float64Array.from(points, (i) => magnitudeDb(response, i)));
  const weights = takes.map(({ response }) => Float64Array.from(points, (i) => 1 / magnitudeDbUncertainty(response, i) ** 2));
  let c = 100e-12;
  let g = 1e-6;
  for (let pass = 0; pass < 60; pass++) {
    const rows = rowsOf(takes, plugs, points, levels, weights, { c, g, deviations, generatorOhm });
    const step = leastSquares(rows.columns, rows.y, rows.weights);
    if (!step) return { reason: 'The response does not change enough from one resistance to the other: use a plug of more resistance.' };
    const before = c;
    // Short steps while far off: C stays positive, where the model is blind to its sign, and G where the model is one.
    // Where whole steps jump to and fro, as with nanofarads in parallel, halves of them settle.
    const share = pass < 20 ? 1 : 0.5;
    c = Math.min(4 * c, Math.max(c / 4, c + share * step.x[0] * F_UNIT));
    g = Math.min(2 * Math.max(g, 1e-5), Math.max(-1e-5, g + share * step.x[1] * S_UNIT));
    for (let k = 0; k < plugs.length; k++) deviations[k] += share * step.x[2 + k];
    if (!Number.isFinite(c) || c > 1e-6) break;
    if (Math.abs(c - before) >= 1e-6 * before) continue;
    const fit = settled(step, plugs, rows, { c, g });
    if (Math.sqrt(fit.noise.cc) > WORST_RELATIVE * Math.max(c, SMALL_F)) {
      return { reason: 'The capacitance is lost in the noise of these takes: use a plug of more resistance, or play louder.' };
    }
    return fit;
  }
  return { reason: 'No resistance and capacitance explain this response.' };
}

/** Columns of similar size: pF and µS. */
const F_UNIT = 1e-12;
const S_UNIT = 1e-6;

interface Guess {
  readonly c: number;
  readonly g: number;
  readonly deviations: Float64Array;
  readonly generatorOhm: number;
}

interface Rows {
  readonly columns: Float64Array[];
  readonly y: Float64Array;
  readonly weights: Float64Array;
  /** Independent levels: of each frequency one goes into what the board itself does. */
  readonly freedom: number;
}

/** The linear problem at a guess: per frequency and take the level less its weighted mean over the takes, and a row that holds each plug. */
function rowsOf(
  takes: readonly SeriesTake[],
  plugs: readonly NonNullable<SeriesTake['plug']>[],
  points: readonly number[],
  levels: readonly Float64Array[],
  weights: readonly Float64Array[],
  { c, g, deviations, generatorOhm }: Guess,
): Rows {
  const count = takes.length;
  const size = points.length * count + plugs.length;
  const columns = Array.from({ length: 2 + plugs.length }, () => new Float64Array(size));
  const y = new Float64Array(size);
  const rowWeights = new Float64Array(size);
  const own = takes.map(({ plug }) => (plug === null ? -1 : plugs.indexOf(plug)));
  const slope = -DB_PER_RELATIVE;
  points.forEach((i, p) => {
    const w = 2 * Math.PI * GRID_HZ[i];
    const total = weights.reduce((sum, v) => sum + v[p], 0);
    for (let t = 0; t < count; t++) {
      const row = p * count + t;
      const plug = takes[t].plug;
      const stretch = own[t] < 0 ? 1 : 1 + deviations[own[t]];
      const r = generatorOhm + (plug?.ohm ?? 0) * stretch;
      const re = 1 + r * g;
      const im = r * w * c;
      const square = re * re + im * im;
      y[row] = levels[t][p] - slope * Math.log(square);
      columns[0][row] = ((slope * 2 * im * r * w) / square) * F_UNIT;
      columns[1][row] = ((slope * 2 * re * r) / square) * S_UNIT;
      if (own[t] >= 0) columns[2 + own[t]][row] = (slope * 2 * plug!.ohm * (re * g + im * w * c)) / square;
      rowWeights[row] = weights[t][p];
    }
    for (const series of [y, ...columns]) {
      let mean = 0;
      for (let t = 0; t < count; t++) mean += (weights[t][p] / total) * series[p * count + t];
      for (let t = 0; t < count; t++) series[p * count + t] -= mean;
    }
  });
  plugs.forEach(({ relativeUncertainty }, k) => {
    const row = points.length * count + k;
    y[row] = -deviations[k];
    columns[2 + k][row] = 1;
    rowWeights[row] = 1 / relativeUncertainty ** 2;
  });
  return { columns, y, weights: rowWeights, freedom: points.length * (count - 1) };
}

function settled(
  { inverse, residualSum }: { inverse: Float64Array; residualSum: number },
  plugs: readonly NonNullable<SeriesTake['plug']>[],
  { y, freedom }: Rows,
  { c, g }: { c: number; g: number },
): ShuntFit {
  const n = 2 + plugs.length;
  // A plug's own share of the covariance: what its deviation, one standard uncertainty, does to the estimate.
  const sensitivities = plugs.map(({ id, relativeUncertainty }, k) => ({
    plug: id,
    capacitanceF: (-inverse[2 + k] / relativeUncertainty) * F_UNIT,
    conductanceS: (-inverse[n + 2 + k] / relativeUncertainty) * S_UNIT,
  }));
  const misfit = Math.sqrt(residualSum / Math.max(1, freedom - 2));
  const scale = Math.max(1, misfit) ** 2;
  const left = (whole: number, part: (s: PlugSensitivity) => number): number => scale * (whole - sensitivities.reduce((sum, s) => sum + part(s), 0));
  return {
    capacitanceF: c,
    conductanceS: g,
    noise: {
      cc: left(inverse[0] * F_UNIT * F_UNIT, (s) => s.capacitanceF ** 2),
      cg: left(inverse[1] * F_UNIT * S_UNIT, (s) => s.capacitanceF * s.conductanceS),
      gg: left(inverse[n + 1] * S_UNIT * S_UNIT, (s) => s.conductanceS ** 2),
    },
    plugs: sensitivities,
    misfit,
    leftDb: Math.sqrt(y.subarray(0, y.length - plugs.length).reduce((sum, v) => sum + v * v, 0) / Math.max(1, freedom)),
  };
}
