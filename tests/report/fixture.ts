/**
 * Results of boards that do not exist, made by formula and a seeded generator: enough like the real thing to try every
 * part of a report, and true of nothing.
 */
import type { Curve, CurveMark, Finding, LevelRange, NoiseAttribution, NoiseParts, NoiseSource, Reading, Results } from '../../src/judge/results.js';
import type { PlayerCurve, Predicted } from '../../src/judge/results.js';
import { listeningOf } from '../../src/measure/excerpt.js';
import { noise, seeded } from '../helpers/random.js';

export interface FixtureOptions {
  readonly loops: number;
  readonly outputs: number;
  readonly calibrated: boolean;
  readonly seed: number;
}

const NAMES = ['compressor', 'equaliser set flat', 'overdrive', 'insert patched through', 'chorus', 'delay', 'reverb', 'volume pedal', 'filter', 'second overdrive', 'octave', 'tremolo', 'looper', 'boost', 'ring modulator', 'tuner mute'];
const IDS = ['comp', 'eq', 'drive', 'insert', 'chorus', 'delay', 'reverb', 'volume', 'filter', 'drive2', 'octave', 'tremolo', 'looper', 'boost', 'ring', 'tuner'];
const OUTPUTS = [
  { id: 'A', name: 'stage amplifier' },
  { id: 'B', name: 'pit DI' },
  { id: 'C', name: 'monitor wedge' },
];

type Given = Partial<Reading> & Pick<Reading, 'id' | 'label' | 'state' | 'unit' | 'value'>;

/** A reading with every field, judged as the guard band would. */
export function reading(given: Given): Reading {
  const r: Reading = {
    source: null, output: null, loop: given.state.startsWith('loop-') ? given.state.slice(5) : null, bound: null, uncertainty: null,
    uncertaintyReason: null, budget: [], limit: null, verdict: 'info', method: 'noise.level', capture: [`${given.state}.idle`], remarks: [],
    ...given,
  };
  if (given.verdict !== undefined || r.limit === null || r.value === null) return r;
  const u = r.uncertainty ?? 0;
  const low = r.limit.within?.[0] ?? r.limit.min ?? -Infinity;
  const high = r.limit.within?.[1] ?? r.limit.max ?? Infinity;
  const verdict = r.value + u <= high && r.value - u >= low ? 'pass' : r.value - u > high || r.value + u < low ? 'fail' : 'undecided';
  return { ...r, verdict };
}

export const limit = (kind: 'max' | 'min', value: number, basis: string): NonNullable<Reading['limit']> => ({ max: null, min: null, within: null, [kind]: value, basis });
export const within = (half: number, basis: string): NonNullable<Reading['limit']> => ({ max: null, min: null, within: [-half, half], basis });
const samePolarity = { max: null, min: null, within: [1, 1] as const, basis: 'common practice, no source: a board should not invert' };
const PRACTICE = 'common practice, no source';

const grid = (points: number): number[] => Array.from({ length: points }, (_, i) => 20 * 1000 ** (i / (points - 1)));

function noiseCurve(state: string, output: string, floor: number, hum: readonly number[], whine: readonly number[], unit: string, seed: number): Curve {
  const { gauss } = seeded(seed);
  const hz = grid(800);
  const marks: CurveMark[] = [
    ...hum.map((level, i): CurveMark => ({ kind: 'hum', hz: 49.98 * (i + 1), level, unit, label: `${String(i + 1)} × mains` })),
    ...whine.map((level, i): CurveMark => ({ kind: 'whine', hz: 1021.4 * (i + 1), level, unit, label: `whine 1, ${String(i + 1)} × 1021 Hz` })),
  ];
  const mean = hz.map((f) => floor + 4 * Math.exp(-f / 90) + (f > 5000 ? -1.5 * Math.log2(f / 5000) : 0) + (gauss() * 0.6) / Math.sqrt(1 + f / 400));
  const peak = mean.map((m, i) => m + 1 + 6 * (1 - Math.exp(-hz[i]! / 3000)) + Math.abs(gauss()));
  for (const m of marks) {
    const i = hz.reduce((best, f, k) => (Math.abs(f - m.hz) < Math.abs(hz[best]! - m.hz) ? k : best), 0);
    peak[i] = Math.max(peak[i]!, m.level + 4);
    mean[i] = Math.max(mean[i]!, m.level - 4);
  }
  return {
    id: `noise-density/${state}/${output}`, kind: 'noise-density', label: `Noise, output ${output}`, state, source: null, output,
    loop: state.startsWith('loop-') ? state.slice(5) : null,
    x: { label: 'Frequency', unit: 'Hz', values: hz }, y: { label: 'Noise density', unit: `${unit}/√Hz`, values: mean },
    low: null, high: null, peak, marks, capture: [`${state}.idle`],
  };
}

