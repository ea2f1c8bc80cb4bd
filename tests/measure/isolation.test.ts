import { describe, expect, it } from 'vitest';
import type { Bench } from '../../src/board/model.js';
import { expanded } from '../../src/judge/uncertainty.js';
import type { Figure } from '../../src/measure/figure.js';
import { isolationFigures } from '../../src/measure/isolation.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { findTakes } from '../../src/measure/take-search.js';
import { measureTake } from '../../src/measure/take.js';
import type { TakeEstimate } from '../../src/measure/take.js';
import { sweepTopHz } from '../../src/signals/sweep.js';
import { renderTake } from '../../src/signals/take.js';
import { chain, gain, lowPass, through } from '../helpers/device.js';
import type { Complex } from '../helpers/device.js';
import { noise } from '../helpers/random.js';

const RATE = 48000;
const bench = {
  inputs: [{ output: 'A' }, { output: 'B' }],
  loads: [{ id: 'load600', output: 'A', resistanceOhm: { value: 600, tolerance: null } }],
} as unknown as Bench;
const rest = lowPass(50000);
/** A split of one source of 50 Ω into two of 100 Ω each: loaded by 600 Ω, A falls to 600/750 of the open voltage, and B by what the common 50 Ω takes, 50/750 of it. */
const COMMON = 50;
const a = 600 / (600 + 100 + COMMON);
const b = 1 - COMMON / (600 + 100 + COMMON);

const level = (g: number) => gain(20 * Math.log10(g));

function take(devices: readonly ((hz: number) => Complex)[], startS: number, rms: number, seed: number): TakeEstimate[] {
  const played = renderTake({ stepCode: 1, levelDbfs: -12, sweepTopHz: sweepTopHz(RATE) }, RATE, startS, 16 * RATE);
  const recording = memoryRecording(devices.map((device, c) => {
    const hiss = noise(played.length, rms, seed + c);
    return through(played, RATE, chain(rest, device)).map((v, n) => v + hiss[n]!);
  }), RATE);
  return measureTake(recording, findTakes(recording).takes[0]!, [0, 1]);
}

describe('isolation between outputs, from a load on one', () => {
  const free = take([level(1), level(1)], 1, 1e-5, 1);
  const read = (loaded: readonly TakeEstimate[]): Figure[] => isolationFigures(bench, (id) => (id === 'rest.take' ? free : id === 'rest+load600.take' ? loaded : null));

  it('what a common source resistance lets across', () => {
    // Another take begins anywhere between two samples.
    const [f] = read(take([level(a), level(b)], 1.0000137, 1e-5, 10));
    expect(f).toMatchObject({ output: 'A:B', bound: null });
    const truth = 20 * Math.log10((1 - a) / (1 - b));
    expect(Math.abs(f!.value! - truth), `${f!.value} for ${truth}`).toBeLessThan(0.05 + expanded(f!.parts!));
  });

  it('a board that isolates: at least as much as the takes can tell', () => {
    const [f] = read(take([level(6 / 7), level(1)], 1.0000137, 1e-5, 20));
    expect(f).toMatchObject({ bound: 'lower', benchLimited: true });
    expect(f!.value!).toBeGreaterThan(35);
  });

  it('a capacitance between two alike: at least so much, and 6 dB less than there is', () => {
    // Two outputs of 100 Ω with 1 nF between them, A loaded by 600 Ω: nodal equations (Ga + Y)·a − Y·b = 1/Z, (1/Z + Y)·b − Y·a = 1/Z.
    const [Z, L, C] = [100, 600, 1e-9];
    const nodes = (hz: number): readonly [Complex, Complex] => {
      const y = 2 * Math.PI * hz * C;
      const [ga, gb] = [1 / Z + 1 / L, 1 / Z];
      // (ga + jy)(gb + jy) + y² = ga·gb + j·y·(ga + gb), and by Cramer's rule.
      const [dr, di] = [ga * gb, y * (ga + gb)];
      const over = (re: number, im: number): Complex => [(re * dr + im * di) / (dr * dr + di * di), (im * dr - re * di) / (dr * dr + di * di)];
      return [over(gb / Z, (2 * y) / Z), over(ga / Z, (2 * y) / Z)];
    };
    const [f] = read(take([(hz) => nodes(hz)[0], (hz) => nodes(hz)[1]], 1.0000137, 1e-5, 30));
    expect(f).toMatchObject({ output: 'A:B', bound: 'lower', benchLimited: false });
    // What one volt at A makes of B: ωC·Z, a mean square over log frequency.
    const low = 2 * Math.PI * 200 * C * Z;
    const truth = -10 * Math.log10((low ** 2 * (25 ** 2 - 1)) / (2 * Math.log(25)));
    expect(Math.abs(f!.value! - (truth - 6.02)), `${f!.value} for ${truth} less 6.02`).toBeLessThan(0.1 + expanded(f!.parts!));
  });
});
