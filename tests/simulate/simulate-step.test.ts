/** Captures of a simulated board hold what was put into them. */
import { describe, expect, it } from 'vitest';
import { stepCode } from '../../src/board/step-code.js';
import { pathNetwork } from '../../src/circuit/board-network.js';
import { outputNoise } from '../../src/circuit/noise.js';
import { response } from '../../src/circuit/response.js';
import { nextPowerOfTwo, rfft } from '../../src/numerics/fft.js';
import { renderTake, takeTimetable, toneAt, type TakeIdentity } from '../../src/signals/take.js';
import { sweepTopHz } from '../../src/signals/sweep.js';
import type { Fault } from '../../src/simulate/faults.js';
import { IDEAL_BENCH, USUAL_BENCH, type SimulationModel } from '../../src/simulate/model.js';
import { randomStream, streamSeed } from '../../src/simulate/random.js';
import { simulateStep } from '../../src/simulate/simulate-step.js';
import { DBU_REFERENCE_V } from '../../src/units/decibels.js';
import { bandPower, bench, board, dbuOf, lineAt, model, plainBoard, quietTruth, step } from './fixtures.js';

const RATE = 48000;
/** Lengths whose transform is as long as they are: the next longer one takes twice the time. */
const short = { idleS: (2 ** 18 - 0.5) / RATE };
const long = { idleS: (2 ** 19 - 0.5) / RATE };
/** dBu of a peak amplitude in samples. */
const lineDbu = (amplitude: number): number => 20 * Math.log10(amplitude) + 18;

/** Where a take begins in its capture: margin, latency and the capture's own offset, the first draw of its stream. */
const takeStartS = (seed: number, id: string, latencyS = 0): number => 1 + latencyS + 0.1 * randomStream(streamSeed(seed, id)).uniform();

/** What the markers of a step's take say. */
const identityOf = (id: string): TakeIdentity => ({ stepCode: stepCode(id), levelDbfs: -20, sweepTopHz: sweepTopHz(RATE) });

describe('every capture follows from model, step and seed', () => {
  it('bit for bit, whatever was rendered before', () => {
    const once = simulateStep(model({ benchTruth: USUAL_BENCH }), step('rest.idle'), 7, short);
    const shared = model({ benchTruth: USUAL_BENCH });
    simulateStep(shared, step('rest+plug10k.flex'), 3, { flexS: 4 });
    simulateStep(shared, step('loop-eq.idle'), 7, { idleS: 3 });
    const again = simulateStep(shared, step('rest.idle'), 7, short);
    again.channels.forEach((samples, c) => expect(samples.every((v, n) => v === once.channels[c][n])).toBe(true));
    expect(once.channels).toHaveLength(2);
    expect(once.sampleRateHz).toBe(RATE);
    expect(once.channels[0]).toHaveLength(2 ** 18);
  });

  it('differently for another seed and for another step', () => {
    const idle = model();
    const first = (id: string, seed: number): Float64Array => simulateStep(idle, step(id), seed, short).channels[0].slice(0, 100);
    expect(first('rest.idle', 8)).not.toEqual(first('rest.idle', 7));
    expect(first('lift-A.idle', 7)).not.toEqual(first('rest.idle', 7));
  });

  it('in integers of 24 bits', () => {
    const { channels } = simulateStep(model(), step('rest.idle'), 1, short);
    for (const samples of channels) expect(samples.every((v) => Number.isInteger(v * 2 ** 23))).toBe(true);
  });
});

