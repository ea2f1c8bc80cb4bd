import { describe, expect, it } from 'vitest';
import { clippedAt, flatTopAt } from '../../src/measure/capture-checks.js';

const tone = (rate: number, amplitude: number, hz = 997): Float64Array => Float64Array.from({ length: rate }, (_, n) => amplitude * Math.sin((2 * Math.PI * hz * n) / rate));
const toBits = (x: Float64Array, bits: number): Float64Array => x.map((v) => Math.round(v * 2 ** (bits - 1)) / 2 ** (bits - 1));
const limited = (x: Float64Array, most: number): Float64Array => x.map((v) => Math.max(-most, Math.min(most, v)));

describe('clipping', () => {
  it.each([44100, 48000, 96000, 192000])('is three samples at full scale, at %i Hz', (rate) => {
    const hot = limited(tone(rate, 1.02), 1 - 2 ** -23);
    const at = clippedAt(hot)!;
    expect([hot[at], hot[at + 1], hot[at + 2]].map((v) => Math.abs(v!))).toEqual(Array(3).fill(1 - 2 ** -23));
    expect(clippedAt(tone(rate, 0.99))).toBeNull();
  });

  it.each([44100, 48000, 96000, 192000])('below full scale shows as flat tops of the tone, from 0.3 dB of it on, at %i Hz', (rate) => {
    const over = 10 ** (0.3 / 20);
    expect(flatTopAt(toBits(limited(tone(rate, 0.3 * over), 0.3), 24), rate)).not.toBeNull();
  });

  it.each([44100, 48000, 96000, 192000])('is not seen in a coarse but whole tone, at %i Hz', (rate) => {
    for (const amplitude of [0.05, 0.1, 0.3, 0.9]) expect(flatTopAt(toBits(tone(rate, amplitude), 16), rate), `${amplitude}`).toBeNull();
  });
});
