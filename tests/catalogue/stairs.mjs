/**
 * The level stairs straight from what is true of a board: per stair one steady tone through the circuit, what its clipping stages make
 * of it, and the error that noise leaves in each harmonic. Finding the stairs in a recording costs a hundred times as much, and is
 * proved elsewhere.
 */
import { clipped } from '../../dist/src/simulate/clipping.js';
import { randomStream, streamSeed } from '../../dist/src/simulate/random.js';
import { STAIR_RAMP_S, STAIR_S, stairsOf } from '../../dist/src/signals/stairs.js';
import { TONE_HZ } from '../../dist/src/signals/take.js';
import { LEVEL_DBFS, densitiesAt, locatedOf } from './takes.mjs';

const HARMONICS = 20;
/** THD is of the second to the tenth. */
const HIGHEST_OF_THD = 10;
/** Points of one turn, in which clipping is worked out. */
const TURN = 512;

const at = (curve, k) => ({ re: curve.re[k], im: curve.im[k] });
const product = (a, b) => ({ re: a.re * b.re - a.im * b.im, im: a.re * b.im + a.im * b.re });

const turns = Array.from({ length: TURN }, (_, t) => ({ cos: Math.cos((2 * Math.PI * t) / TURN), sin: Math.sin((2 * Math.PI * t) / TURN) }));
const turnAt = (n, t) => turns[(n * t) % TURN];

/** Phasors of f(v) − v, from the phasors of v: one turn through the curve. */
function errorOf(phasors, clip) {
  const error = turns.map((_, t) => {
    const v = phasors.reduce((sum, { re, im }, k) => sum + re * turnAt(k + 1, t).cos - im * turnAt(k + 1, t).sin, 0);
    return clipped(v, clip) - v;
  });
  return phasors.map((_, k) => ({
    re: (2 / TURN) * error.reduce((sum, e, t) => sum + e * turnAt(k + 1, t).cos, 0),
    im: -(2 / TURN) * error.reduce((sum, e, t) => sum + e * turnAt(k + 1, t).sin, 0),
  }));
}

/** An entry per hearing of the world, as `measureStairs` gives it. */
export function stairsEstimates(world, model, step, seed) {
  const rate = world.sampleRateHz;
  const random = randomStream(streamSeed(seed, `${step.id} estimate`));
  const grid = { frequenciesHz: Float64Array.from({ length: HARMONICS }, (_, k) => (k + 1) * TONE_HZ), pointsPerOctave: 1 };
  const path = world.path(step, true);
  const transfers = world.transfers(path, grid);
  const stages = world.clipping(path, step.state, transfers, grid);
  const located = locatedOf(step.id, rate, model.benchTruth);
  const density = densitiesAt(world, path, TONE_HZ);
  const deviates = new Float64Array(2 * HARMONICS);
  const [second, third] = [model.benchTruth.secondHarmonicDb, model.benchTruth.thirdHarmonicDb].map((db) => (db === null ? 0 : 10 ** (db / 20)));
  const played = stairsOf(LEVEL_DBFS).map(({ levelDbfs }) => {
    const volts = world.playerVolts * 10 ** (levelDbfs / 20);
    const errors = [];
    for (const { stage, drive, from } of stages) {
      const phasors = Array.from({ length: HARMONICS }, (_, k) => {
        const own = k === 0 ? { re: volts * drive.re[0], im: volts * drive.im[0] } : { re: 0, im: 0 };
        return from.reduce((sum, curve, r) => {
          if (!curve) return sum;
          const add = product(errors[r][k], at(curve, k));
          return { re: sum.re + add.re, im: sum.im + add.im };
        }, own);
      });
      errors.push(errorOf(phasors, stage.clip));
    }
    return { levelDbfs, volts, errors };
  });
  return world.hearings.map(({ channel }, i) => {
    // Squared amplitude that noise of density S alone shows through a Hann window of T seconds: 2·1.5·S/T.
    const noise = (3 * density[channel]) / (STAIR_S - 2 * STAIR_RAMP_S);
    const stairs = played.map(({ levelDbfs, volts, errors }) => {
      const heard = Array.from({ length: HARMONICS }, (_, k) => {
        const own = k === 0 ? { re: volts * transfers[i].re[0], im: volts * transfers[i].im[0] } : { re: 0, im: 0 };
        return stages.reduce((sum, { to }, s) => {
          if (!to[i]) return sum;
          const add = product(errors[s][k], at(to[i], k));
          return { re: sum.re + add.re, im: sum.im + add.im };
        }, own);
      });
      // The recorder's own harmonics, as in a take.
      const peak = Math.hypot(heard[0].re, heard[0].im);
      const phase = Math.atan2(heard[0].im, heard[0].re);
      heard[1] = { re: heard[1].re + second * peak ** 2 * Math.cos(2 * phase), im: heard[1].im + second * peak ** 2 * Math.sin(2 * phase) };
      heard[2] = { re: heard[2].re + third * peak ** 3 * Math.cos(3 * phase), im: heard[2].im + third * peak ** 3 * Math.sin(3 * phase) };
      random.fillNormal(deviates);
      heard.forEach((h, k) => {
        h.re += Math.sqrt(noise / 2) * deviates[2 * k];
        h.im += Math.sqrt(noise / 2) * deviates[2 * k + 1];
      });
      const sizes = heard.map(({ re, im }) => Math.hypot(re, im));
      const ofThd = sizes.slice(1, HIGHEST_OF_THD);
      const squares = ofThd.map((size) => size ** 2 - noise);
      // As of a measured stair: real, turned to the phase of the tone.
      const turned = Math.atan2(heard[0].im, heard[0].re);
      return {
        levelDbfs,
        amplitude: sizes[0],
        relativeUncertainty: Math.sqrt(noise / 2) / sizes[0],
        harmonics: ofThd,
        harmonicSquares: squares.reduce((sum, v) => sum + v, 0),
        harmonicSquaresUncertainty: Math.sqrt(squares.reduce((sum, v) => sum + 2 * Math.max(0, v) * noise + noise ** 2, 0)),
        noiseSquares: squares.map(() => noise),
        shape: [0, ...heard.map(({ re, im }, k) => sizes[k] * (k === 0 ? 1 : Math.sign(Math.cos(Math.atan2(im, re) - (k + 1) * turned))))],
      };
    });
    return { located, stairs };
  });
}
