/**
 * Isolation between outputs: how much of what is put on one output reaches another.
 *
 * A load on one output changes its voltage by ΔV, as a generator there would (substitution theorem); whatever the other output
 * then changes by has come across. With rₐ and r_b the ratios of loaded to free at the two, isolation is |rₐ − 1|/|r_b − 1|, where both
 * are first turned by the delay that the start of the one take was misjudged by against the other: that of the loaded
 * output's own phase, which a resistive load on a resistive output does not turn.
 *
 * What comes across in phase (a common resistance) is read as it is. What comes across a quarter turn away (a capacitance C between the
 * two) the other output gives back: with source resistances Za and Zb, and a the level that the load leaves, the other changes by
 * −jωC·Zb·(1 − a), and the loaded one by +jωC·Za·(1 − a) of itself. Two takes share no start, so that only the sum of the two is seen,
 * (Za + Zb)/Zb of the true change: 6 dB too much between two alike. Where that part counts, the reading is what it is at least.
 *
 * @module
 */
import type { Bench } from '../board/model.js';
import { DB_PER_RELATIVE } from '../units/decibels.js';
import { figure, part } from './figure.js';
import type { Figure } from './figure.js';
import { GRID_HZ, GRID_LOG_WEIGHT, gridRange } from './frequency-grid.js';
import { fitPhaseLine } from './match.js';
import type { PhaseLine } from './match.js';
import { isMeasured, ratio } from './response.js';
import type { ResponseEstimate, TakeEstimate } from './take.js';

const LOW_HZ = 200;
const HIGH_HZ = 5000;
/** What the method leaves of a response even without noise, as a square, at most: between takes whose clocks are 300 ppm apart, 1e-14. */
const METHOD_SQUARE = 1e-11;

/** Above this share of the change a quarter turn away, what may be seen twice is more than 0.2 dB of it: 10·log10(1 − 0.07·3/4) = −0.23. */
const ACROSS_SHARE = 0.07;

interface Change {
  /** Mean |r·e^(jωt) − 1|² over 200 Hz to 5 kHz, noise taken off. */
  readonly power: number;
  /** What of it is a quarter turn away. */
  readonly across: number;
  /** What noise and method alone would show. */
  readonly noise: number;
  /** Standard uncertainty of `power`, relative. */
  readonly relative: number;
}

function changeOf(r: ResponseEstimate, { delayS, delayUncertaintyS }: PhaseLine): Change {
  const [first, last] = gridRange(LOW_HZ, HIGH_HZ);
  let [power, across, noise, total, variance] = [0, 0, 0, 0, 0];
  for (let i = first; i <= last; i++) {
    if (!isMeasured(r, i)) continue;
    const turn = 2 * Math.PI * GRID_HZ[i]! * delayS;
    const [c, s] = [Math.cos(turn), Math.sin(turn)];
    const re = r.curve.re[i]! * c - r.curve.im[i]! * s - 1;
    const im = r.curve.re[i]! * s + r.curve.im[i]! * c;
    const own = r.variance[i]! + (2 * Math.PI * GRID_HZ[i]! * delayUncertaintyS) ** 2;
    const square = re * re + im * im;
    power += GRID_LOG_WEIGHT[i]! * square;
    across += GRID_LOG_WEIGHT[i]! * (im * im - own / 2);
    noise += GRID_LOG_WEIGHT[i]! * own;
    total += GRID_LOG_WEIGHT[i]!;
    // |d + e|² of an error with E|e|² = n has variance 2·|d|²·n + n²; of |d|² only |d + e|² is known, n larger in the mean.
    variance += (GRID_LOG_WEIGHT[i]! * own) ** 2 * Math.max(1, (2 * square) / own - 1);
  }
  const own = (power - noise) / total;
  return { power: own, across: across / total, noise: noise / total + METHOD_SQUARE, relative: Math.hypot(Math.sqrt(variance) / total, Math.sqrt(own > 0 ? (4 * own * METHOD_SQUARE) / 3 : 0)) / own };
}

/** One reading for every load that was captured and every other output. */
export function isolationFigures(bench: Bench, takeOf: (id: string) => readonly TakeEstimate[] | null): Figure[] {
  return (bench.loads ?? []).flatMap(({ id, output }): Figure[] => {
    const [loaded, free] = [takeOf(`rest+${id}.take`), takeOf('rest.take')];
    const own = bench.inputs.findIndex((input) => input.output === output);
    if (!loaded || !free || own < 0) return [];
    const change = ratio(loaded[own]!.response, free[own]!.response);
    const line = fitPhaseLine(change);
    if (!line) return [];
    const cause = changeOf(change, line);
    if (cause.power < 100 * cause.noise) return [];
    return bench.inputs.flatMap((input, k): Figure[] => {
      if (k === own) return [];
      const effect = changeOf(ratio(loaded[k]!.response, free[k]!.response), line);
      const clear = effect.power > 4 * effect.noise;
      const power = clear ? effect.power : Math.max(0, effect.power) + 3 * effect.noise;
      const isAcross = clear && effect.across > ACROSS_SHARE * effect.power;
      const place = { state: 'rest', source: null, output: `${output}:${input.output}`, loop: null, capture: [`rest+${id}.take`, 'rest.take'] };
      return [
        figure(place, {
          id: 'isolation',
          label: `Isolation of output ${input.output} from output ${output}, 200 Hz–5 kHz`,
          value: 10 * Math.log10(cause.power / power),
          unit: 'dB',
          bound: clear && !isAcross ? null : 'lower',
          benchLimited: !clear,
          method: 'output.isolation',
          parts: [part('spectral statistics', 'noise in the sweeps', clear ? DB_PER_RELATIVE * Math.hypot(effect.relative, cause.relative) : 0)],
          remarks: isAcross ? ['What comes across does so by a capacitance, and part of what is seen may be what the loaded output takes back: it is isolated by at least this, and by up to 6 dB more between two alike.'] : clear ? [] : ['No change of the other output stands out of the noise: it is isolated by at least this.'],
        }),
      ];
    });
  });
}