function responseCurve(kind: 'response' | 'tone-loss', state: string, source: string | null, output: string, cornerHz: number, gainDb: number): Curve {
  const hz = grid(480);
  const y = hz.map((f) => gainDb - 10 * Math.log10(1 + (f / cornerHz) ** 2) - 10 * Math.log10(1 + (4 / f) ** 2));
  const slack = hz.map((f) => 0.01 + 0.4 * (20 / f) + 0.00002 * f);
  return {
    id: `${kind}/${state}${source === null ? '' : `+${source}`}/${output}`, kind, label: `Output ${output}`, state, source, output,
    loop: state.startsWith('loop-') ? state.slice(5) : null,
    x: { label: 'Frequency', unit: 'Hz', values: hz }, y: { label: kind === 'response' ? 'Gain' : 'Level from 200–500 Hz', unit: 'dB', values: y },
    low: y.map((v, i) => v - slack[i]!), high: y.map((v, i) => v + slack[i]!), peak: null, marks: [], capture: [`${state}.take`],
  };
}

function matchCurves(state: string, a: string, b: string, level: number): Curve[] {
  const bands = Array.from({ length: 29 }, (_, i) => Number((1000 * 10 ** ((i - 16) / 10)).toPrecision(3)));
  const difference = (f: number): number => level - 0.5 * (f / 20_000) ** 2 - 0.1 * Math.exp(-f / 60);
  const common = { label: `${b} against ${a}`, state, source: null, output: `${a}:${b}`, loop: null, peak: null, marks: [], capture: [`${state}.take`] };
  const fine = grid(470);
  return [
    {
      ...common, id: `match-third-octave/${state}/${a}:${b}`, kind: 'match-third-octave',
      x: { label: 'Third-octave band', unit: 'Hz', values: bands }, y: { label: 'Level difference', unit: 'dB', values: bands.map(difference) },
      low: bands.map((f) => difference(f) - 0.02 - 1.2 / f), high: bands.map((f) => difference(f) + 0.02 + 1.2 / f),
    },
    {
      ...common, id: `match-response/${state}/${a}:${b}`, kind: 'match-response',
      x: { label: 'Frequency', unit: 'Hz', values: fine }, y: { label: 'Level difference', unit: 'dB', values: fine.map(difference) }, low: null, high: null,
    },
  ];
}

const hex = (seed: number): string => {
  const { uniform } = seeded(seed);
  return Array.from({ length: 64 }, () => Math.floor(uniform() * 16).toString(16)).join('');
};

/** Level of a second-order peak, dB, at the frequencies of a response. */
const resonance = (hz: number, q: number, points = 480): number[] => grid(points).map((f) => -10 * Math.log10((1 - (f / hz) ** 2) ** 2 + (f / hz / q) ** 2));

function predictedTone(outputs: readonly string[]): Predicted {
  const row = (state: string, output: string | null, hz: number, volume: number, loss: number | null): Predicted['player'][number] => ({
    state, output, volume, loss: loss === null ? null : { band2to5kDb: loss, at5kDb: 2 * loss, at10kDb: 3 * loss, at20kDb: 4 * loss }, resonance: { frequencyHz: hz, heightDb: 6.2 }, cornerHz: hz * 1.58, noiseDbuA: -109.4,
    metreMore: [{ where: 'before-board', loses2to5kDb: 0.21, resonanceShiftHz: -217 }], causes: state === 'unbuffered' ? [{ part: 'input wiring', capacitancePf: 40, resistanceOhm: null, costs2to5kDb: 0.09 }] : [], curveDb: resonance(hz, 2, 241),
  });
  return {
    instrument: ['pickup 8.2 kΩ, 3.1 H, 110 pF', 'volume 500 kΩ', 'tone 500 kΩ and 22 nF', 'lead 5 m at 95 pF/m, 475 pF'], metrePf: 95, curveHz: grid(241),
    player: [10, 7].flatMap((volume) => [row('lead', null, 3600, volume, null), ...outputs.flatMap((o) => [row('rest', o, 3450, volume, 0.03), row('unbuffered', o, 3360, volume, 0.67)])]),
    input: [{ state: 'rest', capacitancePf: 60, resistanceOhm: 1e6 }, { state: 'unbuffered', capacitancePf: 70, resistanceOhm: null }],
    terminated: outputs.flatMap((output) => [{ state: 'rest', output, dbu: -115.3, dbuA: -117.6 }, { state: 'unbuffered', output, dbu: -152, dbuA: -155 }]),
    assumed: ['Straight lead: the player’s lead into an amplifier of 1 MΩ.'],
  };
}

