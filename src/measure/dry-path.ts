/**
 * What an output that is taken before a loop tells of that loop: its latency, what of it is heard when it is out, and what leaks
 * between the two paths.
 *
 * A take is placed by its own markers, which come through the loop as well, so that of one output alone a latency does not show. Beside
 * an output that does not pass the loop it does: the two come apart when the loop is switched in.
 *
 * @module
 */
import type { Bench, Board } from '../board/model.js';
import { DB_PER_RELATIVE } from '../units/decibels.js';
import { LEAST_BETWEEN_S, SHORTEST_LAG_S, echoesAt } from './echo.js';
import type { Echo, EchoFit } from './echo.js';
import { figure, part } from './figure.js';
import type { Figure, Place } from './figure.js';
import { fitPhaseLine } from './match.js';
import { ratio } from './response.js';
import type { ResponseEstimate, TakeEstimate } from './take.js';

/** Two outputs come apart clearly: by this much, and by five standard uncertainties. Filters of a loop delay by less. */
const LEAST_APART_S = 30e-6;

interface Latency {
  readonly loop: string;
  /** Recorder inputs that hear the loop, and that do not. */
  readonly wet: number;
  readonly dry: number;
  readonly latencyS: number;
  readonly standardS: number;
  readonly now: ResponseEstimate;
  readonly delayNowS: number;
}

/** Readings of loops whose latency shows between two outputs. */
export function dryPathFigures(board: Board, bench: Bench, takeOf: (id: string) => readonly TakeEstimate[] | null): Figure[] {
  const rest = takeOf('rest.take');
  if (!rest) return [];
  const found = board.loops.flatMap(({ id }): Latency[] => {
    const take = takeOf(`loop-${id}.take`);
    return take ? latencies(bench, id, take, rest) : [];
  });
  const bleeds = new Map(found.map((latency) => [latency, bleedOf(rest[latency.wet]!, takeOf('bench.take')?.[latency.wet] ?? null, latency, found)]));
  return found.flatMap((latency): Figure[] => {
    const { loop, wet, dry, latencyS, standardS, now, delayNowS } = latency;
    const state = `loop-${loop}`;
    const [wetOutput, dryOutput] = [bench.inputs[wet]!.output, bench.inputs[dry]!.output];
    const place: Place = { state, source: null, output: wetOutput, loop, capture: [`${state}.take`, 'rest.take'] };
    const remarks = [`Against output ${dryOutput}, which does not pass the loop.`];
    const [toDry, fromDry] = echoesAt(now, delayNowS, [latencyS, -latencyS])?.echoes ?? [];
    const inRest: Place = { ...place, state: 'rest' };
    const bleed = bleeds.get(latency);
    const near = found.filter((o) => isNear(o, latency));
    const isOther = near.some((o) => fitsBetter(bleeds.get(o), bleed));
    const open = near.filter((o) => !fitsBetter(bleed, bleeds.get(o))).map((o) => o.loop);
    const ofBleed = open.length === 0 ? [] : [`Of nearly the same latency: ${open.join(', ')}; their bleed cannot be told from that of this loop.`];
    return [
      figure(place, { id: 'loop.delay', label: 'Latency of the loop', value: latencyS * 1e6, unit: 'µs', method: 'loop.delay', parts: [part('spectral statistics', 'scatter of the phase', standardS * 1e6)], remarks }),
      ...echoFigure(inRest, 'bleed', 'Bleed of the loop while it is out', isOther ? undefined : bleed?.echoes[0], ofBleed),
      ...echoFigure(place, 'crosstalk.from-dry', `Crosstalk from output ${dryOutput}, or past the loop`, fromDry, remarks),
      ...echoFigure({ ...place, output: dryOutput }, 'crosstalk.to-dry', `Crosstalk from output ${wetOutput}`, toDry, remarks),
    ];
  });
}

/** One per output that comes apart from another when the loop is switched in. */
function latencies(bench: Bench, loop: string, take: readonly TakeEstimate[], rest: readonly TakeEstimate[]): Latency[] {
  return bench.inputs.flatMap((_, wet): Latency[] => {
    for (const dry of bench.inputs.keys()) {
      if (wet === dry) continue;
      const [now, before] = [take, rest].map((t) => ratio(t[wet]!.response, t[dry]!.response));
      const [lineNow, lineBefore] = [fitPhaseLine(now!), fitPhaseLine(before!)];
      if (!lineNow || !lineBefore) continue;
      const latencyS = lineNow.delayS - lineBefore.delayS;
      const standardS = Math.hypot(lineNow.delayUncertaintyS, lineBefore.delayUncertaintyS);
      if (latencyS >= Math.max(LEAST_APART_S, 5 * standardS)) return [{ loop, wet, dry, latencyS, standardS, now: now!, delayNowS: lineNow.delayS }];
    }
    return [];
  });
}

/**
 * What comes later than the signal by the latency of a loop that is out. It is looked for in the response of the output itself: where
 * the loops are bypassed by bare contacts, what comes back past one of them reaches the output before the loops as well, and would
 * not show between the two. The other loops' arrivals are fitted beside it; of loops of nearly the
 * same latency each is tried, and those that fit worse are none.
 */
function bleedOf(rest: TakeEstimate, straight: TakeEstimate | null, { wet, loop, latencyS }: Latency, all: readonly Latency[]): EchoFit | undefined {
  const response = straight ? ratio(rest.response, straight.response) : rest.response;
  const line = fitPhaseLine(response);
  if (!line) return undefined;
  const others = all.filter((o) => o.wet === wet && o.loop !== loop).map((o) => o.latencyS);
  const apart = others.filter((lag, k) => lag >= SHORTEST_LAG_S && [latencyS, ...others.slice(0, k)].every((other) => Math.abs(lag - other) >= LEAST_BETWEEN_S));
  return echoesAt(response, line.delayS, [latencyS, ...apart]) ?? undefined;
}

/** Too near in latency to be fitted beside each other. */
const isNear = (a: Latency, b: Latency): boolean => a !== b && a.wet === b.wet && Math.abs(a.latencyS - b.latencyS) < LEAST_BETWEEN_S;

/** An arrival a little early or late leaves more than its own: told apart from five standard deviations of that on. */
const fitsBetter = (a: EchoFit | undefined, b: EchoFit | undefined): boolean => a !== undefined && b !== undefined && b.residual - a.residual > 25 * a.perPoint;

function echoFigure(place: Place, id: string, label: string, echo: Echo | undefined, remarks: readonly string[]): Figure[] {
  if (!echo) return [];
  const clear = echo.power > 4 * echo.noise;
  const power = clear ? echo.power : Math.max(0, echo.power) + 3 * echo.noise;
  if (!(power > 0)) return [];
  return [
    figure(place, {
      id,
      label: `${label}, 300 Hz–8 kHz`,
      value: 10 * Math.log10(power),
      unit: 'dB',
      bound: clear ? null : 'upper',
      method: 'loop.echo',
      parts: [part('fit', 'noise and misfit', clear ? (DB_PER_RELATIVE * echo.standard) / echo.power : 0)],
      remarks,
    }),
  ];
}
