/**
 * Tone loss: what cable capacitance takes from a source with resistance, measured through a source plug.
 *
 * Droop is the response of a state through the plug over that of the same plug into the straight lead, from its own
 * level at 200 to 500 Hz. The capacitance behind it is fitted for the known source resistance.
 *
 * @module
 */
import { leastSquares } from '../numerics/linear-solve.js';
import type { Curve } from './curve.js';
import { figure } from './figure.js';
import type { Figure, Place, UncertaintyPart } from './figure.js';
import { GRID_HZ, gridIndex, gridRange } from './frequency-grid.js';
import { isMeasured, magnitudeDb, magnitudeDbUncertainty, referenceDb } from './response.js';
import type { ResponseEstimate } from './take.js';

const DROOPS = [
  { id: 'droop.5k', hz: 5000, label: 'Droop at 5 kHz' },
  { id: 'droop.10k', hz: 10000, label: 'Droop at 10 kHz' },
  { id: 'droop.20k', hz: 20000, label: 'Droop at 20 kHz' },
];

/** Droop and −3 dB corner of a response relative to the straight lead. */
export function droopFigures(place: Place, relative: ResponseEstimate, remarks: readonly string[]): Figure[] {
  const reference = referenceDb(relative);
  const figures = DROOPS.map(({ id, hz, label }): Figure => {
    const i = gridIndex(hz);
    if (!isMeasured(relative, i)) {
      return figure(place, { id, label, value: null, unit: 'dB', method: 'tone-loss.droop', parts: null, uncertaintyReason: 'not measured', remarks: [`The take does not reach ${hz / 1000} kHz at its sample rate.`] });
    }
    return figure(place, {
      id,
      label,
      value: magnitudeDb(relative, i) - reference.db,
      unit: 'dB',
      method: 'tone-loss.droop',
      parts: [
        { name: 'noise in the sweep', standard: magnitudeDbUncertainty(relative, i), degreesOfFreedom: null },
        { name: 'noise in the reference band', standard: reference.uncertainty, degreesOfFreedom: null },
      ],
      remarks,
    });
  });
  return [...figures, cornerFigure(place, relative, reference.db, remarks)];
}

const HALF_POWER_DB = -10 * Math.log10(2);

function cornerFigure(place: Place, relative: ResponseEstimate, referenceLevelDb: number, remarks: readonly string[]): Figure {
  const common = { id: 'corner.-3db', label: '−3 dB corner', unit: 'Hz', method: 'tone-loss.droop', remarks };
  const [first, last] = gridRange(500, 20000);
  let highest = 0;
  for (let i = first; i < last; i++) {
    if (!isMeasured(relative, i + 1)) break;
    highest = GRID_HZ[i + 1]!;
    const [a, b] = [magnitudeDb(relative, i) - referenceLevelDb, magnitudeDb(relative, i + 1) - referenceLevelDb];
    if (a < HALF_POWER_DB || b >= HALF_POWER_DB) continue;
    // Straight in log frequency between two points 1/48 octave apart.
    const w = (a - HALF_POWER_DB) / (a - b);
    const hz = GRID_HZ[i]! * (GRID_HZ[i + 1]! / GRID_HZ[i]!) ** w;
    const dbPerNeper = (a - b) / Math.log(GRID_HZ[i + 1]! / GRID_HZ[i]!);
    return figure(place, { ...common, value: hz, parts: [{ name: 'noise in the sweep', standard: (hz * magnitudeDbUncertainty(relative, i)) / dbPerNeper, degreesOfFreedom: null }] });
  }
  return figure(place, { ...common, value: highest, bound: 'lower', parts: [], uncertaintyReason: null, remarks: [...remarks, `The response is still within 3 dB at ${(highest / 1000).toFixed(1)} kHz, the top of what was measured.`] });
}

/** What the plug works into: a resistance and a capacitance side by side. */
export interface ShuntFit {
  readonly capacitanceF: number;
  readonly conductanceS: number;
  /** Standard uncertainties from the noise alone. */
  readonly capacitanceUncertaintyF: number;
  readonly conductanceUncertaintyS: number;
  /** Rms of what the fit leaves, over what noise should leave: about 1 where the model holds. */
  readonly misfit: number;
}

/**
 * Fits R‖C to the effect of a plug: r = H(with the plug) / H(without), magnitude only, 200 Hz to 20 kHz.
 *
 *   |r| = |1 + Rg·Y| / |1 + (Rg + Rp)·Y|,  Y = G + j2πfC
 *
 * Gauss-Newton on C and G in dB, weighted by the error of each point. Magnitude only, because two takes share no exact start.
 *
 * Both must have been played at the same level through the same input: the loss at low frequencies is what tells G.
 *
 * @param generatorOhm - Rg, what the generator already has without the plug.
 * @returns null where it does not settle.
 */
