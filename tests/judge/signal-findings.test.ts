/** Findings on bleed, clipping and drop-outs in takes, from readings alone: told, not told, and near the line between the two. */
import { describe, expect, it } from 'vitest';
import type { Bench } from '../../src/board/model.js';
import { judgeReadings } from '../../src/judge/judge-job.js';
import { limitSets } from '../../src/judge/limit-sets.js';
import type { Finding } from '../../src/judge/results.js';
import { figure, part } from '../../src/measure/figure.js';
import type { Figure } from '../../src/measure/figure.js';
import { boardWith } from '../helpers/plain-board.js';

const board = boardWith({
  loops: [
    { id: 'eq', name: 'eq', expect: 'unity', supply: 'S1.1', currentA: null, wiring: null },
    { id: 'echo', name: 'echo', expect: 'effect', supply: null, currentA: null, wiring: null },
  ],
  outputs: ['A', 'B'].map((id) => ({ id, name: id, loadOhm: null, lift: false, polaritySwitch: false, isolated: false })),
});
const bench: Bench = { name: 'bench', sampleRateHz: 48000, output: null, inputs: [1, 2].map((channel, i) => ({ channel, output: 'AB'[i]!, fullScaleDbu: null, resistanceOhm: null })), plugs: [], lead: null };

/** A reading with a standard uncertainty of 0.05, 0.098 for 95 %. */
const at = (id: string, state: string, output: string, value: number, unit: string, more: Partial<Figure> = {}): Figure =>
  figure({ state, source: null, output, loop: state.startsWith('loop-') ? state.slice(5) : null, capture: [`${state}.take`] }, { id, label: id, value, unit, method: 'loop.gain', parts: [part('fit', 'x', 0.05)], ...more });
const found = (...figures: readonly Figure[]): readonly Finding[] =>
  judgeReadings({ board, bench, limits: limitSets['studio-quiet']!, measured: { figures, curves: [], remarks: [] }, problems: [] }).findings;
const ids = (...figures: readonly Figure[]): string[] => found(...figures).map((f) => f.id);

describe('bleed', () => {
  /** Read at rest, of a loop that is out. */
  const bleed = (value: number, more: Partial<Figure> = {}): Figure => ({ ...at('bleed', 'rest', 'A', value, 'dB', more), loop: 'echo' });

  it('is told at its loop, with its level', () => {
    const [only, ...more] = found(bleed(-48.3));
    expect(more).toEqual([]);
    expect(only).toMatchObject({ id: 'bleed/echo', severity: 'fault', where: { loop: 'echo', output: null, supply: null }, evidence: ['bleed in rest on A'] });
    expect(only!.title).toBe('Loop echo is heard while it is out: −48.3 dB of it.');
  });

  it('of two outputs it is one finding, with the louder', () => {
    const both = found(bleed(-55), { ...bleed(-50), output: 'B' });
    expect(both.map((f) => f.id)).toEqual(['bleed/echo']);
    expect(both[0]!.title).toContain('−50.0 dB');
    expect(both[0]!.evidence).toHaveLength(2);
  });

  it('is a fault only where it is above −60 dB with all its uncertainty', () => {
    expect(ids(bleed(-59.89))).toEqual(['bleed/echo']);
    expect(ids(bleed(-59.95))).toEqual([]);
    expect(ids(bleed(-75))).toEqual([]);
  });

  it('a bound that noise sets says nothing of the loop', () => {
    expect(ids(bleed(-50, { bound: 'upper' }))).toEqual([]);
  });
});

describe('clipping', () => {
  const headroom = (state: string, output: string, dBu: number, more: Partial<Figure> = {}): Figure => at('headroom', state, output, dBu, 'dBu', more);
  const side = (state: string, output: string, db: number): Figure => at('headroom.even-odd', state, output, db, 'dB');

  it('of every output early, with every loop out, is the board’s', () => {
    const [only, ...more] = found(headroom('rest', 'A', 3.1), headroom('rest', 'B', 2.4), side('rest', 'B', -40));
    expect(more).toEqual([]);
    expect(only).toMatchObject({ id: 'clipping/board', severity: 'fault', where: { output: null }, evidence: ['headroom in rest on A', 'headroom in rest on B'] });
    expect(only!.title).toBe('The board clips early, from 2.4 dBu on, with every loop out.');
    expect(only!.cause).toContain('Both halves of the wave clip alike');
  });

  it('of one output is that output’s, and on one half of the wave it says so', () => {
    const [only] = found(headroom('rest', 'A', 14), headroom('rest', 'B', 2.4), side('rest', 'B', -9.9));
    expect(only).toMatchObject({ id: 'clipping/B', where: { output: 'B' } });
    expect(only!.cause).toContain('One half of the wave clips before the other');
    expect(found(headroom('rest', 'A', 14), headroom('rest', 'B', 2.4), side('rest', 'B', -10.1))[0]!.cause).toContain('Both halves');
    expect(found(headroom('rest', 'A', 14), headroom('rest', 'B', 2.4))[0]!.cause).not.toMatch(/hal(f|ves)/);
  });

  it('is a fault only where the headroom is below 6 dBu with all its uncertainty, and never where nothing clipped', () => {
    expect(ids(headroom('rest', 'A', 5.89))).toEqual(['clipping/A']);
    expect(ids(headroom('rest', 'A', 5.95))).toEqual([]);
    expect(ids(headroom('rest', 'A', 17, { bound: 'lower' }))).toEqual([]);
  });

  it('of a loop that should change nothing is told from 3 dB before the board on', () => {
    const loop = (dBu: number, more: Partial<Figure> = {}): string[] => ids(headroom('rest', 'A', 14), headroom('loop-eq', 'A', dBu, more));
    expect(loop(10)).toEqual(['clipping/eq']);
    // Both have 0.098 dB: what is left of 3 dB after them counts.
    expect(loop(10.85)).toEqual(['clipping/eq']);
    expect(loop(10.9)).toEqual([]);
    expect(loop(14)).toEqual([]);
    expect(loop(10, { bound: 'lower' })).toEqual([]);
    const [only] = found(headroom('rest', 'A', 17, { bound: 'lower' }), headroom('loop-eq', 'A', 10), side('loop-eq', 'A', 2));
    expect(only).toMatchObject({ severity: 'caution', where: { loop: 'eq' } });
    expect(only!.title).toBe('Loop eq should change nothing, but clips at least 7.0 dB before the board with it out.');
    expect(only!.cause).toContain('One half');
    expect(only!.tryNext).toContain('outlet S1.1');
  });

  it('an effect may clip', () => {
    expect(ids(headroom('rest', 'A', 14), headroom('loop-echo', 'A', 1))).toEqual([]);
  });
});

