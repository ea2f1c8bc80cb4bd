import { describe, expect, it } from 'vitest';
import { stepCode, stepCodeCollisions } from '../../src/board/step-code.js';

describe('stepCode', () => {
  // Python 3: binascii.crc_hqx(b'…', 0xFFFF).
  it.each([
    ['123456789', 0x29b1],
    ['rest.take', 0xa706],
    ['loop-eq.take', 0x1d19],
    ['rest+plug10k.take', 0x2163],
    // Its sum is 0, which means a take for no step in particular.
    ['loop-180228.take', 0xffff],
  ])('of %s', (id, code) => {
    expect(stepCode(id)).toBe(code);
  });

  it('is a number of 16 bits, never 0', () => {
    const codes = Array.from({ length: 70_000 }, (_, i) => stepCode(`loop-${i}.take`));
    expect(codes.filter((code) => !(Number.isInteger(code) && code >= 1 && code <= 0xffff))).toEqual([]);
  });
});

describe('stepCodeCollisions', () => {
  it('names both steps', () => {
    const first = new Map<number, string>();
    let pair: readonly [string, string] | null = null;
    for (let i = 0; pair === null; i++) {
      const id = `loop-${i}.take`;
      const before = first.get(stepCode(id));
      if (before !== undefined) pair = [before, id];
      first.set(stepCode(id), before ?? id);
    }
    expect(stepCodeCollisions(['rest.take', ...pair, 'all.take'])).toEqual([pair]);
    expect(stepCodeCollisions(['rest.take', 'all.take'])).toEqual([]);
  });
});
