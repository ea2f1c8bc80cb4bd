/**
 * The simulated board on its bench, in one state: what reaches the samples of each recorder channel, as responses and
 * densities on a grid of frequencies, and as lines.
 *
 * @module
 */

import type { LoadPlug, Plug, Step } from '../board/model.js';
import { DEFAULT_LOAD_OHM, drivenInto, loopsIn, pathNetwork, type Load, type PathNetwork, type PathSource } from '../circuit/board-network.js';
import { noiseMatrix } from '../circuit/noise.js';
import { responses, toGround, transferImpedance, type ComplexCurve, type Port } from '../circuit/response.js';
import { problem } from '../problems.js';
import { dbToAmplitude, dbuToVolts } from '../units/decibels.js';
import { playerResponse, recorderResponse, times } from './bench-response.js';
import { bledThrough, withBleeds } from './bleed.js';
import { clippingPaths, clippingStages, type ClippingPath } from './clipping.js';
import { bleedsOf, checkFaults, faultyBoard, faultyBuild, outputAtJack, stateAsBuilt } from './faults.js';
import { clockLines, humLines, whineLines, type HeardLine, type Line } from './lines.js';
import type { LogGrid } from './log-grid.js';
import type { SimulationModel } from './model.js';
import { closingContact } from './switching.js';
import { noiseShape, type NoiseShape } from './shaped-noise.js';

/** Stand in where bench.yaml does not say. */
const DEFAULT_PLAYER_DBU = 12;
const DEFAULT_RECORDER_DBU = 18;
const DEFAULT_PLAYER_OHM = 100;

/** One recorder channel that hears an output. */
export interface Hearing {
  /** From 0. */
  readonly channel: number;
  readonly output: string;
  /** Samples (±1) per volt at the recorder's terminals. */
  readonly perVolt: number;
  readonly loadOhm: number;
}

/** What is heard of a loop that is out. */
export interface Bled {
  /** From the player's samples to each hearing's. */
  readonly curves: ComplexCurve[];
  readonly delayS: number;
}

/** Volts at a recorder input as the samples of its channel. */
const inSamples = ({ re, im }: ComplexCurve, { perVolt }: Hearing): ComplexCurve => ({ re: re.map((v) => v * perVolt), im: im.map((v) => v * perVolt) });

export interface World {
  readonly sampleRateHz: number;
  readonly channels: number;
  readonly hearings: readonly Hearing[];
  /** Volts at the player's output per sample of ±1. */
  readonly playerVolts: number;
  /** What was assumed about the bench. */
  readonly assumed: readonly string[];
  /** The network of a step; cached by state, plug and whether the player plays. */
  path(step: Step, playing: boolean): PathNetwork;
  /** From the player's samples to each hearing's samples, on a grid. */
  transfers(path: PathNetwork, grid: LogGrid): ComplexCurve[];
  /** What comes past the open contacts of loops that are out, and how much later than the rest. */
  bleeds(path: PathNetwork, grid: LogGrid): Bled[];
  /** Noise in the samples of every recorder channel, heard or not, on a grid. */
  noise(path: PathNetwork, grid: LogGrid): NoiseShape;
  /** Hum and whine in each hearing. */
  lines(path: PathNetwork, state: string): HeardLine[][];
  /** What clips on the way, with the transfers that {@link transfers} gave. */
  clipping(path: PathNetwork, state: string, transfers: readonly ComplexCurve[], grid: LogGrid): ClippingPath[];
  /** In each hearing's samples, a contact that closes on one volt at time 0, as a spectrum per hertz on a grid. */
  clicks(path: PathNetwork, grid: LogGrid): ComplexCurve[];
  /** What of a voltage at a loop's return reaches each hearing's output, against what of it reaches the first with that loop alone in, at 1 kHz. */
  passedOn(path: PathNetwork, loop: string): readonly number[];
  /** Seconds by which the loops of a state, where the output passes them, and what stands before the output, delay the signal. */
  delayS(state: string, output: string): number;
}

