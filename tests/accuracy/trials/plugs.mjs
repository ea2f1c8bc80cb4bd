/**
 * What is fitted through source plugs, how far that is from what board.yaml has, and what it does to the player's instrument: from responses
 * (sweep-noise.mjs), plugs within their tolerance.
 */
import { bufferInput, overDesign } from '../../../dist/src/measure/over-design.js';
import { playerOf, stateFits } from '../../../dist/src/measure/through-plugs.js';
import { GENERATOR_OHM, benchOf, boardOf, divider, generator, lowPass, times } from './draws.mjs';
import { instrument, truthBehind } from './instrument.mjs';
import { takesOf } from './sweep-noise.mjs';

const TOLERANCE = 0.01;
const SIEMENS = 1e-6;
const FARAD = { rest: 300e-12, 'loop-x': 700e-12 };
const metre = (lengthM) => ({ lengthM, capacitanceFPerM: 100e-12 });
const boards = {
  buffered: { ...boardOf(['A'], ['x']), instrument, input: { wiring: metre(0.4), buffer: { inputResistanceOhm: 1e6, inputCapacitanceF: 30e-12, outputResistanceOhm: 220, noiseVPerRtHz: null, defeatable: false } } },
  passive: { ...boardOf(['A'], []), input: { wiring: metre(0.4), buffer: null }, loops: [{ id: 'x', name: 'x', expect: 'unity', supply: null, currentA: null, wiring: metre(0.6) }] },
};
/** What the board itself does: 220 Ω into 2 nF. */
const through = lowPass(1 / (2 * Math.PI * 220 * 2e-9));

const truth = truthBehind({ siemens: SIEMENS, farad: FARAD.rest }, through);

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
].map(([name, quality]) => ({ name, trials: 1600, kept: 1, run: (trials, count) => { plugTrials(trials, count, quality); } }));
