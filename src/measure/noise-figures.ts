/**
 * Idle estimates → noise readings in dBu (or dBFS) and the noise spectrum, with the bench's own noise taken off.
 *
 * @module
 */
import { coverageFactor95 } from '../numerics/statistics.js';
import { thirdOctaveLevels } from '../numerics/third-octave-levels.js';
import { DB_PER_RELATIVE, dbfsToMeanSquare, meanSquareToDbfs } from '../units/decibels.js';
import { fixed, frequencyText, inSentence } from '../units/format.js';
import type { LevelScale } from './calibration.js';
import type { Curve, CurveMark, NoiseBandCurve } from './curve.js';
import { figure, part, phasePart } from './figure.js';
import type { Figure, Place, UncertaintyPart } from './figure.js';
import { NOISE_HIGH_HZ, NOISE_LOW_HZ } from './idle.js';
import type { IdleEstimate, IdleSpectrum } from './idle.js';
import { linePowerVariance } from './power-estimate.js';
import type { SpectralLine } from './spectral-lines.js';
import type { PowerEstimate } from './power-estimate.js';

type PowerKey = 'unweighted' | 'aWeighted' | 'ccirRms' | 'quasiPeak468' | 'densityAt1k' | 'hiss' | 'hum' | 'whine';

interface NoiseReading {
  readonly id: string;
  readonly label: string;
  readonly key: PowerKey;
  readonly method: string;
  readonly perRootHz?: true;
}

const READINGS: readonly NoiseReading[] = [
  { id: 'noise.unweighted', label: 'Noise floor, 20 Hz–20 kHz', key: 'unweighted', method: 'noise.level' },
  { id: 'noise.a', label: 'Noise floor, A-weighted', key: 'aWeighted', method: 'noise.level' },
  { id: 'noise.ccir-rms', label: 'Noise floor, CCIR-RMS', key: 'ccirRms', method: 'noise.level' },
  { id: 'noise.468-qpk', label: 'Noise floor, 468 quasi-peak', key: 'quasiPeak468', method: 'noise.quasi-peak' },
  { id: 'noise.density-1k', label: 'Noise density at 1 kHz', key: 'densityAt1k', method: 'noise.density', perRootHz: true },
  { id: 'noise.hiss', label: 'Hiss', key: 'hiss', method: 'noise.lines' },
  { id: 'noise.hum', label: 'Mains hum', key: 'hum', method: 'noise.lines' },
  { id: 'noise.whine', label: 'Whine', key: 'whine', method: 'noise.lines' },
];

/** Power ratio below which too little of the board is left after the bench's own noise is taken off: 3 dB. */
const LEAST_OVER_BENCH = 10 ** 0.3;

const freedomOf = ({ degreesOfFreedom }: PowerEstimate): { degreesOfFreedom: number | null } => ({ degreesOfFreedom: degreesOfFreedom ?? null });

const skirtParts = (name: string, standard: number): UncertaintyPart[] => (standard > 0 ? [part('method', name, standard)] : []);

/**
 * A level with the bench's own noise taken off as power: P = Pm − Pb.
 *
 * Where the sum is less than 3 dB over the bench, or hum hides what the bench has of it, the level read is an upper bound for the board's.
 *
 * Lines of the mains come from one generator on bench and board (`coherent`): they add as voltages of unknown phase, so that
 * the board's power is Pm + Pb − 2√(Pm·Pb)·cos φ. The spread of that over φ, √2·√(Pm·Pb), is a part of the uncertainty, and the
 * bound is the worst of it, (√Pm + √Pb)².
 */
