/** Crosstalk between outputs, from takes that are played into their jacks, against closed forms. */
import { beforeAll, describe, expect, it } from 'vitest';
import type { Bench, Board } from '../../src/board/model.js';
import { judgeReadings } from '../../src/judge/judge-job.js';
import { limitSets } from '../../src/judge/limit-sets.js';
import type { Results } from '../../src/judge/results.js';
import { expanded } from '../../src/judge/uncertainty.js';
import { crosstalkFigures } from '../../src/measure/crosstalk.js';
import type { Figure } from '../../src/measure/figure.js';
import { isolationFigures } from '../../src/measure/isolation.js';
import { checkTake } from '../../src/measure/capture-checks.js';
import { estimateCapture, measureJob } from '../../src/measure/job.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { GRID_HZ } from '../../src/measure/frequency-grid.js';
import { checkJack } from '../../src/measure/rest-checks.js';
import type { TakeEstimate } from '../../src/measure/take.js';
import { chain, gain, lowPass } from '../helpers/device.js';
import type { Complex } from '../helpers/device.js';
import { USUAL_BENCH } from '../../src/simulate/model.js';
import { simulateStep } from '../../src/simulate/simulate-step.js';
import { seeded } from '../helpers/random.js';
import { board as simulated, model, step } from '../simulate/fixtures.js';

const bench = { inputs: ['A', 'B'].map((output, k) => ({ channel: k + 1, output, fullScaleDbu: null, resistanceOhm: 1e6 })), plugs: [], loads: [{ id: 'load600', output: 'A', resistanceOhm: { value: 600, tolerance: null } }] } as unknown as Bench;
const board = { outputs: ['A', 'B'].map((id) => ({ id, name: id, loadOhm: null, lift: false, polaritySwitch: false, isolated: false })), loops: [], match: [], mainsHz: 50, input: { buffer: null, wiring: null }, instrument: null } as unknown as Board;
/** The second input of the recorder reads 0.4 dB less. */
const inputs = [lowPass(60000), chain(lowPass(60000), gain(-0.4))] as const;
/** Of a response at 1 Hz: a hiss of −97 dBFS leaves so much of a sweep at −12 dBFS. */
const NOISE = 1e-7;
const located = { identity: { stepCode: 1, levelDbfs: -12, sweepTopHz: 22080 } } as unknown as TakeEstimate['located'];
/** Capacitance between two jacks, and the output resistance of the one that hears. */
const RC_S = 400e-12 * 150;
const across = (hz: number): Complex => {
  const x = 2 * Math.PI * hz * RC_S;
  return [(x * x) / (1 + x * x), x / (1 + x * x)];
};
const FLAT_DB = -57;
const half = gain(-6.02);

/** A take as it is estimated: the response, and white noise in it, which a sweep leaves as √f. */
function take(devices: readonly [(hz: number) => Complex, (hz: number) => Complex], seed: number): TakeEstimate[] {
  return devices.map((device, c): TakeEstimate => {
    const { gauss } = seeded(seed + c);
    const variance = GRID_HZ.map((hz) => NOISE ** 2 * hz);
    const curve = { re: new Float64Array(GRID_HZ.length), im: new Float64Array(GRID_HZ.length) };
    GRID_HZ.forEach((hz, i) => {
      const [re, im] = chain(inputs[c]!, device)(hz);
      curve.re[i] = re + Math.sqrt(variance[i]! / 2) * gauss();
      curve.im[i] = im + Math.sqrt(variance[i]! / 2) * gauss();
    });
    return { located, tone: null, response: { curve, variance, peakLagS: 0 }, silencePower: 0 };
  });
}

/** Mean of a power over log frequency, dB. */
function bandDb(of: (hz: number) => Complex, lowHz: number, highHz: number): number {
  let sum = 0;
  for (let k = 0; k < 400; k++) {
    const [re, im] = of(lowHz * (highHz / lowHz) ** ((k + 0.5) / 400));
    sum += re * re + im * im;
  }
  return 10 * Math.log10(sum / 400);
}
const third = (hz: number): readonly [number, number] => [hz * 10 ** -0.05, hz * 10 ** 0.05];

