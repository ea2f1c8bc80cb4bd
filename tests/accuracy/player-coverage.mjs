/**
 * Do the 95 % intervals of what is fitted through source plugs, and of what that does to the player's instrument, hold the
 * truth in 93 to 97 % of trials?
 *
 * Each trial draws what a bench cannot know: plugs within their tolerance, and an error of every point of every response
 * (responses are made from closed forms, not from samples, so that a thousand trials take a minute). Seeded; the table goes
 * to reports/player-coverage.json.
 *
 *     node tests/accuracy/player-coverage.mjs [trials]
 */
import { writeFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { expanded } from '../../dist/src/judge/uncertainty.js';
import { GRID_HZ } from '../../dist/src/measure/frequency-grid.js';
import { playerMeasures } from '../../dist/src/measure/player.js';
import { ratio } from '../../dist/src/measure/response.js';
import { fitShunt } from '../../dist/src/measure/shunt-fit.js';
import { smoothResponse } from '../../dist/src/measure/smooth-response.js';
import { shuntFigures } from '../../dist/src/measure/tone-loss.js';
import { GENERATOR_OHM, over, times } from './trials/draws.mjs';
import { instrument, truthBehind } from './trials/instrument.mjs';

const trials = Number(process.argv[2] ?? '1000');
const TOLERANCE = 0.01;
const SHUNT = { siemens: 1e-6, farad: 300e-12 };
/** mulberry32 (public domain recipe, from memory) and Box-Muller. */
function generator(seed) {
  let s = seed >>> 0;
  const uniform = () => {
    s = (s + 0x6d2b79f5) >>> 0;
    let t = Math.imul(s ^ (s >>> 15), 1 | s);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
  return () => Math.sqrt(-2 * Math.log(1 - uniform())) * Math.cos(2 * Math.PI * uniform());
}

const behind = (ohm) => (hz) => over([1, 0], [1 + ohm * SHUNT.siemens, ohm * 2 * Math.PI * hz * SHUNT.farad]);
/** What the board itself does: a buffer's 220 Ω into 2 nF. */
const board = (hz) => over([1, 0], [1, 220 * 2 * Math.PI * hz * 2e-9]);

function response(h, error, gauss) {
  const [re, im, variance] = [0, 0, 0].map(() => new Float64Array(GRID_HZ.length));
  GRID_HZ.forEach((hz, i) => {
    const [a, b] = h(hz);
    const e = error * Math.hypot(a, b);
    re[i] = a + (e / Math.SQRT2) * gauss();
    im[i] = b + (e / Math.SQRT2) * gauss();
    variance[i] = e * e;
  });
  return { curve: { re, im }, variance, peakLagS: 0 };
}

const tally = new Map();
function count(id, figure, truth) {
  if (!figure || figure.value === null || figure.parts === null || figure.bound !== null) return;
  const row = tally.get(id) ?? { trials: 0, inside: 0, errors: 0, claimed: 0 };
  const error = figure.value - truth;
  const u = expanded(figure.parts);
  row.trials++;
  if (Math.abs(error) <= u) row.inside++;
  row.errors += error * error;
  row.claimed += u * u;
  tally.set(id, row);
}

const truth = truthBehind(SHUNT, board);

const tables = {};
for (const [quality, error] of [['good takes, 0.001 dB a point', 1.6e-4], ['poor takes, 0.12 dB a point', 0.02]]) {
  for (const stated of [[10000], [4700, 47000]]) {
    tally.clear();
    for (let trial = 0; trial < trials; trial++) {
      const gauss = generator(100000 + trial);
      const take = (ohm) => response((hz) => times(behind(ohm)(hz), board(hz)), error, gauss);
      const direct = take(GENERATOR_OHM);
      const bench = response(() => [1, 0], error, gauss);
      const takes = stated.map((ohm) => ({
        response: take(GENERATOR_OHM + ohm * (1 + (TOLERANCE / 2) * gauss())),
        plug: { id: `plug${ohm}`, ohm, relativeUncertainty: TOLERANCE / 2 },
      }));
      const fit = fitShunt([{ response: direct, plug: null }, ...takes], GENERATOR_OHM);
      if ('reason' in fit) throw new Error(fit.reason);
      const place = { state: 'rest', source: 'plug', output: 'A', loop: null, capture: [] };
      const { figures } = playerMeasures(instrument, place, { fit, response: smoothResponse(ratio(direct, bench)), generatorOhm: GENERATOR_OHM });
      for (const figure of [...shuntFigures(place, fit, []), ...figures]) count(figure.id, figure, truth[figure.id]);
    }
    tables[`${quality}, ${stated.length === 1 ? 'one plug' : 'two plugs'}`] = Object.fromEntries(
      [...tally].map(([id, r]) => [
        id,
        {
          trials: r.trials,
          coveragePercent: Number(((100 * r.inside) / r.trials).toFixed(1)),
          rmsError: Number(Math.sqrt(r.errors / r.trials).toPrecision(3)),
          rmsUncertainty95: Number(Math.sqrt(r.claimed / r.trials).toPrecision(3)),
        },
      ]),
    );
  }
}
for (const [title, table] of Object.entries(tables)) {
  console.log(title);
  console.table(table);
}
const reports = fileURLToPath(new URL('../../reports/player-coverage.json', import.meta.url));
if (trials >= 400) writeFileSync(reports, `${JSON.stringify({ format: 'boardproof-coverage/1', made: 'node tests/accuracy/player-coverage.mjs', tables }, null, 1)}\n`);