describe('idle noise', () => {
  // Loud enough to stand well above the steps of 24 bits (−146 dBFS/20 kHz): 1 µV/√Hz.
  const loud = { ...plainBoard, input: { ...plainBoard.input, buffer: { ...plainBoard.input.buffer!, noiseVPerRtHz: 1e-6 } } };

  it('is the circuit’s own noise density, band by band', () => {
    const truth = { ...quietTruth, terminationOhm: 47000 };
    const { channels } = simulateStep(model({ board: loud, boardTruth: truth }), step('rest.idle'), 2, long);
    const { network, outputs } = pathNetwork(loud, { state: 'rest', source: { kind: 'generator', resistanceOhm: 47000, plugOhm: null } });
    for (const [low, high] of [
      [20, 200],
      [200, 2000],
      [2000, 8000],
      [8000, 20000],
    ]) {
      const frequencies = Float64Array.from({ length: 200 }, (_, k) => low + ((high - low) * (k + 0.5)) / 200);
      const { densityVPerRtHz } = outputNoise(network, outputs.get('A')!, frequencies);
      const power = densityVPerRtHz.reduce((sum, d) => sum + (d * d * (high - low)) / 200, 0);
      const want = 10 * Math.log10(power / DBU_REFERENCE_V ** 2);
      const got = dbuOf(bandPower(channels[0], low, high, RATE));
      // 10.9 s × bandwidth independent bins: at 180 Hz a standard error of 0.1 dB, at 6 kHz and more 0.017 dB.
      const error = (10 / Math.LN10) / Math.sqrt(10.9 * (high - low));
      expect(Math.abs(got - want), `${low} to ${high} Hz: got ${got} dBu, want ${want} dBu`).toBeLessThan(4 * error);
    }
  });

  it('rises as 1/f where a device has excess noise', () => {
    const faults: Fault[] = [{ kind: 'loop-noise', loop: 'comp', densityVPerRtHz: 1e-6, cornerHz: 1000 }];
    const { channels } = simulateStep(model({ faults }), step('loop-comp.idle'), 2, long);
    const at = (low: number, high: number): number => bandPower(channels[1], low, high, RATE) / (high - low);
    // Mean of 1 + 1000/f over a band: 1 + 1000·ln(high/low)/(high − low).
    const mean = (low: number, high: number): number => 1 + (1000 * Math.log(high / low)) / (high - low);
    const ratio = at(50, 150) / at(10000, 20000);
    // A thousand bins in the low band: 3 % standard error.
    expect(Math.abs(ratio / (mean(50, 150) / mean(10000, 20000)) - 1)).toBeLessThan(0.13);
    // The same loop out of the path adds nothing.
    const rest = simulateStep(model({ faults }), step('rest.idle'), 2, short).channels[1];
    expect(dbuOf(bandPower(rest, 20, 20000, RATE))).toBeLessThan(dbuOf(bandPower(channels[1], 20, 20000, RATE)) - 20);
  });

  it('of the input buffer is heard in both outputs at once, that of the drivers in one', () => {
    const driver = { inputResistanceOhm: 1e6, inputCapacitanceF: 0, outputResistanceOhm: 100 };
    const noisy = { ...driver, noise: { densityPerRtHz: 1e-6, cornerHz: 0 } };
    const correlation = (shared: number, own: boolean): number => {
      const build = { outputs: { A: { driver: own ? noisy : driver, transformer: null }, B: { driver: own ? noisy : driver, transformer: null } } };
      const withNoise = { ...board, input: { ...board.input, buffer: { ...board.input.buffer!, noiseVPerRtHz: shared } } };
      const [a, b] = simulateStep(model({ board: withNoise, boardTruth: { ...quietTruth, build } }), step('rest.idle'), 5, short).channels;
      let [ab, aa, bb] = [0, 0, 0];
      a.forEach((v, n) => {
        ab += v * b[n];
        aa += v * v;
        bb += b[n] * b[n];
      });
      return ab / Math.sqrt(aa * bb);
    };
    expect(correlation(1e-6, false)).toBeGreaterThan(0.99);
    // 262 144 samples: a standard error of 0.002.
    expect(Math.abs(correlation(9e-9, true))).toBeLessThan(0.01);
    expect(Math.abs(correlation(1e-6, true) - 0.5)).toBeLessThan(0.01);
  });

  it('of the recorder stays when nothing is plugged in, and is what the bench says', () => {
    const spare = { ...bench, inputs: [bench.inputs[0], { ...bench.inputs[1], channel: 3, output: 'B' }] };
    const benchTruth = { ...IDEAL_BENCH, inputNoise: { densityPerRtHz: 1e-6, cornerHz: 0 } };
    const { channels } = simulateStep(model({ bench: spare, benchTruth }), step('bench.idle'), 1, short);
    expect(channels).toHaveLength(3);
    for (const samples of channels) {
      const want = 10 * Math.log10((1e-12 * 19980) / DBU_REFERENCE_V ** 2);
      expect(Math.abs(dbuOf(bandPower(samples, 20, 20000, RATE)) - want)).toBeLessThan(0.06);
    }
  });

  it('has a DC of nothing but dither', () => {
    const { channels } = simulateStep(model(), step('rest.idle'), 3, short);
    const mean = channels[0].reduce((a, b) => a + b, 0) / channels[0].length;
    expect(Math.abs(mean)).toBeLessThan(1e-9);
  });
});

