/**
 * A capture of a board that does not exist: the recording that its bench would have made of one step.
 *
 * The signal is rendered on the recorder's own time base, passed through the circuit's complex response (the whole take in
 * one transform), and lies in the circuit's own thermal noise with the bench's. All of it follows from the model, the
 * step, the seed and the options.
 *
 * @module
 */

import type { Step } from '../board/model.js';
import { stepCode } from '../board/step-code.js';
import type { ComplexCurve } from '../circuit/response.js';
import { loopsIn, type PathNetwork } from '../circuit/board-network.js';
import { renderTake, takeTimetable, toneAt, type TakeIdentity } from '../signals/take.js';
import { STAIRS_SWEEP_TOP_HZ, renderStairs, stairsTimetable } from '../signals/stairs.js';
import { sweepTopHz } from '../signals/sweep.js';
import { dbToAmplitude } from '../units/decibels.js';
import { clippingError, isNeverReached, type ClippingPath } from './clipping.js';
import type { Fault } from './faults.js';
import { addLines, type HeardLine } from './lines.js';
import type { SimulationModel } from './model.js';
import { randomStream, streamSeed, type Random } from './random.js';
import { addHarmonics, quantise } from './recorder.js';
import { irfft, zeroSpectrum, type Spectrum } from '../numerics/fft.js';
import { toBins } from './log-grid.js';
import { PRESS_AFTER_S, PRESS_EVERY_S, pressesOf } from './switching.js';
import { addThrough, frameOf, noiseSpectra, spectrumOf, toSamples, type Frame } from './render.js';
import type { NoiseShape } from './shaped-noise.js';
import { addUnsteady } from './unsteady.js';
import { worldOf, type Bled, type World } from './world.js';

export interface SimulationOptions {
  /** Length of an idle capture. Default 20 s. */
  readonly idleS?: number;
  /** Length of a flex capture. Default 20 s. */
  readonly flexS?: number;
  /** Silence before and after a take, and around presses of footswitches. Default 1 s. */
  readonly marginS?: number;
  /** Of the grid that the circuit is solved on, points an octave. Default 48; without a coil in the circuit 16 are within 1e-5. */
  readonly pointsPerOctave?: number;
  /** Level of a take, of a flex tone and the working level of the stairs, at the player. Default −20 dBFS. */
  readonly levelDbfs?: number;
}

export interface SimulatedCapture {
  /** One array of samples (±1 = full scale) per recorder channel. */
  readonly channels: Float64Array[];
  readonly sampleRateHz: number;
  /** What was assumed, and anything odd about the capture, one sentence each. */
  readonly remarks: readonly string[];
}

/** What of a model does not depend on the step, and what of a state does not depend on the seed. */
interface Prepared {
  readonly world: World;
  readonly frames: Map<string, Frame>;
  readonly states: Map<string, { transfers: ComplexCurve[] | null; bleeds: Bled[]; clipping: ClippingPath[]; noise: NoiseShape; lines: HeardLine[][] }>;
}

const prepared = new WeakMap<SimulationModel, Prepared>();

function prepare(model: SimulationModel): Prepared {
  let entry = prepared.get(model);
  if (!entry) {
    entry = { world: worldOf(model), frames: new Map(), states: new Map() };
    prepared.set(model, entry);
  }
  return entry;
}

/** How long a click is followed. */
const CLICK_FRAMES = 32768;
const CLICK_FADE_FRAMES = 8192;

/** The click of a closing contact in each hearing, its peak at the first output 1 V. */
function clickWaves(world: World, path: PathNetwork, trueRateHz: number): Float64Array[] {
  const frame = frameOf(CLICK_FRAMES, trueRateHz);
  const waves = world.clicks(path, frame.grid).map(({ re, im }) => {
    const spectrum = { re: toBins(frame.map, re), im: toBins(frame.map, im) };
    const wave = irfft(spectrum).map((v) => v * trueRateHz);
    // A transform has no bin at 0 Hz to give, so the wave hangs off zero: by what is left at its end, which then fades out.
    const tail = wave.subarray(-CLICK_FADE_FRAMES);
    const rest = tail.reduce((s, v) => s + v, 0) / CLICK_FADE_FRAMES;
    return wave.map((v, n) => (v - rest) * Math.min(1, 0.5 - 0.5 * Math.cos((Math.PI * Math.min(CLICK_FADE_FRAMES, wave.length - n)) / CLICK_FADE_FRAMES)));
  });
  const peak = waves[0].reduce((most, v) => Math.max(most, Math.abs(v)), 0) / world.hearings[0].perVolt;
  return waves.map((wave) => wave.map((v) => v / peak));
}

