/** Predictions against ngspice on the same instruments and boards, against formulas, and against what must hold of any board. */
import { describe, expect, it } from 'vitest';
import fc from 'fast-check';
import { pathNetwork, type BoardPath } from '../../src/circuit/board-network.js';
import { designedShunt, powerResponse, predict, straightPath } from '../../src/circuit/prediction.js';
import type { BenchPath, PlayerPrediction, Prediction, Route } from '../../src/circuit/prediction.js';
import { toneFigures, type ToneFigures } from '../../src/circuit/tone.js';
import johnson from '../standards/johnson-noise.json' with { type: 'json' };
import spice from '../outside/ngspice/tone.json' with { type: 'json' };

const lead = (lengthM: number, pFPerM: number): { lengthM: number; capacitanceFPerM: number } => ({ lengthM, capacitanceFPerM: pFPerM * 1e-12 });
const output = { id: 'A', loadOhm: 1e6, lift: false, polaritySwitch: false, isolated: false };

/** The board of tests/outside/ngspice/tone_figures.py. */
const board: BoardPath = {
  instrument: {
    pickup: { resistanceOhm: 8200, inductanceH: 3.1, capacitanceF: 110e-12 },
    volumeOhm: 5e5,
    tone: { resistanceOhm: 5e5, capacitorF: 22e-9 },
    lead: lead(5, 95),
  },
  input: {
    wiring: lead(0.4, 100),
    buffer: { inputResistanceOhm: 1e6, inputCapacitanceF: 30e-12, outputResistanceOhm: 220, noiseVPerRtHz: 9e-9, defeatable: true },
  },
  loops: [],
  outputs: [{ ...output, wiring: lead(3, 100) }],
};
const bench: BenchPath = { generatorOhm: 100, plugs: [{ id: 'plug10k', ohm: 1e4 }], straightLead: lead(0.5, 100), loads: { A: { ohm: 1e6 } } };

const prediction = predict(board, bench);
const of = (from: Prediction, route: Route, volume = 10): PlayerPrediction => from.player.find((p) => p.route === route && p.volume === volume)!;

type Row = (typeof spice.cases)[number];
const spiceCase = (name: string): Row => spice.cases.find((c) => c.name === name)!;

describe('ngspice finds the same on the same netlists', () => {
  const cases = ([10, 7] as const).flatMap((volume) =>
    (['straight-lead', 'buffer-in', 'buffer-out'] as const).map((route) => ({ route, volume, name: `${route === 'straight-lead' ? 'straight' : route}-${volume}` })),
  );

  it.each(cases)('$name', ({ route, volume, name }) => {
    const want = spiceCase(name);
    const got = of(prediction, route, volume);
    // The circuit's tolerance is 0.01 dB; a grid of 2000 points a decade leaves less than 0.002 dB on these curves.
    for (const key of ['referenceDb', 'band2to5kDb', 'at5kDb', 'at10kDb', 'at20kDb'] as const) expect(Math.abs(got.tone[key] - want[key]), key).toBeLessThan(0.01);
    expect(got.tone.resonance === null).toBe(want.resonanceHz === null);
    if (want.resonanceHz !== null) {
      expect(Math.abs(got.tone.resonance!.frequencyHz / want.resonanceHz - 1)).toBeLessThan(2e-4);
      expect(Math.abs(got.tone.resonance!.heightDb - want.resonanceHeightDb!)).toBeLessThan(0.01);
    }
    // A slope of 12 dB an octave turns 0.002 dB into 1e-4 of the frequency.
    expect(Math.abs(got.tone.cornerHz! / want.cornerHz! - 1)).toBeLessThan(2e-4);
    // Noise of the circuit is held to 0.05 dB; both integrals are good to 0.01 dB.
    expect(Math.abs(got.noise.unweightedDbu - want.noiseDbu)).toBeLessThan(0.02);
    expect(Math.abs(got.noise.aWeightedDbu - want.noiseADbu)).toBeLessThan(0.02);
  });

  it('a metre more on the straight lead', () => {
    for (const volume of [10, 7]) {
      const [metre] = of(prediction, 'straight-lead', volume).metreMore;
      const [less, more] = [spiceCase(`straight-${volume}`), spiceCase(`metre-more-${volume}`)];
      expect(metre).toMatchObject({ where: 'before-board', capacitanceF: 95e-12 });
      expect(Math.abs(metre.loses2to5kDb - (less.band2to5kDb - more.band2to5kDb))).toBeLessThan(0.01);
      if (less.resonanceHz !== null) expect(Math.abs(metre.resonanceShiftHz! - (more.resonanceHz! - less.resonanceHz))).toBeLessThan(1);
    }
  });

  it('the noise with the input shorted', () => {
    const want = spiceCase('shorted');
    const got = prediction.terminated.find(({ route }) => route === 'buffer-in')!.noise;
    expect(Math.abs(got.unweightedDbu - want.noiseDbu)).toBeLessThan(0.02);
    expect(Math.abs(got.aWeightedDbu - want.noiseADbu)).toBeLessThan(0.02);
  });
});

