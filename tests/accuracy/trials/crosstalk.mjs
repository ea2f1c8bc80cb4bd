/** Crosstalk between outputs, from takes into their jacks: through a capacitance one way, through a shared return the other. */
import { crosstalkFigures } from '../../../dist/src/measure/crosstalk.js';
import { benchOf } from './draws.mjs';
import { takesOf } from './sweep-noise.mjs';

const db = (level) => 10 ** (level / 20);
const wire = () => [1, 0];
/** What the generator leaves at a jack of its own resistance. */
const half = () => [0.5, 0];
const halved = (h) => (hz) => h(hz).map((v) => v / 2);
/** jx/(1 + jx) of the voltage that is played into. */
const across = (ohmFarad) => (hz) => {
  const x = 2 * Math.PI * hz * ohmFarad;
  return [(x * x) / (1 + x * x), x / (1 + x * x)];
};

/** Mean power over log frequency of x²/(1 + x²), x = 2πf·ZC, which is d ln(1 + x²)/(2·d ln f): in closed form. */
const acrossDb = (ohmFarad, lowHz, highHz) => {
  const area = (hz) => Math.log1p((2 * Math.PI * hz * ohmFarad) ** 2) / 2;
  return 10 * Math.log10((area(highHz) - area(lowHz)) / Math.log(highHz / lowHz));
};

function crosstalkTrials(trials, count, { rms, from, ohmFarad, flatDb }) {
  const bench = benchOf(['A', 'B']);
  const [rising, flat] = [across(ohmFarad), () => [db(flatDb), 0]];
  for (let trial = 0; trial < trials; trial++) {
    const take = takesOf(from + trial, 6);
    const takes = {
      'bench.take': [take(wire, rms), take(wire, rms)],
      'into-A.take': [take(half, rms), take(halved(rising), rms)],
      'into-B.take': [take(halved(flat), rms), take(half, rms)],
    };
    const figures = crosstalkFigures(bench, (id) => takes[id] ?? null);
    const of = (id, output) => figures.find((f) => f.id === id && f.output === output);
    count('crosstalk.1k', of('crosstalk.1k', 'A:B'), acrossDb(ohmFarad, 1000 * 10 ** -0.05, 1000 * 10 ** 0.05));
    count('crosstalk.worst-band', of('crosstalk.worst-band', 'B:A'), flatDb);
    count('crosstalk.slope', of('crosstalk.slope', 'B:A'), 0);
  }
}

export const tables = [
  ['crosstalk between outputs, good signal-to-noise', { rms: 1e-5, from: 0, ohmFarad: 1e-7, flatDb: -60 }],
  ['crosstalk between outputs, poor signal-to-noise', { rms: 1e-4, from: 241 * 2, ohmFarad: 1e-6, flatDb: -45 }],
// The first trials share the divided recordings of other tables.
].map(([name, quality]) => ({ name, trials: 400, kept: 1, run: (trials, count) => { crosstalkTrials(trials, count, quality); } }));
