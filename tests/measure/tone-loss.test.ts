import { describe, expect, it } from 'vitest';
import { memoryRecording } from '../../src/measure/recording.js';
import { fitShunt } from '../../src/measure/shunt-fit.js';
import type { NoFit, SeriesTake, ShuntFit } from '../../src/measure/shunt-fit.js';
import { findTakes } from '../../src/measure/take-search.js';
import { measureTake } from '../../src/measure/take.js';
import type { ResponseEstimate } from '../../src/measure/take.js';
import { droopFigures, shuntFigures } from '../../src/measure/tone-loss.js';
import { sweepTopHz } from '../../src/signals/sweep.js';
import { renderTake } from '../../src/signals/take.js';
import cable from '../standards/cable-lowpass.json' with { type: 'json' };
import { chain, gain, lowPass, through } from '../helpers/device.js';
import type { Complex } from '../helpers/device.js';
import { noise } from '../helpers/random.js';

const place = { state: 'unbuffered', source: 'plug', output: 'A', loop: null, capture: ['unbuffered+plug.take'] };
const take = renderTake({ stepCode: 1, levelDbfs: -12, sweepTopHz: sweepTopHz(48000) }, 48000, 1, 16 * 48000);
const located = findTakes(memoryRecording([take], 48000)).takes[0]!;

/** Voltage over R‖C behind a source resistance: Z/(Z + Rs). */
const divider = (sourceOhm: number, shuntOhm: number, farad: number) => (hz: number): Complex => {
  // 1 + Rs·(1/R + jωC)
  const re = 1 + sourceOhm / shuntOhm;
  const im = 2 * Math.PI * hz * farad * sourceOhm;
  const square = re * re + im * im;
  return [re / square, -im / square];
};

function measure(h: (hz: number) => Complex, hissRms: number, seed: number): ResponseEstimate {
  const hiss = noise(take.length, hissRms, seed);
  const recording = memoryRecording([through(take, 48000, h).map((v, i) => v + hiss[i]!)], 48000);
  return measureTake(recording, located, [0])[0]!.response;
}

describe('droop', () => {
  // Rows whose −3 dB corner is at 2 kHz or above: below, the reference band at 200–500 Hz itself is no longer flat.
  const rows = (cable.rows as number[][]).filter(([ohm, , , , corner]) => ohm! >= 1000 && corner! > 4000).filter((_, i) => i % 2 === 0);
  it.each(rows)('%d Ω with %d m of %d pF/m: the published first-order droop', (ohm, _m, _perM, pF, corner, at5k, at10k, at20k) => {
    const relative = measure(divider(ohm!, 1e12, pF! * 1e-12), 1e-7, 1);
    const read = Object.fromEntries(droopFigures(place, relative, []).map((f) => [f.id, f]));
    // The reference band lies a little under the level at DC; the first-order formula says by how much at its middle, 320 Hz.
    const offset = 10 * Math.log10(1 + (330 / corner!) ** 2);
    for (const [id, want] of [['droop.5k', at5k!], ['droop.10k', at10k!], ['droop.20k', at20k!]] as const) {
      // The table has three decimals; 0.005 dB more for the reference band not being a point.
      expect(Math.abs(read[id]!.value! - want - offset), id).toBeLessThan(0.006);
    }
    const found = read['corner.-3db']!;
    // 3.01 dB under the reference band, which is `offset` under DC itself.
    const fromReference = corner! * Math.sqrt(2 * 10 ** (offset / 10) - 1);
    if (corner! < 19000) expect(Math.abs(found.value! / fromReference - 1)).toBeLessThan(0.005);
    else expect(found.bound).toBe('lower');
  });
});

const direct = (response: ResponseEstimate): SeriesTake => ({ response, plug: null });
const through10 = (response: ResponseEstimate, ohm: number, id = `plug${ohm}`, relativeUncertainty = 0): SeriesTake => ({ response, plug: { id, ohm, relativeUncertainty } });
const fitted = (fit: ShuntFit | NoFit): ShuntFit => {
  if ('reason' in fit) throw new Error(fit.reason);
  return fit;
};

