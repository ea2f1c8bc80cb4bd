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
import { echoesAt } from './echo.js';
import type { Echo } from './echo.js';
import { figure, part } from './figure.js';
import type { Figure, Place } from './figure.js';
import { fitPhaseLine } from './match.js';
import { ratio } from './response.js';
import type { TakeEstimate } from './take.js';

/** Two outputs come apart clearly: by this much, and by five standard uncertainties. Filters of a loop delay by less. */
const LEAST_APART_S = 30e-6;
const DB_PER_RELATIVE = 10 / Math.LN10;

/** Readings of loops whose latency shows between two outputs. */
export function dryPathFigures(board: Board, bench: Bench, takeOf: (id: string) => readonly TakeEstimate[] | null): Figure[] {
  const rest = takeOf('rest.take');
  if (!rest) return [];
  return board.loops.flatMap(({ id }) => {
    const state = `loop-${id}`;
    const take = takeOf(`${state}.take`);
    if (!take) return [];
    const figures: Figure[] = [];
    const seen = new Set<number>();
    bench.inputs.forEach((wetInput, wet) => {
      bench.inputs.forEach((dryInput, dry) => {
        if (wet === dry || seen.has(wet)) return;
        const [now, before] = [take, rest].map((t) => ratio(t[wet]!.response, t[dry]!.response));
        const [lineNow, lineBefore] = [fitPhaseLine(now!), fitPhaseLine(before!)];
        if (!lineNow || !lineBefore) return;
        const latencyS = lineNow.delayS - lineBefore.delayS;
        const standard = Math.hypot(lineNow.delayUncertaintyS, lineBefore.delayUncertaintyS);
        if (latencyS < Math.max(LEAST_APART_S, 5 * standard)) return;
        seen.add(wet);
        const place: Place = { state, source: null, output: wetInput.output, loop: id, capture: [`${state}.take`, 'rest.take'] };
        const remarks = [`Against output ${dryInput.output}, which does not pass the loop.`];
        figures.push(figure(place, { id: 'loop.delay', label: 'Latency of the loop', value: latencyS * 1e6, unit: 'µs', method: 'loop.delay', parts: [part('spectral statistics', 'scatter of the phase', standard * 1e6)], remarks }));
        const out = echoesAt(before!, lineBefore.delayS, latencyS);
        const inPath = echoesAt(now!, lineNow.delayS, latencyS);
        const inRest = { ...place, state: 'rest' };
        figures.push(
          ...echoFigure(inRest, 'bleed', 'Bleed of the loop while it is out', out?.after, remarks),
          ...echoFigure(place, 'crosstalk.from-dry', `Crosstalk from output ${dryInput.output}, or past the loop`, inPath?.before, remarks),
          ...echoFigure({ ...place, output: dryInput.output }, 'crosstalk.to-dry', `Crosstalk from output ${wetInput.output}`, inPath?.after, remarks),
        );
      });
    });
    return figures;
  });
}

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
