/** Responses, harmonics, delay and circuits against SciPy, SoX, ngspice and closed forms. */
import { outputNoise } from '../../src/circuit/noise.js';
import { response as circuitResponse, toGround } from '../../src/circuit/response.js';
import { GRID_HZ } from '../../src/measure/frequency-grid.js';
import { fitPhaseLine } from '../../src/measure/match.js';
import { fitShunt } from '../../src/measure/shunt-fit.js';
import type { ResponseEstimate } from '../../src/measure/take.js';
import { droopFigures } from '../../src/measure/tone-loss.js';
import { SWEEP_LEAD_S, SWEEP_TAIL_S, impulseResponse, prepareSweep, sweepResponse } from '../../src/numerics/deconvolution.js';
import type { ComplexCurve } from '../../src/numerics/deconvolution.js';
import { irfft, nextPowerOfTwo, rfft } from '../../src/numerics/fft.js';
import { harmonicResponses } from '../../src/numerics/sweep-harmonics.js';
import { SWEEP_RATE_S, sweepAt, sweepDurationS, sweepTopHz } from '../../src/signals/sweep.js';
import { cases as spiceCases, elementsOf, oracle as spiceVersion, temperatureK } from '../helpers/ngspice-circuits.js';
import scipySweep from '../outside/scipy/sweep-response.json' with { type: 'json' };
import scipyVersions from '../outside/scipy/versions.json' with { type: 'json' };
import sox from '../outside/sox/levels.json' with { type: 'json' };
import cable from '../standards/cable-lowpass.json' with { type: 'json' };
import delays from '../standards/delay-estimation.json' with { type: 'json' };
import type { Case, Check } from './check.js';
import { frequencyText } from '../../src/units/format.js';

const db = (ratio: number): number => 20 * Math.log10(ratio);
const magnitudeDb = ({ re, im }: ComplexCurve, i: number): number => db(Math.hypot(re[i]!, im[i]!));

function sweepOf(rate: number, top = sweepTopHz(rate), amplitude = 0.1): Float64Array {
  const duration = sweepDurationS(top);
  const frames = Math.ceil((SWEEP_LEAD_S + duration + SWEEP_TAIL_S) * rate);
  return Float64Array.from({ length: frames }, (_, n) => amplitude * sweepAt(n / rate - SWEEP_LEAD_S, duration));
}

/** Direct form of a difference equation. */
function filtered(x: Float64Array, b: readonly number[], a: readonly number[]): Float64Array {
  const y = new Float64Array(x.length);
  for (let n = 0; n < x.length; n++) {
    let sum = 0;
    for (let k = 0; k < b.length; k++) sum += n >= k ? b[k]! * x[n - k]! : 0;
    for (let k = 1; k < a.length; k++) sum -= n >= k ? a[k]! * y[n - k]! : 0;
    y[n] = sum / a[0]!;
  }
  return y;
}

/** Coefficients of SoX's filters: one pole by its exponential, two by R. Bristow-Johnson's formulas (SoX's manual; formulas from memory). */
function soxFilter(effect: string, rate: number): { b: number[]; a: number[] } {
  const [name, ...words] = effect.split(' ');
  const corner = Number(words.find((w) => /^\d+$/.test(w)));
  const w0 = (2 * Math.PI * corner) / rate;
  if (words[0] === '-1') {
    const pole = Math.exp(-w0);
    return name === 'lowpass' ? { b: [1 - pole], a: [1, -pole] } : { b: [(1 + pole) / 2, -(1 + pole) / 2], a: [1, -pole] };
  }
  const q = Number(words.find((w) => w.endsWith('q'))!.slice(0, -1));
  const [c, alpha] = [Math.cos(w0), Math.sin(w0) / (2 * q)];
  if (name === 'lowpass') return { b: [(1 - c) / 2, 1 - c, (1 - c) / 2], a: [1 + alpha, -2 * c, 1 - alpha] };
  if (name === 'highpass') return { b: [(1 + c) / 2, -(1 + c), (1 + c) / 2], a: [1 + alpha, -2 * c, 1 - alpha] };
  const g = 10 ** (Number(words.at(-1)) / 40);
  return { b: [1 + alpha * g, -2 * c, 1 - alpha * g], a: [1 + alpha / g, -2 * c, 1 - alpha / g] };
}