let takes: Readonly<Record<string, readonly TakeEstimate[]>>;
const nothing = (): Complex => [0, 0];
beforeAll(() => {
  takes = {
    'bench.take': take([gain(0), gain(0)], 1),
    'into-A.take': take([half, chain(half, across)], 3),
    'into-B.take': take([chain(half, gain(FLAT_DB)), half], 5),
  };
});
const takeOf = (id: string): readonly TakeEstimate[] | null => takes[id] ?? null;
const at = (figures: readonly Figure[], id: string, pair: string): Figure => figures.find((f) => f.id === id && f.output === pair)!;

describe('crosstalk between outputs', () => {
  it.each([
    ['crosstalk.1k', 'A:B', () => bandDb(across, ...third(1000))],
    ['crosstalk.worst-band', 'A:B', () => bandDb(across, ...third(10000))],
    ['isolation', 'A:B', () => -bandDb(across, 200, 5000)],
    ['crosstalk.1k', 'B:A', () => FLAT_DB],
    ['crosstalk.worst-band', 'B:A', () => FLAT_DB],
    ['crosstalk.slope', 'B:A', () => 0],
  ])('%s of %s is the closed form, within its uncertainty', (id, pair, truth) => {
    const f = at(crosstalkFigures(bench, takeOf), id, pair);
    expect(f.bound).toBeNull();
    // Beside the interval, what is left of the steps of the grid.
    expect(Math.abs(f.value! - truth()), `${f.value} for ${truth()}`).toBeLessThan(0.005 + expanded(f.parts!));
  });

  it('rises as through a capacitance, and says where it is worst', () => {
    const figures = crosstalkFigures(bench, takeOf);
    expect(at(figures, 'crosstalk.slope', 'A:B').value).toBeCloseTo(20 * Math.log10(2), 1);
    expect(at(figures, 'crosstalk.worst-band', 'A:B').label).toContain('(10 kHz)');
  });

  it('is told with what to look at, each pair once', () => {
    const estimates = Object.entries(takes).map(([id, inputsOf]) => ({ step: { id, state: id.replace('.take', ''), plug: null, kind: 'take' as const }, kind: 'take' as const, inputs: inputsOf }));
    const judged = (of: typeof estimates): Pick<Results, 'readings' | 'findings'> => judgeReadings({ board, bench, limits: limitSets['studio-quiet']!, measured: measureJob(board, bench, of), problems: [] });
    const both = judged(estimates);
    // Nothing of the board's own is read from a take that does not pass it.
    expect([...new Set(both.readings.filter(({ state }) => state.startsWith('into-')).map(({ id }) => id))]).toEqual(['crosstalk.1k', 'crosstalk.worst-band', 'crosstalk.slope', 'isolation']);
    expect(both.findings.map(({ id }) => id)).toEqual(['crosstalk/A:B']);
    expect(both.findings[0]!.title).toMatch(/^Output B hears what is put on output A, 48\.4 dB lower at its loudest; the other way round, 57\.0 dB\.$/);
    expect(both.findings[0]!.cause).toMatch(/6 dB per octave: a capacitance/);
    const flat = judged(estimates.filter(({ step }) => step.id !== 'into-A.take'));
    expect(flat.findings.map(({ id, where, cause }) => [id, where.output, /share a resistance/.test(cause)])).toEqual([['crosstalk/A:B', 'A', true]]);
  });

  it.each([
    ['a capacitance across 8 kΩ, which is all but a wire at 10 kHz', (hz: number): Complex => across(hz * 130), /a capacitance between/],
    ['a wire', gain(-0.2), /hang on one driver/],
    ['a resistance', gain(-40), /share a resistance/],
    ['both, alike at 700 Hz', (hz: number): Complex => [10 ** (-50 / 20), (10 ** (-50 / 20) * hz) / 700], /neither as through/],
  ])('is put down to what it is: %s', (_, crossing, cause) => {
    const of = { 'bench.take': takes['bench.take']!, 'into-A.take': take([half, chain(half, crossing)], 13) };
    const estimates = Object.entries(of).map(([id, inputsOf]) => ({ step: { id, state: id.replace('.take', ''), plug: null, kind: 'take' as const }, kind: 'take' as const, inputs: inputsOf }));
    const { findings } = judgeReadings({ board, bench, limits: limitSets['studio-quiet']!, measured: measureJob(board, bench, estimates), problems: [] });
    expect(findings.map(({ id }) => id)).toEqual(['crosstalk/A:B']);
    expect(findings[0]!.cause).toMatch(cause);
  });

  it('of a board that lets nothing across is a bound, inside its limit', () => {
    const quiet = crosstalkFigures(bench, (id) => (id === 'into-A.take' ? take([half, nothing], 7) : id === 'bench.take' ? takes[id]! : null));
    const worst = at(quiet, 'crosstalk.worst-band', 'A:B');
    expect(worst).toMatchObject({ bound: 'upper', benchLimited: true });
    expect(worst.value!).toBeLessThan(-70);
    expect(worst.value!).toBeGreaterThan(-130);
    expect(at(quiet, 'isolation', 'A:B')).toMatchObject({ bound: 'lower' });
    expect(quiet.some(({ id }) => id === 'crosstalk.slope')).toBe(false);
  });

  it('is not read where nothing was loaded: the plug was in no jack', () => {
    const free = take([gain(0), nothing], 9);
    const figures = crosstalkFigures(bench, (id) => (id === 'into-A.take' ? free : id === 'bench.take' ? takes[id]! : null));
    expect(figures.map(({ id, value }) => [id, value])).toEqual([['crosstalk.worst-band', null]]);
    const heard = { file: 'x.wav', outputs: ['A', 'B'] };
    const into = { step: 'into-A.take', output: 'A' };
    expect(checkJack(heard, free, takes['bench.take']!, into)?.code).toBe('capture.jack-not-loaded');
    expect(checkJack(heard, takes['into-A.take']!, takes['bench.take']!, into)).toBeNull();
  });

  it('takes the place of the isolation that a load shows', () => {
    const loaded = take([gain(-1), gain(-0.2)], 11);
    const withLoad = (id: string): readonly TakeEstimate[] | null => (id === 'rest+load600.take' ? loaded : id === 'rest.take' ? takes['bench.take']! : takeOf(id));
    expect(isolationFigures(bench, withLoad)).toHaveLength(1);
    const steps = [...Object.keys(takes), 'rest.take', 'rest+load600.take'];
    const { figures } = measureJob(board, bench, steps.map((id) => ({ step: { id, state: id.split(/[+.]/)[0]!, plug: id.includes('+') ? 'load600' : null, kind: 'take' as const }, kind: 'take' as const, inputs: withLoad(id)! })));
    expect(figures.filter(({ id }) => id === 'isolation').map(({ output, state }) => [output, state])).toEqual([['A:B', 'into-A'], ['B:A', 'into-B']]);
  });
});

