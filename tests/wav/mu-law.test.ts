import { describe, expect, it } from 'vitest';
import { muLawCode, muLawSample } from '../../src/wav/mu-law.js';

describe('µ-law', () => {
  it('has the codes of ITU-T G.711 (Table 2a, from memory): both zeros, the first step, full scale', () => {
    expect([muLawCode(0), muLawCode(1), muLawCode(-1)]).toEqual([0xff, 0x80, 0x00]);
    // Decision values 1 and 31 of 8159, 14-bit samples: here four times, in 16 bits.
    expect([muLawSample(0xff), muLawSample(0xfe), muLawSample(0x80)].map((v) => v * 32768)).toEqual([0, 8, 32124]);
  });

  it('gives every code back, and every sample within a 32nd of itself', () => {
    for (let code = 0; code < 256; code++) if (code !== 0x7f) expect(muLawCode(muLawSample(code))).toBe(code);
    for (let i = 1; i < 400; i++) {
      const v = Math.sin(i) * 10 ** (-3 * Math.cos(i) ** 2);
      expect(Math.abs(muLawSample(muLawCode(v)) - v)).toBeLessThan(Math.abs(v) / 32 + 5 / 32768);
    }
  });
});