function soxCases(): Case[] {
  const sweep = sweepOf(sox.rate);
  const reference = prepareSweep(sweep, sweep.length, sox.rate, sweepTopHz(sox.rate));
  return sox.filters.flatMap(({ effect, rows }) => {
    const { b, a } = soxFilter(effect, sox.rate);
    const at = (rows as [number, number][]).filter(([, gain]) => gain > -60);
    const { response } = sweepResponse(filtered(sweep, b, a), reference, Float64Array.from(at, ([f]) => f));
    return at.map(([f, gain], i) => ({ input: `${effect}, ${frequencyText(f)}`, ours: magnitudeDb(response, i), theirs: gain }));
  });
}

function scipyCases(of: (response: ComplexCurve, i: number) => number, column: number): Case[] {
  const { rate, top, a, b, rows } = scipySweep as { rate: number; top: number; a: number[]; b: number[]; rows: number[][] };
  const sweep = sweepOf(rate, top);
  const { response } = sweepResponse(filtered(sweep, b, a), prepareSweep(sweep, sweep.length, rate, top), Float64Array.from(rows, (r) => r[0]!));
  return rows.map((r, i) => ({ input: frequencyText(r[0]!), ours: of(response, i), theirs: r[column]! }));
}

/** A sweep delayed by a part of a sample, its band ending at a part of half the rate, as an estimate without noise. */
function delayCases(): Case[] {
  const rate = 48000;
  const sweep = sweepOf(rate);
  const reference = prepareSweep(sweep, sweep.length, rate, sweepTopHz(rate));
  const size = nextPowerOfTwo(2 * sweep.length);
  const later = (samples: number, corner: number): Float64Array => {
    const s = rfft(sweep, size);
    for (let k = 0; k <= size / 2; k++) {
      const f = (k * rate) / size;
      // A second-order low-pass with linear phase: its magnitude alone.
      const gain = 1 / (1 + (f / corner) ** 4);
      const turn = -2 * Math.PI * f * (samples / rate);
      const [re, im] = [s.re[k]!, s.im[k]!];
      s.re[k] = gain * (re * Math.cos(turn) - im * Math.sin(turn));
      s.im[k] = gain * (re * Math.sin(turn) + im * Math.cos(turn));
    }
    return irfft(s).subarray(0, sweep.length);
  };
  const wanted = (delays.rows as number[][]).map(([d]) => d!).filter((d) => d > 0 && d < 0.5);
  return [48000, 12000, 6000].flatMap((corner) =>
    wanted.filter((_, i) => corner === 48000 || i % 3 === 2).map((samples) => {
      const { response, peakLagS } = sweepResponse(later(samples, corner), reference, GRID_HZ);
      const estimate: ResponseEstimate = { curve: response, variance: new Float64Array(GRID_HZ.length), peakLagS };
      return { input: `${samples} sample, band to ${corner >= 48000 ? 'the top' : frequencyText(corner)}`, ours: fitPhaseLine(estimate)!.delayS * rate, theirs: samples };
    }),
  );
}

function harmonicCases(): Case[] {
  const rate = 48000;
  const sweep = sweepOf(rate, sweepTopHz(rate), 1);
  const reference = prepareSweep(sweep, sweep.length, rate, sweepTopHz(rate));
  const frequencies = Float64Array.of(50, 100, 300, 997, 3000, 6000);
  const bent = sweep.map((v) => v + 0.1 * v * v + 0.05 * v ** 3);
  const first = sweepResponse(bent, reference, frequencies).response;
  const orders = harmonicResponses(impulseResponse(bent, reference), reference, SWEEP_RATE_S, frequencies, 3);
  return [...frequencies].flatMap((f, i) => [
    { input: `first, ${frequencyText(f)}`, ours: magnitudeDb(first, i), theirs: db(1.0375) },
    ...orders.map(({ order, response }) => ({ input: `order ${order}, ${frequencyText(f)}`, ours: magnitudeDb(response, i), theirs: db(order === 2 ? 0.05 : 0.0125) })),
  ]);
}

