import type { Bench, Board } from './model.js';
import { stepId } from './states.js';

/** CRC-16 of the register-from-ones kind: polynomial x¹⁶+x¹²+x⁵+1 (ITU-T V.41), start 0xFFFF, most significant bit first. */
function crc16(bytes: Uint8Array): number {
  let crc = 0xffff;
  for (const byte of bytes) {
    crc ^= byte << 8;
    for (let bit = 0; bit < 8; bit++) crc = crc & 0x8000 ? ((crc << 1) ^ 0x1021) & 0xffff : (crc << 1) & 0xffff;
  }
  return crc;
}

/**
 * The number that the markers of a take carry for a step, 1…65535: CRC-16 of the step's id in UTF-8. 0 is kept for a
 * take that was rendered for no step in particular, so an id whose sum is 0 has 65535.
 */
export const stepCode = (stepId: string): number => crc16(new TextEncoder().encode(stepId)) || 0xffff;

/** Pairs of step ids that have the same code, so that their takes could not be told apart. */
export function stepCodeCollisions(stepIds: readonly string[]): (readonly [string, string])[] {
  const seen = new Map<number, string>();
  return stepIds.flatMap((id) => {
    const code = stepCode(id);
    const before = seen.get(code);
    seen.set(code, before ?? id);
    return before === undefined ? [] : [[before, id] as const];
  });
}

/**
 * The step that a code is of, on a board with these loops and outputs that may have more switches, or a buffer, than its file says.
 *
 * @returns null where it is of another board altogether.
 */
export function stepOfAnyBoard(code: number, kind: 'take' | 'stairs', { loops, outputs }: Board, { plugs, loads = [] }: Bench): string | null {
  const states = ['bench', 'lead', 'rest', 'unbuffered', 'all', ...loops.map(({ id }) => `loop-${id}`), ...outputs.flatMap(({ id }) => [`lift-${id}`, `invert-${id}`, `into-${id}`])];
  const sources = [null, ...plugs.map(({ id }) => id), ...loads.map(({ id }) => id)];
  return states.flatMap((state) => sources.map((plug) => stepId({ state, plug, kind }))).find((id) => stepCode(id) === code) ?? null;
}