/** Stairs of a board that clips hard at 9 dBu, and with every loop in at 6. */
const stairsRecords = (outputs: readonly string[], unit: string, down: number): NonNullable<Results['stairs']> =>
  [['rest', 9], ['all', 6]].map(([state, top]) => ({
    capture: `${String(state)}.stairs`, state: String(state),
    levels: outputs.map((output) => ({
      output, unit,
      stairs: Array.from({ length: 18 }, (_, k) => {
        const level = -24 + 2 * k;
        const thd = -100 + 7.5 * Math.max(0, level - Number(top) + 8);
        return { level: Math.min(level, Number(top) + 3) + down, thdDb: k < 2 ? null : thd, lowDb: k < 2 ? null : thd - 3 + 0.15 * k, highDb: k < 2 ? -95 : thd + 2.5 - 0.1 * k };
      }),
    })),
  }));

function attributionOf(output: string, unit: 'dBu' | 'dBFS', loops: readonly string[], down: number): NoiseAttribution {
  const range = (level: number | null, half: number): LevelRange => (level === null ? { level, low: null, high: -128 + down } : { level: level + down, low: level - half + down, high: level + half + down });
  const parts = (hiss: number, hum: number | null, whine: number | null): NoiseParts => ({ hiss: range(hiss, 0.3), hum: range(hum, 0.6), whine: range(whine, 0.4), total: range(hiss, 0.3) });
  const part = (kind: NoiseSource['kind'], loop: string | null, hiss: number, hum: number | null, whine: number | null): NoiseSource => ({ kind, loop, parts: parts(hiss, hum, whine), bands: [] });
  return {
    output, unit, bandsHz: [], remarks: [],
    sources: [part('bench', null, -105.7, null, null), part('output', null, -94, -112, null), ...loops.map((l, i) => part('loop', l, -99 - i, i === 4 ? -79.3 : null, i === 2 ? -97.6 : null))],
    sums: loops.length === 0 ? [] : [{ loops, predicted: parts(-90, -79.2, -97.6), measured: parts(-90.1, -79.3, -97.5), interacts: { hiss: false, hum: false, whine: false }, humLine: null }],
  };
}

/** Two seconds of hiss as a browser plays it. */
const hissWav = (seed: number): string => listeningOf('A', [{ state: 's', capture: 's.idle', cut: { sampleRateHz: 16_000, samples: Float32Array.from(noise(32_000, 1e-5, seed)) } }])!.excerpts[0]!.wav;

