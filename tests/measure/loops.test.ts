import { describe, expect, it } from 'vitest';
import type { Bench, Board, Loop, Output } from '../../src/board/model.js';
import { expanded } from '../../src/judge/uncertainty.js';
import { judgeReadings } from '../../src/judge/judge-job.js';
import { limitSets } from '../../src/judge/limit-sets.js';
import type { Figure } from '../../src/measure/figure.js';
import { measureIdle } from '../../src/measure/idle.js';
import type { IdleEstimate } from '../../src/measure/idle.js';
import { measureJob } from '../../src/measure/job.js';
import { loopFigures } from '../../src/measure/loops.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { againstRest, checkAgainstRest, checkPlug, loadLossDb, plugOfStep } from '../../src/measure/rest-checks.js';
import type { AgainstRest } from '../../src/measure/rest-checks.js';
import { switchFigures } from '../../src/measure/switches.js';
import { findTakes } from '../../src/measure/take-search.js';
import { measureTake } from '../../src/measure/take.js';
import type { TakeEstimate } from '../../src/measure/take.js';
import { sweepTopHz } from '../../src/signals/sweep.js';
import { renderTake } from '../../src/signals/take.js';
import { chain, gain, highPass, invert, lowPass, through } from '../helpers/device.js';
import type { Complex } from '../helpers/device.js';
import { boardWith } from '../helpers/plain-board.js';
import { noise } from '../helpers/random.js';

const RATE = 48000;
const output = (id: string): Output => ({ id, name: id, loadOhm: null, lift: true, polaritySwitch: true, isolated: false });
const loop = (id: string, expectation: Loop['expect'] = 'unity'): Loop => ({ id, name: id, expect: expectation, supply: null, currentA: null, wiring: null });
const board = { loops: ['eq', 'parted', 'shorted', 'dead'].map((id) => loop(id)).concat(loop('drive', 'effect')), outputs: [output('A'), output('B')] } as unknown as Board;
const bench = {
  inputs: [1, 2].map((channel) => ({ channel, output: 'AB'[channel - 1]!, fullScaleDbu: null, resistanceOhm: null })),
  plugs: [{ id: 'plug10k', resistanceOhm: { value: 1e4, tolerance: null } }],
} as unknown as Bench;

type Device = (hz: number) => Complex;
const rest = chain(gain(-1), highPass(3), lowPass(60000));
/** What stands in each step, beside what stands in rest. */
const devices: Readonly<Record<string, readonly [Device, Device]>> = {
  'rest.take': [gain(0), gain(-0.4)],
  'rest+plug10k.take': [gain(-0.1), gain(-0.5)],
  'loop-eq.take': [chain(gain(0.35), lowPass(25000), invert), chain(gain(-0.05), lowPass(25000))],
  'loop-eq+plug10k.take': [chain(gain(0.25), lowPass(9000)), gain(0)],
  // 2 pF across the break into 40 kΩ.
  'loop-parted.take': [highPass(2e6), highPass(2e6)],
  'loop-shorted.take': [gain(-54), gain(-54)],
  'loop-dead.take': [() => [0, 0], () => [0, 0]],
  'loop-drive.take': [gain(6), gain(6)],
  'invert-A.take': [chain(gain(-0.3), invert), gain(-0.4)],
  'invert-B.take': [invert, chain(gain(-0.4), invert)],
  'lift-A.take': [gain(0.05), gain(-0.4)],
};
const played = renderTake({ stepCode: 1, levelDbfs: -12, sweepTopHz: sweepTopHz(RATE) }, RATE, 1, 16 * RATE);
const located = findTakes(memoryRecording([played], RATE)).takes[0]!;
/** Hiss 68 dB under the take: what is left past a short is read well, past a parted lead roughly. */
const HISS = 1e-4;
const names = Object.keys(devices);
const channels = names.flatMap((name, n) =>
  devices[name]!.map((device, c) => {
    const hiss = noise(played.length, HISS, 10 * n + c + 1);
    return through(played, RATE, chain(rest, device)).map((v, i) => v + hiss[i]!);
  }),
);
const estimates = measureTake(memoryRecording(channels, RATE), located, [...channels.keys()]);
const takeOf = (id: string): readonly TakeEstimate[] | null => (names.includes(id) ? estimates.slice(2 * names.indexOf(id), 2 * names.indexOf(id) + 2) : null);

