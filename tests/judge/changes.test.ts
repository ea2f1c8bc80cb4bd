import { describe, expect, it } from 'vitest';
import { changesSince } from '../../src/judge/changes.js';
import type { CaptureRecord, Results } from '../../src/judge/results.js';
import { boardResults, reading } from '../report/fixture.js';

const base = boardResults({ outputs: 1, loops: 2 });
const capture = (step: string, sha256: string): CaptureRecord => ({ ...base.captures[0]!, step, sha256 });
const level = (state: string, value: number): Results['readings'][number] => ({ ...reading({ id: 'noise.a', label: 'Noise floor', state, unit: 'dBu', value }), output: 'A', uncertainty: 0.1, uncertaintyReason: null, capture: [`${state}.idle`] });
const run = (rest: number, eq: number, restHash: string): Results => ({ ...base, findings: [], curves: [], readings: [level('rest', rest), level('loop-comp', eq)], captures: [capture('rest.idle', restHash), capture('loop-comp.idle', 'same')] });

describe('what has changed since the last run', () => {
  it('counts the readings that come from a new capture, and no others', () => {
    const changes = changesSince(run(-95, -94, 'one'), run(-93, -94, 'two'));
    expect(changes.captures).toEqual({ added: [], again: ['rest.idle'], gone: [] });
    expect(changes.moved.map(({ id, second }) => [id, second.state])).toEqual([['noise.a', 'rest']]);
    expect(changes.comparable).toBe(1);
  });

  it('none where no capture is new', () => {
    const changes = changesSince(run(-95, -94, 'one'), run(-95, -94, 'one'));
    expect(changes.moved).toEqual([]);
    expect(changes.comparable).toBe(0);
  });
});
