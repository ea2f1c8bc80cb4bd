import { describe, expect, it } from 'vitest';
import type { Bench, Step } from '../../src/board/model.js';
import { exitOfVerdict, judgeJob } from '../../src/judge/judge-job.js';
import { limitFor, limitSets } from '../../src/judge/limit-sets.js';
import { methods } from '../../src/judge/methods.js';
import type { CaptureRecord, Results } from '../../src/judge/results.js';
import type { Curve } from '../../src/measure/curve.js';
import { figure, part } from '../../src/measure/figure.js';
import type { Figure } from '../../src/measure/figure.js';
import { boardWith } from '../helpers/plain-board.js';

const board = boardWith({
  loops: [
    { id: 'one', name: 'one', expect: 'unity', supply: 'S1.1', currentA: null, wiring: null },
    { id: 'two', name: 'two', expect: 'effect', supply: 'S1.1', currentA: null, wiring: null },
    { id: 'three', name: 'three', expect: 'effect', supply: 'S1.2', currentA: null, wiring: null },
  ],
  outputs: ['A', 'B'].map((id) => ({ id, name: id, loadOhm: null, lift: false, polaritySwitch: false, isolated: false })),
  match: [['A', 'B']],
  supplies: [{ id: 'S1', outlets: [{ id: '1', volts: 9, limitA: 0.1 }, { id: '2', volts: 9, limitA: 0.1 }] }],
});
const bench: Bench = {
  name: 'bench',
  sampleRateHz: 48000,
  output: null,
  inputs: [1, 2].map((channel, i) => ({ channel, output: 'AB'[i]!, fullScaleDbu: { value: 18, tolerance: 0.1 }, resistanceOhm: null })),
  plugs: [],
  lead: null,
};
const step = (id: string): Step => ({ id, state: id.split('.')[0]!, plug: null, kind: 'idle', patch: '', set: '', required: true });

const at = (id: string, state: string, output: string, value: number | null, more: Partial<Figure> = {}): Figure =>
  figure(
    { state, source: null, output, loop: state.startsWith('loop-') ? state.slice(5) : null, capture: [`${state}.idle`] },
    { id, label: id, value, unit: 'dBu', method: 'noise.level', parts: [part('spectral statistics', 'x', 0.05)], ...more },
  );

function judge(figures: Figure[], steps: Step[] = [step('rest.idle')], captured = ['rest.idle'], curves: Curve[] = []): Results {
  return judgeJob({
    board,
    bench,
    limits: limitSets['studio-quiet']!,
    measured: { figures, curves, remarks: [] },
    captures: captured.map((s) => ({ step: s }) as CaptureRecord),
    steps,
    tool: { name: 'boardproof', version: '0' },
    measuredAt: '2026-01-01T00:00:00Z',
    boardSha256: '',
    benchSha256: '',
    problems: [],
  });
}

describe('the verdict on a board', () => {
  const quiet = at('noise.a', 'rest', 'A', -97);

  it('passes, fails, is not decided or not complete, with the exit codes of the contract', () => {
    expect(judge([quiet]).verdict.word).toBe('pass');
    expect(judge([quiet, at('noise.a', 'rest', 'B', -80)]).verdict.word).toBe('fail');
    expect(judge([quiet, at('noise.a', 'rest', 'B', -90.05)]).verdict.word).toBe('undecided');
    expect(judge([quiet, at('noise.a', 'rest', 'B', -85, { bound: 'upper', benchLimited: true })]).verdict.word).toBe('undecided');
    expect(judge([quiet], [step('rest.idle'), step('all.idle')]).verdict).toMatchObject({ word: 'not complete', missing: ['all.idle'] });
    expect(judge([]).verdict.word).toBe('not complete');
    expect((['pass', 'fail', 'undecided', 'not complete'] as const).map((w) => exitOfVerdict(w))).toEqual([0, 1, 4, 4]);
  });

  it('a missing capture never hides a failure', () => {
    expect(judge([at('noise.a', 'rest', 'A', -70)], [step('rest.idle'), step('all.idle')]).verdict.word).toBe('fail');
  });

  it('a pass without a source plug says that tone loss was not measured', () => {
    const { verdict, conditions } = judge([quiet]);
    expect(verdict.sentence).toBe('Within limits: the one figure that has a limit; tone loss was not measured.');
    expect(conditions.remarks).toContain('Tone loss was not measured: bench.yaml names no source plug.');
  });

  it('says nothing of the bench’s own figures, and nothing in dBu of an uncalibrated level', () => {
    expect(judge([at('noise.a', 'bench', 'A', -20)]).readings[0]!.verdict).toBe('info');
    expect(judge([at('noise.a', 'rest', 'A', -20, { unit: 'dBFS' })]).readings[0]!.verdict).toBe('info');
  });

  it('no NaN and no infinity gets through', () => {
    const [reading] = judge([at('noise.a', 'rest', 'A', NaN)]).readings;
    expect(reading).toMatchObject({ value: null, uncertainty: null, verdict: 'undecided' });
    expect(judge([at('noise.a', 'rest', 'A', -Infinity)]).readings[0]!.value).toBeNull();
  });

  it('expanded uncertainty is 1.96 of the combined', () => {
    const summed = judge([at('noise.a', 'rest', 'A', -97, { parts: [part('spectral statistics', 'a', 0.3), part('calibration', 'b', 0.4)] })]).readings[0]!;
    expect(summed.uncertainty).toBeCloseTo(0.98, 2);
    expect(summed.combined!.standard).toBeCloseTo(0.5, 12);
    expect(summed.combined!.coverageFactor * summed.combined!.standard).toBe(summed.uncertainty);
    expect(summed.budget).toEqual([
      { kind: 'spectral statistics', name: 'a', standard: 0.3, degreesOfFreedom: null, evaluation: 'A' },
      { kind: 'calibration', name: 'b', standard: 0.4, degreesOfFreedom: null, evaluation: 'B' },
    ]);
  });
});

