import { describe, expect, it } from 'vitest';
import { SWEEP_LEAD_S, SWEEP_TAIL_S, impulseResponse, prepareSweep, sweepResponse } from '../../src/numerics/deconvolution.js';
import type { ComplexCurve } from '../../src/numerics/deconvolution.js';
import { projectTones } from '../../src/numerics/sine-fit.js';
import { harmonicResponses } from '../../src/numerics/sweep-harmonics.js';
import { hann } from '../../src/numerics/window.js';
import { SWEEP_RATE_S, sweepAt, sweepDurationS, sweepTopHz } from '../../src/signals/sweep.js';
import published from '../standards/exponential-sweep.json' with { type: 'json' };
import { noise } from '../helpers/random.js';

const db = (ratio: number): number => 20 * Math.log10(ratio);
const magnitude = ({ re, im }: ComplexCurve, i: number): number => Math.hypot(re[i]!, im[i]!);
const degrees = ({ re, im }: ComplexCurve, i: number): number => (Math.atan2(im[i]!, re[i]!) * 180) / Math.PI;

/** y = x + 0.1x² + 0.05x³ of the published check. */
const polynomial = (v: number): number => v + 0.1 * v * v + 0.05 * v ** 3;

function takeSweep(rate: number, amplitude: number): { x: Float64Array; top: number } {
  const top = sweepTopHz(rate);
  const duration = sweepDurationS(top);
  const frames = Math.ceil((SWEEP_LEAD_S + duration + SWEEP_TAIL_S) * rate);
  return { x: Float64Array.from({ length: frames }, (_, n) => amplitude * sweepAt((n - 0.3) / rate - SWEEP_LEAD_S, duration)), top };
}