describe('lines', () => {
  const hum: Fault = { kind: 'loop-hum', loop: 'comp', pattern: 'magnetic', levelDbu: -80 };

  it('of hum are at the true mains frequency on the recorder’s clock, at the level asked for, in that loop only', () => {
    const parts = { faults: [hum], benchTruth: { ...IDEAL_BENCH, recorderPpm: 200 } };
    const simulated = model(parts);
    const { channels } = simulateStep(simulated, step('loop-comp.idle'), 1, long);
    const trueRate = RATE * (1 + 200e-6);
    expect(lineDbu(lineAt(channels[1], 49.97, trueRate).amplitude)).toBeCloseTo(-80, 1);
    expect(lineDbu(lineAt(channels[1], 149.91, trueRate).amplitude)).toBeCloseTo(-87, 1);
    // Its frequency on the nominal rate, by how far the phase turns against 49.97 Hz from one half (5.5 s) to the next: 200 ppm low.
    const half = channels[1].length / 2;
    const turns = (49.97 * half) / RATE;
    const [first, second] = [channels[1].subarray(0, half), channels[1].subarray(half)].map((part) => lineAt(part, 49.97, RATE).phaseRad);
    const advance = (second - first) / (2 * Math.PI) - turns;
    const offHz = (advance - Math.round(advance)) / (half / RATE);
    expect(Math.abs(offHz + 49.97 * 200e-6), `off by ${offHz} Hz`).toBeLessThan(0.0005);
    const rest = simulateStep(simulated, step('rest.idle'), 1, long).channels[1];
    expect(lineDbu(lineAt(rest, 49.97, trueRate).amplitude)).toBeLessThan(-115);
  });

  it('of a supply’s whine come in with every loop on its outlet, and add up', () => {
    const faults: Fault[] = [{ kind: 'whine', outlet: 'S2.1', fundamentalHz: 1013, harmonicsDb: [0, -6, -12], levelDbu: -85 }];
    const simulated = model({ faults });
    const at = (id: string, hz: number): number => lineDbu(lineAt(simulateStep(simulated, step(id), 1, short).channels[1], hz, RATE).amplitude);
    expect(at('loop-delay.idle', 1013)).toBeCloseTo(-85, 1);
    expect(at('loop-reverb.idle', 1013)).toBeCloseTo(-85, 1);
    expect(at('loop-reverb.idle', 3039)).toBeCloseTo(-97, 0);
    expect(at('all.idle', 1013)).toBeCloseTo(-79, 1);
    expect(at('loop-comp.idle', 1013)).toBeLessThan(-115);
    expect(at('rest.idle', 1013)).toBeLessThan(-115);
    expect(at('bench.idle', 1013)).toBeLessThan(-115);
  });

  it('of a ground loop at an output are there only, and gone with its lift if the lift cures it', () => {
    const at = (liftCures: boolean, id: string, channel: number): number => {
      const faults: Fault[] = [{ kind: 'output-hum', output: 'A', pattern: 'magnetic', levelDbu: -75, liftCures }];
      return lineDbu(lineAt(simulateStep(model({ faults }), step(id), 1, short).channels[channel], 49.97, RATE).amplitude);
    };
    expect(at(true, 'rest.idle', 0)).toBeCloseTo(-75, 1);
    expect(at(true, 'rest.idle', 1)).toBeLessThan(-115);
    expect(at(true, 'lift-A.idle', 0)).toBeLessThan(-115);
    expect(at(false, 'lift-A.idle', 0)).toBeCloseTo(-75, 1);
  });

  it('residual ones are heard with the board, not with the bare bench or a lead', () => {
    const boardTruth = { ...quietTruth, residualHum: [{ output: 'B', pattern: 'rectifier-ripple' as const, levelDbu: -90 }] };
    const at = (id: string): number => lineDbu(lineAt(simulateStep(model({ boardTruth }), step(id), 1, short).channels[1], 99.94, RATE).amplitude);
    expect(at('rest.idle')).toBeCloseTo(-90, 1);
    expect(at('bench.idle')).toBeLessThan(-115);
    expect(at('lead+plug10k.idle')).toBeLessThan(-115);
  });
});