describe('the player’s lead', () => {
  it('a metre less gives back what a metre more takes from a lead that is a metre shorter', () => {
    const withLead = (lengthM: number): Prediction => predict({ ...board, instrument: { ...board.instrument!, lead: lead(lengthM, 95) } }, { ...bench, plugs: [] });
    const shorter = withLead(4);
    for (const route of prediction.routes) {
      const [here, there] = [of(prediction, route), of(shorter, route)];
      const [more] = there.metreMore;
      // The same network twice, with the capacitance summed in another order.
      expect(here.metreLess!.gains2to5kDb).toBeCloseTo(more.loses2to5kDb, 6);
      expect(here.metreLess!.resonanceShiftHz).toBeCloseTo(-more.resonanceShiftHz!, 2);
      expect(of(prediction, route, 7).metreLess).toBeNull();
    }
    // Of a lead of half a metre no metre can be taken.
    expect(of(withLead(0.5), 'straight-lead').metreLess).toBeNull();
  });
});

describe('losses', () => {
  it('are what the straight lead has and the board has not', () => {
    const [straight, through] = [of(prediction, 'straight-lead'), of(prediction, 'buffer-out')];
    expect(straight.loss).toBeNull();
    expect(through.loss!.at5kDb).toBeCloseTo(straight.tone.at5kDb - through.tone.at5kDb, 12);
    expect(through.loss!.band2to5kDb).toBeCloseTo(spiceCase('straight-10').band2to5kDb - spiceCase('buffer-out-10').band2to5kDb, 2);
  });

  it('come apart into the parts that cause them, and a buffer keeps what is behind it away', () => {
    const out = of(prediction, 'buffer-out').hanging;
    expect(out.map(({ part, capacitanceF }) => [part, Math.round(capacitanceF! * 1e12)])).toEqual([
      ['input wiring', 40],
      ['wiring of output A', 300],
    ]);
    // 300 pF of 340 cost by far the most.
    expect(out[1].costs2to5kDb).toBeGreaterThan(5 * out[0].costs2to5kDb);
    expect(of(prediction, 'buffer-in').hanging.map(({ part }) => part)).toEqual(['input wiring', 'buffer input']);
  });

  it('name an input resistance that is not an amplifier’s', () => {
    const low = { ...board, input: { ...board.input, buffer: { ...board.input.buffer!, inputResistanceOhm: 220e3 } } };
    const part = of(predict(low, bench), 'buffer-in').hanging.find(({ resistanceOhm }) => resistanceOhm !== null)!;
    expect(part).toMatchObject({ part: 'input resistance', capacitanceF: null });
    expect(part.resistanceOhm! / 220e3).toBeCloseTo(1, 6);
    // Made 1 MΩ, the board is the one above.
    const gain = of(prediction, 'buffer-in').tone.band2to5kDb - of(predict(low, bench), 'buffer-in').tone.band2to5kDb;
    expect(part.costs2to5kDb).toBeCloseTo(gain, 6);
  });
});

