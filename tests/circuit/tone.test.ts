/** What a response means for tone, on responses whose answer is a formula. */
import { describe, expect, it } from 'vitest';
import { evenOctaves, toneFigures } from '../../src/circuit/tone.js';

/** |H|² of 1/(1 − (f/f0)² + j·f/(Q·f0)). */
const resonant = (f0: number, q: number) => (hz: Float64Array): Float64Array =>
  hz.map((f) => {
    const x = (f / f0) ** 2;
    return 1 / ((1 - x) ** 2 + x / (q * q));
  });
const firstOrder = (fc: number) => (hz: Float64Array): Float64Array => hz.map((f) => 1 / (1 + (f / fc) ** 2));

describe('toneFigures', () => {
  it.each([
    [3600, 2.2],
    [2000, 4],
    [9000, 1.1],
  ])('a second-order peak at %d Hz, Q %f', (f0, q) => {
    const { resonance, referenceDb, cornerHz } = toneFigures(resonant(f0, q));
    // Peak of the second-order low-pass: f0·√(1 − 1/(2Q²)), height Q/√(1 − 1/(4Q²)).
    expect(resonance!.frequencyHz / (f0 * Math.sqrt(1 - 1 / (2 * q * q)))).toBeCloseTo(1, 7);
    expect(resonance!.heightDb + referenceDb).toBeCloseTo(20 * Math.log10(q / Math.sqrt(1 - 1 / (4 * q * q))), 7);
    // |H|² = p solved for x = (f/f0)²: x² + (1/Q² − 2)·x + 1 − 1/p = 0.
    const b = 1 / (q * q) - 2;
    const p = 10 ** (referenceDb / 10) / 2;
    expect(cornerHz! / (f0 * Math.sqrt((-b + Math.sqrt(b * b - 4 * (1 - 1 / p))) / 2))).toBeCloseTo(1, 6);
  });

  it('a first-order fall has a corner and no resonance', () => {
    const { resonance, cornerHz, referenceDb, at5kDb, at20kDb } = toneFigures(firstOrder(4000));
    expect(resonance).toBeNull();
    expect(cornerHz! / (4000 * Math.sqrt(2 * 10 ** (-referenceDb / 10) - 1))).toBeCloseTo(1, 6);
    expect(at5kDb + referenceDb).toBeCloseTo(-10 * Math.log10(1 + 1.25 ** 2), 9);
    expect(at20kDb + referenceDb).toBeCloseTo(-10 * Math.log10(26), 9);
  });

  it('flat is nothing at all, at whatever level', () => {
    const { referenceDb, band2to5kDb, at5kDb, at10kDb, at20kDb, resonance, cornerHz } = toneFigures((hz) => hz.map(() => 0.01));
    expect(referenceDb).toBeCloseTo(-20, 12);
    for (const db of [band2to5kDb, at5kDb, at10kDb, at20kDb]) expect(Math.abs(db)).toBeLessThan(1e-12);
    expect(resonance).toBeNull();
    expect(cornerHz).toBeNull();
  });

  it('a peak flatter than that of Q = 1 is no resonance', () => {
    expect(toneFigures(resonant(3600, 0.98)).resonance).toBeNull();
    expect(toneFigures(resonant(3600, 1.02)).resonance).not.toBeNull();
  });

  it('the band is a mean in decibels over octaves: of a straight line it is the middle', () => {
    // |H|² ∝ f^(−2): −6.02 dB an octave; the middle of 2 to 5 kHz in log frequency is √10 kHz, of 200 to 500 Hz it is not quite, the mean being of power.
    const { band2to5kDb, referenceDb } = toneFigures((hz) => hz.map((f) => f ** -2));
    expect(band2to5kDb + referenceDb).toBeCloseTo(-20 * Math.log10(Math.sqrt(1e7)), 9);
  });

  it('points in the middle of even shares of the octaves', () => {
    expect(Array.from(evenOctaves(100, 1600, 4)).map((f) => f / Math.SQRT2)).toEqual([100, 200, 400, 800].map((f) => expect.closeTo(f, 9)));
  });
});
