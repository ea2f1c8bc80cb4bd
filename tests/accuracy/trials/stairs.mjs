/**
 * Headroom from stairs, each fitted from samples (a stair without its ramp; that stairs are found and placed is proved elsewhere): devices that
 * clip hard and soft, on both halves of the wave alike and not, somewhere between two stairs.
 */
import { levelScale } from '../../../dist/src/measure/calibration.js';
import { dynamicRangeFigure, headroomFigures } from '../../../dist/src/measure/headroom.js';
import { measureIdle } from '../../../dist/src/measure/idle.js';
import { noiseFigures } from '../../../dist/src/measure/noise-figures.js';
import { memoryRecording } from '../../../dist/src/measure/recording.js';
import { measureStair } from '../../../dist/src/measure/stairs.js';
import { aWeighting } from '../../../dist/src/numerics/weighting.js';
import { FULL_SCALE_DBU, RATE, TOLERANCE_DB, benchOf, calibrationError, dbu, generator, whitePower } from './draws.mjs';

const PLAYER_DBU = 12;
const STAIR_S = 0.44;
const HZ = 997;
/** As far as a recorder at 48 kHz hears them. */
const HARMONICS = 22;
const COUNTED = 10;
const TURN = 2048;
const COSINES = Float64Array.from({ length: TURN }, (_, i) => Math.cos((2 * Math.PI * i) / TURN));

const DEVICES = [
  (at) => (x) => Math.max(-at, Math.min(at, x)),
  (at) => (x) => at * Math.tanh(x / at),
  (at) => (x) => Math.min(at, x),
  (at) => (x) => (x > 0 ? at * Math.tanh(x / at) : 1.5 * at * Math.tanh(x / (1.5 * at))),
];

/** Amplitudes of tone and harmonics, from the first, of what a device makes of a cosine: its Fourier sum over one turn. */
function harmonicsOf(device, amplitude, highest) {
  const wave = COSINES.map((c) => device(amplitude * c));
  return Array.from({ length: highest }, (_, k) => wave.reduce((sum, v, i) => sum + v * COSINES[(i * (k + 1)) % TURN], 0) * (2 / TURN));
}

/** Even harmonics, from the second on, stand at even places. */
const squares = (harmonics, from) => harmonics.reduce((sum, a, k) => sum + (k >= 1 && (from === null || k % 2 === from) ? a * a : 0), 0);

/** The drive that makes 1 %. */
function onePercent(device, at) {
  let [low, high] = [0.01 * at, 10 * at];
  for (let pass = 0; pass < 40; pass++) {
    const middle = Math.sqrt(low * high);
    const h = harmonicsOf(device, middle, COUNTED);
    if (squares(h, null) > 1e-4 * h[0] ** 2) high = middle;
    else low = middle;
  }
  return low;
}

function stairTrials(trials, count, noiseRms) {
  const bench = benchOf(['A']);
  const scaleOf = levelScale(bench.inputs[0]);
  const place = { state: 'rest', source: null, output: 'A', loop: null, capture: [] };
  const player = { value: PLAYER_DBU, tolerance: TOLERANCE_DB };
  const frames = Math.round(STAIR_S * RATE);
  for (let trial = 0; trial < trials; trial++) {
    const { gauss, uniform } = generator(60000 + trial);
    const [scale, played] = [calibrationError(gauss), calibrationError(gauss)];
    const at = 0.3 * 10 ** (-uniform() / 10);
    const device = DEVICES[trial % DEVICES.length](at);
    const truth = onePercent(device, at);
    // The stair at or under 1 %, and those around it: the others are far from deciding anything.
    const under = Math.floor(20 * Math.log10(truth / played));
    const phase = 2 * Math.PI * uniform();
    const estimates = [-1, 0, 1, 2].map((step) => {
      const levelDbfs = under + step;
      const harmonics = harmonicsOf(device, played * 10 ** (levelDbfs / 20), HARMONICS);
      const x = new Float64Array(frames);
      for (let n = 0; n < frames; n++) {
        // Chebyshev's recurrence for cos kθ.
        const c = Math.cos((2 * Math.PI * HZ * n) / RATE + phase);
        let [before, now, sum] = [1, c, 0];
        for (let k = 0; k < HARMONICS; k++) {
          sum += harmonics[k] * now;
          [before, now] = [now, 2 * c * now - before];
        }
        x[n] = scale * sum + noiseRms * gauss();
      }
      return { levelDbfs, harmonics, stair: measureStair(x, RATE, HZ, levelDbfs) };
    });
    const figures = headroomFigures(place, { located: null, stairs: estimates.map(({ stair }) => stair) }, null, scaleOf, player);
    const of = (id) => figures.find((f) => f.id === id);
    const toneDb = 20 * Math.log10(harmonicsOf(device, truth, 1)[0]);
    const idle = new Float64Array(5 * RATE).map(() => noiseRms * gauss());
    const noise = noiseFigures(place, measureIdle(memoryRecording([idle], RATE), 50, false)[0], null, scaleOf).find((f) => f.id === 'noise.a');
    count('headroom', of('headroom'), FULL_SCALE_DBU + toneDb);
    // The same without what the calibration leaves open, which is most of it.
    const uncalibrated = headroomFigures(place, { located: null, stairs: estimates.map(({ stair }) => stair) }, null, { unit: 'dBFS', offsetDb: 0, parts: [] }, null);
    count('headroom, in dBFS', uncalibrated.find((f) => f.id === 'headroom'), toneDb + 20 * Math.log10(scale));
    count('headroom.input', of('headroom.input'), PLAYER_DBU + 20 * Math.log10(truth));
    count('dynamic-range', dynamicRangeFigure(of('headroom'), noise), FULL_SCALE_DBU + toneDb + 20 * Math.log10(scale) - dbu(noiseRms ** 2 * whitePower(aWeighting)));
    // One stair after the first over 1 %.
    const first = estimates.findIndex(({ harmonics }) => squares(harmonics.slice(0, COUNTED), null) > 1e-4 * harmonics[0] ** 2);
    const clipped = estimates[first + 1].harmonics.slice(0, COUNTED);
    count('headroom.even-odd', of('headroom.even-odd'), 10 * Math.log10(squares(clipped, 1) / squares(clipped, 0)));
  }
}

export const tables = [
  ['stairs, good signal-to-noise', 1e-5],
  ['stairs, poor signal-to-noise', 1e-3],
].map(([name, noiseRms]) => ({ name, trials: 800, kept: 4, run: (trials, count) => { stairTrials(trials, count, noiseRms); } }));
