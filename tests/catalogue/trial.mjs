/**
 * One trial: a board with its faults → estimates → readings → findings, and whether the right one stands at the right place.
 *
 * Idle captures go through samples, recorder and all; takes as in takes.mjs. A capture that a fault does not touch is the
 * clean board's, sample for sample (the same network, lines and seed give the same samples), and is estimated once.
 */
import { loopsIn } from '../../dist/src/circuit/board-network.js';
import { stepsOf } from '../../dist/src/board/steps.js';
import { measureIdle } from '../../dist/src/measure/idle.js';
import { estimateCapture, measureJob } from '../../dist/src/measure/job.js';
import { memoryRecording, selectChannels } from '../../dist/src/measure/recording.js';
import { judgeReadings } from '../../dist/src/judge/judge-job.js';
import { limitSets } from '../../dist/src/judge/limit-sets.js';
import { simulateStep } from '../../dist/src/simulate/simulate-step.js';
import { worldOf } from '../../dist/src/simulate/world.js';
import { stairsEstimates } from './stairs.mjs';
import { takeEstimates } from './takes.mjs';

/** The shortest idle capture that is accepted. */
const IDLE_S = 5;
const FLEX_S = 5;
/** Below this gain a take's markers are lost in the noise, and no take is found. */
const HEARD_GAIN = 1e-4;

/** The switches of more loops than this make a capture of half a minute: left out. */
const MOST_PRESSED = 6;

const AT_1K = { frequenciesHz: Float64Array.of(1000), pointsPerOctave: 1 };

const isUnsteady = (kind) => kind.endsWith('-crackle') || kind.endsWith('-drift');

/** Everything of a model that a capture of this step could show. */
function shown(world, model, step) {
  const playing = step.kind === 'take' || step.kind === 'stairs' || step.kind === 'flex';
  const path = world.path(step, playing);
  const inPath = loopsIn(model.board, step.state);
  const unsteady = model.faults.filter((fault) => isUnsteady(fault.kind) && (inPath.includes(fault.loop) || ('output' in fault && step.state !== 'bench')));
  return JSON.stringify([
    step.id,
    path.network,
    world.hearings,
    step.kind === 'switching' ? model.faults.filter(({ kind }) => kind === 'loop-click') : null,
    step.kind === 'stairs' ? model.faults.filter(({ kind }) => kind.endsWith('-clips')) : null,
    step.kind === 'flex' ? model.faults.filter(({ kind }) => kind === 'flex-dropout') : null,
    playing ? model.faults.filter((fault) => fault.kind === 'loop-intermittent' && inPath.includes(fault.loop)) : null,
    playing ? [world.hearings.map(({ output }) => world.delayS(step.state, output)), world.bleeds(path, AT_1K).map(({ curves, delayS }) => [curves.map(({ re, im }) => [re[0], im[0]]), delayS])] : [world.lines(path, step.state), unsteady],
  ]);
}

export function estimateStep(world, model, step, seed) {
  if (step.kind === 'stairs') return { step, kind: 'stairs', inputs: stairsEstimates(world, model, step, seed) };
  // What a contact does while a take passes is in its samples only.
  if (step.kind === 'take' && model.faults.some((fault) => fault.kind === 'loop-intermittent' && loopsIn(model.board, step.state).includes(fault.loop))) return estimateThroughSamples(model, step, seed);
  if (step.kind === 'take') {
    const inputs = takeEstimates(world, model, step, seed);
    const isHeard = inputs.some(({ response }) => Math.hypot(response.curve.re[240], response.curve.im[240]) > HEARD_GAIN);
    return isHeard ? { step, kind: 'take', inputs } : null;
  }
  // No coil is in a circuit without an instrument: a coarse grid of frequencies will do.
  const { channels, sampleRateHz } = simulateStep(model, step, seed, { idleS: IDLE_S, flexS: FLEX_S, pointsPerOctave: 16 });
  if (step.kind === 'switching' || step.kind === 'flex') return estimateCapture(memoryRecording(channels, sampleRateHz), step, model.bench, model.board.mainsHz);
  const recording = selectChannels(memoryRecording(channels, sampleRateHz), model.bench.inputs.map(({ channel }) => channel - 1));
  // The quasi-peak meter takes longer than all else together, and no finding is read from it.
  return { step, kind: 'idle', inputs: measureIdle(recording, model.board.mainsHz, false), excerpts: null };
}

/** Samples all the way, takes included: what the short way is held against (short-way.test.ts). */
export function estimateThroughSamples(model, step, seed) {
  const { channels, sampleRateHz } = simulateStep(model, step, seed, { idleS: IDLE_S, marginS: 0.3 });
  return estimateCapture(memoryRecording(channels, sampleRateHz), step, model.bench, model.board.mainsHz);
}

/**
 * @param known - estimates of the same board and seed by what they show; filled and used.
 * @returns readings and findings as `measure` has them.
 */
export function resultsOf(model, seed, known = new Map()) {
  const { board, bench } = model;
  const world = worldOf(model);
  const steps = stepsOf(board, bench);
  const unityLoops = board.loops.filter(({ expect }) => expect === 'unity').map(({ id }) => `loop-${id}`);
  const hasStairs = ['bench', 'rest', ...unityLoops];
  const captured = steps.filter(({ id, kind, state }) => kind === 'idle' || kind === 'take' || kind === 'flex' || (kind === 'stairs' && hasStairs.includes(state)) || (id === 'rest.switching' && board.loops.length <= MOST_PRESSED));
  const estimates = captured.flatMap((step) => {
    const key = shown(world, model, step);
    if (!known.has(key)) known.set(key, estimateStep(world, model, step, seed));
    return known.get(key) ?? [];
  });
  const unheard = captured.filter((step) => !estimates.some((estimate) => estimate.step.id === step.id));
  const limits = limitSets['studio-quiet'];
  return judgeReadings({
    board,
    bench,
    limits,
    measured: measureJob(board, bench, estimates),
    problems: unheard.map((step) => ({ code: 'take.unheard', message: `no take in ${step.id}`, step: step.id })),
  });
}

export const kindOf = (finding) => finding.id.split('/')[0];

const points = (at, told) => told === undefined || (Array.isArray(told) ? told.includes(at) : at === told);

/** Does a finding say what the catalogue says a builder should be told? */
export function answers(finding, told) {
  const { where } = finding;
  return (
    kindOf(finding) === told.finding &&
    points(where.loop, told.loop) &&
    points(where.output, told.output) &&
    points(where.supply, told.supply) &&
    (told.says === undefined || told.says.test(`${finding.title} ${finding.cause} ${finding.tryNext}`))
  );
}

/** What became of the faults told of: `right` per fault, and the findings that answer none of them. */
export function score(results, toldOf) {
  const findings = results.findings.filter(({ severity }) => severity !== 'note');
  const right = toldOf.map((told) => findings.some((finding) => answers(finding, told)));
  const extra = findings.filter((finding) => !toldOf.some((told) => answers(finding, told)));
  return { findings, right, extra };
}