/** A-weighted white noise at three levels: rest, a hissing loop, and a shorted one. */
const idle = (rms: number, seed: number, hum: number): IdleEstimate[] =>
  measureIdle(memoryRecording([1, 2].map((c) => noise(8 * RATE, rms, 7 * seed + c).map((v, n) => v + hum * Math.SQRT2 * Math.cos((2 * Math.PI * 50 * n) / RATE))), RATE), 50, false);
const idles: Readonly<Record<string, IdleEstimate[]>> = { 'rest.idle': idle(1e-5, 1, 4e-5), 'loop-eq.idle': idle(2e-5, 2, 0), 'loop-shorted.idle': idle(5e-6, 3, 0), 'lift-A.idle': idle(1e-5, 4, 8e-6) };
const idleOf = (id: string): readonly IdleEstimate[] | null => idles[id] ?? null;

const figures = [...loopFigures(board, bench, { takeOf, idleOf }), ...switchFigures(board, bench, { takeOf, idleOf })];
const read = (id: string, state: string, at = 'A', source: string | null = null): Figure | undefined => figures.find((f) => f.id === id && f.state === state && f.output === at && f.source === source);
const db = ([re, im]: Complex): number => 20 * Math.log10(Math.hypot(re, im));
/** Mean power over log frequency. */
const meanDb = (h: Device, low: number, high: number): number => {
  let sum = 0;
  for (let k = 0; k < 400; k++) sum += 10 ** (db(h(low * (high / low) ** ((k + 0.5) / 400))) / 10);
  return 10 * Math.log10(sum / 400);
};
const close = (f: Figure | undefined, truth: number, slack = 0.003): void => {
  expect(f?.value, `${f?.id} in ${f?.state}`).toBeTypeOf('number');
  // Four standard uncertainties, so that none of these fails by chance; and what the grid of frequencies leaves.
  expect(Math.abs(f!.value! - truth), `${f!.id} in ${f!.state}: ${f!.value} for ${truth}`).toBeLessThan(slack + 2 * expanded(f!.parts!));
};

describe('a loop, in against out', () => {
  const eq = chain(gain(0.35), lowPass(25000), invert);

  it('gain, polarity, error of unity and droop', () => {
    close(read('loop.gain', 'loop-eq'), meanDb(eq, 200, 5000));
    expect(read('loop.polarity', 'loop-eq')!.value).toBe(-1);
    expect(read('loop.polarity', 'loop-eq', 'B')!.value).toBe(1);
    // Furthest from 0 dB: the 20 kHz band, 17.8 to 22.4 kHz (measured to 20 kHz), or 16 kHz where that is not whole.
    const error = read('loop.unity-error', 'loop-eq')!;
    const [, number, thousand] = /\((\S+) (k?)Hz\)/.exec(error.label)!;
    const nominal = Number(number) * (thousand === 'k' ? 1000 : 1);
    expect(nominal).toBe(16000);
    close(error, meanDb(eq, 14125, 17783), 0.02);
    for (const [id, hz] of [['loop.droop.5k', 5000], ['loop.droop.10k', 10000], ['loop.droop.20k', 20000]] as const) close(read(id, 'loop-eq'), db(eq(hz)) - meanDb(eq, 200, 500));
    const plugged = lowPass(9000);
    close(read('loop.droop.10k', 'loop-eq', 'A', 'plug10k'), db(plugged(10000)) - meanDb(plugged, 200, 500));
  });

  it('no error of unity of an effect', () => {
    close(read('loop.gain', 'loop-drive'), 6);
    expect(read('loop.unity-error', 'loop-drive')).toBeUndefined();
  });

  it('a parted lead rises by 6 dB per octave, a short lets a level through, a dead device nothing', () => {
    close(read('loop.gain', 'loop-parted'), meanDb(highPass(2e6), 200, 5000), 0.02);
    close(read('loop.slope', 'loop-parted'), 20 * Math.log10(2), 0.02);
    close(read('loop.gain', 'loop-shorted'), -54, 0.01);
    expect(Math.abs(read('loop.slope', 'loop-shorted')!.value!)).toBeLessThan(0.3);
    expect(read('loop.gain', 'loop-dead')).toMatchObject({ bound: 'upper' });
    expect(read('loop.gain', 'loop-dead')!.value!).toBeLessThan(-70);
    expect(read('loop.polarity', 'loop-dead')).toBeUndefined();
    expect(read('loop.slope', 'loop-eq')).toBeUndefined();
  });

  it('noise with the loop in against out', () => {
    // Hum at 50 Hz is 30 dB down by A: 4e-5 is 1.2e-6 beside 8e-6 of hiss.
    close(read('loop.noise-change', 'loop-eq'), 10 * Math.log10(4 / (1 + 0.024)), 0.03);
    close(read('loop.noise-change', 'loop-shorted'), 10 * Math.log10(0.25 / (1 + 0.024)), 0.03);
  });
});