function overBench(
  measured: PowerEstimate,
  bench: PowerEstimate | null,
  coherent: boolean,
): { power: number; bound: 'upper' | null; parts: UncertaintyPart[] } {
  if (bench && (bench.isHidden || measured.power < LEAST_OVER_BENCH * bench.power)) {
    const most = coherent ? (Math.sqrt(measured.power) + Math.sqrt(bench.power)) ** 2 : measured.power;
    return { power: most, bound: 'upper', parts: [part('spectral statistics', 'spectral statistics', DB_PER_RELATIVE * measured.relativeUncertainty, freedomOf(measured))] };
  }
  const power = measured.power - (bench?.power ?? 0);
  const inDb = (absolute: number): number => (DB_PER_RELATIVE * absolute) / power;
  return {
    power,
    bound: null,
    parts: [
      part('spectral statistics', 'spectral statistics', inDb(measured.power * measured.relativeUncertainty), freedomOf(measured)),
      ...skirtParts('skirts of strong lines', inDb(measured.power * (measured.skirts ?? 0))),
      ...(bench ? [part('bench floor', 'bench noise taken off', inDb(bench.power * bench.relativeUncertainty), freedomOf(bench)), ...skirtParts('skirts of the bench’s strong lines', inDb(bench.power * (bench.skirts ?? 0)))] : []),
      ...(bench && coherent ? [phasePart('phase between the hum of bench and board', (Math.SQRT2 * Math.sqrt(measured.power * bench.power)) / power)] : []),
    ],
  };
}

/** Readings of one channel. */
export function noiseFigures(place: Place, estimate: IdleEstimate, bench: IdleEstimate | null, scale: LevelScale): Figure[] {
  const remarks = steadinessRemarks(estimate);
  const { spectrum } = estimate;
  if (!spectrum) {
    const unread = READINGS.map(({ id, label, method, perRootHz }) =>
      figure(place, { id, label, method, value: null, unit: perRootHz ? `${scale.unit}/√Hz` : scale.unit, parts: null, uncertaintyReason: 'no steady stretch to read', remarks: ['The capture has no steady stretch long enough to read a noise floor from.', ...remarks] }),
    );
    return [...unread, ...steadinessFigures(place, estimate)];
  }
  const benchSpectrum = bench?.spectrum ?? null;
  const { driftDb, driftUncertaintyDb } = estimate.stationarity;
  const drift: UncertaintyPart[] =
    Math.abs(driftDb) > 3 * driftUncertaintyDb + 0.05 ? [part('drift', 'drift during the capture', Math.abs(driftDb) / Math.sqrt(12), { distribution: 'rectangular' })] : [];
  const figures = READINGS.map(({ id, label, key, method, perRootHz }): Figure => {
    const unit = perRootHz ? `${scale.unit}/√Hz` : scale.unit;
    const measured = spectrum[key];
    // Lines are read above their own floor; of the bench only its lines are taken off them.
    if ((key === 'hum' && spectrum.humIsBound) || (key === 'whine' && spectrum.whineIsBound)) {
      const bound = measured.power > 0;
      return figure(place, {
        id,
        label,
        method,
        value: bound ? scale.offsetDb + meanSquareToDbfs(measured.power) : null,
        unit,
        bound: 'upper',
        parts: bound ? scale.parts : null,
        uncertaintyReason: bound ? null : 'no signal',
        remarks: [bound ? key === 'hum' ? 'No mains line stands out of the floor; the value is what ten harmonics just too weak to be seen would make.' : 'No line of whine stands out of the floor; the value is the strongest single line that could hide in it.' : 'The recorder heard digital silence.'],
      });
    }
    const isBound = (key === 'hum' && benchSpectrum?.humIsBound) || (key === 'whine' && benchSpectrum?.whineIsBound);
    const own = benchSpectrum && !isBound && benchSpectrum[key].power > 0 ? benchSpectrum[key] : null;
    if (measured.isHidden && measured.power > 0) {
      return figure(place, {
        id,
        label,
        method,
        value: scale.offsetDb + meanSquareToDbfs(measured.power),
        unit,
        bound: 'upper',
        parts: [part('spectral statistics', 'spectral statistics', DB_PER_RELATIVE * measured.relativeUncertainty, freedomOf(measured)), ...scale.parts],
        remarks: ['The skirts of hum far stronger than it hide it: it is at most this. A longer capture parts them.', ...remarks],
      });
    }
    const { power, bound, parts } = overBench(measured, own, key === 'hum');
    if (!(power > 0)) {
      return figure(place, { id, label, method, value: null, unit, parts: null, uncertaintyReason: 'no signal', remarks: ['The recorder heard digital silence.'] });
    }
    return figure(place, {
      id,
      label,
      method,
      value: scale.offsetDb + meanSquareToDbfs(power),
      unit,
      bound,
      benchLimited: bound === 'upper',
      parts: [...parts, ...drift, ...scale.parts],
      remarks: [...(bound ? [own?.isHidden ? 'Hum hides how much of it is the bench’s own: the board is at most this.' : 'Less than 3 dB above the bench’s own noise: the board is at most this.'] : []), ...remarks],
    });
  });
  return [...figures, ...steadinessFigures(place, estimate), ...lineFigures(place, spectrum, benchSpectrum, scale)];
}

