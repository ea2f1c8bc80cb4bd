/**
 * Where the noise comes from: idle captures as samples, of a board whose bench, input stage, output and two loops each make hiss, hum and
 * whine. Hum is of one mains, so that it meets at phases that stay for the whole job; two of the sources whine on one frequency.
 */
import { attributeNoise } from '../../../dist/src/measure/attribution.js';
import { attributionFigures } from '../../../dist/src/measure/attribution-figures.js';
import { levelScale } from '../../../dist/src/measure/calibration.js';
import { measureIdle } from '../../../dist/src/measure/idle.js';
import { loopFigures } from '../../../dist/src/measure/loops.js';
import { noiseFigures } from '../../../dist/src/measure/noise-figures.js';
import { memoryRecording } from '../../../dist/src/measure/recording.js';
import { switchFigures } from '../../../dist/src/measure/switches.js';
import { aWeighting } from '../../../dist/src/numerics/weighting.js';
import { RATE, benchOf, boardOf, calibrationError, dbu, generator, whitePower } from './draws.mjs';
import { takesOf } from './sweep-noise.mjs';

const SECONDS = 3;
/** Amplitude gains of the loops. */
const GAIN = { one: 0.9, two: 1.05 };
const SOURCES = ['bench', 'output', 'input', 'one', 'two'];
/** What is in each capture, and how strong: amplitudes of the sources at the output. */
const STATES = {
  bench: { bench: 1 },
  unbuffered: { bench: 1, output: 1 },
  rest: { bench: 1, output: 1, input: 1 },
  'loop-one': { bench: 1, output: 1, input: GAIN.one, one: 1 },
  'loop-two': { bench: 1, output: 1, input: GAIN.two, two: 1 },
  all: { bench: 1, output: 1, input: GAIN.one * GAIN.two, one: GAIN.two, two: 1 },
};
/**
 * What loops do to each other beyond the sum of their powers, drawn as it was found on simulated boards (measure/attribution.ts): relative, of a
 * capture with one in and of that with all.
 */
const BEYOND = { 'loop-one': 0.002, 'loop-two': 0.002, all: 0.009 };
const WHINE_HZ = { bench: 2710, output: 3137, input: 3490, one: 4203, two: 3137 };

const good = {
  hiss: { bench: 3e-6, output: 1e-5, input: 1.2e-5, one: 1.5e-5, two: 1e-5 },
  hum: { bench: 1e-6, output: 1e-5, input: 6e-5, one: 2.5e-4, two: 2.5e-4 },
  whine: { bench: 4e-6, output: 2e-5, input: 3e-5, one: 4e-5, two: 3e-4 },
};
/** Sources that hardly stand out of what is there before them. */
const poor = {
  hiss: { bench: 8e-6, output: 8e-6, input: 6e-6, one: 5e-6, two: 6e-6 },
  hum: { bench: 3e-6, output: 2e-5, input: 2e-5, one: 1.6e-4, two: 1.4e-4 },
  whine: { bench: 4e-6, output: 8e-6, input: 6e-6, one: 8e-6, two: 3e-5 },
};
/** Second harmonic of the hum against the first. */
const SECOND = 0.5;

/** Adds a sine, by the recurrence of its own. */
function addSine(x, hz, amplitude, phase) {
  const w = (2 * Math.PI * hz) / RATE;
  const twice = 2 * Math.cos(w);
  let [before, now] = [amplitude * Math.cos(phase - w), amplitude * Math.cos(phase)];
  for (let n = 0; n < x.length; n++) {
    x[n] += now;
    [before, now] = [now, twice * now - before];
  }
}

/** Peak amplitude of what several sources make of one line. */
const met = (parts) => Math.hypot(parts.reduce((s, [a, phase]) => s + a * Math.cos(phase), 0), parts.reduce((s, [a, phase]) => s + a * Math.sin(phase), 0));