describe('findings', () => {
  const sign = (id: string, state: string, output: string, value: number): Figure => at(id, state, output, value, { unit: 'sign', parts: null, method: 'match.delay' });

  it('a clean board has none', () => {
    expect(judge([at('noise.a', 'rest', 'A', -97), sign('loop.polarity', 'loop-one', 'A', 1), at('match.level', 'rest', 'A:B', 0.01, { unit: 'dB' })]).findings).toEqual([]);
  });

  it('names an inverted loop once, whatever the number of outputs', () => {
    const { findings } = judge([sign('loop.polarity', 'loop-one', 'A', -1), sign('loop.polarity', 'loop-one', 'B', -1)]);
    expect(findings.map((f) => [f.id, f.severity, f.where.loop])).toEqual([['loop-inverted/one', 'fault', 'one']]);
    expect(findings[0]!.evidence).toHaveLength(2);
  });

  it('tells a ground loop’s odd harmonics from a supply’s even ones', () => {
    const hum = (even: boolean): Figure[] => [
      at('noise.hum', 'rest', 'A', -115),
      at('noise.hum', 'loop-two', 'A', -80),
      at('noise.hum.h1', 'loop-two', 'A', even ? -110 : -81),
      at('noise.hum.h2', 'loop-two', 'A', even ? -81 : -110),
    ];
    expect(judge(hum(false)).findings[0]).toMatchObject({ id: 'hum/two', where: { loop: 'two', supply: null } });
    expect(judge(hum(true)).findings[0]).toMatchObject({ id: 'hum/two', where: { loop: 'two', supply: 'S1.1' } });
    expect(judge(hum(true)).findings[0]!.title).toContain('35.0 dB');
  });

  it('a hum that is there with every loop out is not the loop’s', () => {
    expect(judge([at('noise.hum', 'rest', 'A', -85), at('noise.hum', 'loop-two', 'A', -84)]).findings.map((f) => f.id)).toEqual(['hum/A']);
  });

  it('a whine in two loops of one outlet is one finding, at that outlet', () => {
    const axis = { label: '', unit: '', values: [] };
    const heard = (state: string, hz: number): Curve => ({
      id: `noise-density/${state}/A`,
      kind: 'noise-density',
      label: '',
      state,
      source: null,
      output: 'A',
      loop: null,
      x: axis,
      y: axis,
      low: null,
      high: null,
      peak: null,
      marks: [{ kind: 'whine', hz, level: -90, unit: 'dBu', label: 'whine 1' }],
      capture: [`${state}.idle`],
    });
    const whines = (...of: [string, number][]): Results['findings'] =>
      judge(of.map(([state]) => at('noise.whine', state, 'A', -90)), undefined, undefined, of.map(([state, hz]) => heard(state, hz))).findings;
    expect(whines(['loop-one', 1013.2], ['loop-two', 1013.4]).map((f) => [f.id, f.where.supply])).toEqual([['whine/1013', 'S1.1']]);
    expect(whines(['loop-one', 1013.2], ['loop-three', 1013.4]).map((f) => f.where.supply)).toEqual([null]);
    expect(whines(['rest', 1013.2], ['loop-one', 1013.2]).map((f) => [f.id, f.where.loop, f.where.output])).toEqual([['whine/A', null, 'A']]);
  });

  it('nothing that fails goes unsaid', () => {
    const { findings, verdict } = judge([at('thd', 'rest', 'A', -30, { unit: 'dB' })]);
    expect(verdict.word).toBe('fail');
    expect(findings.map((f) => f.id)).toEqual(['limit/thd']);
  });

  it('of what fails and no cause explains each pair, output and band is named', () => {
    const band = (id: string, state: string, label: string, output: string): Figure => ({ ...at(id, state, output, 3, { unit: 'dB' }), label });
    const titles = (...figures: Figure[]): string[] => judge(figures).findings.map((f) => f.title);
    expect(titles(band('match.level-worst-band', 'all', 'Level of B against A, worst third-octave (16 kHz)', 'A:B'), band('match.level-worst-band', 'all', 'Level of C against A, worst third-octave (50 Hz)', 'A:C'))).toEqual([
      'Level of B against A, worst third-octave is outside its limit with every loop in (16 kHz). Level of C against A, worst third-octave is outside its limit with every loop in (50 Hz).',
    ]);
    const thd = (state: string, output: string): Figure => at('thd', state, output, -30, { unit: 'dB' });
    expect(titles(thd('rest', 'A'), thd('rest', 'B'))).toEqual(['thd is outside its limit with every loop out at outputs A and B.']);
  });
});

describe('limit sets', () => {
  it('every row says what it rests on, and has exactly one kind of limit', () => {
    for (const set of Object.values(limitSets)) {
      for (const row of set.rows) {
        expect(row.basis.length, `${set.name} ${row.reading}`).toBeGreaterThan(10);
        expect([row.max, row.min, row.within].filter((v) => v !== null)).toHaveLength(1);
      }
    }
  });

  it('a loop of unity and an effect have their own limits', () => {
    const of = (expectation: 'unity' | 'effect'): number | null =>
      limitFor(limitSets['studio-quiet']!, { id: 'noise.a', state: 'loop-x', unit: 'dBu' }, expectation)!.max;
    expect(of('unity')).toBe(-90);
    expect(of('effect')).toBe(-84);
  });

  it('every method named by a figure has a note', () => {
    expect(new Set(methods.map((m) => m.id)).size).toBe(methods.length);
  });
});