/** A whole job's results: a faulty board by its figures. */
export function boardResults(options: Partial<FixtureOptions> = {}): Results {
  const { loops: loopCount, outputs: outputCount, calibrated, seed }: FixtureOptions = { loops: 6, outputs: 2, calibrated: true, seed: 7, ...options };
  const { uniform, gauss } = seeded(seed);
  const unit = calibrated ? 'dBu' : 'dBFS';
  const down = calibrated ? 0 : -18;
  const loops = Array.from({ length: loopCount }, (_, i) => ({ id: IDS[i]!, name: NAMES[i]!, expect: i % 3 === 1 ? 'unity' : 'effect', supply: i === 3 ? null : `S1.${String(1 + Math.floor(i / 2))}` }));
  const outputs = OUTPUTS.slice(0, outputCount);
  const match = outputs.length < 2 ? [] : ([[outputs[0]!.id, outputs[1]!.id]] as const);
  const readings: Reading[] = [];
  const curves: Curve[] = [];
  const states = ['rest', 'unbuffered', ...loops.map((l) => `loop-${l.id}`), 'all'];
  const noiseLimit = (max: number): Reading['limit'] => (calibrated ? limit('max', max, `${PRACTICE}: 18 dB over the thermal noise of a 50 kΩ source`) : null);
  const budget = [
    { name: 'spectral statistics', standard: 0.031, degreesOfFreedom: 812 },
    { name: 'bench noise taken off', standard: 0.054, degreesOfFreedom: 420.4 },
    ...(calibrated ? [{ name: 'calibration of the recorder input', standard: 0.05, degreesOfFreedom: null }] : []),
  ];
  states.forEach((state, s) => {
    outputs.forEach((o, k) => {
      const noisyLoop = state === 'loop-chorus' || state === 'all';
      const whining = state === 'loop-drive' || state === 'loop-insert' || state === 'all';
      const a = (noisyLoop ? -86 : -93.4) + gauss() * 0.5 + k * 0.4 + down;
      const hum = noisyLoop ? [-84.2, -79.3, -92, -90.5, -99, -101.5, -108, -104] : state === 'rest' ? [-112.5, -108.1] : [-111, -107.4, -116];
      const whine = whining ? [-97.6, -104.8, -112] : [];
      const place = { state, output: o.id };
      readings.push(
        reading({ ...place, id: 'noise.unweighted', label: 'Noise floor, 20 Hz–20 kHz', unit, value: a + 3.1, uncertainty: 0.143, budget }),
        reading({ ...place, id: 'noise.a', label: 'Noise floor, A-weighted', unit, value: a, uncertainty: 0.16, budget, limit: noiseLimit(noisyLoop ? -84 : -90) }),
        reading({ ...place, id: 'noise.density-1k', label: 'Noise density at 1 kHz', unit: `${unit}/√Hz`, value: a - 40.2, uncertainty: 0.3, budget }),
        reading({ ...place, id: 'noise.hum', label: 'Mains hum', unit, value: hum[0]! + 4.1 + down, uncertainty: 0.22, budget, limit: noiseLimit(-95), method: 'noise.lines' }),
        whine.length > 0
          ? reading({ ...place, id: 'noise.whine', label: 'Whine', unit, value: whine[0]! + 0.9 + down, uncertainty: 0.6, budget, limit: noiseLimit(-100), method: 'noise.lines' })
          : reading({ ...place, id: 'noise.whine', label: 'Whine', unit, value: null, uncertaintyReason: 'nothing to give one for', remarks: ['No whine line stands out of the floor.'], method: 'noise.lines' }),
      );
      hum.forEach((level, h) => readings.push(reading({ ...place, id: `noise.hum.h${String(h + 1)}`, label: `Hum at ${String(h + 1)} × mains`, unit, value: level + down, uncertainty: 0.31, method: 'noise.lines' })));
      curves.push(noiseCurve(state, o.id, a - 41, hum.map((l) => l + down), whine.map((l) => l + down), unit, seed * 1000 + s * 10 + k));
    });
  });
  outputs.forEach((o, k) => {
    for (const state of ['rest', 'all']) {
      const place = { state, output: o.id, capture: [`${state}.take`] };
      const gain = state === 'rest' ? -0.082 - k * 0.4 : 1.13 - k * 0.4;
      readings.push(
        reading({ ...place, id: 'level.tone', label: 'Level of the 997 Hz tone', unit, value: -8.04 - k * 0.4 + down, uncertainty: 0.1, method: 'take.level' }),
        reading({ ...place, id: 'gain.1k', label: 'Gain at 1 kHz', unit: 'dB', value: gain, uncertainty: 0.0043, limit: state === 'rest' ? within(0.5, `${PRACTICE}: half a decibel is about what a player notices side by side`) : null, method: 'take.gain' }),
        reading({ ...place, id: 'polarity', label: 'Polarity through the board', unit: 'sign', value: 1, uncertaintyReason: 'a sign has none; it is given only where the phase is within 45° of it', limit: state === 'rest' ? samePolarity : null, method: 'match.delay' }),
        reading({ ...place, id: 'snr.a', label: 'Signal-to-noise ratio, A-weighted', unit: 'dB', value: 84.9 - k * 0.6 - (state === 'all' ? 7 : 0), uncertainty: 0.17, limit: state === 'rest' ? limit('min', 75, `${PRACTICE}, against the take’s tone of about −8 dBu`) : null, method: 'take.snr' }),
        reading({ ...place, id: 'thd', label: 'Total harmonic distortion, 997 Hz', unit: 'dB', value: -97.3 + k, uncertainty: 1.4, bound: k === 1 ? 'upper' : null, limit: limit('max', -60, `${PRACTICE}: 0.1 %`), method: 'take.thd', remarks: k === 1 ? ['The harmonics are lost in the noise: the value is the most that could hide in it.'] : [] }),
      );
      curves.push(responseCurve('response', state, null, o.id, 60_000, gain));
    }
    for (const [state, corner] of [['rest', 42_000], ['unbuffered', 10_400]] as const) {
      const place = { state, output: o.id, source: 'plug10k', capture: [`${state}+plug10k.take`, 'lead+plug10k.take'] };
      for (const hz of [5, 10, 20]) {
        const droop = -10 * Math.log10(1 + ((hz * 1000) / corner) ** 2) + 10 * Math.log10(1 + ((hz * 1000) / 90_000) ** 2);
        const allowed = hz === 10 ? (state === 'rest' ? -0.5 : -1.5) : null;
        readings.push(reading({ ...place, id: `droop.${String(hz)}k`, label: `Droop at ${String(hz)} kHz`, unit: 'dB', value: droop, uncertainty: 0.012 * hz, limit: allowed === null ? null : limit('min', allowed, `${PRACTICE}; 10 kΩ with 500 pF loses 0.4 dB at 10 kHz (first-order RC)`), method: 'tone-loss.droop' }));
      }
      readings.push(
        state === 'rest'
          ? reading({ ...place, id: 'corner.-3db', label: '−3 dB corner', unit: 'Hz', value: 20_000, bound: 'lower', uncertaintyReason: 'a bound', method: 'tone-loss.droop', remarks: ['The response is still within 3 dB at 20.0 kHz, the top of what was measured.'] })
          : reading({ ...place, id: 'corner.-3db', label: '−3 dB corner', unit: 'Hz', value: corner * 1.006, uncertainty: 46, method: 'tone-loss.droop' }),
        reading({ ...place, id: 'capacitance', label: 'Shunt capacitance seen by the plug', unit: 'pF', value: 1e12 / (2 * Math.PI * corner * 10_000), uncertainty: state === 'rest' ? 3.9 : 15.4, method: 'tone-loss.capacitance', budget: [{ name: 'noise in the sweep', standard: 0.9, degreesOfFreedom: null }, { name: 'tolerance of the source plug', standard: 1.7, degreesOfFreedom: null }] }),
      );
      curves.push(responseCurve('tone-loss', state, 'plug10k', o.id, corner, 0));
    }
    curves.push(responseCurve('tone-loss', 'lead', 'plug10k', o.id, 90_000, 0));
    loops.forEach((l, i) => readings.push(reading({ state: `loop-${l.id}`, output: o.id, id: 'click.peak', label: 'Peak of the loudest click, above 100 Hz, as a sine of that peak', unit, value: -72 + 3.1 * (i % 5) + down, bound: i === 1 ? 'upper' : null, uncertainty: 0.31, limit: noiseLimit(-50), method: 'switching.clicks', capture: [`loop-${l.id}.switching`] })));
    readings.push(reading({ state: 'bench', output: o.id, id: 'noise.a', label: 'Noise floor, A-weighted', unit, value: -105.7 + down, uncertainty: 0.14 }));
    curves.push(noiseCurve('bench', o.id, -146 + down, [], [], unit, seed * 77 + k));
  });
  loops.forEach((loop, i) => {
    outputs.forEach((o, k) => {
      const state = `loop-${loop.id}`;
      const place = { state, output: o.id, capture: [`${state}.take`, 'rest.take'] };
      const unity = loop.expect === 'unity';
      const inverted = loop.id === 'insert';
      readings.push(
        reading({ ...place, id: 'loop.gain', label: 'Gain of the loop, in against out, 200 Hz–5 kHz', unit: 'dB', value: unity ? 0.02 : 0.6 + uniform(), uncertainty: 0.005, limit: unity ? within(0.3, PRACTICE) : null, method: 'loop.gain' }),
        reading({ ...place, id: 'loop.polarity', label: 'Polarity of the loop, in against out', unit: 'sign', value: inverted ? -1 : 1, uncertaintyReason: 'a sign has none; it is given only where the phase is within 45° of it', limit: samePolarity, method: 'match.delay' }),
      );
      curves.push(responseCurve('response', state, null, o.id, 30_000 - 900 * i, unity ? -0.05 - 0.4 * k : 0.9 - 0.4 * k));
    });
  });
  const playerCurves: PlayerCurve[] = [];
  outputs.forEach((o) => {
    for (const [state, hz, loss] of [['rest', 3440, 0.03], ['unbuffered', 3080, 0.99]] as const) {
      const place = { state, output: o.id, source: 'plug10k', capture: [`${state}+plug10k.take`], method: 'tone-loss.droop' };
      const made = resonance(hz, 2);
      playerCurves.push({ ...responseCurve('response', state, 'plug10k', o.id, 1e6, 0), id: `player-response/${state}+plug10k/${o.id}`, kind: 'player-response', y: { label: 'Level from 200–500 Hz', unit: 'dB', values: made }, low: made.map((v) => v - 0.04), high: made.map((v) => v + 0.04) });
      readings.push(
        reading({ ...place, id: 'player.loss-2-5k', label: 'Loss in 2–5 kHz for the player, against the straight lead', unit: 'dB', value: loss, uncertainty: 0.018, limit: limit('max', state === 'rest' ? 0.5 : 1.5, PRACTICE), budget: [{ kind: 'fit', evaluation: 'A', name: 'fit', standard: 0.009, degreesOfFreedom: null }] }),
        reading({ ...place, id: 'player.resonance', label: 'Resonance of the player’s instrument', unit: 'Hz', value: hz, uncertainty: 4.4 }),
      );
    }
    readings.push(reading({ state: 'rest', output: o.id, id: 'player.hiss-over-instrument', label: 'Hiss over the thermal noise of the player’s instrument', unit: 'dB', value: -8.6, uncertainty: 0.2 }));
  });
  for (const [a, b] of match) {
    for (const state of ['rest', 'all']) {
      const place = { state, output: `${a}:${b}`, capture: [`${state}.take`] };
      readings.push(
        reading({ ...place, id: 'match.level', label: `Level of ${b} against ${a}, 200 Hz–5 kHz`, unit: 'dB', value: -0.402, uncertainty: 0.0021, limit: within(0.2, PRACTICE), method: 'match.level' }),
        reading({ ...place, id: 'match.level-worst-band', label: `Level of ${b} against ${a}, worst third-octave (16 kHz)`, unit: 'dB', value: -0.71, uncertainty: 0.011, limit: within(1, PRACTICE), method: 'match.level' }),
        reading({ ...place, id: 'match.polarity', label: `Polarity of ${b} against ${a}`, unit: 'sign', value: 1, uncertaintyReason: 'a sign has none; it is given only where the phase is within 45° of it', limit: samePolarity, method: 'match.delay' }),
        reading({ ...place, id: 'match.delay', label: `Delay of ${b} against ${a}`, unit: 'µs', value: 3.14, uncertainty: 0.085, limit: within(20, 'first notch of the sum above 20 kHz: 1/(2 × 25 µs), with room for uncertainty'), method: 'match.delay' }),
      );
      curves.push(...matchCurves(state, a, b, -0.4));
    }
  }
  const findings: Finding[] = [
    {
      id: 'loop-inverted', severity: 'fault', where: { loop: 'insert', output: null, supply: null }, title: 'Loop insert turns the signal upside down.',
      evidence: ['loop.polarity', 'The phase is 180° from 500 Hz to 12 kHz.'], cause: 'Two wires of one of its leads are swapped.', tryNext: 'Open the plugs of the insert’s leads and look for tip and sleeve exchanged.', basis: 'phase of the ratio of two takes',
    },
    {
      id: 'hum-in-loop', severity: 'fault', where: { loop: 'chorus', output: null, supply: 'S1.3' }, title: 'Hum of 100 Hz comes in with loop chorus.',
      evidence: ['noise.hum rises by 32 dB with the loop in.', 'Even multiples of the mains are strongest.'], cause: 'Rectifier ripple on its supply outlet.', tryNext: 'Feed chorus from another outlet and capture loop-chorus.idle again.', basis: 'common practice, no source',
    },
    { id: 'level-low', severity: 'caution', where: { loop: null, output: 'B', supply: null }, title: 'Output B is 0.40 dB lower than output A.', evidence: ['match.level'], cause: 'A series resistance into the load of output B.', tryNext: 'Measure the output resistance of B.', basis: 'measured' },
  ];
  const known = findings.filter((f) => (f.where.loop === null || loops.some((l) => l.id === f.where.loop)) && (f.where.output === null || outputs.some((o) => o.id === f.where.output)));
  const steps = [...states.flatMap((s) => [`${s}.idle`, `${s}.take`]), 'bench.idle', 'bench.take', 'lead+plug10k.take', 'rest+plug10k.take', 'unbuffered+plug10k.take'];
  const failed = readings.filter((r) => r.verdict === 'fail').length;
  return {
    format: 'boardproof-results/1',
    tool: { name: 'boardproof', version: '0.1.0' },
    board: {
      name: 'Pit Board 7', serial: 'PB-007', mainsHz: 50, invented: true, buffer: { defeatable: true }, loops, outputs, match, sha256: hex(seed + 1),
    },
    bench: {
      name: 'bench 1', calibrated,
      inputs: outputs.map((o, i) => ({ channel: i + 1, output: o.id, fullScale: calibrated ? '18 dBu ± 0.1 dB' : null })),
      plugs: [{ id: 'plug10k', resistance: '10 kΩ ± 1 %' }],
      sha256: hex(seed + 2),
    },
    conditions: {
      measuredAt: '2031-05-04T14:22:31Z', limits: 'studio-quiet', coverage: 'Expanded uncertainty, 95 % (k = 2 where the degrees of freedom are many; JCGM 100:2008)',
      decisionRule: 'Guard band of one expanded uncertainty on either side of a limit (JCGM 106:2012, clause 8)', remarks: ['The bench’s own response was divided out.'],
    },
    captures: steps.map((step, i) => {
      const [where, kind] = step.split('.') as [string, string];
      const [state, plug] = where.split('+') as [string, string | undefined];
      return {
        step, state, plug: plug ?? null, kind, file: `captures/${step}.wav`, sha256: hex(seed * 100 + i), sampleRateHz: 48_000, channels: outputs.length, format: '24-bit integer', durationS: kind === 'idle' ? 20 : 14.6,
        recordedAt: i === 3 ? null : `2031-05-04T13:${String(10 + i).padStart(2, '0')}:00Z`, filedAt: '2031-05-04T14:20:00Z', how: 'imported',
        take: kind === 'take' ? { clockRatioPpm: 12.3 + i / 10, levelDbfs: -20.1, startS: 1.25 } : null, remarks: i === 5 ? ['1 × thump (at 3.1 s) left out of the floor.'] : [],
      };
    }),
    readings,
    curves,
    playerCurves,
    stairs: stairsRecords(outputs.map((o) => o.id), unit, down),
    attribution: outputs.map((o) => attributionOf(o.id, unit, loops.map((l) => l.id), down)),
    predicted: predictedTone(outputs.map((o) => o.id)),
    listening: { output: outputs[0]!.id, raisedDb: 58, durationS: 2, sampleRateHz: 16_000, excerpts: states.map((state) => ({ state, capture: `${state}.idle`, wav: hissWav(seed) })) },
    findings: known,
    methods: [
      { id: 'noise.level', title: 'Noise floor', text: 'Welch power spectral density (Hann window, half overlap), 20 Hz to 20 kHz, weighted by the analytic curve: L = 10·lg(Σ W(f)·S(f)·Δf / 0.6 V²).', source: 'IEC 61672-1:2013, 5.5 and Annex E (A-weighting)' },
      { id: 'tone-loss.droop', title: 'Droop', text: 'Level at the frequency through the source plug, less that of a straight lead through the same plug, both from their own 200–500 Hz level.', source: 'derivation' },
    ],
    verdict: {
      word: failed > 0 ? 'fail' : 'pass', sentence: failed > 0 ? 'The board is outside its limits: hum in loop chorus, loop insert inverted, output B low.' : 'The board is within all its limits.',
      passed: readings.filter((r) => r.verdict === 'pass').length, failed, undecided: readings.filter((r) => r.verdict === 'undecided' || r.verdict === 'bench-limited').length, missing: [],
    },
    problems: [{ code: 'measure.no-whine', message: 'No whine stands out in nine captures; their whine readings have no figure.' }],
  };
}