/** A level of exactly what a source resistance and a capacitance make, on the grid. */
const behind = (ohm: number, farad: number): ResponseEstimate => ({
  curve: {
    re: GRID_HZ.map((f) => 1 / (1 + (2 * Math.PI * f * ohm * farad) ** 2)),
    im: GRID_HZ.map((f) => (-2 * Math.PI * f * ohm * farad) / (1 + (2 * Math.PI * f * ohm * farad) ** 2)),
  },
  variance: new Float64Array(GRID_HZ.length),
  peakLagS: 0,
});

const cableRows = (cable.rows as number[][]).filter(([ohm, , , , corner]) => ohm! >= 1000 && corner! > 4000);

function droopCases(): Case[] {
  return cableRows.flatMap(([ohm, metres, , pF, corner, ...droops]) => {
    const figures = droopFigures(place, behind(ohm!, pF! * 1e-12), []);
    // The table is against frequency zero; a droop is read from 200 to 500 Hz, whose own loss, at about 330 Hz, is added.
    const ownDb = -10 * Math.log10(1 + (330 / corner!) ** 2);
    return [5, 10, 20].map((kHz, k) => ({ input: `${ohm} Ω, ${metres} m, ${kHz} kHz`, ours: figures.find((x) => x.id === `droop.${kHz}k`)!.value! + ownDb, theirs: droops[k]! }));
  });
}

const place = { state: 'rest', source: 'p', output: 'A', loop: null, capture: [] };

function capacitanceCases(): Case[] {
  return cableRows
    .filter(([ohm]) => ohm! >= 10000)
    .flatMap(([ohm, metres, , pF]) => {
      const fit = fitShunt([{ response: behind(100, pF! * 1e-12), plug: null }, { response: behind(100 + ohm!, pF! * 1e-12), plug: { id: 'p', ohm: ohm!, relativeUncertainty: 0 } }], 100);
      return 'reason' in fit ? [] : [{ input: `${ohm} Ω, ${metres} m`, ours: fit.capacitanceF * 1e12, theirs: pF! }];
    });
}

interface SpiceError {
  readonly input: string;
  readonly levelDb: number;
  readonly phaseDeg: number;
}

function spiceErrors(): SpiceError[] {
  return spiceCases.flatMap((c) => {
    const got = circuitResponse(c.elements.flatMap((e) => elementsOf(e)), 'in', toGround(c.output), Float64Array.from(c.frequencyHz));
    const peak = Math.max(...c.re.map((re, k) => Math.hypot(re, c.im[k]!)));
    return c.frequencyHz.flatMap((f, k) => {
      const [re, im] = [c.re[k]!, c.im[k]!];
      // Audio, and what is not rounding beside the peak.
      if (f < 20 || f > 20000 || Math.hypot(re, im) < 1e-8 * peak) return [];
      const phaseDeg = (Math.atan2(got.im[k]! * re - got.re[k]! * im, got.re[k]! * re + got.im[k]! * im) * 180) / Math.PI;
      return [{ input: `${c.name}, ${frequencyText(f)}`, levelDb: db(Math.hypot(got.re[k]!, got.im[k]!) / Math.hypot(re, im)), phaseDeg }];
    });
  });
}

const spiceNoise = (): Case[] =>
  spiceCases.flatMap((c) => {
    const got = outputNoise(c.elements.flatMap((e) => elementsOf(e)), toGround(c.output), Float64Array.from(c.noiseFrequencyHz), temperatureK);
    return c.noiseFrequencyHz.flatMap((f, k) => (c.noiseVPerRtHz[k]! > 0 ? [{ input: `${c.name}, ${frequencyText(f)}`, ours: db(got.densityVPerRtHz[k]!), theirs: db(c.noiseVPerRtHz[k]!) }] : []));
  });

const RESPONSE_METHODS = ['tone-loss.droop', 'match.level', 'loop.gain', 'take.gain'];

