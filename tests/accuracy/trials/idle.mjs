/** Idle captures as samples: noise by every weighting, hum and whine, over the bench's own noise; and hiss beside hum that is far stronger. */
import { measureIdle } from '../../../dist/src/measure/idle.js';
import { measureJob } from '../../../dist/src/measure/job.js';
import { noiseFigures } from '../../../dist/src/measure/noise-figures.js';
import { memoryRecording } from '../../../dist/src/measure/recording.js';
import { aWeighting, ccirRmsWeighting } from '../../../dist/src/numerics/weighting.js';
import { FULL_SCALE_DBU, RATE, benchOf, boardOf, calibrationError, dbu, generator, stepOf, whitePower } from './draws.mjs';

const BOARD_RMS = 1e-5;
const HUM = [3e-5, 1.5e-5, 8e-6];
const WHINE = 2e-5;

/**
 * What the quasi-peak meter reads of white noise of rms 1 at 48 kHz in the long run has no closed form: the mean of 10 minutes, good to
 * 0.003 dB. tests/numerics/quasi-peak.test.ts holds it.
 */
export const QUASI_PEAK_OF_WHITE = 3.3628;

function idleTrials(trials, count, { benchRms, seconds }) {
  const board = boardOf(['A'], ['x']);
  const bench = benchOf(['A']);
  const frames = seconds * RATE;
  const powers = { unweighted: whitePower(() => 1), a: whitePower(aWeighting), ccir: whitePower(ccirRmsWeighting) };
  for (let trial = 0; trial < trials; trial++) {
    const { gauss, uniform } = generator(1000 + trial);
    const scale = calibrationError(gauss);
    const mains = 50 * (1 + 0.004 * (uniform() - 0.5));
    // Above the 40th harmonic of the mains, where no line can be taken for hum by chance.
    const whineHz = 2200 + 3000 * uniform();
    const phases = [uniform(), uniform(), uniform(), uniform()].map((v) => 2 * Math.PI * v);
    const [benchNoise, rest, hissOnly] = [0, 0, 0].map(() => new Float64Array(frames));
    for (let n = 0; n < frames; n++) {
      benchNoise[n] = benchRms * gauss();
      let s = BOARD_RMS * gauss();
      for (let i = 0; i < 3; i++) s += HUM[i] * Math.sin((2 * Math.PI * (i + 1) * mains * n) / RATE + phases[i]);
      s += WHINE * Math.sin((2 * Math.PI * whineHz * n) / RATE + phases[3]);
      rest[n] = s * scale + benchRms * gauss();
      hissOnly[n] = BOARD_RMS * gauss() * scale + benchRms * gauss();
    }
    const estimate = (id, samples, withQuasiPeak = true) => ({ step: stepOf(id), kind: 'idle', inputs: measureIdle(memoryRecording([samples], RATE), 50, withQuasiPeak), excerpts: null });
    const { figures } = measureJob(board, bench, [estimate('bench.idle', benchNoise), estimate('rest.idle', rest, false), estimate('all.idle', hissOnly)]);
    const of = (id, state = 'rest') => figures.find((f) => f.id === id && f.state === state);
    const lines = (weighting = () => 1) => HUM.reduce((s, h, i) => s + (h * weighting((i + 1) * mains)) ** 2 / 2, 0) + (WHINE * weighting(whineHz)) ** 2 / 2;
    count('noise.unweighted', of('noise.unweighted'), dbu(BOARD_RMS ** 2 * powers.unweighted + lines()));
    count('noise.a', of('noise.a'), dbu(BOARD_RMS ** 2 * powers.a + lines(aWeighting)));
    count('noise.ccir-rms', of('noise.ccir-rms'), dbu(BOARD_RMS ** 2 * powers.ccir + lines(ccirRmsWeighting)));
    count('noise.468-qpk', of('noise.468-qpk', 'all'), dbu((BOARD_RMS * QUASI_PEAK_OF_WHITE) ** 2));
    count('noise.hiss', of('noise.hiss'), dbu(BOARD_RMS ** 2 * powers.unweighted));
    count('noise.density-1k', of('noise.density-1k'), dbu(BOARD_RMS ** 2 / (RATE / 2)));
    count('noise.hum', of('noise.hum'), dbu(HUM.reduce((s, h) => s + (h * h) / 2, 0)));
    count('noise.hum.h3', of('noise.hum.h3'), dbu(HUM[2] ** 2 / 2));
    count('noise.whine', of('noise.whine'), dbu(WHINE ** 2 / 2));
    count('noise.whine.1', of('noise.whine.1'), dbu(WHINE ** 2 / 2));
    count('hum.mains-frequency', of('hum.mains-frequency'), mains);
  }
}

/** Hum of twenty harmonics, so far above the hiss that its skirts are between its lines too; it wanders by up to a hundredth of a hertz. */
const STRONG = { overDb: 57, harmonics: 20, seconds: 10, wanderHz: 0.01 };

function skirtTrials(trials, count) {
  const { overDb, harmonics, seconds, wanderHz } = STRONG;
  const hiss = BOARD_RMS ** 2 * whitePower(() => 1);
  const total = Array.from({ length: harmonics }, (_, k) => 1 / (k + 1)).reduce((sum, v) => sum + v, 0);
  for (let trial = 0; trial < trials; trial++) {
    const { gauss, uniform } = generator(40000 + trial);
    const mains = 50 * (1 + 0.004 * (uniform() - 0.5));
    const drift = wanderHz * (2 * uniform() - 1);
    const weights = Array.from({ length: harmonics }, (_, k) => {
      const phase = 2 * Math.PI * uniform();
      const amplitude = Math.sqrt((2 * hiss * 10 ** (overDb / 10)) / (k + 1) / total);
      return [amplitude * Math.cos(phase), amplitude * Math.sin(phase)];
    });
    const x = new Float64Array(seconds * RATE);
    for (let n = 0; n < x.length; n++) {
      const t = n / RATE;
      const turn = 2 * Math.PI * (mains * t + (drift * t * t) / 2 / seconds);
      const [c, s] = [Math.cos(turn), Math.sin(turn)];
      // Sum of the harmonics by Horner's rule in e^jx, the highest first.
      let [re, im] = [0, 0];
      for (let k = harmonics - 1; k >= 0; k--) {
        const [a, b] = [re + weights[k][0], im + weights[k][1]];
        re = a * c - b * s;
        im = a * s + b * c;
      }
      x[n] = re + BOARD_RMS * gauss();
    }
    const [estimate] = measureIdle(memoryRecording([x], RATE), 50, false);
    const figures = noiseFigures({ state: 'rest', source: null, output: 'A', loop: null, capture: [] }, estimate, null, { unit: 'dBu', offsetDb: FULL_SCALE_DBU, parts: [] });
    const of = (id) => figures.find((f) => f.id === id);
    count('noise.hiss', of('noise.hiss'), dbu(hiss));
    count('noise.density-1k', of('noise.density-1k'), dbu(BOARD_RMS ** 2 / (RATE / 2)));
  }
}

export const tables = [
  { name: 'idle, hum 57 dB over the hiss', trials: 800, kept: 1, run: skirtTrials },
  ...[
    ['idle, good signal-to-noise', { benchRms: 1e-6, seconds: 6 }],
    ['idle, poor signal-to-noise', { benchRms: 0.8e-5, seconds: 10 }],
  ].map(([name, quality]) => ({ name, trials: 400, kept: 1, run: (trials, count) => { idleTrials(trials, count, quality); } })),
];
