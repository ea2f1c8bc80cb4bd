/**
 * Takes straight from what is true of a board: the response of its circuit at the frequencies that measures read, with the
 * error that noise leaves there, and a tone that is rendered and fitted as any. Finding and dividing a sweep costs a hundred
 * times as much and is proved elsewhere to 0.002 dB; that the two ways agree is held in short-way.test.ts.
 */
import { GRID_HZ } from '../../dist/src/measure/frequency-grid.js';
import { measureTone, readSweep } from '../../dist/src/measure/take.js';
import { memoryRecording } from '../../dist/src/measure/recording.js';
import { sweepResponse } from '../../dist/src/numerics/deconvolution.js';
import { stepCode } from '../../dist/src/board/step-code.js';
import { sweepTopHz } from '../../dist/src/signals/sweep.js';
import { TONE_HZ, renderTake, takeTimetable } from '../../dist/src/signals/take.js';
import { randomStream, streamSeed } from '../../dist/src/simulate/random.js';

export const LEVEL_DBFS = -20;
/** Of the tone as it is fitted. A take's is 1.75 s: less costs less, and its figures scatter by 1.9 times as much. */
const TONE_S = 0.5;

export const locatedOf = (id, rate, benchTruth) => {
  const clockRatio = (1 + benchTruth.recorderPpm * 1e-6) / (1 + benchTruth.playerPpm * 1e-6);
  return {
    identity: { stepCode: stepCode(id), levelDbfs: LEVEL_DBFS, sweepTopHz: sweepTopHz(rate) },
    startFrame: 0,
    clockRatio,
    toneClockRatio: clockRatio,
    extraFrames: 0,
    channel: 0,
    likeness: 1,
  };
};

const gains = new Map();

/** What white noise of density 1 leaves at each frequency, from the division of one real take. */
function noiseGainAt(rate) {
  let gain = gains.get(rate);
  if (!gain) {
    const identity = { stepCode: 1, levelDbfs: LEVEL_DBFS, sweepTopHz: sweepTopHz(rate) };
    const recording = memoryRecording([renderTake(identity, rate, 0, Math.ceil(takeTimetable.lengthS * rate))], rate);
    const located = { ...locatedOf('rest.take', rate, { recorderPpm: 0, playerPpm: 0 }), identity };
    const { reference, sweeps } = readSweep(recording, located);
    gain = sweepResponse(sweeps[0], reference, GRID_HZ).noiseGain;
    gains.set(rate, gain);
  }
  return gain;
}

/** Points of the grid from one that noise is solved at to the next: a sixth of an octave, over which no density bends. */
const NOISE_STRIDE = 8;
const noiseAt = GRID_HZ.filter((_, k) => k % NOISE_STRIDE === 0 || k === GRID_HZ.length - 1);

/** One-sided density in the samples of each channel at GRID_HZ: the squares of its row of the Cholesky factor, between the points solved as powers of frequency. */
function densitiesOf(world, path) {
  const noise = world.noise(path, { frequenciesHz: noiseAt, pointsPerOctave: 48 / NOISE_STRIDE });
  return Array.from({ length: noise.count }, (_, channel) => {
    const row = Array.from({ length: channel + 1 }, (__, j) => (channel * (channel + 1)) / 2 + j);
    const solved = noiseAt.map((__, k) => Math.log(row.reduce((sum, at) => sum + noise.re[at][k] ** 2 + noise.im[at][k] ** 2, 0)));
    return GRID_HZ.map((hz, k) => {
      const below = Math.min(Math.floor(k / NOISE_STRIDE), noiseAt.length - 2);
      const share = Math.log(hz / noiseAt[below]) / Math.log(noiseAt[below + 1] / noiseAt[below]);
      return Math.exp(solved[below] + share * (solved[below + 1] - solved[below]));
    });
  });
}

/** The same at one frequency. */
export function densitiesAt(world, path, hz) {
  const noise = world.noise(path, { frequenciesHz: Float64Array.of(hz), pointsPerOctave: 1 });
  return Array.from({ length: noise.count }, (_, channel) => {
    const row = Array.from({ length: channel + 1 }, (__, j) => (channel * (channel + 1)) / 2 + j);
    return row.reduce((sum, at) => sum + noise.re[at][0] ** 2 + noise.im[at][0] ** 2, 0);
  });
}