describe('switches of an output', () => {
  it('polarity: turned over, at its level, and on no other output', () => {
    expect([read('switch.polarity', 'invert-A')!.value, read('switch.others', 'invert-A')!.value]).toEqual([-1, 1]);
    close(read('switch.level', 'invert-A'), -0.3);
    // The switch of B that turns A over as well.
    expect([read('switch.polarity', 'invert-B', 'B')!.value, read('switch.others', 'invert-B', 'B')!.value]).toEqual([-1, -1]);
  });

  it('polarity of the pair is judged in every state: opposite where a switch is inverted, and nowhere else', () => {
    const states = ['rest', 'invert-A', 'invert-B', 'lift-A'];
    const steps = states.map((state) => ({ id: `${state}.take`, state, plug: null, kind: 'take' as const }));
    const whole = boardWith({ outputs: board.outputs, match: [['A', 'B']] });
    const measured = measureJob(whole, bench, steps.map((step) => ({ step, kind: 'take', inputs: takeOf(step.id)! })));
    const { readings, findings } = judgeReadings({ board: whole, bench, limits: limitSets['studio-quiet']!, measured, problems: [] });
    const match = (state: string): unknown[] => readings.filter((r) => r.id === 'match.polarity' && r.state === state).map((r) => [r.output, r.value, r.verdict]);
    expect(states.map(match)).toEqual([[['A:B', 1, 'pass']], [['A:B', -1, 'pass']], [['A:B', 1, 'fail']], [['A:B', 1, 'pass']]]);
    // The level of a pair is not judged with a switch over: that is the switch's own.
    expect(readings.filter((r) => r.id.startsWith('match.') && r.state === 'invert-A')).toHaveLength(1);
    const told = findings.filter((f) => f.id.startsWith('polarity'));
    expect(told.map((f) => [f.id, f.title])).toEqual([['polarity-in/invert-B/A:B', 'Outputs A and B are of the same polarity with the polarity switch of output B inverted.']]);
    expect(told[0]!.evidence).toEqual(['match.polarity in invert-B on A:B', 'switch.others in invert-B on B']);
  });

  it('lift: the level stays, the hum falls by 14 dB on the output that has it', () => {
    close(read('lift.level', 'lift-A'), 0.05);
    close(read('lift.hum', 'lift-A'), 20 * Math.log10(0.2), 0.05);
    expect(read('lift.hum', 'lift-B', 'B')).toBeUndefined();
  });
});

