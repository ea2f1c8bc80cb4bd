/**
 * What is fitted through source plugs, how far that is from what board.yaml has, and what it does to the player's instrument: from responses
 * (sweep-noise.mjs), plugs within their tolerance.
 */
import { toneFigures } from '../../../dist/src/circuit/tone.js';
import { bufferInput, overDesign } from '../../../dist/src/measure/over-design.js';
import { playerOf, stateFits } from '../../../dist/src/measure/through-plugs.js';
import { GENERATOR_OHM, benchOf, boardOf, divider, generator, lowPass, over, times } from './draws.mjs';
import { takesOf } from './sweep-noise.mjs';

const TOLERANCE = 0.01;
const SIEMENS = 1e-6;
const FARAD = { rest: 300e-12, 'loop-x': 700e-12 };
const POT_OHM = 5e5;
const instrument = {
  pickup: { resistanceOhm: 8200, inductanceH: 3.1, capacitanceF: 110e-12 },
  volumeOhm: POT_OHM,
  tone: { resistanceOhm: POT_OHM, capacitorF: 22e-9 },
  lead: { lengthM: 5, capacitanceFPerM: 95e-12 },
};
const metre = (lengthM) => ({ lengthM, capacitanceFPerM: 100e-12 });
const boards = {
  buffered: { ...boardOf(['A'], ['x']), instrument, input: { wiring: metre(0.4), buffer: { inputResistanceOhm: 1e6, inputCapacitanceF: 30e-12, outputResistanceOhm: 220, noiseVPerRtHz: null, defeatable: false } } },
  passive: { ...boardOf(['A'], []), input: { wiring: metre(0.4), buffer: null }, loops: [{ id: 'x', name: 'x', expect: 'unity', supply: null, currentA: null, wiring: metre(0.6) }] },
};
/** What the board itself does: 220 Ω into 2 nF. */
const through = lowPass(1 / (2 * Math.PI * 220 * 2e-9));

/** Pickup, tone, volume and lead as a ladder, worked out by hand: |V(output)/V(pickup)|². */
function ladder(siemens, farad, beyondJack) {
  return (frequenciesHz) =>
    frequenciesHz.map((hz) => {
      const w = 2 * Math.PI * hz;
      const end = 1e-5 * POT_OHM;
      const jack = [1 / POT_OHM + siemens, w * (475e-12 + farad)];
      const tone = over([1, 0], [POT_OHM, -1 / (w * 22e-9)]);
      const behindPot = over([1, 0], jack);
      const beyond = over([1, 0], [end + behindPot[0], behindPot[1]]);
      const hot = [tone[0] + beyond[0], tone[1] + beyond[1] + w * 110e-12];
      const [a, b] = times([8200, w * 3.1], hot);
      const [re, im] = times(over(over([1, 0], [1 + a, b]), [1 + end * jack[0], end * jack[1]]), beyondJack(hz));
      return re * re + im * im;
    });
}

const own = toneFigures(ladder(SIEMENS, FARAD.rest, through));
const straight = toneFigures(ladder(1e-6, 0, () => [1, 0]));
const truth = {
  capacitance: FARAD.rest * 1e12,
  'input-resistance': 1e-3 / SIEMENS,
  'player.loss-2-5k': straight.band2to5kDb - own.band2to5kDb,
  'player.loss-5k': straight.at5kDb - own.at5kDb,
  'player.resonance': own.resonance.frequencyHz,
  'player.resonance-height': own.resonance.heightDb,
  'player.resonance-shift': 100 * (own.resonance.frequencyHz / straight.resonance.frequencyHz - 1),
  'player.corner': own.cornerHz,
};

function plugTrials(trials, count, { rms, plugs, from }) {
  const bench = benchOf(['A'], { plugs: plugs.map((ohm) => ({ id: `plug${ohm}`, resistanceOhm: { value: ohm, tolerance: TOLERANCE * ohm } })) });
  for (let trial = 0; trial < trials; trial++) {
    const { gauss } = generator(100000 + from + trial);
    const take = takesOf(from + trial, 7);
    const stretch = new Map(plugs.map((ohm) => [ohm, 1 + (TOLERANCE / 2) * gauss()]));
    const takeOver = (farad, ohm) => [take((hz) => times(divider(GENERATOR_OHM + ohm, farad, SIEMENS)(hz), through(hz)), rms)];
    const takes = new Map([['bench.take', [take(() => [1, 0], rms)]]]);
    for (const [state, farad] of Object.entries(FARAD)) {
      takes.set(`${state}.take`, takeOver(farad, 0));
      for (const ohm of plugs) takes.set(`${state}+plug${ohm}.take`, takeOver(farad, ohm * stretch.get(ohm)));
    }
    const { fits, figures } = stateFits(bench, Object.keys(FARAD), (id) => takes.get(id) ?? null);
    const source = plugs.map((ohm) => `plug${ohm}`).join('+');
    const of = (list, id, state = 'rest') => list.find((f) => f.id === id && f.state === state && f.source === source);
    const all = [...figures, ...playerOf(boards.buffered, fits.filter(({ state }) => state === 'rest')).figures];
    for (const [id, value] of Object.entries(truth)) count(id, of(all, id), value);
    // By the file a buffer of 30 pF behind 40 pF of wiring; and a loop of 60 pF.
    count('capacitance.over-design', of(overDesign(boards.buffered, bench, fits), 'capacitance.over-design'), (FARAD.rest - 70e-12) * 1e12);
    count('capacitance.over-design, of a loop', of(overDesign(boards.passive, bench, fits), 'capacitance.over-design', 'loop-x'), (FARAD['loop-x'] - FARAD.rest - 60e-12) * 1e12);
    count('buffer.input-capacitance', of(bufferInput(boards.buffered, fits), 'buffer.input-capacitance'), (FARAD.rest - 40e-12) * 1e12);
  }
}

export const tables = [
  ['one plug and the player’s instrument, good signal-to-noise', { rms: 1e-4, plugs: [10000], from: 0 }],
  ['one plug and the player’s instrument, poor signal-to-noise', { rms: 3e-3, plugs: [10000], from: 1000 }],
  ['two plugs and the player’s instrument, good signal-to-noise', { rms: 1e-4, plugs: [4700, 47000], from: 2000 }],
  ['two plugs and the player’s instrument, poor signal-to-noise', { rms: 3e-3, plugs: [4700, 47000], from: 3000 }],
].map(([name, quality]) => ({ name, trials: 400, kept: 1, run: (trials, count) => { plugTrials(trials, count, quality); } }));