/**
 * How steady the noise is: its drift, and what was left out of it by kind and number. Of a number n that chance makes (Poisson), the rates
 * r with (n − r)² ≤ z²·r lie within z·√(n + z²/4) of about n, and z²/4 for 95 % is 1.
 */
function steadinessFigures(place: Place, estimate: IdleEstimate): Figure[] {
  const { events, driftDb, driftUncertaintyDb, driftDegreesOfFreedom } = estimate.stationarity;
  const COUNTS = [
    { id: 'noise.crackle', label: 'Crackle in the capture', kind: 'crackle' },
    { id: 'noise.thump', label: 'Thumps in the capture', kind: 'thump' },
    { id: 'noise.drop-out', label: 'Dropouts in the capture', kind: 'drop-out' },
  ] as const;
  return [
    figure(place, {
      id: 'noise.drift',
      label: 'Drift of the noise, last quarter of the capture against the first',
      value: driftDb,
      unit: 'dB',
      method: 'noise.steadiness',
      parts: [part('spectral statistics', 'scatter of tenths of a second', driftUncertaintyDb, { degreesOfFreedom: driftDegreesOfFreedom })],
    }),
    ...COUNTS.flatMap(({ id, label, kind }): Figure[] => {
      const of = events.filter((e) => e.kind === kind);
      if (of.length === 0) return [];
      const times = of.slice(0, 5).map((e) => `${fixed(e.atS, 1)} s`).join(', ');
      const remarks = [`At ${times}${of.length > 5 ? ' and later' : ''}; left out of the floor.`];
      return [figure(place, { id, label, value: of.length, unit: 'times', method: 'noise.steadiness', parts: [part('spectral statistics', 'chance of as many in another capture', Math.sqrt(of.length + 1))], remarks })];
    }),
  ];
}