describe('what the plug will see', () => {
  it('is wiring and buffer, or all wiring, side by side', () => {
    const pF = (state: string): number => designedShunt(board, state).capacitanceF * 1e12;
    expect(pF('rest')).toBeCloseTo(70, 6);
    expect(pF('unbuffered')).toBeCloseTo(340, 6);
    expect(designedShunt(board, 'unbuffered', { A: { ohm: 5e5, farad: 60e-12 } }).capacitanceF * 1e12).toBeCloseTo(400, 6);
    expect(designedShunt(board, 'rest').resistanceOhm).toBeCloseTo(1e6, 3);
  });

  it('gives the droop of a first-order low-pass against that of the straight lead', () => {
    const { droop, cornerHz } = prediction.plugs.find(({ route }) => route === 'buffer-out')!;
    // 10.1 kΩ beside 1 MΩ into 340 pF, over the same into 50 pF; each from its own level near 320 Hz, where both are 0.
    const r = (10100 * 1e6) / 1010100;
    const level = (f: number, c: number): number => -10 * Math.log10(1 + (2 * Math.PI * f * r * c) ** 2);
    const droopAt = (f: number): number => level(f, 340e-12) - level(f, 50e-12) - (level(320, 340e-12) - level(320, 50e-12));
    expect(droop.at10kDb).toBeCloseTo(droopAt(10000), 4);
    expect(droop.at20kDb).toBeCloseTo(droopAt(20000), 4);
    expect(cornerHz).toBeNull();
  });
});

describe('thermal noise', () => {
  // R, density at 290 K, …, dBu in 20 kHz at 290 K, …, the same A-weighted (Johnson, Nyquist; computed, 0.01 dB).
  const rows = johnson.rows.map(([ohm, , , , , dbu, , dbuA]) => [ohm, dbu, dbuA] as const);
  it.each(rows)('of %d Ω is that of the published row', (ohm, dbu, dbuA) => {
    // A buffer whose output resistance is the row's, into a load that takes nothing away; input shorted.
    const one: BoardPath = {
      ...board,
      input: { wiring: null, buffer: { inputResistanceOhm: 1e9, inputCapacitanceF: 0, outputResistanceOhm: ohm, noiseVPerRtHz: null, defeatable: false } },
      outputs: [{ ...output, loadOhm: 1e15 }],
    };
    const { noise } = predict(one, bench).terminated[0];
    // Rows have two decimals and are of 0 to 20 kHz: 20 Hz less is 0.004 dB.
    expect(Math.abs(noise.unweightedDbu - dbu)).toBeLessThan(0.01);
    expect(Math.abs(noise.aWeightedDbu - dbuA)).toBeLessThan(0.012);
  });
});