describe('a take held against rest.take at the bench', () => {
  type Channel = readonly [step: string, output: 'A' | 'B'];
  const channel = ([step, of]: Channel): TakeEstimate => takeOf(step)!['AB'.indexOf(of)]!;
  const plain: AgainstRest = { step: 'lift-B.take', inverted: null, switched: ['A', 'B'], mayInvert: null, load: null };
  const told = (now: readonly [Channel, Channel], atRest: readonly [Channel, Channel], wanted: Partial<AgainstRest> = {}, alone: readonly (readonly [Channel, Channel])[] = []): unknown => {
    const { refusal, caution } = checkAgainstRest({ file: 'x.wav', outputs: ['A', 'B'] }, now.map(channel), atRest.map(channel), { ...plain, ...wanted }, alone.map((take) => take.map(channel)));
    const found = refusal ?? caution;
    expect(refusal === null || caution === null).toBe(true);
    expect(found?.code === 'capture.polarity-loop').toBe(caution !== null);
    return found === null ? null : [found.code.replace('capture.', ''), found.details['output'] ?? found.details['outputs'], found.details['instead'] ?? []];
  };
  const whole = (step: string): [Channel, Channel] => [[step, 'A'], [step, 'B']];
  const rested = whole('rest.take');
  const wants = (id: string): Partial<AgainstRest> => ({ step: `invert-${id}.take`, inverted: id });

  /** B of these two steps is the same device, heard twice. */
  const [same, again]: [Channel, Channel] = [['rest.take', 'B'], ['lift-A.take', 'B']];

  it('a switch that was not thrown, the wrong one, or one that turns two over', () => {
    expect(told(whole('invert-A.take'), rested, wants('A'))).toBeNull();
    expect(told(whole('lift-A.take'), rested, wants('B'))).toEqual(['polarity-same', 'B', []]);
    expect(told(whole('invert-A.take'), rested, wants('B'))).toEqual(['polarity-same', 'B', ['A']]);
    expect(told(whole('invert-B.take'), rested, wants('B'))).toEqual(['polarity-turned', ['A'], []]);
  });

  it('a switch that was left over, in a step that wants none', () => {
    expect(told(whole('lift-A.take'), rested)).toBeNull();
    expect(told(whole('rest+plug10k.take'), rested)).toBeNull();
    expect(told(whole('invert-A.take'), rested)).toEqual(['polarity-turned', ['A'], []]);
    expect(told(whole('invert-B.take'), rested)).toEqual(['polarity-turned', ['A', 'B'], []]);
    // Behind a low-pass, and 75° and more of its phase at the end of what is looked at.
    expect(told([['loop-eq+plug10k.take', 'A'], ['rest.take', 'B']], rested)).toBeNull();
  });

  it('a loop may turn over all that passes it, and an output without a switch was not switched', () => {
    const loopIn: Partial<AgainstRest> = { step: 'loop-eq.take', mayInvert: 'loop' };
    expect(told(whole('invert-B.take'), rested, loopIn)).toBeNull();
    expect(told(whole('loop-eq.take'), rested, { ...loopIn, switched: ['B'] })).toBeNull();
    expect(told(whole('loop-eq.take'), rested, loopIn)).toEqual(['polarity-turned', ['A'], []]);
  });

  it('beside an output that does not hear the loop, the loop may be what turned the others over: a caution', () => {
    const loopIn: Partial<AgainstRest> = { step: 'loop-eq.take', mayInvert: 'loop' };
    expect(told([['loop-eq.take', 'A'], ['rest.take', 'B']], rested, loopIn)).toEqual(['polarity-loop', ['A'], []]);
    // As well where the loop changes nothing but that.
    expect(told([['invert-B.take', 'A'], ['rest.take', 'B']], rested, loopIn)).toEqual(['polarity-loop', ['A'], []]);
  });

  it('what a loop is filed to turn over is not asked for again: alone, with others, or through a plug', () => {
    const loopIn: Partial<AgainstRest> = { step: 'all.take', mayInvert: 'loop' };
    const inverted: [Channel, Channel] = [['loop-eq.take', 'A'], ['rest.take', 'B']];
    expect(told(inverted, rested, loopIn, [inverted])).toBeNull();
    expect(told([['loop-eq+plug10k.take', 'A'], ['rest.take', 'B']], rested, loopIn, [inverted])?.toString()).toBe(told([['loop-eq+plug10k.take', 'A'], ['rest.take', 'B']], rested, loopIn)?.toString());
    // Two that invert leave it upright: that it is inverted is asked for.
    expect(told(inverted, rested, loopIn, [inverted, inverted])).toEqual(['polarity-loop', ['A'], []]);
    // Of another loop nothing is known by it, and the other output turned over is none of its doing.
    expect(told(inverted, rested, loopIn, [rested])).toEqual(['polarity-loop', ['A'], []]);
    expect(told([['rest.take', 'A'], ['invert-B.take', 'B']], rested, loopIn, [inverted])).not.toBeNull();
  });

  it('a source plug that was left out is asked for, and one that is in is not', () => {
    const plugIn = { step: 'rest+plug10k.take', plug: 'plug10k', ohm: 1e4, inputOhm: 1e6, without: 'rest.take' };
    const asked = (now: readonly Channel[], without: readonly Channel[], wanted = plugIn): string | undefined => checkPlug({ file: 'x.wav', outputs: ['A', 'B'] }, now.map(channel), without.map(channel), wanted)?.message;
    expect(asked([again, again], [same, same])).toMatch(/^x\.wav: outputs A, B read as in rest\.take, bass to treble, where plug10k takes 0\.09 dB off an input of 1000 kΩ: is the plug in series/);
    expect(asked(whole('rest+plug10k.take'), rested)).toBeUndefined();
    // 0.1 dB of level, on one output.
    expect(asked([again, ['rest+plug10k.take', 'A']], [same, ['rest.take', 'A']])).toBeUndefined();
    // Too little to be told: 0.009 dB.
    expect(asked([again, again], [same, same], { ...plugIn, inputOhm: 1e7 })).toBeUndefined();
  });

  it('what a plug stands before follows from board and recorder', () => {
    const buffered = boardWith({ loops: [loop('eq')], outputs: [output('A')], input: { wiring: null, buffer: { inputResistanceOhm: 2e6, inputCapacitanceF: 0, outputResistanceOhm: 100, noiseVPerRtHz: null, defeatable: true } } });
    const plugged = { ...bench, plugs: [{ id: 'plug10k', resistanceOhm: { value: 1e4, tolerance: null } }] };
    const of = (state: string, plug: string | null = 'plug10k', kind: 'take' | 'idle' = 'take'): unknown => plugOfStep(buffered, plugged, { id: `${state}.${kind}`, state, plug, kind });
    const shared = 1e6 / bench.inputs.length;
    expect(of('rest')).toMatchObject({ ohm: 1e4, inputOhm: 2e6, without: 'rest.take' });
    expect(of('loop-eq')).toMatchObject({ inputOhm: 2e6, without: 'loop-eq.take' });
    expect(of('unbuffered')).toMatchObject({ inputOhm: expect.closeTo(shared, 3) as number, without: 'unbuffered.take' });
    expect(of('lead')).toMatchObject({ inputOhm: expect.closeTo(shared, 3) as number, without: 'bench.take' });
    expect([of('rest', null), of('rest', 'load1k'), of('rest', 'plug10k', 'idle')]).toEqual([null, null, null]);
  });

  it('a buffer that is defeated may turn all over at once, and not one of them', () => {
    const unbuffered: Partial<AgainstRest> = { step: 'unbuffered.take', mayInvert: 'buffer' };
    expect(told(whole('invert-B.take'), rested, unbuffered)).toBeNull();
    expect(told(whole('invert-A.take'), rested, unbuffered)).toEqual(['polarity-turned', ['A'], []]);
  });

  it('what a step changes follows from the board', () => {
    const buffered = boardWith({ loops: [loop('eq')], outputs: [output('A'), { ...output('B'), polaritySwitch: false }], input: { wiring: null, buffer: { inputResistanceOhm: 1e6, inputCapacitanceF: 0, outputResistanceOhm: 100, noiseVPerRtHz: null, defeatable: true } } });
    const loaded = { ...bench, loads: [{ id: 'load1k', output: 'A', resistanceOhm: { value: 1000, tolerance: null } }] };
    const of = (state: string, plug: string | null = null): unknown => againstRest(buffered, loaded, { id: `${state}${plug === null ? '' : `+${plug}`}.take`, state, plug });
    for (const [state, mayInvert] of [['loop-eq', 'loop'], ['all', 'loop'], ['unbuffered', 'buffer'], ['lift-A', null]]) expect(of(state!), state!).toMatchObject({ mayInvert, inverted: null, switched: ['A'], load: null });
    expect(of('invert-A')).toMatchObject({ inverted: 'A', mayInvert: null });
    expect(of('rest', 'load1k')).toMatchObject({ load: { id: 'load1k', ohm: 1000, inputOhm: 1e6 } });
    expect([of('rest'), of('bench'), of('lead', 'plug10k')]).toEqual([null, null, null]);
  });

  it('what holds no signal has no polarity', () => {
    expect(told(whole('loop-dead.take'), rested, wants('B'))).toBeNull();
    expect(told(rested, whole('loop-dead.take'))).toBeNull();
  });

  /** 1 MΩ, and a load of so much across A. */
  const load = (ohm: number): Partial<AgainstRest> => ({ step: 'rest+load.take', load: { id: 'load', output: 'A', ohm, inputOhm: 1e6 } });
  it('a load that changes nothing is asked for, and one that changes what it must is not', () => {
    // 1 kΩ ∥ 1 MΩ is 999.0 Ω.
    expect(loadLossDb(47, 1e6, 1e3)).toBeCloseTo(20 * Math.log10((1e6 / 1000047) / (999.001 / 1046.001)), 4);
    expect(loadLossDb(100, 1e6, 1e4)).toBeCloseTo(20 * Math.log10((1e6 / 1000100) / (9900.99 / 10000.99)), 4);
    for (const ohm of [1e3, 1e4]) expect(told([again, same], [same, same], load(ohm)), `${ohm} Ω`).toEqual(['load-not-heard', 'A', []]);
    // 0.4 dB, and 0.1 dB as of 11 Ω in 1 kΩ.
    expect(told([['rest.take', 'B'], same], [['rest.take', 'A'], same], load(1e3))).toBeNull();
    expect(told([['rest+plug10k.take', 'A'], same], [['rest.take', 'A'], same], load(1e3))).toBeNull();
  });

  it('100 kΩ take too little from a usual output to be asked for', () => {
    expect(told([again, same], [same, same], load(1e5))).toBeNull();
  });

  it('across the wrong lead it is told by the output that fell', () => {
    expect(told([again, ['rest.take', 'B']], [same, ['rest.take', 'A']], load(1e3))).toEqual(['load-not-heard', 'A', ['B']]);
  });
});