/** A board described, with nothing captured. */
export function emptyResults(): Results {
  const full = boardResults();
  return {
    ...full,
    captures: [], readings: [], curves: [], playerCurves: [], listening: null, findings: [], methods: [], problems: [],
    verdict: { word: 'not complete', sentence: 'Nothing has been captured yet.', passed: 0, failed: 0, undecided: 0, missing: full.captures.slice(0, 12).map((c) => c.step) },
  };
}

/** Every figure absent: each reading is null with its reason, each curve is all gaps. */
export function allMissingResults(): Results {
  const full = boardResults();
  return {
    ...full,
    readings: full.readings.map((r, i) => ({ ...r, value: null, uncertainty: null, bound: null, verdict: r.limit === null ? ('info' as const) : ('undecided' as const), uncertaintyReason: 'no steady stretch to read', remarks: i % 2 === 0 ? ['The capture has no steady stretch long enough.'] : [] })),
    curves: full.curves.map((c) => ({ ...c, y: { ...c.y, values: c.y.values.map(() => null) }, low: c.low?.map(() => null) ?? null, high: c.high?.map(() => null) ?? null, peak: c.peak?.map(() => null) ?? null, marks: [] })),
    verdict: { ...full.verdict, word: 'undecided', sentence: 'No figure could be decided.', passed: 0, failed: 0, undecided: 12 },
  };
}