function sourceTrials(trials, count, { hiss, hum, whine }) {
  const board = { ...boardOf(['A'], ['one', 'two']), outputs: [{ id: 'A', name: 'A', loadOhm: null, lift: true, polaritySwitch: false, isolated: false }] };
  const bench = benchOf(['A']);
  const [flat, a] = [whitePower(() => 1), whitePower(aWeighting)];
  for (let trial = 0; trial < trials; trial++) {
    const { gauss, uniform } = generator(20000 + trial);
    const scale = calibrationError(gauss);
    const mains = 50 * (1 + 0.004 * (uniform() - 0.5));
    const phases = Object.fromEntries(SOURCES.map((id) => [id, [uniform(), uniform(), uniform()].map((v) => 2 * Math.PI * v)]));
    const off = (id) => (id === 'bench' ? 1 : scale);
    /** Lines of a state in the recorder, each from all its sources: [Hz, peak amplitude, is hum]. */
    const linesOf = (state, ofSource = off) => {
      const inState = Object.entries(STATES[state]);
      const humOf = ([id, share]) => ofSource(id) * share * hum[id];
      const harmonics = [1, SECOND].map((factor, n) => [(n + 1) * mains, met(inState.map((entry) => [factor * humOf(entry), phases[entry[0]][n]])), true]);
      const frequencies = [...new Set(inState.map(([id]) => WHINE_HZ[id]))];
      return [...harmonics, ...frequencies.map((hz) => [hz, met(inState.filter(([id]) => WHINE_HZ[id] === hz).map(([id, share]) => [ofSource(id) * share * whine[id], phases[id][2]])), false])];
    };
    const idles = new Map(
      Object.entries(STATES).map(([state, shares]) => {
        const beyond = 1 + ((BEYOND[state] ?? 0) / 2) * gauss();
        const rms = Math.hypot(...Object.entries(shares).map(([id, share]) => off(id) * share * hiss[id]));
        const x = Float64Array.from({ length: SECONDS * RATE }, () => rms * gauss());
        for (const [hz, amplitude] of linesOf(state)) addSine(x, hz, amplitude, 2 * Math.PI * uniform());
        return [`${state}.idle`, measureIdle(memoryRecording([x.map((v) => beyond * v)], RATE), 50, false)];
      }),
    );
    const take = takesOf(trial, 3);
    const takes = { 'rest.take': [take(() => [1, 0], 1e-4)], 'loop-one.take': [take(() => [GAIN.one, 0], 1e-4)], 'loop-two.take': [take(() => [GAIN.two, 0], 1e-4)] };
    const estimates = { idleOf: (id) => idles.get(id) ?? null, takeOf: (id) => takes[id] ?? null };
    // A lift that does nothing but to hum: what the board hums with the buffer out stands for it.
    const lifted = { takeOf: () => null, idleOf: (id) => estimates.idleOf(id === 'lift-A.idle' ? 'unbuffered.idle' : id) };
    const solved = (idleOf) => attributeNoise(board, bench, idleOf, estimates.takeOf);
    const attributed = (idleOf) => attributionFigures(solved(idleOf));
    const figures = [...attributed(estimates.idleOf), ...loopFigures(board, bench, { ...estimates, takeOf: () => null }), ...switchFigures(board, bench, lifted), ...noiseFigures({ state: 'rest', source: null, output: 'A', loop: null, capture: [] }, estimates.idleOf('rest.idle')[0], null, levelScale(bench.inputs[0]))];
    const of = (id, loop = null, list = figures) => list.find((f) => f.id === id && f.loop === loop);
    // The bench's own noise is no part of what the calibration scales; its level in dBu is by definition that of the full scale as it is.
    const humPower = (id) => (hum[id] ** 2 * (1 + SECOND ** 2)) / 2;
    const atBench = (id) => 20 * Math.log10(id === 'bench' ? 1 / scale : 1);
    const truths = (id) => ({ hiss: dbu(hiss[id] ** 2 * flat) + atBench(id), hum: dbu(humPower(id)) + atBench(id), whine: dbu(whine[id] ** 2 / 2) + atBench(id) });
    for (const id of SOURCES) {
      const isLoop = id === 'one' || id === 'two';
      for (const [part, truth] of Object.entries(truths(id))) count(`noise.from-${isLoop ? 'loop' : id}.${part}`, of(`noise.from-${isLoop ? 'loop' : id}.${part}`, isLoop ? id : null), truth);
    }
    const unsplit = attributed((id) => (id === 'unbuffered.idle' ? null : estimates.idleOf(id)));
    count('noise.from-path.hiss', of('noise.from-path.hiss', null, unsplit), dbu((hiss.output ** 2 + hiss.input ** 2) * flat));
    const pathLines = (isHum) => {
      const ids = Object.keys(STATES.rest).filter((id) => id !== 'bench');
      if (isHum) return [1, SECOND].reduce((sum, factor, n) => sum + met(ids.map((id) => [factor * hum[id], phases[id][n]])) ** 2 / 2, 0);
      return ids.reduce((sum, id) => sum + whine[id] ** 2 / 2, 0);
    };
    count('noise.from-path.hum', of('noise.from-path.hum', null, unsplit), dbu(pathLines(true)));
    count('noise.from-path.whine', of('noise.from-path.whine', null, unsplit), dbu(pathLines(false)));
    // Hiss adds up; lines make of the sum of their powers what their phases have it.
    count('noise.over-sum.hiss', of('noise.over-sum.hiss'), 0);
    for (const part of ['hum', 'whine']) {
      const own = linesOf('all').filter(([, , isHum]) => isHum === (part === 'hum')).reduce((sum, [, amplitude]) => sum + amplitude ** 2 / 2, 0);
      const sum = Object.entries(STATES.all).reduce((s, [id, share]) => s + (off(id) * share) ** 2 * (part === 'hum' ? humPower(id) : whine[id] ** 2 / 2), 0);
      count(`noise.over-sum.${part}`, of(`noise.over-sum.${part}`), 10 * Math.log10(own / sum));
    }
    const aOf = (state) => Object.entries(STATES[state]).reduce((s, [id, share]) => s + (off(id) * share * hiss[id]) ** 2 * a, 0) + linesOf(state).reduce((s, [hz, amplitude]) => s + (amplitude * aWeighting(hz)) ** 2 / 2, 0);
    count('loop.noise-change', of('loop.noise-change', 'one'), 10 * Math.log10(aOf('loop-one') / aOf('rest')));
    const humOf = (state) => linesOf(state).filter(([, , isHum]) => isHum).reduce((s, [, amplitude]) => s + amplitude ** 2 / 2, 0);
    // A range from what cancels to what adds up: its middle, and as far as its ends.
    const { low, high } = solved(estimates.idleOf)[0].sums[0].predicted.hum;
    count('hum with every loop in, as predicted (mean square)', { value: (low + high) / 2, bound: null, parts: [{ standard: (high - low) / 2 / 1.96, degreesOfFreedom: null }] }, humOf('all'));
    count('lift.hum', of('lift.hum'), 10 * Math.log10(humOf('unbuffered') / humOf('rest')));
    count('noise.drift', of('noise.drift'), 0);
  }
}

export const tables = [
  ['sources of the noise, good signal-to-noise', good, 400],
  // Some of these are bounds.
  ['sources of the noise, poor signal-to-noise', poor, 440],
].map(([name, quality, wanted]) => ({ name, trials: wanted, kept: 1, run: (trials, count) => { sourceTrials(trials, count, quality); } }));
