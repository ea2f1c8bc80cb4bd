/**
 * Every state that was taken through source plugs: what hangs on its input, and what that does to the player's instrument.
 *
 * @module
 */
import type { Bench, Board } from '../board/model.js';
import { standardOf } from './calibration.js';
import type { PlayerCurve } from './curve.js';
import type { Figure, Place } from './figure.js';
import { playerMeasures } from './player.js';
import type { PlayerLoad } from './player.js';
import { ratio } from './response.js';
import { fitShunt } from './shunt-fit.js';
import type { NoFit, SeriesTake, ShuntFit } from './shunt-fit.js';
import { smoothResponse } from './smooth-response.js';
import type { TakeEstimate } from './take.js';
import { shuntFigures } from './tone-loss.js';

/** A plug without a stated tolerance is taken to be this good, relative, 95 % (a metal film resistor's 1 %; common practice, no source). */
const ASSUMED_TOLERANCE = 0.01;

/** One state on one output, fitted. */
export interface StateFit {
  readonly state: string;
  readonly output: string;
  /** Place of the firmest fit: through its one plug, or through all of them. */
  readonly place: Place;
  readonly fit: ShuntFit | NoFit;
  readonly load: PlayerLoad | null;
}

const alone = (directId: string, state: string): string =>
  `One plug alone does not tell the board’s own response from what hangs on its input: capture ${directId} as well, or ${state} through a second plug.`;

type TakeOf = (id: string) => readonly TakeEstimate[] | null;

/**
 * Fits every state that has a take through a plug.
 *
 * @param states - in the order in which they are to be reported.
 */
export function stateFits(bench: Bench, states: readonly string[], takeOf: TakeOf): { readonly fits: readonly StateFit[]; readonly figures: readonly Figure[] } {
  const generatorOhm = bench.output?.resistanceOhm ?? 0;
  const remarks = bench.output?.resistanceOhm == null ? ['The generator’s own resistance is not in bench.yaml and was taken as zero.'] : [];
  const benchTake = takeOf('bench.take');
  const figures: Figure[] = [];
  const fits: StateFit[] = [];
  for (const state of states) {
    const plugs = bench.plugs.filter(({ id }) => takeOf(`${state}+${id}.take`) !== null);
    if (plugs.length === 0) continue;
    // The straight lead without a plug is the bench looped to itself.
    const directId = state === 'lead' ? 'bench.take' : `${state}.take`;
    const direct = takeOf(directId);
    bench.inputs.forEach((input, i) => {
      const without: SeriesTake[] = direct ? [{ response: direct[i].response, plug: null }] : [];
      const through = plugs.map(({ id, resistanceOhm }): SeriesTake => ({
        response: takeOf(`${state}+${id}.take`)![i].response,
        plug: {
          id,
          ohm: resistanceOhm.value,
          relativeUncertainty: (resistanceOhm.tolerance === null ? ASSUMED_TOLERANCE / 2 : standardOf(resistanceOhm) / resistanceOhm.value),
        },
      }));
      const fitted = (takes: readonly SeriesTake[]): { place: Place; fit: ShuntFit | NoFit } => {
        const ids = takes.map(({ plug }) => plug!.id);
        const place: Place = {
          state,
          source: ids.join('+'),
          output: input.output,
          loop: state.startsWith('loop-') ? state.slice('loop-'.length) : null,
          capture: [...ids.map((id) => `${state}+${id}.take`), ...(direct ? [directId] : [])],
        };
        const fit: ShuntFit | NoFit = direct || takes.length > 1 ? fitShunt([...without, ...takes], generatorOhm) : { reason: alone(directId, state) };
        figures.push(...shuntFigures(place, fit, remarks));
        return { place, fit };
      };
      // With no plug to compare with, each alone; then all together.
      const singles = direct || through.length === 1 ? through.map((take) => fitted([take])) : [];
      const best = through.length > 1 ? fitted(through) : singles[0];
      const response = direct && benchTake && state !== 'lead' ? smoothResponse(ratio(direct[i].response, benchTake[i].response)) : null;
      fits.push({ state, output: input.output, ...best, load: 'reason' in best.fit ? null : { fit: best.fit, response, generatorOhm } });
    });
  }
  return { fits, figures };
}

/** What the player will hear of each fitted state. */
export function playerOf(board: Board, fits: readonly StateFit[]): { readonly figures: readonly Figure[]; readonly curves: readonly PlayerCurve[] } {
  const { instrument } = board;
  if (instrument === null) return { figures: [], curves: [] };
  const measures = fits.flatMap(({ place, load }) => (load === null ? [] : [playerMeasures(instrument, place, load)]));
  return { figures: measures.flatMap(({ figures }) => figures), curves: measures.flatMap(({ curve }) => (curve === null ? [] : [curve])) };
}
