import { describe, expect, it } from 'vitest';
import { BOLTZMANN_J_PER_K, REFERENCE_TEMPERATURE_K } from '../../src/units/constants.js';

describe('constants', () => {
  it('give the thermal noise of 10 kΩ at 290 K', () => {
    // standards/johnson-noise.json: 12.6552 nV/√Hz, four decimals.
    expect(1e9 * Math.sqrt(4 * BOLTZMANN_J_PER_K * REFERENCE_TEMPERATURE_K * 10e3)).toBeCloseTo(12.6552, 4);
  });
});