describe('shunt capacitance', () => {
  const cases = [
    { plug: 10000, generator: 100, shunt: 1e6, pF: 70 },
    { plug: 10000, generator: 100, shunt: 500e3, pF: 450 },
    { plug: 100000, generator: 600, shunt: 1e6, pF: 300 },
    { plug: 10000, generator: 100, shunt: 22000, pF: 1000 },
  ];
  it.each(cases)('$plug Ω, $pF pF: within 1 % on a clean capture, and the input resistance too', ({ plug, generator, shunt, pF }) => {
    const without = measure(divider(generator, shunt, pF * 1e-12), 1e-6, 2);
    const fit = fitted(fitShunt([direct(without), through10(measure(divider(plug + generator, shunt, pF * 1e-12), 1e-6, 3), plug)], generator));
    expect(Math.abs(fit.capacitanceF / (pF * 1e-12) - 1)).toBeLessThan(0.01);
    expect(Math.abs(1 / fit.conductanceS / shunt - 1)).toBeLessThan(0.01);
    expect(fit.misfit).toBeLessThan(2);
    expect(fit.leftDb).toBeLessThan(0.01);
  });

  it('two plugs do without a take without one, whatever the board does to the response', () => {
    const board = lowPass(9000);
    const [a, b] = [4700, 47000].map((ohm, k) => through10(measure(chain(divider(ohm + 100, 1e6, 400e-12), board, gain(-3)), 1e-6, 20 + k), ohm));
    const fit = fitted(fitShunt([a!, b!], 100));
    expect(Math.abs(fit.capacitanceF / 400e-12 - 1)).toBeLessThan(0.01);
    expect(Math.abs(1 / fit.conductanceS / 1e6 - 1)).toBeLessThan(0.02);
  });

  it('one resistance alone is refused, and what to capture is said', () => {
    const one = measure(divider(10100, 1e6, 200e-12), 1e-6, 4);
    expect(fitShunt([through10(one, 10000)], 100)).toEqual({ reason: expect.stringMatching(/without a plug as well, or through a second plug/) as string });
  });

  it('a capacitance lost in the noise is refused', () => {
    const [a, b] = [100, 1100].map((ohm, k) => measure(divider(ohm, 1e6, 5e-12), 1e-3, 30 + k));
    expect(fitShunt([direct(a!), through10(b!, 1000)], 100)).toEqual({ reason: expect.stringMatching(/noise|enough/) as string });
  });

  it('plugs of unlike tolerance are weighed by it, and no firmer than it', () => {
    // The 10 kΩ plug is 1 % above what is stated: the loose tolerance gives way.
    const without = direct(measure(divider(100, 1e6, 300e-12), 1e-6, 40));
    const wrong = measure(divider(10200, 1e6, 300e-12), 1e-6, 41);
    const right = measure(divider(47100, 1e6, 300e-12), 1e-6, 42);
    const alone = fitted(fitShunt([without, through10(wrong, 10000, 'loose', 0.01)], 100));
    const both = fitted(fitShunt([without, through10(wrong, 10000, 'loose', 0.01), through10(right, 47000, 'firm', 0.001)], 100));
    expect(alone.capacitanceF / 300e-12).toBeCloseTo(1.01, 3);
    expect(Math.abs(both.capacitanceF / 300e-12 - 1)).toBeLessThan(0.001);
    const spread = (fit: ShuntFit): number => Math.hypot(...fit.plugs.map((p) => p.capacitanceF)) / fit.capacitanceF;
    expect(spread(alone)).toBeCloseTo(0.01, 3);
    expect(spread(both)).toBeCloseTo(0.001, 3);
    // A plug above what is stated reads as more capacitance.
    expect(alone.plugs[0]!.capacitanceF).toBeGreaterThan(0);
  });

  it('states an uncertainty that holds at 40 dB less signal', () => {
    const clean = through(take, 48000, divider(10100, 1e6, 200e-12));
    const without = measure(divider(100, 1e6, 200e-12), 1e-7, 100);
    let inside = 0;
    for (let seed = 1; seed <= 12; seed++) {
      const hiss = noise(take.length, 3e-5, 200 + seed);
      const plugged = measureTake(memoryRecording([clean.map((v, i) => v + hiss[i]!)], 48000), located, [0])[0]!.response;
      const fit = fitted(fitShunt([direct(without), through10(plugged, 10000)], 100));
      if (Math.abs(fit.capacitanceF - 200e-12) < 2 * Math.sqrt(fit.noise.cc)) inside++;
    }
    // 12 intervals at 95 %: fewer than 9 inside happens once in 500.
    expect(inside).toBeGreaterThanOrEqual(9);
  });

  it('says so where no R and C explain it, and counts the plug’s tolerance', () => {
    const resonant = (hz: number): Complex => {
      const r = hz / 4000;
      const re = 1 - r * r;
      const im = r / 3;
      const square = re * re + im * im;
      return [re / square, -im / square];
    };
    const fit = fitShunt([direct(measure(() => [1, 0], 1e-6, 5)), through10(measure(resonant, 1e-6, 6), 10000)], 100);
    const [figure] = shuntFigures(place, fit, []);
    expect('reason' in fit || fit.misfit > 4).toBe(true);
    expect(figure!.value === null || figure!.remarks.some((r) => r.includes('do not explain'))).toBe(true);
    const fine: ShuntFit = {
      capacitanceF: 200e-12,
      conductanceS: 1e-6,
      noise: { cc: 1e-26, cg: 0, gg: 1e-18 },
      plugs: [{ plug: 'plug10k', capacitanceF: 1e-12, conductanceS: 5e-9 }],
      misfit: 1,
      leftDb: 0,
    };
    const [farads, ohms] = shuntFigures(place, fine, []);
    expect(farads!.parts!.map((p) => p.standard)).toEqual([expect.closeTo(0.1, 9), expect.closeTo(1, 9)]);
    // 1 MΩ ± 0.1 % and ± 0.5 %.
    expect(ohms!.parts!.map((p) => p.standard)).toEqual([expect.closeTo(1, 6), expect.closeTo(5, 6)]);
  });
});