describe('a take', () => {
  const plain = model({ board: plainBoard, bench: { ...bench, inputs: [bench.inputs[0]] } });

  /** Response by plain division of spectra between two frequencies: capture over the take as the recorder's clock has it. */
  function measured(id: string, seed: number, simulated = plain): { hz: number[]; db: number[]; phase: number[] } {
    const { channels } = simulateStep(simulated, step(id), seed, {});
    const { playerPpm, recorderPpm, latencyS } = simulated.benchTruth;
    const rate = (RATE * (1 + recorderPpm * 1e-6)) / (1 + playerPpm * 1e-6);
    const identity = identityOf(id);
    const played = renderTake(identity, rate, takeStartS(seed, id, latencyS), channels[0].length);
    const size = nextPowerOfTwo(played.length);
    const x = rfft(played, size);
    const y = rfft(channels[0], size);
    const hz: number[] = [];
    const db: number[] = [];
    const phase: number[] = [];
    // Averages of cross and own power over 1 % around each frequency.
    for (let f = 25; f < 20000; f *= 1.3) {
      let [re, im, own] = [0, 0, 0];
      for (let k = Math.round((f * 0.995 * size) / RATE); k <= (f * 1.005 * size) / RATE; k++) {
        re += y.re[k] * x.re[k] + y.im[k] * x.im[k];
        im += y.im[k] * x.re[k] - y.re[k] * x.im[k];
        own += x.re[k] ** 2 + x.im[k] ** 2;
      }
      hz.push(f);
      // 12 dBu out against 18 dBu in: −6 dB of samples are 0 dB of volts.
      db.push(20 * Math.log10(Math.hypot(re, im) / own) + 6);
      phase.push((Math.atan2(im, re) * 180) / Math.PI);
    }
    return { hz, db, phase };
  }

  it.each([
    ['rest+plug10k.take', 'rest'],
    ['unbuffered+plug10k.take', 'unbuffered'],
    ['loop-eq+plug10k.take', 'loop-eq'],
    ['lead+plug10k.take', 'lead'],
  ])('%s has passed through the circuit of that state', (id, state) => {
    const { hz, db, phase } = measured(id, 11);
    const { network, source, outputs } = pathNetwork(plainBoard, {
      state,
      source: { kind: 'generator', resistanceOhm: 100, plugOhm: 10000 },
      loads: { A: { ohm: 1e6 } },
      straightLead: bench.lead,
    });
    const want = response(network, source, outputs.get('A')!, Float64Array.from(hz));
    hz.forEach((f, k) => {
      const level = 20 * Math.log10(Math.hypot(want.re[k], want.im[k]));
      const turn = (Math.atan2(want.im[k], want.re[k]) * 180) / Math.PI;
      // Thermal noise of 10 kΩ lies 100 dB below the take; 0.001 dB and 0.01° are far above it and far below what is measured later.
      expect(Math.abs(db[k] - level), `${f} Hz: ${db[k]} dB, want ${level} dB`).toBeLessThan(0.001);
      expect(Math.abs(phase[k] - turn), `${f} Hz: ${phase[k]}°, want ${turn}°`).toBeLessThan(0.01);
    });
  });

  it('lies on the recorder’s time base: two clocks 150 ppm apart, a latency, and its own start', () => {
    const benchTruth = { ...IDEAL_BENCH, playerPpm: 100, recorderPpm: -50, latencyS: 0.02 };
    const { db, phase } = measured('bench.take', 4, { ...plain, benchTruth });
    db.forEach((value) => expect(Math.abs(value - 20 * Math.log10(1e6 / 1000100))).toBeLessThan(0.001));
    // A start wrong by a hundredth of a sample would turn 20 kHz by 1.5°; clocks wrong by 1 ppm would smear the sweep.
    phase.forEach((value) => expect(Math.abs(value)).toBeLessThan(0.02));
    expect(takeStartS(4, 'bench.take')).not.toBe(takeStartS(5, 'bench.take'));
  });

  it('carries the bench’s own response', () => {
    const benchTruth = { ...IDEAL_BENCH, highPassHz: 20, lowPassHz: 40000, rippleDb: 0.05, ripplePeriodHz: 5000 };
    const { hz, db } = measured('bench.take', 4, { ...plain, benchTruth });
    hz.forEach((f, k) => {
      const pole = -10 * Math.log10(1 + (20 / f) ** 2) - 10 * Math.log10(1 + (f / 40000) ** 2);
      const want = 20 * Math.log10(1e6 / 1000100) + 2 * pole + 0.05 * Math.cos((2 * Math.PI * f) / 5000);
      // Averaging over 1 %, five bins at 25 Hz, of a slope of 0.07 dB/% and of a ripple leaves a few thousandths.
      expect(Math.abs(db[k] - want), `${f} Hz: ${db[k]} dB, want ${want} dB`).toBeLessThan(0.01);
    });
  });

  const toneDb = (samples: Float64Array, fromS: number): { db: number; phaseRad: number } => {
    const from = Math.round(fromS * RATE);
    const { amplitude, phaseRad } = lineAt(samples.subarray(from, from + 1.8 * RATE), 997, RATE);
    return { db: lineDbu(amplitude), phaseRad };
  };
  const inTake = (id: string): number => takeStartS(1, id) + takeTimetable.tone.atS + 0.1;
  /** What passes a take passes the steady tone of a flex capture, a fifth as long. */
  const FLEX_S = 2.6;
  const toneOf = (simulated: SimulationModel, state: string): { db: number; phaseRad: number }[] =>
    simulateStep(simulated, step(`${state}.flex`), 1, { flexS: FLEX_S }).channels.map((samples) => toneDb(samples, 0.4));
  const played = toneDb(Float64Array.from({ length: FLEX_S * RATE }, (_, n) => toneAt(n / RATE, FLEX_S)), 0.4);
  const tone = (faults: Fault[], state: string): { db: number; phaseRad: number }[] => toneOf(model({ faults }), state);
  /** Difference of two phases, 0…π. */
  const turned = (a: number, b: number): number => Math.abs(Math.atan2(Math.sin(a - b), Math.cos(a - b)));

  it('comes out at −20 dBFS of the player’s 12 dBu: −8 dBu, or at the level asked for', () => {
    const simulated = model();
    const of = (levelDbfs?: number): { channels: Float64Array[]; remarks: readonly string[] } => simulateStep(simulated, step('rest.take'), 1, levelDbfs === undefined ? {} : { levelDbfs });
    const [a, b] = of().channels.map((samples) => toneDb(samples, inTake('rest.take')));
    // Losses: 100 Ω into the buffer's 1 MΩ, 220 Ω into the drivers' 500 kΩ together, 100 (and 220) Ω into 1 MΩ.
    expect(a.db).toBeCloseTo(-8 + 20 * Math.log10((1e6 / 1000100) * (5e5 / 500220) * (1e6 / 1000220)), 2);
    expect(b.db).toBeCloseTo(-8 + 20 * Math.log10((1e6 / 1000100) * (5e5 / 500220) * (1e6 / 1000100)), 2);
    const { channels, remarks } = of(-6.25);
    expect(remarks.join(' ')).not.toMatch(/beyond full scale/);
    expect(toneDb(channels[1], inTake('rest.take')).db - b.db).toBeCloseTo(13.75, 3);
  });

  it('shows an output with the wrong gain and one of wrong polarity', () => {
    const [a0, b0] = tone([], 'rest');
    const [a, b] = tone(
      [
        { kind: 'output-gain', output: 'B', gainDb: -0.4 },
        { kind: 'output-inverted', output: 'A' },
      ],
      'rest',
    );
    expect(b.db - b0.db).toBeCloseTo(-0.4, 3);
    expect(a.db - a0.db).toBeCloseTo(0, 4);
    expect(turned(a.phaseRad, a0.phaseRad)).toBeCloseTo(Math.PI, 3);
    expect(turned(b.phaseRad, b0.phaseRad)).toBeCloseTo(0, 3);
  });

  it('is turned over by a polarity switch', () => {
    const simulated = model();
    const [a, b] = toneOf(simulated, 'rest');
    const [ai, bi] = toneOf(simulated, 'invert-A');
    expect(turned(a.phaseRad, b.phaseRad)).toBeLessThan(0.01);
    expect(turned(ai.phaseRad, bi.phaseRad)).toBeGreaterThan(Math.PI - 0.01);
  });

  it('shows a loop that inverts, is too loud, or is dead, in its own state and in all, not at rest', () => {
    const faults: Fault[] = [
      { kind: 'loop-inverted', loop: 'eq' },
      { kind: 'loop-gain', loop: 'comp', gainDb: 2 },
      { kind: 'loop-dead', loop: 'delay' },
    ];
    const simulated = model({ faults });
    /** Phase of the tone against what was played. */
    const against = (state: string, of = simulated): { db: number; turn: number } => {
      const { db, phaseRad } = toneOf(of, state)[1];
      return { db, turn: turned(phaseRad, played.phaseRad) };
    };
    const eq = against('loop-eq');
    expect(eq.turn).toBeGreaterThan(3.1);
    expect(eq.db).toBeCloseTo(-8, 1);
    expect(against('loop-comp').db).toBeCloseTo(-6, 1);
    expect(against('loop-delay').db).toBeLessThan(-100);
    expect(against('rest').turn).toBeLessThan(0.04);
    expect(against('all', model({ faults: faults.slice(0, 2) })).turn).toBeGreaterThan(3.1);
  });

  it('comes later through a loop with latency', () => {
    const boardTruth = { ...quietTruth, loopDelayS: { reverb: 0.00123456 } };
    const simulated = model({ boardTruth, board: plainBoard, bench: plain.bench });
    const id = 'loop-reverb.take';
    const { channels } = simulateStep(simulated, step(id), 1);
    const start = takeStartS(1, id);
    const played = renderTake(identityOf(id), RATE, start + 0.00123456, channels[0].length);
    let error = 0;
    let power = 0;
    for (let n = 0; n < played.length; n++) {
      error += (channels[0][n] * 10 ** 0.3 - played[n]) ** 2;
      power += played[n] ** 2;
    }
    // 0.004 dB of loss in the 220 Ω and the 100 Ω is −66 dB; the 3.5 kHz·(50 ns) of the wiring's pole far less at the take's middle.
    expect(10 * Math.log10(error / power)).toBeLessThan(-55);
  });

  it('loses treble to a bad lead in a loop and at the input, through its source', () => {
    const noBuffer = { ...plainBoard, input: { wiring: plainBoard.input.wiring, buffer: null } };
    const droop = (faults: Fault[], id: string): number => {
      const { db } = measured(id, 2, { ...plain, board: noBuffer, faults });
      return db[db.length - 1] - db[10];
    };
    const sound = droop([], 'loop-eq+plug10k.take');
    expect(droop([{ kind: 'loop-capacitance', loop: 'eq', farad: 600e-12 }], 'loop-eq+plug10k.take')).toBeLessThan(sound - 1);
    expect(droop([{ kind: 'input-capacitance', farad: 600e-12 }], 'rest+plug10k.take')).toBeLessThan(sound - 1);
  });

  it('leaks into the neighbouring input, more at higher frequencies', () => {
    // Output B dead: what is left in its channel is the recorder's crosstalk.
    const faults: Fault[] = [{ kind: 'output-gain', output: 'B', gainDb: -200 }];
    const [a, b] = toneOf(model({ faults, benchTruth: { ...IDEAL_BENCH, crosstalkDb: -80 } }), 'rest');
    expect(b.db - a.db).toBeCloseTo(-80 + 20 * Math.log10(0.997), 1);
    expect(turned(b.phaseRad, a.phaseRad)).toBeCloseTo(Math.PI / 2, 1);
  });

  it('says so when the recorder is driven beyond full scale', () => {
    const hot = { ...bench, inputs: bench.inputs.map((input) => ({ ...input, fullScaleDbu: { value: -12, tolerance: null } })) };
    const { remarks } = simulateStep(model({ bench: hot }), step('rest.flex'), 1, { flexS: 1 });
    expect(remarks.join(' ')).toMatch(/Recorder channel 1 was driven beyond full scale/);
  });
});