describe('harmonics from a sweep', () => {
  it('the published check: |H1| 1.0375, |H2| 0.05, |H3| 0.0125 with f1 = 20 Hz, f2 = 20 kHz, L = 1.45 s at 48 kHz', () => {
    const [rate, L, f1] = [48000, 1.45, 20];
    const T = L * Math.log(1000);
    expect(T).toBeCloseTo(10.016245, 6);
    const x = Float64Array.from({ length: Math.ceil((0.2 + T + 0.9) * rate) }, (_, n) => {
      const t = n / rate - 0.2;
      return t < 0 || t > T ? 0 : Math.sin(2 * Math.PI * f1 * L * Math.exp(t / L));
    });
    const y = x.map(polynomial);
    const reference = prepareSweep(x, x.length, rate, 20000);
    const hz = Float64Array.of(100, 200, 500, 1000, 2000, 3000, 5000);
    const [h2, h3] = harmonicResponses(impulseResponse(y, reference), reference, L, hz, 3);
    const first = sweepResponse(y, reference, hz).response;
    const { expected } = published.worked_check;
    hz.forEach((f, i) => {
      // 0.01 dB is asked. Found 0.004 dB at 5 kHz, where the cube of tones above 8 kHz folds back at this rate, 1e-4 dB elsewhere.
      for (const [curve, want] of [[first, expected['|H1|']], [h2!.response, expected['|H2|']], [h3!.response, expected['|H3|']]] as const) {
        expect(Math.abs(db(magnitude(curve, i) / want)), `${f} Hz`).toBeLessThan(f < 4000 ? 0.0005 : 0.006);
      }
      // Signs: x² gives −0.5·cos 2φ and x³ −0.25·sin 3φ.
      expect(degrees(h2!.response, i), `${f} Hz`).toBeCloseTo(-90, 0);
      expect(Math.abs(degrees(h3!.response, i)), `${f} Hz`).toBeCloseTo(180, 0);
    });
    // S1: the second and third order stand L·ln n before the linear response, to a sample.
    const h = impulseResponse(y, reference);
    for (const [order, , , advanceS] of (published.rows as number[][]).slice(0, 2)) {
      const at = reference.size - Math.round(advanceS! * rate);
      let peak = at - 500;
      for (let n = at - 500; n < at + 500; n++) if (Math.abs(h[n]!) > Math.abs(h[peak]!)) peak = n;
      expect(Math.abs(peak - at), `order ${order}`).toBeLessThanOrEqual(1);
    }
  });

  it.each([44100, 48000, 96000])('the take’s own sweep, 20 Hz to where the harmonic leaves it, at %i Hz', (rate) => {
    const { x, top } = takeSweep(rate, 1);
    const reference = prepareSweep(x, x.length, rate, top);
    // Up to 6 kHz: beyond, what the cube folds back from over half the rate (it does in arithmetic, not in a board) is read with the harmonics.
    const hz = Float64Array.from({ length: 60 }, (_, i) => 20 * 300 ** (i / 59));
    const harmonics = harmonicResponses(impulseResponse(x.map(polynomial), reference), reference, SWEEP_RATE_S, hz, 5);
    for (const { order, response } of harmonics) {
      hz.forEach((f, i) => {
        if (Number.isNaN(response.re[i]!)) {
          expect(order * f).toBeGreaterThan(0.985 * top);
        } else if (order > 3) {
          // There is no fourth or fifth: what is left of the others' skirts.
          expect(db(magnitude(response, i)), `order ${order}, ${f} Hz`).toBeLessThan(f < 50 ? -110 : -140);
        } else {
          // The third order's window is 0.3 s long: five periods of its 60 Hz.
          const want = order === 2 ? 0.05 : 0.0125;
          expect(Math.abs(db(magnitude(response, i) / want)), `order ${order}, ${f} Hz`).toBeLessThan(f < 50 ? 0.015 : 0.0015);
        }
      });
    }
  });

  it('agrees with stepped tones through a device that colours before and after it distorts, at a lower level', () => {
    const [rate, amplitude] = [96000, 0.25];
    // First-order filters by the bilinear transform, run sample by sample: the sweep and the tones meet the very same device.
    const device = (x: Float64Array): Float64Array => {
      const high = Math.tan((Math.PI * 80) / rate);
      const low = Math.tan((Math.PI * 5000) / rate);
      let [x1, u1, v1, y1] = [0, 0, 0, 0];
      return x.map((v) => {
        const u = (v - x1 + (1 - high) * u1) / (1 + high);
        x1 = v;
        u1 = u;
        const bent = u + 0.2 * u * u + 0.3 * u ** 3 + 0.1 * u ** 4;
        const y = (low * (bent + v1) + (1 - low) * y1) / (1 + low);
        v1 = bent;
        y1 = y;
        return y;
      });
    };
    const { x, top } = takeSweep(rate, amplitude);
    const hz = Float64Array.of(40, 100, 300, 1000, 2000, 4000);
    const reference = prepareSweep(x, x.length, rate, top);
    const harmonics = harmonicResponses(impulseResponse(device(x), reference), reference, SWEEP_RATE_S, hz, 4);
    const window = hann(rate);
    hz.forEach((f, i) => {
      const steady = device(Float64Array.from({ length: 1.5 * rate }, (_, n) => amplitude * Math.sin((2 * Math.PI * f * n) / rate))).subarray(rate / 2);
      for (const { order, response } of harmonics) {
        const [{ re, im }] = projectTones(steady, rate, [order * f], window) as [{ re: number; im: number }];
        // 0.01 dB is asked at middle frequencies; at 40 Hz the fourth order's window is a few periods of the 80 Hz filter long.
        expect(Math.abs(db((magnitude(response, i) * amplitude) / Math.hypot(re, im))), `order ${order}, ${f} Hz`).toBeLessThan(f < 300 ? 0.05 : 0.005);
      }
    });
  });

  it('scatters with noise as stated', () => {
    const rate = 48000;
    const { x, top } = takeSweep(rate, 0.25);
    const reference = prepareSweep(x, x.length, rate, top);
    const hz = Float64Array.from({ length: 40 }, (_, i) => 100 * 40 ** (i / 39));
    const rms = 1e-3;
    const trials = 8;
    const squares = [0, 0, 0];
    for (let seed = 1; seed <= trials; seed++) {
      const hiss = noise(x.length, rms, 40 + seed);
      harmonicResponses(impulseResponse(x.map((v, i) => v + hiss[i]!), reference), reference, SWEEP_RATE_S, hz, 4).forEach(({ response, noiseGain }, o) => {
        hz.forEach((_, i) => (squares[o]! += magnitude(response, i) ** 2 / (noiseGain[i]! * (rms ** 2 / 24000)) / (trials * hz.length)));
      });
    }
    // 320 values of two degrees of freedom each, some of them alike: their mean is known to 8 % or so.
    for (const s of squares) expect(Math.abs(s - 1)).toBeLessThan(0.25);
  });
});
