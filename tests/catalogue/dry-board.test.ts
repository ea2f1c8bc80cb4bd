/**
 * A board that takes one output before its loops, drawn as those of the catalogue, with faults that such a board has or hides: each is told
 * at its place, and nothing else. Takes only, the short way.
 */
import { beforeAll, describe, expect, it } from 'vitest';
import type { Bench, Board } from '../../src/board/model.js';
import { judgeReadings } from '../../src/judge/judge-job.js';
import { limitSets } from '../../src/judge/limit-sets.js';
import type { Results } from '../../src/judge/results.js';
import { measureJob } from '../../src/measure/job.js';
import type { CaptureEstimate } from '../../src/measure/job.js';
import type { SimulationModel } from '../../src/simulate/model.js';

interface Step { readonly id: string; readonly kind: string }
type Judged = Pick<Results, 'readings' | 'findings'>;

const built = (path: string): Promise<unknown> => import(new URL(`../../dist/src/${path}`, import.meta.url).href);
const own = (path: string): Promise<unknown> => import(new URL(path, import.meta.url).href);

let judged: (faults: SimulationModel['faults']) => Judged;
let model: SimulationModel;

beforeAll(async () => {
  const { drawBoard } = (await own('./boards.mjs')) as { drawBoard: (seed: number, sizes: { low: number; high: number }) => SimulationModel };
  const { estimateStep } = (await own('./trial.mjs')) as { estimateStep: (world: unknown, model: unknown, step: Step, seed: number) => CaptureEstimate | null };
  const { worldOf } = (await built('simulate/world.js')) as { worldOf: (model: unknown) => unknown };
  const { stepsOf } = (await built('board/steps.js')) as { stepsOf: (board: Board, bench: Bench) => readonly Step[] };
  // Seed 6: four loops with a device each, two outputs. Output B goes to a tuner; loops 1, 2 and 4 are digital, the last two nearly alike late.
  const drawn = drawBoard(6, { low: 4, high: 4 });
  model = {
    ...drawn,
    board: { ...drawn.board, match: [] },
    bench: { ...drawn.bench, loads: [{ id: 'loadA', output: 'A', resistanceOhm: { value: 10000, tolerance: 100 } }] },
    boardTruth: { ...drawn.boardTruth, build: { ...drawn.boardTruth.build, dryOutputs: ['B'] }, loopDelayS: { loop1: 0.0019, loop2: 0.0043, loop4: 0.00436 } },
  };
  const { board, bench } = model;
  const steps = stepsOf(board, bench).filter(({ id, kind }) => kind === 'take' && /^(bench|rest|rest\+loadA|loop-.*|all)\.take$/.test(id));
  judged = (faults) => {
    const faulty = { ...model, faults };
    const world = worldOf(faulty);
    const estimates = steps.flatMap((step) => estimateStep(world, faulty, step, 3) ?? []);
    return judgeReadings({ board, bench, limits: limitSets['studio-quiet']!, measured: measureJob(board, bench, estimates), problems: [] });
  };
});

const told = ({ findings }: Judged): string[] => findings.filter(({ severity }) => severity !== 'note').map(({ id }) => id).sort();
const value = ({ readings }: Judged, id: string, loop: string, output: string): number => readings.find((r) => r.id === id && r.loop === loop && r.output === output)!.value!;

describe('a board with an output before its loops', () => {
  it('has two outputs and digital devices, and nothing to find', () => {
    expect(model.board.outputs).toHaveLength(2);
    const results = judged([]);
    expect(told(results)).toEqual([]);
    expect(value(results, 'loop.delay', 'loop1', 'A')).toBeCloseTo(1900, 0);
    expect(value(results, 'loop.delay', 'loop2', 'A')).toBeCloseTo(4300, 0);
  });

  it('of three digital loops the one that is heard while it is out is named, though the output before them hears it too', () => {
    const results = judged([{ kind: 'loop-bleeds', loop: 'loop2', ohm: 40e3 }]);
    expect(told(results)).toEqual(['bleed/loop2']);
    const { buffer } = model.board.input;
    const device = model.boardTruth.build.devices!['loop2']!;
    // What feeds the path over the leak and the device's own output resistance.
    const truth = 20 * Math.log10((device.gain! * buffer!.outputResistanceOhm) / (40e3 + device.outputResistanceOhm));
    expect(Math.abs(value(results, 'bleed', 'loop2', 'A') - truth)).toBeLessThan(0.3);
    expect(results.readings.find((r) => r.id === 'bleed' && r.loop === 'loop1')!.value!).toBeLessThan(truth - 20);
    expect(results.findings[0]!.certainty).toBe('likely');
    expect(results.readings.filter((r) => r.id === 'bleed' && r.loop === 'loop4')).toEqual([]);
  });

  it('a dead loop is dead, although one output goes on', () => {
    expect(told(judged([{ kind: 'loop-dead', loop: 'loop3' }, { kind: 'loop-inverted', loop: 'loop1' }]))).toEqual(['loop-inverted/loop1', 'loop-silent/loop3']);
  });

  it('too much in series with an output is no small capacitor, and the other way round', () => {
    const isolated = model.board.outputs[0]!.isolated;
    const results = judged([{ kind: 'output-resistance', output: 'A', ohm: 6800 }]);
    expect(told(results)).toEqual(['output-resistance/A']);
    const ohm = results.readings.find((r) => r.id === 'output-resistance')!.value!;
    // A transformer adds its windings.
    expect(Math.abs(ohm - 6800 - (isolated ? 120 : 0))).toBeLessThan(30);
    const thin = judged([{ kind: 'output-thin', output: 'A', farad: 1e-9 }]);
    expect(told(thin)).toEqual(['output-response/A']);
    expect(thin.readings.find((r) => r.id === 'output-resistance')!.value).toBeNull();
  });
});
