/**
 * Boards that do not exist, drawn from a seed: 2 to 16 loops, one to three outputs, with and without a buffer, on supplies
 * whose outlets feed one loop or several, each with its own noise, wiring, mains and bench; half of those that split take one output
 * before the loops. Without a fault each of them is a
 * good board. All of it is invented.
 */
import { randomStream } from '../../dist/src/simulate/random.js';
import { USUAL_BENCH } from '../../dist/src/simulate/model.js';

/** Draws from ranges; everything follows from the seed. */
export function draws(seed) {
  const random = randomStream(seed);
  const between = (low, high) => low + (high - low) * random.uniform();
  return {
    between,
    /** Even in the logarithm. */
    across: (low, high) => low * (high / low) ** random.uniform(),
    chance: (share) => random.uniform() < share,
    whole: (low, high) => Math.min(high, low + Math.floor((high - low + 1) * random.uniform())),
    pick: (list) => list[Math.min(list.length - 1, Math.floor(list.length * random.uniform()))],
    sign: () => (random.uniform() < 0.5 ? -1 : 1),
  };
}

const OUTPUT_IDS = ['A', 'B', 'C'];

/** @returns a model without faults, as the simulator takes it. */
export function drawBoard(seed, sizes = { low: 2, high: 16 }) {
  const { between, across, chance, whole } = draws(seed);
  const loopCount = whole(sizes.low, sizes.high);
  const outputCount = chance(0.25) ? 1 : chance(0.8) ? 2 : 3;
  const mainsHz = chance(0.5) ? 50 : 60;
  const lead = (lowM, highM) => ({ lengthM: between(lowM, highM), capacitanceFPerM: between(70e-12, 130e-12) });
  // Two output stages straight on the pickup would load it: a board that splits has a buffer.
  const hasBuffer = outputCount > 1 || chance(0.4);

  const supplies = Array.from({ length: whole(1, 3) }, (_, s) => ({ id: `S${s + 1}`, outlets: Array.from({ length: whole(2, 5) }, (_, o) => ({ id: String(o + 1), volts: 9, limitA: 0.5 })) }));
  const outlets = supplies.flatMap(({ id, outlets: all }) => all.map((outlet) => `${id}.${outlet.id}`));
  const loops = Array.from({ length: loopCount }, (_, k) => {
    const isPassive = chance(0.1);
    return {
      id: `loop${k + 1}`,
      name: `loop ${k + 1}`,
      expect: chance(0.6) ? 'unity' : 'effect',
      supply: isPassive ? null : outlets[whole(0, outlets.length - 1)],
      currentA: isPassive ? null : 0.02,
      wiring: chance(0.7) ? lead(0.2, 1.5) : null,
    };
  });
  const outputs = OUTPUT_IDS.slice(0, outputCount).map((id) => ({
    id,
    name: `output ${id}`,
    loadOhm: 1e6,
    lift: chance(0.6),
    polaritySwitch: outputCount > 1 && chance(0.5),
    isolated: hasBuffer && chance(0.4),
  }));
  const board = {
    name: `Board ${seed}`,
    serial: null,
    mainsHz,
    limits: { kind: 'named', name: 'studio-quiet' },
    instrument: {
      pickup: { resistanceOhm: 8200, inductanceH: 3.1, capacitanceF: 110e-12 },
      volumeOhm: 500e3,
      tone: { resistanceOhm: 500e3, capacitorF: 22e-9 },
      lead: { lengthM: 5, capacitanceFPerM: 95e-12 },
    },
    input: {
      wiring: hasBuffer ? lead(0.2, 0.6) : lead(0.1, 0.3),
      buffer: hasBuffer
        ? { inputResistanceOhm: 1e6, inputCapacitanceF: 30e-12, outputResistanceOhm: between(100, 470), noiseVPerRtHz: between(5e-9, 15e-9), defeatable: chance(0.6) }
        : null,
    },
    loops,
    outputs,
    match: OUTPUT_IDS.slice(1, outputCount).map((id) => ['A', id]),
    supplies,
    invented: true,
  };
  const bench = {
    name: 'bench',
    sampleRateHz: 48000,
    output: { channel: 1, fullScaleDbu: { value: 12, tolerance: 0.1 }, resistanceOhm: 100 },
    inputs: outputs.map(({ id }, k) => ({ channel: k + 1, output: id, fullScaleDbu: { value: 18, tolerance: 0.1 }, resistanceOhm: 1e6 })),
    plugs: [{ id: 'plug10k', resistanceOhm: { value: 10000, tolerance: 100 } }],
    loads: outputs.map(({ id }) => ({ id: `load${id}`, output: id, resistanceOhm: { value: 10000, tolerance: 100 } })),
    lead: { lengthM: 0.5, capacitanceFPerM: 100e-12 },
  };
  const device = (expect) => ({
    inputResistanceOhm: across(470e3, 1e6),
    inputCapacitanceF: between(20e-12, 60e-12),
    outputResistanceOhm: across(100, 1000),
    // What a compressor or a drive does is its own business; a loop that should change nothing is trimmed to 0.1 dB.
    gain: expect === 'unity' ? 10 ** (between(-0.1, 0.1) / 20) : 10 ** (between(-1, 1.5) / 20),
    noise: { densityPerRtHz: across(15e-9, 50e-9), cornerHz: between(10, 60) },
    bandwidthHz: expect === 'unity' ? across(150e3, 400e3) : across(40e3, 200e3),
  });
  const transformer = { ratio: 1, primaryResistanceOhm: 60, secondaryResistanceOhm: 60, magnetisingH: 20, leakageH: 2e-3, windingCapacitanceF: 150e-12 };
  const boardTruth = {
    build: {
      devices: Object.fromEntries(loops.map(({ id, supply, expect }) => [id, supply === null ? null : device(expect)])),
      // Without a buffer, or with it out, all of it hangs on the pickup: a good board keeps it short.
      wiring: !hasBuffer ? lead(0.1, 0.3) : board.input.buffer.defeatable ? lead(0.2, 0.6) : lead(0.5, 1.5),
      outputs: Object.fromEntries(
        outputs.map(({ id, isolated }) => [
          id,
          {
            driver: !hasBuffer ? null : { inputResistanceOhm: 1e6, inputCapacitanceF: 20e-12, outputResistanceOhm: between(50, 150), noise: { densityPerRtHz: across(40e-9, 100e-9), cornerHz: between(10, 40) } },
            transformer: isolated ? transformer : null,
          },
        ]),
      ),
    },
    loopDelayS: {},
    mainsHz: mainsHz * (1 + between(-0.003, 0.003)),
    // A hum that any board has, at each output.
    residualHum: outputs.flatMap(({ id }) => [
      { output: id, pattern: 'magnetic', levelDbu: between(-125, -116) },
      { output: id, pattern: 'rectifier-ripple', levelDbu: between(-126, -118) },
    ]),
    terminationOhm: 0.1,
    clickPeakV: across(0.1e-3, 0.5e-3),
  };
  const benchTruth = {
    ...USUAL_BENCH,
    playerPpm: between(-20, 20),
    recorderPpm: between(-20, 20),
    inputNoise: { densityPerRtHz: across(25e-9, 55e-9), cornerHz: 30 },
  };
  // Some boards take the last output before the loops, to a tuner or to tape, and have digital effects: drawn last, so that all else stays.
  const isDry = outputCount > 1 && chance(0.5);
  const digital = loops.filter(({ supply }) => supply !== null && chance(0.4)).map(({ id }) => id);
  const withDry = isDry
    ? {
        board: { ...board, match: board.match.slice(0, -1) },
        boardTruth: { ...boardTruth, build: { ...boardTruth.build, dryOutputs: [OUTPUT_IDS[outputCount - 1]] }, loopDelayS: Object.fromEntries(digital.map((id) => [id, across(0.8e-3, 6e-3)])) },
      }
    : { board, boardTruth };
  return { ...withDry, bench, benchTruth, faults: [] };
}