describe('switching and flex', () => {
  it('one click per press, in and out of every loop, the loud one at its place', () => {
    const { channels } = simulateStep(model({ faults: [{ kind: 'loop-click', loop: 'eq', peakV: 0.1 }] }), step('rest.switching'), 1, { marginS: 0.6 });
    expect(simulateStep(model(), step('loop-eq.switching'), 1).channels[0]).toHaveLength(Math.ceil((2 + 1.2 * 10) * RATE));
    const peakAt = (press: number): number => {
      const from = Math.round((0.6 + 1.2 * press + 0.25) * RATE);
      return channels[0].subarray(from, from + 0.2 * RATE).reduce((peak, v) => Math.max(peak, Math.abs(v)), 0);
    };
    const perVolt = 1 / (Math.SQRT2 * DBU_REFERENCE_V * 10 ** (18 / 20));
    for (const press of [0, 1, 4, 5, 6, 7]) expect(peakAt(press) / perVolt).toBeCloseTo(1e-3, 4);
    for (const press of [2, 3]) expect(peakAt(press) / perVolt).toBeCloseTo(0.1, 4);
    // What the contact discharges through: 1 µF and 1 kΩ into the 220 Ω of the buffer, 1.22 ms.
    const at = Math.round((0.6 + 1.2 * 2 + 0.3) * RATE);
    const b = channels[1];
    const fall = (n: number): number => Math.log(b[at + 10]! / b[at + n]!) / ((n - 10) / RATE);
    expect(1e3 / fall(100)).toBeCloseTo(1.22, 1);
    expect(b[at - 10]! / perVolt).toBeCloseTo(0, 3);
    expect(channels[0]).toHaveLength(Math.ceil((1.2 + 1.2 * 8) * RATE));
  });

  it('a steady tone, with gaps where a lead is bad: at one output, or at the input for both', () => {
    const gaps = (faults: Fault[]): number[] => {
      const { channels } = simulateStep(model({ faults }), step('rest.flex'), 1, { flexS: 5.4 });
      return channels.map((samples) => {
        let count = 0;
        let quiet = 0;
        for (let n = RATE / 10; n < samples.length - RATE / 10; n++) {
          quiet = Math.abs(samples[n]) < 1e-3 ? quiet + 1 : 0;
          // 1.5 ms of next to nothing; a zero crossing of the tone stays that small for some 6 µs.
          if (quiet === 72) count++;
        }
        return count;
      });
    };
    expect(gaps([])).toEqual([0, 0]);
    expect(gaps([{ kind: 'flex-dropout', output: 'B', count: 4 }])).toEqual([0, 4]);
    expect(gaps([{ kind: 'flex-dropout', output: null, count: 3 }])).toEqual([3, 3]);
  });
});

