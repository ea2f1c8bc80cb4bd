/**
 * What the loops draw from each supply outlet, against what it can give.
 *
 * @module
 */
import type { Board } from './model.js';
import { formatQuantity } from '../units/format.js';

export interface OutletBudget {
  /** `<supply>.<outlet>` */
  readonly outlet: string;
  readonly volts: number | null;
  readonly limitA: number | null;
  /** Sum of the currents that are known. */
  readonly drawnA: number;
  /** Loops on it, in the order of the signal. */
  readonly loops: readonly string[];
  /** Those whose current the file does not say. */
  readonly unknown: readonly string[];
  /** `over`: too much even without the unknown; `open`: a current or the limit is unknown. */
  readonly state: 'within' | 'over' | 'open' | 'unused';
}

export interface SupplyBudget {
  readonly outlets: readonly OutletBudget[];
  /** Loops without an outlet. */
  readonly unfed: readonly string[];
  /** What to look at, one sentence each. */
  readonly cautions: readonly string[];
}

export function supplyBudget(board: Board): SupplyBudget {
  const outlets = board.supplies.flatMap((supply) =>
    supply.outlets.map(({ id, volts, limitA }): OutletBudget => {
      const outlet = `${supply.id}.${id}`;
      const fed = board.loops.filter((loop) => loop.supply === outlet);
      // Milliamperes are added as whole microamperes: 0.1 + 0.2 is then 0.3, and no limit is passed by rounding.
      const drawnA = fed.reduce((sum, { currentA }) => sum + Math.round((currentA ?? 0) * 1e6), 0) / 1e6;
      const unknown = fed.filter(({ currentA }) => currentA === null).map((loop) => loop.id);
      const over = limitA !== null && drawnA > limitA;
      const state = over ? 'over' : fed.length === 0 ? 'unused' : unknown.length > 0 || limitA === null ? 'open' : 'within';
      return { outlet, volts, limitA, drawnA, loops: fed.map((loop) => loop.id), unknown, state };
    }),
  );
  return { outlets, unfed: board.loops.filter(({ supply }) => supply === null).map(({ id }) => id), cautions: outlets.flatMap(cautionsOf) };
}

const amperes = (value: number): string => formatQuantity(value, 'current');

function cautionsOf({ outlet, limitA, drawnA, loops, unknown, state }: OutletBudget): string[] {
  return [
    ...(state === 'over' ? [`Outlet ${outlet} is asked for ${amperes(drawnA)} but gives ${amperes(limitA!)}: move ${loops.length > 1 ? 'a loop' : `loop ${loops[0]}`} to an outlet that gives more.`] : []),
    ...(loops.length > 1 ? [`Outlet ${outlet} feeds loops ${loops.join(', ')} together: whine and hum can pass from one to the other.`] : []),
    ...(unknown.length > 0 ? [`Outlet ${outlet}: the current of loop ${unknown.join(', ')} is not given, so its budget is open.`] : []),
  ];
}