describe('drop-outs in takes', () => {
  const drops = (state: string, output: string, count: number): Figure => at('take.dropouts', state, output, count, '', { parts: null, uncertaintyReason: 'a count' });

  it('of a loop are told once, with the larger count, and explain what they make fail', () => {
    const off = at('loop.gain', 'loop-eq', 'A', -0.6, 'dB');
    expect(ids(off)).toEqual(['loop-level/eq']);
    const [only, ...more] = found(drops('rest', 'A', 0), drops('loop-eq', 'A', 2), drops('loop-eq', 'B', 3), off);
    expect(more.map((f) => f.id)).toEqual([]);
    expect(only).toMatchObject({ id: 'intermittent/eq', severity: 'fault', where: { loop: 'eq' } });
    expect(only!.title).toBe('Loop eq is intermittent: the signal dropped out 3 times during its take.');
    expect(found(drops('loop-eq', 'A', 1))[0]!.title).toContain('dropped out once during');
  });

  it('none is none, and of an effect they are told as well', () => {
    expect(ids(drops('loop-eq', 'A', 0), drops('rest', 'A', 0))).toEqual([]);
    expect(ids(drops('loop-echo', 'B', 1))).toEqual(['intermittent/echo']);
  });

  it('that are there with every loop out are not the loop’s', () => {
    expect(ids(drops('rest', 'A', 1), drops('loop-eq', 'A', 1))).not.toContain('intermittent/eq');
    // On the other output they are.
    expect(ids(drops('rest', 'A', 1), drops('loop-eq', 'B', 1))).toContain('intermittent/eq');
  });
});

describe('polarity that is right at rest', () => {
  const sign = (id: string, state: string, output: string, value: number): Figure => at(id, state, output, value, 'sign', { parts: null, uncertaintyReason: 'a sign' });
  const state = (name: string, a: number, b: number): Figure[] => [sign('polarity', name, 'A', a), sign('polarity', name, 'B', b), sign('match.polarity', name, 'A:B', a * b)];

  it('and wrong in another state names the output and the state, once', () => {
    const [only, ...more] = found(...state('rest', 1, 1), ...state('unbuffered', 1, 1), ...state('lift-B', -1, 1));
    expect(more).toEqual([]);
    expect(only).toMatchObject({ id: 'polarity-in/lift-B/A', where: { output: 'A' }, title: 'Output A has the wrong polarity with the ground lift of output B engaged, though not at rest.', evidence: ['match.polarity in lift-B on A:B'] });
  });

  it('is opposite where a switch is over', () => {
    expect(ids(...state('rest', 1, 1), ...state('invert-B', 1, -1))).toEqual([]);
    // Both turned over, or neither of them.
    expect(ids(...state('rest', 1, 1), ...state('invert-B', -1, -1))).toEqual(['polarity-in/invert-B/A']);
    expect(ids(...state('rest', 1, 1), ...state('invert-B', 1, 1), sign('switch.polarity', 'invert-B', 'B', 1))).toEqual(['polarity-switch/B']);
  });

  it('wrong at rest is one finding, whatever the other states then say', () => {
    expect(ids(...state('rest', 1, -1), ...state('lift-B', 1, -1), ...state('invert-B', 1, 1))).toEqual(['polarity/B']);
  });

  it('turned over by a loop that one output does not pass is the loop’s', () => {
    expect(ids(...state('rest', 1, 1), ...state('loop-eq', -1, 1), sign('loop.polarity', 'loop-eq', 'A', -1), ...state('all', -1, 1))).toEqual(['loop-inverted/eq']);
  });
});