export const responseChecks: readonly Check[] = [
  {
    figure: 'Response from the sweep, level',
    domain: 'second-order section, 61 frequencies, 20 Hz to 20 kHz',
    oracle: 'SciPy freqz',
    version: scipyVersions.scipy,
    unit: 'dB',
    tolerance: 0.003,
    because: 'the window over the lag, largest at 20 Hz; from 50 Hz on a tenth of it',
    methods: RESPONSE_METHODS,
    cases: () => scipyCases(magnitudeDb, 3),
  },
  {
    figure: 'Response from the sweep, phase',
    domain: 'second-order section, 61 frequencies, 20 Hz to 20 kHz',
    oracle: 'SciPy freqz',
    version: scipyVersions.scipy,
    unit: '°',
    tolerance: 0.02,
    because: 'as for the level',
    methods: ['match.delay'],
    cases: () => scipyCases(({ re, im }, i) => (Math.atan2(im[i]!, re[i]!) * 180) / Math.PI, 4),
  },
  {
    figure: 'Response from the sweep, level',
    domain: 'five filters, 25 Hz to 20 kHz, down to −60 dB; SoX heard them tone by tone',
    oracle: 'SoX highpass, lowpass, equalizer',
    version: sox.soxVersion,
    unit: 'dB',
    tolerance: 0.02,
    because: 'SoX prints six decimals of an amplitude, which are 0.009 dB at −60 dB',
    methods: RESPONSE_METHODS,
    cases: soxCases,
  },
  {
    figure: 'Harmonics against frequency (library)',
    domain: 'y = x + 0.1·x² + 0.05·x³, orders 1 to 3, 50 Hz to 6 kHz',
    oracle: 'trigonometry',
    version: 'closed form',
    unit: 'dB',
    tolerance: 0.01,
    because: 'asked of the case; the third order’s window is 0.3 s long',
    methods: ['take.harmonics'],
    cases: harmonicCases,
  },
  {
    figure: 'Delay between two outputs',
    domain: '0.05 to 0.45 sample at 48 kHz, wide and narrow bands',
    oracle: 'delay put in as phase',
    version: 'closed form',
    unit: 'sample',
    tolerance: 0.05,
    because: 'asked of it; the parabola through the peak of a correlation errs by up to 0.118 sample on these (Knapp and Carter 1976, computed)',
    methods: ['match.delay'],
    cases: delayCases,
  },
  {
    figure: 'Droop of a cable',
    domain: `${cableRows.length} cables behind 1 kΩ and more; 5, 10, 20 kHz`,
    oracle: 'first-order RC, published table',
    version: 'closed form',
    unit: 'dB',
    tolerance: 0.0051,
    because: 'the table has two to four decimals',
    methods: ['tone-loss.droop'],
    cases: droopCases,
  },
  {
    figure: 'Shunt capacitance',
    domain: 'cables behind 10 kΩ and more, without noise, through one plug',
    oracle: 'first-order RC, published table',
    version: 'closed form',
    unit: 'of the capacitance',
    relative: true,
    tolerance: 1e-5,
    because: 'Gauss-Newton stops at 1e-6',
    methods: ['tone-loss.capacitance', 'design.capacitance'],
    cases: capacitanceCases,
  },
  {
    figure: 'Circuits, level',
    domain: `${spiceCases.length} networks, 20 Hz to 20 kHz`,
    oracle: 'ngspice AC',
    version: spiceVersion,
    unit: 'dB',
    tolerance: 0.01,
    because: 'ngspice adds gmin = 1e-12 S and prints ten digits',
    methods: ['player.translation', 'design.capacitance', 'design.noise'],
    cases: () => spiceErrors().map(({ input, levelDb }) => ({ input, ours: levelDb, theirs: 0 })),
  },
  {
    figure: 'Circuits, phase',
    domain: `${spiceCases.length} networks, 20 Hz to 20 kHz`,
    oracle: 'ngspice AC',
    version: spiceVersion,
    unit: '°',
    tolerance: 0.1,
    because: 'as for the level',
    methods: ['player.translation'],
    cases: () => spiceErrors().map(({ input, phaseDeg }) => ({ input, ours: phaseDeg, theirs: 0 })),
  },
  {
    figure: 'Circuits, noise',
    domain: `${spiceCases.length} networks`,
    oracle: 'ngspice noise',
    version: spiceVersion,
    unit: 'dB',
    tolerance: 0.05,
    because: 'ngspice’s Boltzmann constant and gmin',
    methods: ['design.noise'],
    cases: spiceNoise,
  },
];
