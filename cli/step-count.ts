/**
 * How many of the steps are done, in words.
 *
 * @module
 */
import type { Step } from '../src/board/model.js';

/** `2 of 17 needed captures done, 12 optional` */
export function countedText(steps: readonly Step[], left: readonly Step[]): string {
  const needed = steps.filter((s) => s.required);
  if (needed.length === 0) return `${steps.length - left.length} of ${steps.length} optional captures done`;
  const optional = steps.length - needed.length;
  return `${needed.length - left.filter((s) => s.required).length} of ${needed.length} needed captures done${optional > 0 ? `, ${optional} optional` : ''}`;
}
