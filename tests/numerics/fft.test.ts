import { describe, expect, it } from 'vitest';
import { complexForward, complexInverse, irfft, nextPowerOfTwo, rfft } from '../../src/numerics/fft.js';
import { noise } from '../helpers/random.js';

/** The definition, term by term: the control for every fast path. */
function naive(x: Float64Array): { re: number[]; im: number[] } {
  const n = x.length;
  const re: number[] = [];
  const im: number[] = [];
  for (let k = 0; k <= n / 2; k++) {
    let r = 0;
    let i = 0;
    for (let t = 0; t < n; t++) {
      const a = (-2 * Math.PI * ((k * t) % n)) / n;
      r += x[t]! * Math.cos(a);
      i += x[t]! * Math.sin(a);
    }
    re.push(r);
    im.push(i);
  }
  return { re, im };
}

const largest = (a: ArrayLike<number>, b: ArrayLike<number>): number => {
  let m = 0;
  for (let i = 0; i < a.length; i++) m = Math.max(m, Math.abs(a[i]! - b[i]!));
  return m;
};

// Rounding grows about as eps·log2 N relative to rms·sqrt N; 1e-13 leaves room for the naive control's own error.
const tolerance = (n: number): number => 1e-13 * Math.sqrt(n) * Math.log2(n);

describe('real transform', () => {
  for (const n of [4, 8, 16, 64, 256, 1024]) {
    it(`follows the definition at ${n} points, with dirty scratch`, () => {
      rfft(noise(n, 1e6, 3)); // leaves large numbers in the reused buffers
      const x = noise(n, 1, n);
      const got = rfft(x);
      const want = naive(x);
      expect(largest(got.re, want.re)).toBeLessThan(tolerance(n));
      expect(largest(got.im, want.im)).toBeLessThan(tolerance(n));
    });
  }

  it('pads short input with zeros even when the scratch is dirty', () => {
    rfft(noise(64, 1e6, 5));
    const x = noise(37, 1, 6);
    const padded = new Float64Array(64);
    padded.set(x);
    expect(largest(rfft(x, 64).re, naive(padded).re)).toBeLessThan(tolerance(64));
  });

  it('comes back through the inverse', () => {
    for (const n of [4, 8, 4096, 65536]) {
      const x = noise(n, 1, n + 1);
      expect(largest(irfft(rfft(x)), x)).toBeLessThan(1e-13);
    }
  });

  it('keeps energy (Parseval)', () => {
    const n = 1 << 14;
    const x = noise(n, 1, 11);
    const { re, im } = rfft(x);
    let e = 0;
    for (let k = 0; k <= n / 2; k++) e += (k === 0 || k === n / 2 ? 1 : 2) * (re[k]! ** 2 + im[k]! ** 2);
    expect(e / n / x.reduce((s, v) => s + v * v, 0)).toBeCloseTo(1, 12);
  });
});

describe('complex transform', () => {
  it('comes back through the inverse', () => {
    const z = noise(512, 1, 12);
    expect(largest(complexInverse(complexForward(z)), z)).toBeLessThan(1e-14);
  });
});

it('next power of two', () => {
  expect([1, 4, 5, 1000, 1024, 1025].map((n) => nextPowerOfTwo(n))).toEqual([4, 4, 8, 1024, 1024, 2048]);
});
