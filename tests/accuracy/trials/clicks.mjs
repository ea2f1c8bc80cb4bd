/** Clicks of known shape as samples: a sine that dies away, begun anywhere between two samples. Jumps are in tests/measure/switching.test.ts: what a recorder makes of them is its filter’s doing. */
import { clickBelowTone, clickFigures } from '../../../dist/src/measure/click-figures.js';
import { figure, part } from '../../../dist/src/measure/figure.js';
import { levelScale } from '../../../dist/src/measure/calibration.js';
import { memoryRecording } from '../../../dist/src/measure/recording.js';
import { measureSwitching } from '../../../dist/src/measure/switching.js';
import { aWeighting } from '../../../dist/src/numerics/weighting.js';
import { FULL_SCALE_DBU, RATE, benchOf, calibrationError, generator, times, over } from './draws.mjs';

const SECONDS = 6;
const TONE = 0.1;
const AT_S = 2;

/** Q·e^(−t/τ)·sin ωt: its transform, its peak behind a second-order high-pass at 100 Hz (worked out at 64 times the rate). */
function burst(hz, tauS) {
  const w = 2 * Math.PI * hz;
  const transform = (f) => over([w, 0], [1 / tauS ** 2 - (2 * Math.PI * f) ** 2 + w * w, (2 * 2 * Math.PI * f) / tauS]);
  const at = (t) => (t < 0 ? 0 : Math.exp(-t / tauS) * Math.sin(w * t));
  return { at, transform };
}
/** Peak behind y″ + √2·w·y′ + w²·y = x″, w = 2π·100 Hz: y = x − √2·w·∫y − w²·∫∫y, by the trapezoidal rule. */
function peakBehind({ at }, lengthS) {
  const step = 1 / (64 * RATE);
  const w = 2 * Math.PI * 100;
  let [before, once, twice, peak] = [0, 0, 0, 0];
  for (let t = 0; t < lengthS; t += step) {
    const half = once + (before * step) / 2;
    const y = (at(t) - Math.SQRT2 * w * half - w * w * (twice + half * step)) / (1 + (Math.SQRT2 * w * step) / 2);
    const now = half + (y * step) / 2;
    twice += ((once + now) / 2) * step;
    [before, once] = [y, now];
    peak = Math.max(peak, Math.abs(y));
  }
  return peak;
}

/** A-weighted ∫x² dt, 100 Hz to 20 kHz. */
function energyOf({ transform }) {
  let energy = 0;
  for (let f = 101; f < 20000; f += 2) {
    const [re, im] = times(transform(f), [aWeighting(f), 0]);
    energy += 2 * (re * re + im * im) * 2;
  }
  return energy;
}

function clickTrials(trials, count, { peak, floorRms }) {
  const bench = benchOf(['A']);
  const scaleOf = levelScale(bench.inputs[0]);
  const place = { state: 'rest', source: null, output: 'A', loop: null, capture: [] };
  // ∫A² df of the floor's density.
  let floorDensity = 0;
  for (let f = 101; f < 20000; f += 2) floorDensity += ((aWeighting(f) ** 2 * floorRms ** 2) / (RATE / 2)) * 2;
  for (let trial = 0; trial < trials; trial++) {
    const { gauss, uniform } = generator(40000 + trial);
    const scale = calibrationError(gauss);
    const shape = burst(300 * (4000 / 300) ** uniform(), 1e-3 * (1 + 2 * uniform()));
    const own = peakBehind(shape, 4e-3);
    const [height, atS] = [peak / own, AT_S + uniform() / RATE];
    const x = Float64Array.from({ length: SECONDS * RATE }, () => floorRms * scale * gauss());
    for (let n = AT_S * RATE; n < (AT_S + 0.1) * RATE; n++) x[n] += scale * height * shape.at(n / RATE - atS);
    const [estimate] = measureSwitching(memoryRecording([x], RATE));
    const figures = clickFigures(place, estimate, [], scaleOf);
    const of = (id) => figures.find((f) => f.id === id);
    const toneNoise = 1e-3;
    const tone = figure(place, { id: 'level.tone', label: '', value: FULL_SCALE_DBU + 20 * Math.log10(scale * TONE) + toneNoise * gauss(), unit: 'dBu', method: '', parts: [part('fit', '', toneNoise), ...scaleOf.parts] });
    count('click.peak', of('click.peak'), FULL_SCALE_DBU + 20 * Math.log10(peak));
    count('click.over-tone', clickBelowTone(of('click.peak'), tone), 20 * Math.log10(peak / TONE));
    const energy = height ** 2 * energyOf(shape);
    count('click.energy-a', of('click.energy-a'), FULL_SCALE_DBU + 10 * Math.log10(2 * energy));
    count('click.over-floor', of('click.over-floor'), 10 * Math.log10(energy / (0.125 * floorDensity)));
  }
}

export const tables = [
  ['clicks, good signal-to-noise', { peak: 0.02, floorRms: 1e-5 }],
  ['clicks, poor signal-to-noise', { peak: 2e-3, floorRms: 1e-4 }],
].map(([name, quality]) => ({ name, trials: 400, kept: 2, run: (trials, count) => { clickTrials(trials, count, quality); } }));