/** The mains frequency and each of its lines, and each family of whine. */
function lineFigures(place: Place, spectrum: IdleSpectrum, bench: IdleSpectrum | null, scale: LevelScale): Figure[] {
  const { lines, psd } = spectrum;
  const level = (power: number): number => scale.offsetDb + meanSquareToDbfs(power);
  const estimateOf = (of: IdleSpectrum, parts: readonly SpectralLine[]): PowerEstimate | null => {
    const power = parts.reduce((s, line) => s + line.power, 0);
    const variance = parts.reduce((s, line) => s + linePowerVariance(line, of.search, of.psd), 0);
    return power > 0 ? { power, relativeUncertainty: Math.sqrt(variance) / power } : null;
  };
  const lineFigure = (id: string, label: string, own: readonly SpectralLine[], ofBench: readonly SpectralLine[], coherent: boolean, remarks: readonly string[]): Figure => {
    const { power, bound, parts } = overBench(estimateOf(spectrum, own)!, bench && estimateOf(bench, ofBench), coherent);
    return figure(place, {
      id,
      label,
      value: level(power),
      unit: scale.unit,
      method: 'noise.lines',
      bound,
      benchLimited: bound === 'upper',
      parts: [...parts, ...scale.parts],
      remarks: [...remarks, ...(bound ? ['The bench itself has this line: of it the board has at most this.'] : [])],
    });
  };
  const out: Figure[] = [];
  if (lines.mainsHz !== null) {
    out.push(
      figure(place, {
        id: 'hum.mains-frequency',
        label: 'Mains frequency, by its lines',
        value: lines.mainsHz,
        unit: 'Hz',
        method: 'noise.lines',
        parts: [part('fit', 'scatter of the lines', lines.mainsHzUncertainty!)],
      }),
    );
    for (const line of lines.hum) {
      const ofBench = bench?.lines.hum.filter((l) => l.harmonic === line.harmonic) ?? [];
      out.push(lineFigure(`noise.hum.h${line.harmonic}`, `Hum at ${line.harmonic} × mains`, [line], ofBench, true, []));
    }
  }
  lines.whine.forEach((family, i) => {
    const on = lineText(family.fundamentalHz);
    const label = `Whine, ${family.lines.length === 1 ? `one line at ${on}` : `${family.lines.length} lines on ${on}`}`;
    const ofBench = bench?.search.lines.filter((b) => family.lines.some((l) => Math.abs(l.hz - b.hz) < 1.5 * psd.binHz)) ?? [];
    out.push(lineFigure(`noise.whine.${i + 1}`, label, family.lines, ofBench, false, [`Lines at ${family.lines.map((l) => lineText(l.hz)).join(', ')}.`]));
  });
  return out;
}

/** A line to a tenth of a hertz. */
const lineText = (hz: number): string => frequencyText(Math.round(10 * hz) / 10, 6);

/** DC from which it is said, of full scale: a tenth of a percent is more than a sound converter has (common practice, no source). */
const NAMED_DC = 1e-3;

/** What was left out, and what was not steady, in words. */
export function steadinessRemarks({ stationarity }: IdleEstimate): string[] {
  const { events, leftOutShare, driftDb, driftUncertaintyDb, gated, dc } = stationarity;
  const remarks: string[] = [];
  const kinds = new Map<string, number[]>();
  for (const event of events) kinds.set(event.kind, [...(kinds.get(event.kind) ?? []), event.atS]);
  for (const [kind, times] of kinds) {
    const shown = times.slice(0, 5).map((t) => `${fixed(t, 1)} s`).join(', ');
    const word = kind === 'crackle' ? 'crackle' : `${kind}${times.length === 1 ? '' : 's'}`;
    remarks.push(`${times.length} × ${word} (at ${shown}${times.length > 5 ? ', …' : ''}) left out of the floor, ${fixed(100 * leftOutShare, 1)} % of the capture in all, and with it every segment of the spectrum that it touches.`);
  }
  if (Math.abs(driftDb) > Math.max(0.5, 4 * driftUncertaintyDb)) remarks.push(`The level drifts by ${inSentence(driftDb, 1)} dB during the capture.`);
  if (Math.abs(dc) >= NAMED_DC) remarks.push(`DC of ${inSentence(100 * dc, 2)} % of the recorder’s full scale was kept out.`);
  if (gated) remarks.push('Parts of the capture are digital silence: a gate or noise suppression is on.');
  return remarks;
}

const POINTS_PER_OCTAVE = 48;

/**
 * The spectrum as a curve: bins gathered into 1/48 octave, each point the mean density, and beside it the largest
 * density in it, so that no line is lost.
 */