it('95 % intervals hold the truth at 40 dB of signal over noise', () => {
  const seeds = 6;
  const noisy = Array.from({ length: 2 * seeds }, (_, s) => {
    const hiss = noise(played.length, 2e-3, 500 + s);
    const device = s < seeds ? rest : chain(rest, gain(0.35), lowPass(25000));
    return through(played, RATE, device).map((v, i) => v + hiss[i]!);
  });
  const all = measureTake(memoryRecording(noisy, RATE), located, [...noisy.keys()]);
  const truth = chain(gain(0.35), lowPass(25000));
  let [inside, count] = [0, 0];
  for (let s = 0; s < seeds; s++) {
    const pair = (id: string): readonly TakeEstimate[] | null => (id === 'rest.take' ? [all[s]!] : id === 'loop-eq.take' ? [all[seeds + s]!] : null);
    const one = loopFigures(board, { ...bench, inputs: bench.inputs.slice(0, 1), plugs: [] }, { takeOf: pair, idleOf: () => null });
    const low = meanDb(truth, 200, 500);
    const want: Readonly<Record<string, number>> = { 'loop.gain': meanDb(truth, 200, 5000), 'loop.droop.5k': db(truth(5000)) - low, 'loop.droop.10k': db(truth(10000)) - low, 'loop.droop.20k': db(truth(20000)) - low };
    for (const [id, value] of Object.entries(want)) {
      count++;
      if (Math.abs(one.find((f) => f.id === id)!.value! - value) <= expanded(one.find((f) => f.id === id)!.parts!)) inside++;
    }
  }
  // 24 intervals of 95 %: fewer than 19 inside once in 1000.
  expect(inside, `${inside} of ${count}`).toBeGreaterThanOrEqual(19);
});
