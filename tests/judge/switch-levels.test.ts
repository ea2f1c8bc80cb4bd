import { describe, expect, it } from 'vitest';
import { findingsOf } from '../../src/judge/findings.js';
import type { Reading } from '../../src/judge/results.js';
import { reading, within } from '../report/fixture.js';
import { board } from '../simulate/fixtures.js';

const level = (id: string, state: string, output: string, value: number): Reading => ({ ...reading({ id, label: 'Level', state, unit: 'dB', value, uncertainty: 0.01, limit: within(0.2, 'x') }), output });
const told = (readings: readonly Reading[]): [string, string][] => findingsOf({ board, readings, curves: [], attribution: [], flex: [], unheard: [] }).map(({ id, title }) => [id, title]);

describe('a switch that changes the level', () => {
  it('is told by its output and by how much, louder or softer', () => {
    expect(told([level('switch.level', 'invert-A', 'A', 1.081), level('lift.level', 'lift-A', 'A', -0.62)])).toEqual([
      ['switch-level/A', 'Output A is 1.08 dB louder with its polarity switch inverted.'],
      ['lift-level/A', 'Output A is 0.62 dB softer with its ground lift engaged.'],
    ]);
  });

  it('is not told where it stays within its limit, or while that is not decided', () => {
    expect(told([level('switch.level', 'invert-A', 'A', 0.18), level('lift.level', 'lift-A', 'A', -0.205)])).toEqual([]);
  });

  it('is not told of a switch that turns the other output over: that is one cause', () => {
    const sign = (id: string, state: string, output: string, value: number): Reading => ({ ...reading({ id, label: 'Polarity', state, unit: 'polarity', value, verdict: 'info' }), output });
    const crossed = [sign('switch.polarity', 'invert-A', 'A', 1), sign('polarity', 'rest', 'B', 1), sign('polarity', 'invert-A', 'B', -1), level('switch.level', 'invert-A', 'A', 1)];
    expect(told(crossed).map(([id]) => id)).toEqual(['crossed/A:B']);
  });
});
