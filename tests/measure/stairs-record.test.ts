import { describe, expect, it } from 'vitest';
import { stairsRecord } from '../../src/measure/stairs-record.js';
import type { StairEstimate } from '../../src/measure/stairs.js';

const stair = (amplitude: number, harmonicSquares: number, harmonicSquaresUncertainty: number): StairEstimate => ({
  levelDbfs: -20, amplitude, relativeUncertainty: 0, harmonicSquares, harmonicSquaresUncertainty, harmonics: [], noiseSquares: [], shape: [],
});
const recordOf = (stairs: readonly StairEstimate[]): unknown =>
  stairsRecord({ id: 'rest.stairs', state: 'rest' }, ['A'], [{ located: null as never, stairs }], [{ offsetDb: 18, unit: 'dBu', parts: [] }]).levels;

describe('stairsRecord', () => {
  it('is the level of the tone and 10·lg of its harmonics against it, with twice their spread on either side', () => {
    // A tone of a tenth of full scale, −20 dBFS, with harmonics of 1 % of it: −40 dB.
    expect(recordOf([stair(0.1, 1e-6, 1e-7)])).toEqual([{ output: 'A', unit: 'dBu', stairs: [{ level: -2, thdDb: -40, lowDb: -40.969, highDb: -39.208 }] }]);
  });

  it('has no figure, but a bound, where no harmonic stands out; and nothing where not even that', () => {
    expect(recordOf([stair(0.1, -1e-9, 1e-8), stair(0.1, 0, 0)])).toEqual([{ output: 'A', unit: 'dBu', stairs: [{ level: -2, thdDb: null, lowDb: null, highDb: -56.99 }] }]);
    expect(recordOf([])).toEqual([]);
  });
});