/** Adds a click; a contact that opens leaves the charge on the other side, so that its click is the other way up. */
function addClick(out: Float64Array, wave: Float64Array, atS: number, peakV: number, sampleRateHz: number): void {
  const first = Math.round(atS * sampleRateHz);
  for (let n = first; n < Math.min(out.length, first + wave.length); n++) out[n] += peakV * wave[n - first];
}

/** Gaps of 2 to 40 ms, with edges of a contact. */
function dropout(out: Float64Array, count: number, random: Random, sampleRateHz: number): void {
  for (let k = 0; k < count; k++) {
    // One gap in each of `count` equal stretches, so that none fall together.
    const stretch = out.length / count;
    const length = Math.round((0.002 + 0.038 * random.uniform()) * sampleRateHz);
    const first = Math.floor(stretch * (k + 0.1 + 0.7 * random.uniform()));
    out.fill(0, first, Math.min(out.length, first + length));
  }
}

/** A contact that opens so often, for so long, one time in each of equal stretches. */
function openNowAndThen(out: Float64Array, perS: number, lengthS: number, random: Random, sampleRateHz: number): void {
  const count = Math.max(1, Math.round((perS * out.length) / sampleRateHz));
  const open = Math.round(lengthS * sampleRateHz);
  for (let k = 0; k < count; k++) {
    const first = Math.floor((out.length / count) * (k + 0.9 * random.uniform()));
    out.fill(0, first, Math.min(out.length, first + open));
  }
}

/** Faults whose loop is in, or whose output is heard, in the order of the model. */
function faultsHeard(board: SimulationModel['board'], state: string, output: string, faults: readonly Fault[]): readonly Fault[] {
  if (state === 'bench' || state === 'lead') return [];
  const inPath = loopsIn(board, state);
  return faults.filter((fault) => ('loop' in fault ? inPath.includes(fault.loop) : 'output' in fault && fault.output === output));
}

/** The signal that the player puts out during a step, on the recorder's time base, as samples of ±1; null for silence. */
function playerSignal(
  model: SimulationModel,
  step: Step,
  sampleRateHz: number,
  startS: number,
  frames: number,
  options: SimulationOptions,
): Float64Array | null {
  const { playerPpm, recorderPpm } = model.benchTruth;
  // Samples of the recorder per second of the player's clock.
  const effectiveRateHz = (sampleRateHz * (1 + recorderPpm * 1e-6)) / (1 + playerPpm * 1e-6);
  const levelDbfs = options.levelDbfs ?? -20;
  if (step.kind === 'take') {
    const identity: TakeIdentity = { stepCode: stepCode(step.id), levelDbfs, sweepTopHz: sweepTopHz(sampleRateHz) };
    return renderTake(identity, effectiveRateHz, startS, frames);
  }
  if (step.kind === 'stairs') return renderStairs({ stepCode: stepCode(step.id), levelDbfs, sweepTopHz: STAIRS_SWEEP_TOP_HZ }, effectiveRateHz, startS, frames);
  if (step.kind === 'flex') {
    const amplitude = dbToAmplitude(levelDbfs);
    const lengthS = frames / effectiveRateHz;
    return Float64Array.from({ length: frames }, (_, n) => amplitude * toneAt(n / effectiveRateHz, lengthS));
  }
  return null;
}

/**
 * The recording of one step.
 *
 * @param seed - Any whole number; with the step's id it fixes every random thing in the capture.
 * @throws circuit.state, simulate.plug, simulate.fault where step, bench and board do not fit each other.
 */