describe('what does not fit is refused in words', () => {
  it.each([
    ['simulate.plug', 'rest+plug47k.take', [], /source plug "plug47k", which bench.yaml does not list; it lists plug10k/],
    ['circuit.state', 'loop-fuzz.idle', [], /no state "loop-fuzz"/],
    ['simulate.fault', 'rest.idle', [{ kind: 'loop-dead', loop: 'fuzz' }], /loop "fuzz".*comp, eq, delay, reverb/],
    ['simulate.fault', 'rest.idle', [{ kind: 'output-inverted', output: 'C' }], /output "C"/],
    [
      'simulate.fault',
      'rest.idle',
      [{ kind: 'whine', outlet: 'S9.1', fundamentalHz: 1000, harmonicsDb: [0], levelDbu: -90 }],
      /outlet "S9.1".*S1.1, S2.1/,
    ],
  ])('%s at %s', (code, id, faults, says) => {
    expect(() => simulateStep(model({ faults: faults as Fault[] }), step(id), 1, short)).toThrowError(says);
    expect(() => simulateStep(model({ faults: faults as Fault[] }), step(id), 1, short)).toThrowError(expect.objectContaining({ code }));
  });

  it('an uncalibrated bench gets full scales, and says which', () => {
    const bare = { ...bench, output: null, inputs: bench.inputs.map((input) => ({ ...input, fullScaleDbu: null })) };
    const { remarks } = simulateStep(model({ bench: bare }), step('rest.idle'), 1, short);
    expect(remarks).toContain("The player's full scale is 12 dBu.");
    expect(remarks).toContain('Recorder input 2: full scale is 18 dBu.');
  });
});