export function noiseCurve(place: Place, estimate: IdleEstimate, scale: LevelScale, label: string): Curve | null {
  const { spectrum } = estimate;
  if (!spectrum) return null;
  const { psd, lines } = spectrum;
  const hz: number[] = [];
  const mean: number[] = [];
  const peak: number[] = [];
  const db = (density: number): number => scale.offsetDb + meanSquareToDbfs(Math.max(density, dbfsToMeanSquare(-300)));
  let low = NOISE_LOW_HZ;
  while (low < NOISE_HIGH_HZ) {
    // At low frequencies a point is one bin.
    const high = Math.min(NOISE_HIGH_HZ, Math.max(low * 2 ** (1 / POINTS_PER_OCTAVE), low + psd.binHz));
    const first = Math.ceil(low / psd.binHz);
    const last = Math.min(psd.density.length - 1, Math.ceil(high / psd.binHz) - 1);
    if (last >= first) {
      let sum = 0;
      let largest = 0;
      for (let k = first; k <= last; k++) {
        sum += psd.density[k]!;
        largest = Math.max(largest, psd.density[k]!);
      }
      hz.push((psd.binHz * (first + last)) / 2);
      mean.push(db(sum / (last - first + 1)));
      peak.push(db(largest));
    }
    low = high;
  }
  const marks: CurveMark[] = [
    ...lines.hum.map((l): CurveMark => ({ kind: 'hum', hz: l.hz, level: scale.offsetDb + meanSquareToDbfs(l.power), unit: scale.unit, label: `${l.harmonic} × mains` })),
    ...lines.whine.flatMap((f, i) =>
      f.lines.map((l): CurveMark => ({ kind: 'whine', hz: l.hz, level: scale.offsetDb + meanSquareToDbfs(l.power), unit: scale.unit, label: f.lines.length > 1 ? `whine ${i + 1}, ${l.multiple} × ${frequencyText(f.fundamentalHz)}` : `whine ${i + 1}` })),
    ),
  ];
  return {
    id: `noise-density/${place.state}/${place.output ?? ''}`,
    kind: 'noise-density',
    label,
    state: place.state,
    source: place.source,
    output: place.output,
    loop: place.loop,
    x: { label: 'Frequency', unit: 'Hz', values: hz },
    y: { label: 'Noise density', unit: `${scale.unit}/√Hz`, values: mean },
    low: null,
    high: null,
    peak,
    marks,
    capture: place.capture,
  };
}

/**
 * The noise per third-octave band, lines and all, with the bench's own taken off as for the readings; the band around each level is that of
 * 95 %, calibration included.
 */
export function noiseBandCurve(place: Place, estimate: IdleEstimate, bench: IdleEstimate | null, scale: LevelScale, label: string): NoiseBandCurve | null {
  if (!estimate.spectrum) return null;
  const powerOf = ({ power, degreesOfFreedom }: { power: number; degreesOfFreedom: number }): PowerEstimate => ({ power, degreesOfFreedom, relativeUncertainty: Math.sqrt(2 / degreesOfFreedom) });
  const ofBench = new Map(bench?.spectrum ? thirdOctaveLevels(bench.spectrum.psd, NOISE_LOW_HZ, NOISE_HIGH_HZ).map((l) => [l.band.midHz, powerOf(l)]) : []);
  const levels = thirdOctaveLevels(estimate.spectrum.psd, NOISE_LOW_HZ, NOISE_HIGH_HZ).map((level) => {
    if (!(level.power > 0)) return { hz: level.band.midHz, db: null, low: null, high: null };
    const { power, bound, parts } = overBench(powerOf(level), ofBench.get(level.band.midHz) ?? null, false);
    const db = scale.offsetDb + meanSquareToDbfs(power);
    const half = Math.hypot(...[...parts, ...scale.parts].map((p) => coverageFactor95(p.degreesOfFreedom) * p.standard));
    return { hz: level.band.midHz, db, low: bound === null ? db - half : null, high: db + half };
  });
  return {
    id: `noise-third-octave/${place.state}/${place.output ?? ''}`,
    kind: 'noise-third-octave',
    label,
    state: place.state,
    source: place.source,
    output: place.output,
    loop: place.loop,
    x: { label: 'Frequency', unit: 'Hz', values: levels.map((l) => l.hz) },
    y: { label: 'Noise per third-octave band', unit: scale.unit, values: levels.map((l) => l.db) },
    low: levels.map((l) => l.low),
    high: levels.map((l) => l.high),
    peak: null,
    marks: [],
    capture: place.capture,
  };
}
