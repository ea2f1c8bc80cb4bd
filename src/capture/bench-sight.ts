/**
 * Can this bench see what the limits ask for? Its own noise and distortion against the strictest limit on each.
 *
 * @module
 */
import type { LimitSet } from '../board/model.js';

export interface BenchFigure {
  readonly reading: 'noise.a' | 'noise.hum' | 'thd';
  readonly output: string;
  readonly value: number;
  readonly unit: 'dBu' | 'dB';
}

export interface Sight extends BenchFigure {
  readonly limit: number;
  /** Limit less the bench's own figure, dB. */
  readonly roomDb: number;
  /** `clear`: 6 dB and more; `barely`: the bench takes a share that is subtracted; `hidden`: figures near the limit will be upper bounds. */
  readonly sees: 'clear' | 'barely' | 'hidden';
}

/** A bench 6 dB below adds less than 1.3 dB to what it reads, which is subtracted; with less than 3 dB nothing is left to subtract from. */
export const CLEAR_DB = 6;
export const HIDDEN_DB = 3;

/** Figures that have a limit, each against the lowest maximum of any state. */
export function benchSight(figures: readonly BenchFigure[], limits: LimitSet): Sight[] {
  return figures.flatMap((figure) => {
    const most = limits.rows.flatMap((r) => (r.reading === figure.reading && r.unit === figure.unit && r.max !== null ? [r.max] : []));
    if (most.length === 0) return [];
    const limit = Math.min(...most);
    const roomDb = limit - figure.value;
    return [{ ...figure, limit, roomDb, sees: roomDb >= CLEAR_DB ? 'clear' : roomDb >= HIDDEN_DB ? 'barely' : 'hidden' }];
  });
}