const plus = (a, b) => ({ re: a.re + b.re, im: a.im + b.im });
const turned = (curve, k, angle) => {
  const [c, s] = [Math.cos(angle), Math.sin(angle)];
  return { re: curve.re[k] * c - curve.im[k] * s, im: curve.re[k] * s + curve.im[k] * c };
};

/** An entry per hearing of the world, as `measureTake` gives it. */
export function takeEstimates(world, model, step, seed) {
  const rate = world.sampleRateHz;
  const random = randomStream(streamSeed(seed, `${step.id} estimate`));
  const grid = { frequenciesHz: GRID_HZ, pointsPerOctave: 48 };
  const path = world.path(step, true);
  const transfers = world.transfers(path, grid);
  const bleeds = world.bleeds(path, grid);
  const noise = densitiesOf(world, path);
  const noiseGain = noiseGainAt(rate);
  const located = locatedOf(step.id, rate, model.benchTruth);
  // The markers place the take on the clearest channel; what every output shares of a delay is in its start.
  const delays = world.hearings.map(({ output }) => world.delayS(step.state, output));
  const start = Math.min(...delays);
  const { secondHarmonicDb, thirdHarmonicDb } = model.benchTruth;
  const at1k = GRID_HZ.indexOf(TONE_HZ);
  const frames = Math.round(TONE_S * rate);
  const deviates = new Float64Array(2 * GRID_HZ.length);
  const hiss = new Float64Array(frames);
  return world.hearings.map(({ channel }, i) => {
    const density = noise[channel];
    const variance = density.map((d, k) => d * noiseGain[k]);
    const delayS = delays[i] - start;
    // What comes past the contacts of loops that are out, each later by its own latency.
    const arrivals = [{ curve: transfers[i], atS: delayS }, ...bleeds.map((bled) => ({ curve: bled.curves[i], atS: delayS + bled.delayS }))];
    random.fillNormal(deviates);
    const re = new Float64Array(GRID_HZ.length);
    const im = new Float64Array(GRID_HZ.length);
    GRID_HZ.forEach((hz, k) => {
      const { re: a, im: b } = arrivals.reduce((sum, arrival) => plus(sum, turned(arrival.curve, k, -2 * Math.PI * hz * arrival.atS)), { re: 0, im: 0 });
      const sigma = Math.sqrt(variance[k] / 2);
      re[k] = world.playerVolts * a + sigma * deviates[2 * k];
      im[k] = world.playerVolts * b + sigma * deviates[2 * k + 1];
    });
    // The tone with its start taken as that of the direct signal.
    const tone = arrivals.reduce((sum, arrival) => plus(sum, turned(arrival.curve, at1k, -2 * Math.PI * TONE_HZ * (arrival.atS - delayS))), { re: 0, im: 0 });
    const gain = world.playerVolts * Math.hypot(tone.re, tone.im);
    const phase = Math.atan2(tone.im, tone.re);
    const peak = 10 ** (LEVEL_DBFS / 20) * gain;
    // A recorder's harmonics grow with the level: stated at full scale.
    const [second, third] = [secondHarmonicDb, thirdHarmonicDb].map((db, n) => (db === null ? 0 : 10 ** (db / 20) * peak ** (n + 2)));
    random.fillNormal(hiss);
    const rms = Math.sqrt((density[at1k] * rate) / 2);
    const turn = (2 * Math.PI * TONE_HZ) / (rate * located.clockRatio);
    const samples = Float64Array.from(hiss, (h, n) => {
      const angle = turn * n - Math.PI / 2 + phase;
      return peak * Math.cos(angle) + second * Math.cos(2 * angle) + third * Math.cos(3 * angle) + rms * h;
    });
    return {
      located,
      tone: measureTone(samples, rate, TONE_HZ / located.clockRatio, -Math.PI / 2),
      response: { curve: { re, im }, variance, peakLagS: Math.round(delayS * rate) / rate },
      silencePower: (density[at1k] * rate) / 2,
    };
  });
}
