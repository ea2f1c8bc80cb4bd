/**
 * Tone loss: what cable capacitance takes from a source with resistance, measured through a source plug.
 *
 * Droop is the response of a state through the plug over that of the same plug into the straight lead, from its own
 * level at 200 to 500 Hz. The capacitance behind it is fitted for the known source resistance (shunt-fit).
 *
 * @module
 */
import { leastSquares } from '../numerics/linear-solve.js';
import { fixed } from '../units/format.js';
import type { Curve } from './curve.js';
import { figure, part } from './figure.js';
import type { Figure, Place } from './figure.js';
import { GRID_HZ, gridIndex, gridRange } from './frequency-grid.js';
import { isMeasured, magnitudeDb, magnitudeDbUncertainty, referenceDb } from './response.js';
import type { NoFit, PlugSensitivity, ShuntFit } from './shunt-fit.js';
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
        part('spectral statistics', 'noise in the sweep', magnitudeDbUncertainty(relative, i)),
        part('spectral statistics', 'noise in the reference band', reference.uncertainty),
      ],
      remarks,
    });
  });
  return [...figures, cornerFigure(place, relative, reference, remarks)];
}

const HALF_POWER_DB = -10 * Math.log10(2);
/** Reach of the parabola that a corner is read from: a quarter of an octave on either side, in ln f. */
const CORNER_REACH = Math.LN2 / 4;

/** Level, its slope per unit of ln f and its standard uncertainty at a point of the grid, from a parabola through its surroundings. */
function levelAround(relative: ResponseEstimate, at: number): { db: number; slope: number; uncertainty: number } | null {
  const near = Array.from(GRID_HZ.keys()).filter((i) => isMeasured(relative, i) && Math.abs(Math.log(GRID_HZ[i]! / GRID_HZ[at]!)) < CORNER_REACH);
  const d = Float64Array.from(near, (i) => Math.log(GRID_HZ[i]! / GRID_HZ[at]!));
  const weights = Float64Array.from(near, (i) => 1 / magnitudeDbUncertainty(relative, i) ** 2);
  const fit = leastSquares([new Float64Array(near.length).fill(1), d, d.map((v) => v * v)], Float64Array.from(near, (i) => magnitudeDb(relative, i)), weights);
  return fit && { db: fit.x[0]!, slope: fit.x[1]!, uncertainty: Math.sqrt(fit.inverse[0]!) };
}

/** Where the level has fallen by 3.01 dB. Read from a parabola, since of single points the noise would choose the first that dips. */
function cornerFigure(place: Place, relative: ResponseEstimate, reference: { db: number; uncertainty: number }, remarks: readonly string[]): Figure {
  const common = { id: 'corner.-3db', label: '−3 dB corner', unit: 'Hz', method: 'tone-loss.droop', remarks };
  const wanted = reference.db + HALF_POWER_DB;
  const [first, last] = gridRange(500, 20000);
  let highest = 0;
  let before = levelAround(relative, first);
  for (let i = first; i < last; i++) {
    if (!isMeasured(relative, i + 1)) break;
    highest = GRID_HZ[i + 1]!;
    const [a, b] = [before, levelAround(relative, i + 1)];
    before = b;
    if (!a || !b || a.db < wanted || b.db >= wanted) continue;
    // Straight in log frequency between two points 1/48 octave apart.
    const hz = GRID_HZ[i]! * (GRID_HZ[i + 1]! / GRID_HZ[i]!) ** ((a.db - wanted) / (a.db - b.db));
    const hzPerDb = hz / Math.max(Math.abs(b.slope), 1e-9);
    return figure(place, {
      ...common,
      value: hz,
      parts: [part('spectral statistics', 'noise in the sweep', hzPerDb * b.uncertainty), part('spectral statistics', 'noise in the reference band', hzPerDb * reference.uncertainty)],
    });
  }
  if (highest === 0) return figure(place, { ...common, value: null, parts: null, uncertaintyReason: 'not measured', remarks: [...remarks, 'The take holds no response to read a corner from.'] });
  return figure(place, { ...common, value: highest, bound: 'lower', parts: [], uncertaintyReason: null, remarks: [...remarks, `The response is still within 3 dB at ${fixed(highest / 1000, 1)} kHz, the top of what was measured.`] });
}

/** Readings from the fit. */
export function shuntFigures(place: Place, fit: ShuntFit | NoFit, remarks: readonly string[]): Figure[] {
  const common = { method: 'tone-loss.capacitance' };
  if ('reason' in fit) {
    return [figure(place, { ...common, id: 'capacitance', label: 'Shunt capacitance', value: null, unit: 'pF', parts: null, uncertaintyReason: 'no fit', remarks: [fit.reason] })];
  }
  const plugs = (of: (sensitivity: PlugSensitivity) => number): number => Math.hypot(...fit.plugs.map(of));
  const figures = [
    figure(place, {
      ...common,
      id: 'capacitance',
      label: 'Shunt capacitance seen by the plug',
      value: fit.capacitanceF * 1e12,
      unit: 'pF',
      parts: [
        part('fit', 'noise in the sweep', Math.sqrt(fit.noise.cc) * 1e12),
        part('stated tolerance', 'tolerance of the source plug', plugs((s) => s.capacitanceF) * 1e12),
      ],
      remarks: [...remarks, ...misfitRemark(fit)],
    }),
  ];
  const { conductanceS } = fit;
  const kOhm = 1e-3 / conductanceS;
  const relative = Math.sqrt(fit.noise.gg) / Math.abs(conductanceS);
  if (conductanceS > 0 && relative < 0.25) {
    figures.push(
      figure(place, {
        ...common,
        id: 'input-resistance',
        label: 'Input resistance seen by the plug',
        value: kOhm,
        unit: 'kΩ',
        parts: [
          part('fit', 'noise in the sweep', kOhm * relative),
          part('stated tolerance', 'tolerance of the source plug', (kOhm * plugs((s) => s.conductanceS)) / conductanceS),
        ],
        remarks,
      }),
    );
  }
  return figures;
}

/** Where more than a resistance and a capacitance shapes what the plug saw. */
export const misfitRemark = ({ misfit }: ShuntFit): string[] =>
  misfit > 4 ? [`A resistance and a capacitance alone do not explain the response (misfit ${fixed(misfit, 1)}): something else shapes it too.`] : [];

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