describe('a simulated bench, played into output A', () => {
  it('gives a take that is good although the other output is all but silent, and what crosses', () => {
    const outputs = simulated.outputs.map((output) => ({ ...output, isolated: false }));
    const board1 = { ...simulated, outputs };
    const bench1 = model({ benchTruth: USUAL_BENCH }).bench;
    const farad = 2e-9;
    const { channels, sampleRateHz } = simulateStep(model({ board: board1, benchTruth: USUAL_BENCH, faults: [{ kind: 'outputs-coupled', outputs: ['A', 'B'], farad }] }), step('into-A.take'), 1, { marginS: 0.3, pointsPerOctave: 16 });
    const recording = memoryRecording(channels, sampleRateHz);
    const estimate = estimateCapture(recording, step('into-A.take'), bench1, 50)!;
    if (estimate.kind !== 'take') throw new Error('no take');
    const { located: found } = estimate.inputs[0]!;
    const heard = { file: 'x.wav', outputs: ['A', 'B'] };
    expect(checkTake(heard, recording, found, estimate.inputs, false, 'A')).toBeNull();
    expect(checkTake(heard, recording, found, estimate.inputs, false)?.code).toBe('capture.too-quiet');
    // 100 Ω of the driver beside 1 MΩ of the recorder.
    const rc = farad / (1 / 100 + 1e-6);
    const figures = crosstalkFigures(bench1, (id) => (id === 'into-A.take' ? estimate.inputs : null));
    const at1k = at(figures, 'crosstalk.1k', 'A:B');
    // The recorder’s own, −110 dB and in phase with it, is 0.02 dB of −58 dB.
    expect(Math.abs(at1k.value! - 20 * Math.log10(2 * Math.PI * 1000 * rc))).toBeLessThan(0.05 + expanded(at1k.parts!.filter(({ kind }) => kind !== 'calibration')));
    expect(at(figures, 'crosstalk.slope', 'A:B').value).toBeCloseTo(20 * Math.log10(2), 1);
  });
});