describe('what holds of every board', () => {
  const metres = fc.double({ min: 0.1, max: 12, noNaN: true });
  const boards = fc
    .record({
      own: metres,
      wiring: metres,
      behind: metres,
      more: metres,
      inductance: fc.double({ min: 1, max: 10, noNaN: true }),
      ohm: fc.double({ min: 2e5, max: 4e6, noNaN: true }),
      pF: fc.double({ min: 0, max: 200, noNaN: true }),
    })
    .map((draw) => {
      const made = (ownM: number, wiringM: number, behindM: number): BoardPath => ({
        ...board,
        instrument: { ...board.instrument!, pickup: { resistanceOhm: 8200, inductanceH: draw.inductance, capacitanceF: 110e-12 }, lead: lead(ownM, 95) },
        input: { wiring: lead(wiringM, 100), buffer: { ...board.input.buffer!, inputResistanceOhm: draw.ohm, inputCapacitanceF: draw.pF * 1e-12 } },
        outputs: [{ ...output, wiring: lead(behindM, 100) }],
      });
      return { ...draw, made };
    });
  /** As `predict` has it, without all else that it predicts. */
  const toneOf = (path: BoardPath, state: string): ToneFigures => {
    const { network, source, outputs } = state === 'lead' ? straightPath(path.instrument!) : pathNetwork(path, { state, source: { kind: 'instrument' } });
    return toneFigures(powerResponse(network, source, [...outputs.values()][0]));
  };

  it('these are the figures of the prediction', () => {
    expect(toneOf(board, 'lead')).toEqual(of(prediction, 'straight-lead').tone);
    expect(toneOf(board, 'unbuffered')).toEqual(of(prediction, 'buffer-out').tone);
  });

  it('more lead never raises the resonance, wherever it is added', () => {
    fc.assert(
      fc.property(boards, ({ own, wiring, behind, more, made }) => {
        const base = made(own, wiring, behind);
        for (const longer of [made(own + more, wiring, behind), made(own, wiring + more, behind), made(own, wiring, behind + more)]) {
          for (const state of ['lead', 'rest', 'unbuffered']) {
            const [before, after] = [toneOf(base, state).resonance, toneOf(longer, state).resonance];
            // A peak that does not move is found again to 1e-7 of its frequency; behind the buffer 220 Ω with 1 nF move it by 1e-6.
            if (before && after) expect(after.frequencyHz).toBeLessThanOrEqual(before.frequencyHz * (1 + (state === 'rest' ? 1e-5 : 1e-7)));
          }
        }
      }),
      { seed: 5, numRuns: 25 },
    );
  });

  it('with the buffer in, the wiring behind it is not heard', () => {
    fc.assert(
      fc.property(boards, ({ own, wiring, behind, more, made }) => {
        const [a, b] = [behind, behind + more].map((m) => toneOf(made(own, wiring, m), 'rest'));
        // 220 Ω with 2.4 nF: 301 kHz, 0.02 dB at 20 kHz and 0.0012 dB at 5 kHz.
        expect(Math.abs(a.band2to5kDb - b.band2to5kDb)).toBeLessThan(0.001);
        expect(Math.abs(a.at20kDb - b.at20kDb)).toBeLessThan(0.03);
      }),
      { seed: 6, numRuns: 40 },
    );
  });

  it('the straight lead knows nothing of the board', () => {
    fc.assert(
      fc.property(boards, ({ own, wiring, behind, more, made }) => {
        expect(toneOf(made(own, wiring + more, behind), 'lead')).toEqual(toneOf(made(own, wiring, behind), 'lead'));
      }),
      { seed: 7, numRuns: 10 },
    );
  });
});

describe('a board that says less', () => {
  it('without an instrument: plugs, input and noise, no player', () => {
    const without = predict({ ...board, instrument: null }, bench);
    expect(without.player).toEqual([]);
    expect(without.plugs).toHaveLength(2);
    expect(without.terminated).toHaveLength(2);
    expect(without.assumed.join(' ')).not.toMatch(/tone control|volume/i);
  });

  it('without a buffer there is one way through it; without a volume pot one setting', () => {
    const bare = predict({ ...board, instrument: { ...board.instrument!, volumeOhm: null, tone: null, lead: null }, input: { wiring: null, buffer: null } }, bench);
    expect(bare.routes).toEqual(['straight-lead', 'no-buffer']);
    expect(bare.player.map(({ volume }) => volume)).toEqual([10, 10]);
    expect(bare.assumed).toContain('No volume control, as none is given.');
    expect(bare.player[0].metreMore[0].capacitanceF).toBe(100e-12);
  });

  it('lists what it assumed of outputs', () => {
    const split = predict({ ...board, outputs: [{ ...output, loadOhm: null }, { ...output, id: 'B', isolated: true }] }, bench);
    expect(split.assumed.join('\n')).toMatch(/Output A: a unity driver[^]*Output B: an isolation transformer/);
    expect(split.assumed.join('\n')).toContain('Output A: a load of 1 MΩ.');
  });
});
