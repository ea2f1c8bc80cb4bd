/**
 * Where on which chart a reading is to be seen, so that a row of a table and a point of a line can point at each other.
 *
 * @module
 */
import type { Curve, PlayerCurve, Reading, Results } from '../judge/results.js';

export interface OnChart {
  /** Id of the curve. */
  readonly curve: string;
  readonly hz: number;
}

/** Null where no curve shows it. */
export function onChart(results: Results, reading: Reading): OnChart | null {
  const [, family, rest] = /^([a-z]+)\.(.+)$/.exec(reading.id) ?? [];
  const curve = curveOf(results, family ?? '', reading);
  if (curve === undefined) return null;
  const hz = frequencyOf(reading, rest ?? '', curve);
  return hz === null ? null : { curve: curve.id, hz };
}

function curveOf(results: Results, family: string, { state, source, output }: Reading): Curve | PlayerCurve | undefined {
  const kind = ({ noise: 'noise-density', droop: 'tone-loss', corner: 'tone-loss', gain: 'response', player: 'player-response' } as const)[family];
  if (kind === undefined) return undefined;
  return [...results.curves, ...(results.playerCurves ?? [])].find((c) => c.kind === kind && c.state === state && c.source === source && c.output === output);
}

function frequencyOf({ id, value, bound }: Reading, rest: string, curve: Curve | PlayerCurve): number | null {
  const [, kind, n] = /^noise\.(hum|whine)(?:\.h?(\d+))?$/.exec(id) ?? [];
  if (kind !== undefined) {
    const own = curve.marks.filter((m) => m.kind === kind && (n === undefined || m.label === `${n} × mains` || m.label === `whine ${n}` || m.label.startsWith(`whine ${n},`)));
    const strongest = [...own].sort((a, b) => b.level - a.level)[0];
    return strongest?.hz ?? null;
  }
  if (/^(player\.resonance|player\.corner|corner\.-3db)$/.test(id)) return bound === null ? value : null;
  const [, figure, thousand] = /^(?:density-|loss-)?(\d+)(k?)$/.exec(rest) ?? [];
  return figure === undefined ? null : Number(figure) * (thousand === 'k' ? 1000 : 1);
}