export function worldOf(model: SimulationModel): World {
  const { board, bench, boardTruth, benchTruth, faults } = model;
  checkFaults(board, faults);
  const builtBoard = faultyBoard(board, faults);
  const build = faultyBuild(board, boardTruth.build, faults);
  const bleeds = bleedsOf(build, faults);
  const latencyS = (loop: string): number => faults.reduce((sum, fault) => (fault.kind === 'loop-latency' && fault.loop === loop ? sum + fault.delayS : sum), boardTruth.loopDelayS[loop] ?? 0);

  const assumed: string[] = [];
  const sampleRateHz = bench.sampleRateHz ?? 48000;
  const playerOhm = bench.output?.resistanceOhm ?? DEFAULT_PLAYER_OHM;
  const playerDbu = bench.output?.fullScaleDbu?.value ?? DEFAULT_PLAYER_DBU;
  if (!bench.output?.fullScaleDbu) assumed.push(`The player's full scale is ${DEFAULT_PLAYER_DBU} dBu.`);
  // An input that names an output which the board does not have hears nothing.
  const connected = bench.inputs
    .filter(({ output }) => board.outputs.some(({ id }) => id === output))
    .map((input) => ({ ...input, output: outputAtJack(input.output, faults) }));
  const hearings = connected.map(({ channel, output, fullScaleDbu, resistanceOhm }): Hearing => {
    if (!fullScaleDbu) assumed.push(`Recorder input ${channel}: full scale is ${DEFAULT_RECORDER_DBU} dBu.`);
    const volts = Math.SQRT2 * dbuToVolts(fullScaleDbu?.value ?? DEFAULT_RECORDER_DBU);
    return {
      channel: channel - 1,
      output,
      perVolt: dbToAmplitude(benchTruth.inputErrorDb[channel] ?? 0) / volts,
      loadOhm: resistanceOhm ?? DEFAULT_LOAD_OHM,
    };
  });
  const channels = Math.max(1, ...bench.inputs.map(({ channel }) => channel));
  const loads: Record<string, Load> = {};
  for (const { output, loadOhm } of hearings) {
    const other = loads[output] as Load | undefined;
    loads[output] = {
      ohm: other ? (other.ohm * loadOhm) / (other.ohm + loadOhm) : loadOhm,
      farad: (other?.farad ?? 0) + benchTruth.inputCapacitanceF,
    };
  }

  const across = (plug: string | null): LoadPlug | undefined => bench.loads?.find(({ id }) => id === plug);
  /** With one of the bench's loads across an output as well. */
  const loadsWith = (plug: string | null): Record<string, Load> => {
    const load = across(plug);
    const own = load && loads[load.output];
    if (!load || !own) return loads;
    return { ...loads, [load.output]: { ...own, ohm: (own.ohm * load.resistanceOhm.value) / (own.ohm + load.resistanceOhm.value) } };
  };
  const plugOhm = (plug: string): number | null => {
    if (across(plug)) return null;
    const found = bench.plugs.find(({ id }: Plug) => id === plug);
    if (!found) throw problem('simulate.plug', { plug, known: bench.plugs.map(({ id }) => id) });
    return found.resistanceOhm.value;
  };
  const paths = new Map<string, PathNetwork>();
  const portsOf = (path: PathNetwork): Port[] => hearings.map(({ output }) => path.outputs.get(output)!);

  const pathIn = (state: string, plug: string | null, playing: boolean): PathNetwork => {
    const key = `${state} ${plug ?? ''} ${playing}`;
    let path = paths.get(key);
    if (!path) {
      const source: PathSource = {
        kind: 'generator',
        resistanceOhm: playing ? playerOhm : boardTruth.terminationOhm,
        plugOhm: plug === null ? null : plugOhm(plug),
        noise: playing ? benchTruth.outputNoise : null,
      };
      path = withBleeds(pathNetwork(builtBoard, { state: stateAsBuilt(state, faults), source, loads: loadsWith(plug), build, straightLead: bench.lead, terminationOhm: boardTruth.terminationOhm }), bleeds);
      paths.set(key, path);
    }
    return path;
  };

  const aloneAt1k = new Map<string, number>();
  /**
   * Volts at the first output per ampere into a loop's return at 1 kHz, with that loop alone in. What comes in with a loop is
   * stated for there; other loops do with it what they do with any signal.
   */
  const ohmAlone = (loop: string): number => {
    let ohm = aloneAt1k.get(loop);
    if (ohm === undefined) {
      const path = pathIn(`loop-${loop}`, null, false);
      const z = transferImpedance(path.network, toGround(path.loopReturns.get(loop)!), path.outputs.get(board.outputs[0].id) ?? portsOf(path)[0], Float64Array.of(1000));
      ohm = Math.hypot(z.re[0], z.im[0]);
      aloneAt1k.set(loop, ohm);
    }
    return ohm;
  };

  const chainOn = ({ frequenciesHz }: LogGrid): ComplexCurve => times(playerResponse(benchTruth, frequenciesHz), recorderResponse(benchTruth, frequenciesHz));

  return {
    sampleRateHz,
    channels,
    hearings,
    playerVolts: Math.SQRT2 * dbuToVolts(playerDbu),
    assumed,

    path: ({ state, plug }, playing) => pathIn(state, plug, playing),

    transfers(path, grid) {
      const chain = chainOn(grid);
      const terminal = responses(path.network, path.source, portsOf(path), grid.frequenciesHz);
      const leak = benchTruth.crosstalkDb === null ? 0 : dbToAmplitude(benchTruth.crosstalkDb);
      return hearings.map((hearing, i) => {
        const own = terminal[i];
        const re = own.re.slice();
        const im = own.im.slice();
        /** Capacitive: j·f/1 kHz times the other. */
        const couple = (amplitude: number, other: ComplexCurve): void => {
          grid.frequenciesHz.forEach((f, k) => {
            re[k] -= amplitude * (f / 1000) * other.im[k];
            im[k] += amplitude * (f / 1000) * other.re[k];
          });
        };
        if (leak > 0) {
          hearings.forEach((other, j) => {
            if (Math.abs(other.channel - hearing.channel) !== 1) return;
            couple(leak, terminal[j]);
          });
        }
        const heard = times({ re, im }, chain);
        return inSamples(heard, hearing);
      });
    },

    bleeds(path, grid) {
      return bleeds.flatMap((bleed): Bled[] => {
        const terminal = bledThrough(path, bleed, portsOf(path), grid.frequenciesHz);
        if (!terminal) return [];
        const chain = chainOn(grid);
        return [{ curves: terminal.map((curve, i) => inSamples(times(curve, chain), hearings[i])), delayS: latencyS(bleed.loop) }];
      });
    },

    noise(path, grid) {
      const { frequenciesHz } = grid;
      const matrix = noiseMatrix(path.network, portsOf(path), frequenciesHz);
      const recorder = recorderResponse(benchTruth, frequenciesHz);
      const power = recorder.re.map((value, k) => value * value + recorder.im[k] * recorder.im[k]);
      const { densityPerRtHz, cornerHz } = benchTruth.inputNoise;
      const re = Array.from({ length: channels * channels }, () => new Float64Array(frequenciesHz.length));
      const im = re.map(() => new Float64Array(frequenciesHz.length));
      hearings.forEach((a, i) => {
        hearings.forEach((b, j) => {
          const gain = a.perVolt * b.perVolt;
          const [from, to] = [i * hearings.length + j, a.channel * channels + b.channel];
          power.forEach((p, k) => {
            re[to][k] = gain * p * matrix.re[from][k];
            im[to][k] = gain * p * matrix.im[from][k];
          });
        });
      });
      // An input without anything plugged in hears its own noise only, on the scale of the default.
      const perVolt = Array.from({ length: channels }, (_, c) => hearings.find(({ channel }) => channel === c)?.perVolt ?? 1 / (Math.SQRT2 * dbuToVolts(DEFAULT_RECORDER_DBU)));
      for (let c = 0; c < channels; c++) {
        power.forEach((p, k) => {
          re[c * channels + c][k] += perVolt[c] ** 2 * p * densityPerRtHz ** 2 * (1 + cornerHz / frequenciesHz[k]);
        });
      }
      return noiseShape({ count: channels, re, im });
    },

    lines(path, state) {
      const heard: HeardLine[][] = hearings.map(() => []);
      const add = (i: number, line: Line, transfer: { re: number; im: number }): void => {
        const recorder = recorderResponse(benchTruth, Float64Array.of(line.hz));
        const at = times({ re: Float64Array.of(transfer.re), im: Float64Array.of(transfer.im) }, recorder);
        heard[i].push({
          hz: line.hz,
          amplitude: Math.SQRT2 * line.volts * Math.hypot(at.re[0], at.im[0]) * hearings[i].perVolt,
          phaseRad: 2 * Math.PI * line.turns + Math.atan2(at.im[0], at.re[0]),
        });
      };
      const addAtOutput = (output: string, lines: readonly Line[]): void => {
        hearings.forEach((hearing, i) => {
          if (hearing.output === output) lines.forEach((line) => add(i, line, { re: 1, im: 0 }));
        });
      };
      /** As a current into the loop's return, on the scale of what it makes of 1 kHz at the first output while that loop alone is in. */
      const addAtLoop = (loop: string, lines: readonly Line[]): void => {
        const node = path.loopReturns.get(loop);
        if (node === undefined) return;
        const frequenciesHz = Float64Array.from(lines, ({ hz }) => hz);
        const scale = 1 / ohmAlone(loop);
        portsOf(path).forEach((port, i) => {
          const z = transferImpedance(path.network, toGround(node), port, frequenciesHz);
          lines.forEach((line, k) => {
            add(i, line, { re: z.re[k] * scale, im: z.im[k] * scale });
          });
        });
      };

      const hasBoard = state !== 'bench' && state !== 'lead';
      if (!hasBoard) return heard;
      boardTruth.residualHum.forEach(({ output, pattern, levelDbu }, k) => {
        addAtOutput(output, humLines(boardTruth.mainsHz, pattern, levelDbu, 0.1 + 0.3 * k));
      });
      const inPath = loopsIn(board, state);
      const addAtOutlet = (outlet: string, lines: readonly Line[]): void => {
        for (const { id, supply } of board.loops) if (supply === outlet && inPath.includes(id)) addAtLoop(id, lines);
      };
      faults.forEach((fault, k) => {
        const salt = 0.17 * (k + 1);
        if (fault.kind === 'loop-hum' && inPath.includes(fault.loop)) {
          addAtLoop(fault.loop, humLines(boardTruth.mainsHz, fault.pattern, fault.levelDbu, salt));
        } else if (fault.kind === 'output-hum' && !(fault.liftCures && state === `lift-${fault.output}`)) {
          addAtOutput(fault.output, humLines(boardTruth.mainsHz, fault.pattern, fault.levelDbu, salt));
        } else if (fault.kind === 'whine') {
          addAtOutlet(fault.outlet, whineLines(fault.fundamentalHz, fault.harmonicsDb, fault.levelDbu, salt));
        } else if (fault.kind === 'two-clocks') {
          addAtOutlet(fault.outlet, clockLines(fault.firstHz, fault.secondHz, fault.levelDbu, salt));
        } else if (fault.kind === 'outlet-ripple') {
          addAtOutlet(fault.outlet, humLines(boardTruth.mainsHz, 'rectifier-ripple', fault.levelDbu, salt));
        } else if (fault.kind === 'loop-whine' && inPath.includes(fault.loop)) {
          addAtLoop(fault.loop, whineLines(fault.fundamentalHz, fault.harmonicsDb, fault.levelDbu, salt));
        } else if (fault.kind === 'loops-interact' && fault.loops.every((loop) => inPath.includes(loop))) {
          addAtLoop(fault.loops[1], humLines(boardTruth.mainsHz, 'magnetic', fault.levelDbu, salt));
        }
      });
      return heard;
    },

    clipping(path, state, transfers, { frequenciesHz }) {
      const stages = clippingStages(board, path, state, faults, boardTruth.driverClips);
      return clippingPaths(path, stages, hearings.map(({ output }) => output), transfers, playerResponse(benchTruth, frequenciesHz), frequenciesHz);
    },

    clicks(path, { frequenciesHz }) {
      const recorder = recorderResponse(benchTruth, frequenciesHz);
      return closingContact(path, portsOf(path), frequenciesHz).map((curve, i) => inSamples(times(curve, recorder), hearings[i]));
    },

    passedOn(path, loop) {
      const node = path.loopReturns.get(loop);
      if (node === undefined) return hearings.map(() => 0);
      return portsOf(path).map((port) => {
        const z = transferImpedance(path.network, toGround(node), port, Float64Array.of(1000));
        return Math.hypot(z.re[0], z.im[0]) / ohmAlone(loop);
      });
    },

    delayS(state, output) {
      const isDry = build.dryOutputs?.includes(output) ?? false;
      const ofLoops = isDry ? 0 : loopsIn(board, state).reduce((sum, id) => sum + latencyS(id), 0);
      const isBoard = state !== 'bench' && state !== 'lead' && drivenInto(state) === null;
      return faults.reduce((sum, fault) => (fault.kind === 'output-latency' && isBoard && fault.output === output ? sum + fault.delayS : sum), ofLoops);
    },
  };
}
