/**
 * `flex`: a steady tone while leads and plugs are moved; dropouts and crackles are counted and timed as they happen, with
 * a bell, and kept. It is the step `rest.flex` of `capture`, by itself.
 *
 * @module
 */
import { run as capture } from './capture.js';
import type { CaptureOptions } from './capture.js';
import type { Context } from './terminal.js';

export function run(context: Context, args: readonly string[], options: CaptureOptions): Promise<number> {
  return capture(context, args, { ...options, step: 'rest.flex' });
}