export const HOSTILE: readonly string[] = [
  '</script><img src=x onerror="alert(1)">',
  '--><svg onload=alert(2)>',
  '" onmouseover="alert(3)" x="\'',
  '</style></title><script>alert(4)</script>',
  '\u202egnitset\u202c \u2066odd\u2069 \u200b',
  `${'long'.repeat(200)} name`,
  'لوحة الموسيقى ١',
  '🎸👨‍👩‍👧‍👦🏳️‍🌈',
  `Z${'\u0335\u0321\u0322\u0327'.repeat(60)}algo`,
  'new\nline\tand\u0000nul\ud800',
  '{{constructor.constructor("alert(5)")()}} ${7*7} %s &amp; \\',
  "'; url(javascript:alert(6)) /* */ @import 'x'",
];

/** Every text that a stranger can choose is hostile. */
export function hostileResults(): Results {
  const full = boardResults({ loops: 12 });
  const at = (i: number): string => HOSTILE[i % HOSTILE.length]!;
  const rename = new Map<string, string>();
  full.board.loops.forEach((l, i) => rename.set(l.id, at(i)));
  const outputs = new Map(full.board.outputs.map((o, i) => [o.id, at(i + 3)] as const));
  const swap = (text: string): string => {
    for (const [from, to] of rename) if (text === `loop-${from}`) return `loop-${to}`;
    return text;
  };
  const output = (id: string | null): string | null => (id === null ? null : id.includes(':') ? id.split(':').map((p) => outputs.get(p) ?? p).join(':') : (outputs.get(id) ?? id));
  const loop = (id: string | null): string | null => (id === null ? null : (rename.get(id) ?? id));
  return {
    ...full,
    tool: { name: 'boardproof', version: at(0) },
    board: {
      ...full.board, name: at(3), serial: at(0),
      loops: full.board.loops.map((l, i) => ({ ...l, id: at(i), name: at(i), supply: l.supply === null ? null : at(i + 1) })),
      outputs: full.board.outputs.map((o, i) => ({ id: outputs.get(o.id)!, name: at(i + 5) })),
      match: full.board.match.map(([a, b]) => [outputs.get(a)!, outputs.get(b)!] as const),
      sha256: at(0),
    },
    bench: { ...full.bench, name: at(1), inputs: full.bench.inputs.map((i, k) => ({ ...i, output: output(i.output)!, fullScale: at(k) })), plugs: HOSTILE.map((id) => ({ id, resistance: id })), sha256: at(2) },
    conditions: { measuredAt: at(0), limits: at(1), coverage: at(2), decisionRule: at(3), remarks: [...HOSTILE] },
    captures: full.captures.map((c, i) => ({ ...c, step: at(i), kind: at(i + 1), file: at(i + 2), sha256: at(i + 3), format: at(i + 4), how: at(i + 5), recordedAt: at(i + 6), remarks: [at(i)] })),
    readings: full.readings.map((r, i) => ({
      ...r, label: `${r.label} ${at(i)}`, state: swap(r.state), output: output(r.output), loop: loop(r.loop), source: r.source === null ? null : at(i), unit: i % 9 === 0 ? at(i) : r.unit,
      uncertaintyReason: at(i), remarks: [at(i + 1)], limit: r.limit === null ? null : { ...r.limit, basis: at(i + 2) }, budget: r.budget.map((b) => ({ ...b, name: at(i) })),
    })),
    playerCurves: full.playerCurves!.map((c, i) => ({ ...c, id: `p${String(i)}${at(i)}`, label: at(i), output: output(c.output), y: { ...c.y, label: at(i), unit: at(i) } })),
    predicted: { ...full.predicted!, instrument: [...HOSTILE], assumed: [...HOSTILE], player: full.predicted!.player.map((p, i) => ({ ...p, output: output(p.output), causes: p.causes.map((c) => ({ ...c, part: at(i) })) })), terminated: full.predicted!.terminated.map((t) => ({ ...t, output: output(t.output)! })) },
    listening: { ...full.listening!, output: at(0), excerpts: full.listening!.excerpts.map((e, i) => ({ ...e, state: swap(e.state), capture: at(i) })) },
    // Three loops' curves are hostile enough.
    curves: full.curves.filter((c) => c.loop === null || IDS.indexOf(c.loop) < 3).map((c, i) => ({ ...c, id: `${String(i)}${at(i)}`, label: at(i), state: swap(c.state), output: output(c.output), loop: loop(c.loop), source: c.source === null ? null : at(0), y: { ...c.y, label: at(i), unit: at(i) }, marks: c.marks.map((m) => ({ ...m, unit: at(i), label: at(i + 1) })) })),
    findings: HOSTILE.map((text, i) => ({ id: text, severity: 'fault', where: { loop: loop(at(i)), output: null, supply: at(i) }, title: text, evidence: [text], cause: text, tryNext: text, basis: text })),
    methods: HOSTILE.map((text) => ({ id: text, title: text, text, source: text })),
    verdict: { ...full.verdict, sentence: at(0), missing: [...HOSTILE] },
    problems: HOSTILE.map((text) => ({ code: text, message: text })),
  };
}
