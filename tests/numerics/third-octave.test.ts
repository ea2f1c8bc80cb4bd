import { expect, it } from 'vitest';
import { thirdOctave, thirdOctavesWithin } from '../../src/numerics/third-octave.js';
import table from '../standards/iec61260-third-octave-bands.json' with { type: 'json' };

it('mid-band frequencies and edges are those of IEC 61260-1:2014', () => {
  expect(table.rows).toHaveLength(33);
  for (const [x, nominal, mid, low, high] of table.rows as number[][]) {
    const band = thirdOctave(x!);
    expect(band.nominalHz).toBe(nominal);
    // The table has five decimals or seven digits.
    for (const [got, want] of [[band.midHz, mid], [band.lowHz, low], [band.highHz, high]] as const) expect(Math.abs(got / want! - 1)).toBeLessThan(1e-6);
  }
  expect(thirdOctavesWithin(20, 20000).map((b) => b.nominalHz)).toEqual((table.rows as number[][]).map((r) => r[1]).filter((f) => f! >= 25 && f! <= 16000));
});
