import { describe, expect, it } from 'vitest';
import type { Bench } from '../../src/board/model.js';
import { stepCode, stepCodeCollisions, stepOfAnyBoard } from '../../src/board/step-code.js';
import { boardWith } from '../helpers/plain-board.js';

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

it('a code is named where the board could have the step with one more switch', () => {
  const board = boardWith({ loops: [{ id: 'eq', name: 'eq', expect: 'unity', supply: null, currentA: null, wiring: null }] });
  const bench = { plugs: [{ id: 'plug10k' }], loads: [{ id: 'load1k' }] } as unknown as Bench;
  const named = (id: string, kind: 'take' | 'stairs' = 'take'): string | null => stepOfAnyBoard(stepCode(id), kind, board, bench);
  for (const id of ['rest.take', 'unbuffered+plug10k.take', 'invert-A.take', 'into-A.take', 'loop-eq.take', 'rest+load1k.take']) expect(named(id)).toBe(id);
  expect([named('unbuffered.stairs', 'stairs'), named('unbuffered.stairs'), named('loop-fuzz.take')]).toEqual(['unbuffered.stairs', null, null]);
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