export function simulateStep(model: SimulationModel, step: Step, seed: number, options: SimulationOptions = {}): SimulatedCapture {
  const { world, frames: frameCache, states } = prepare(model);
  const { benchTruth, boardTruth, board, faults } = model;
  const { sampleRateHz } = world;
  const random = randomStream(streamSeed(seed, step.id));
  const marginS = options.marginS ?? 1;
  const presses = pressesOf(board, step);

  const startS = marginS + benchTruth.latencyS + 0.1 * random.uniform();
  const lengthS = {
    idle: options.idleS ?? 20,
    flex: options.flexS ?? 20,
    stairs: stairsTimetable.lengthS + 2 * marginS + benchTruth.latencyS + 0.1,
    take: takeTimetable.lengthS + 2 * marginS + benchTruth.latencyS + 0.1,
    switching: 2 * marginS + PRESS_EVERY_S * presses.length,
  }[step.kind];
  const frames = Math.ceil(lengthS * sampleRateHz);
  const trueRateHz = sampleRateHz * (1 + benchTruth.recorderPpm * 1e-6);
  const frameKey = `${frames} ${options.pointsPerOctave ?? ''}`;
  let frame = frameCache.get(frameKey);
  if (!frame) {
    frame = frameOf(frames, trueRateHz, options.pointsPerOctave);
    frameCache.set(frameKey, frame);
  }

  const signal = playerSignal(model, step, sampleRateHz, startS, frames, options);
  const playing = signal !== null;
  const path: PathNetwork = world.path(step, playing);
  const key = `${step.state} ${step.plug ?? ''} ${playing} ${frame.size} ${options.pointsPerOctave ?? ''}`;
  let state = states.get(key);
  if (!state) {
    const transfers = playing ? world.transfers(path, frame.grid) : null;
    state = {
      transfers,
      bleeds: playing ? world.bleeds(path, frame.grid) : [],
      clipping: transfers ? world.clipping(path, step.state, transfers, frame.grid) : [],
      noise: world.noise(path, frame.grid),
      lines: world.lines(path, step.state),
    };
    states.set(key, state);
  }

  const spectra = noiseSpectra(state.noise, frame, random);
  if (signal && state.transfers) {
    for (const fault of faults) {
      if (step.kind === 'flex' && fault.kind === 'flex-dropout' && fault.output === null) dropout(signal, fault.count, random, sampleRateHz);
    }
    for (let n = 0; n < signal.length; n++) signal[n] *= world.playerVolts;
    const { dryOutputs = [] } = boardTruth.build;
    const opening = faultsHeard(board, step.state, '', faults).flatMap((fault) => (fault.kind === 'loop-intermittent' ? [fault] : []));
    const dry = dryOutputs.length > 0 && opening.length > 0 ? spectrumOf(signal, frame) : null;
    for (const { perS, lengthS: openS } of opening) openNowAndThen(signal, perS, openS, random, sampleRateHz);
    const spectrum = spectrumOf(signal, frame);
    world.hearings.forEach(({ channel, output }, i) => {
      const delayS = world.delayS(step.state, output);
      // What comes before the loops has no gap of theirs.
      addThrough(spectra[channel], dry && dryOutputs.includes(output) ? dry : spectrum, state.transfers![i], delayS, frame);
      for (const bled of state.bleeds) addThrough(spectra[channel], spectrum, bled.curves[i], delayS + bled.delayS, frame);
    });
    const peak = signal.reduce((most, v) => Math.max(most, Math.abs(v)), 0);
    const errors: (Spectrum | null)[] = [];
    for (const clipping of state.clipping) {
      const { stage, drive, from, to } = clipping;
      if (isNeverReached(clipping, peak)) {
        errors.push(null);
        continue;
      }
      const voltage = zeroSpectrum(frame.size);
      addThrough(voltage, spectrum, drive, 0, frame);
      from.forEach((curve, r) => {
        const earlier = errors[r];
        if (curve && earlier) addThrough(voltage, earlier, curve, 0, frame);
      });
      const error = clippingError(voltage, frame.size, stage.clip);
      errors.push(error);
      world.hearings.forEach(({ channel, output }, i) => {
        if (to[i]) addThrough(spectra[channel], error, to[i], world.delayS(step.state, output), frame);
      });
    }
  }
  const channels = toSamples(spectra, frame);
  if (signal) channels.forEach((samples) => addHarmonics(samples, benchTruth));
  const waves = step.kind === 'switching' && presses.length > 0 ? clickWaves(world, path, trueRateHz) : null;
  world.hearings.forEach(({ channel, output, perVolt }, i) => {
    addLines(channels[channel], state.lines[i], trueRateHz);
    if (step.kind === 'idle') {
      const passedOn = (loop: string): number => world.passedOn(path, loop)[i];
      addUnsteady(channels[channel], perVolt, sampleRateHz, faultsHeard(board, step.state, output, faults), passedOn, streamSeed(seed, `${step.id} unsteady`));
    }
    for (const fault of faults) {
      if (step.kind === 'flex' && fault.kind === 'flex-dropout' && fault.output === output) dropout(channels[channel], fault.count, random, sampleRateHz);
    }
    if (waves) {
      presses.forEach((id, k) => {
        const loud = faults.find((fault) => fault.kind === 'loop-click' && fault.loop === id);
        const peakV = loud?.kind === 'loop-click' ? loud.peakV : boardTruth.clickPeakV;
        addClick(channels[channel], waves[i], marginS + PRESS_EVERY_S * k + PRESS_AFTER_S, (k % 2 === 0 ? 1 : -1) * peakV, sampleRateHz);
      });
    }
  });

  const clamped = channels.map((samples) => quantise(samples, benchTruth.bits, random));
  const remarks = [
    ...world.assumed,
    ...path.assumed,
    ...clamped.flatMap((count, c) => (count > 0 ? [`Recorder channel ${c + 1} was driven beyond full scale: ${count} samples were clamped.`] : [])),
  ];
  return { channels, sampleRateHz, remarks };
}