export function fitShunt(r: ResponseEstimate, plugOhm: number, generatorOhm: number): ShuntFit | null {
  const [first, last] = gridRange(200, 20000);
  const points = Array.from({ length: last - first + 1 }, (_, k) => first + k).filter((i) => isMeasured(r, i));
  const total = plugOhm + generatorOhm;
  let c = 100e-12;
  let g = 1e-6;
  const model = (hz: number, cap: number, cond: number): number => {
    const b = 2 * Math.PI * hz * cap;
    return 10 * Math.log10(((1 + generatorOhm * cond) ** 2 + (generatorOhm * b) ** 2) / ((1 + total * cond) ** 2 + (total * b) ** 2));
  };
  const weights = Float64Array.from(points, (i) => 1 / magnitudeDbUncertainty(r, i) ** 2);
  for (let pass = 0; pass < 60; pass++) {
    const dc = Float64Array.from(points, (i) => (model(GRID_HZ[i]!, c + 1e-13, g) - model(GRID_HZ[i]!, c - 1e-13, g)) / 2e-13);
    const dg = Float64Array.from(points, (i) => (model(GRID_HZ[i]!, c, g + 1e-10) - model(GRID_HZ[i]!, c, g - 1e-10)) / 2e-10);
    const y = Float64Array.from(points, (i) => magnitudeDb(r, i) - model(GRID_HZ[i]!, c, g));
    const step = leastSquares([dc, dg], y, weights);
    if (!step) return null;
    const before = c;
    // Half steps while far off keep C positive, where the model is blind to its sign.
    c = Math.max(c / 4, c + step.x[0]!);
    g = Math.max(-1e-5, g + step.x[1]!);
    if (!Number.isFinite(c) || c > 1e-6) return null;
    if (Math.abs(c - before) < 1e-6 * before) {
      const misfit = Math.sqrt(step.residualSum / Math.max(1, points.length - 2));
      const scale = Math.max(1, misfit);
      return {
        capacitanceF: c,
        conductanceS: g,
        capacitanceUncertaintyF: scale * Math.sqrt(step.inverse[0]!),
        conductanceUncertaintyS: scale * Math.sqrt(step.inverse[3]!),
        misfit,
      };
    }
  }
  return null;
}

/** Readings from the fit. */
export function shuntFigures(place: Place, fit: ShuntFit | null, sourceRelativeUncertainty: number, remarks: readonly string[]): Figure[] {
  const common = { method: 'tone-loss.capacitance' };
  if (!fit) {
    return [figure(place, { ...common, id: 'capacitance', label: 'Shunt capacitance', value: null, unit: 'pF', parts: null, uncertaintyReason: 'no fit', remarks: ['No resistance and capacitance explain this response.'] })];
  }
  const pF = fit.capacitanceF * 1e12;
  const source: UncertaintyPart = { name: 'tolerance of the source plug', standard: pF * sourceRelativeUncertainty, degreesOfFreedom: null };
  const misfit = fit.misfit > 4 ? [`A resistance and a capacitance alone do not explain the response (misfit ${fit.misfit.toFixed(1)}): something else shapes it too.`] : [];
  const figures = [
    figure(place, {
      ...common,
      id: 'capacitance',
      label: 'Shunt capacitance seen by the plug',
      value: pF,
      unit: 'pF',
      parts: [{ name: 'noise in the sweep', standard: fit.capacitanceUncertaintyF * 1e12, degreesOfFreedom: null }, source],
      remarks: [...remarks, ...misfit],
    }),
  ];
  const ohm = 1 / fit.conductanceS;
  const relative = fit.conductanceUncertaintyS / Math.abs(fit.conductanceS);
  if (fit.conductanceS > 0 && relative < 0.25) {
    figures.push(
      figure(place, {
        ...common,
        id: 'input-resistance',
        label: 'Input resistance seen by the plug',
        value: ohm / 1000,
        unit: 'kΩ',
        parts: [
          { name: 'noise in the sweep', standard: (ohm / 1000) * relative, degreesOfFreedom: null },
          { name: 'tolerance of the source plug', standard: (ohm / 1000) * sourceRelativeUncertainty, degreesOfFreedom: null },
        ],
        remarks,
      }),
    );
  }
  return figures;
}

/** A response as a curve in dB, from its own 200–500 Hz level where `normalised`. */
export function responseCurve(place: Place, r: ResponseEstimate, kind: 'response' | 'tone-loss', label: string, normalised: boolean): Curve {
  const points = Array.from(GRID_HZ.keys()).filter((i) => isMeasured(r, i));
  const reference = normalised ? referenceDb(r).db : 0;
  const values = points.map((i) => magnitudeDb(r, i) - reference);
  const slack = points.map((i) => 2 * magnitudeDbUncertainty(r, i));
  return {
    id: `${kind}/${place.state}${place.source ? `+${place.source}` : ''}/${place.output ?? ''}`,
    kind,
    label,
    state: place.state,
    source: place.source,
    output: place.output,
    loop: place.loop,
    x: { label: 'Frequency', unit: 'Hz', values: points.map((i) => GRID_HZ[i]!) },
    y: { label: normalised ? 'Level from 200–500 Hz' : 'Gain', unit: 'dB', values },
    low: values.map((v, i) => v - slack[i]!),
    high: values.map((v, i) => v + slack[i]!),
    peak: null,
    marks: [],
    capture: place.capture,
  };
}
