import { describe, expect, it } from 'vitest';
import { MARKER_MARGIN_S, createMarkerSearch, markerWindowFrames, readWord, timeSync } from '../../src/signals/marker-search.js';
import { decodeWord, encodeWord, isCodable } from '../../src/signals/marker.js';
import { sweepTopHz } from '../../src/signals/sweep.js';
import { renderTake, takeTimetable } from '../../src/signals/take.js';
import { noise } from '../helpers/random.js';

const identity = (rate: number, stepCode = 0xbeef): { stepCode: number; levelDbfs: number; sweepTopHz: number } => ({
  stepCode,
  levelDbfs: -20,
  sweepTopHz: sweepTopHz(rate),
});

function find(x: Float64Array, rate: number): ReturnType<ReturnType<typeof createMarkerSearch>['finish']> {
  const search = createMarkerSearch(rate);
  for (let i = 0; i < x.length; i += 10_007) search.push(x.subarray(i, i + 10_007));
  return search.finish();
}

/** Time and word of a hit, as the reader of a file would. */
function read(x: Float64Array, rate: number, hit: { end: 'start' | 'end'; frame: number }, ratio = 1): { frame: number; word: unknown } {
  const from = Math.max(0, Math.round(hit.frame - MARKER_MARGIN_S * rate));
  const part = x.subarray(from, from + markerWindowFrames(rate));
  const frame = timeSync(hit.end, part, rate * ratio, hit.frame - from);
  return { frame: from + frame, word: readWord(part, rate * ratio, frame) };
}

describe('the word', () => {
  it('comes back, and a single wrong bit does not pass', () => {
    for (const rate of [44100, 45000, 48000, 96000, 192000]) {
      const id = identity(rate);
      expect(isCodable(id)).toBe(true);
      const bits = encodeWord(id);
      expect(decodeWord(bits)).toEqual(id);
      for (let i = 0; i < bits.length; i++) {
        const wrong = Uint8Array.from(bits);
        wrong[i]! ^= 1;
        expect(decodeWord(wrong)).toBeNull();
      }
    }
    expect(decodeWord(new Uint8Array(40))).toBeNull();
    expect(isCodable({ ...identity(48000), levelDbfs: -20.1 })).toBe(false);
    expect(isCodable({ ...identity(48000), levelDbfs: -64 })).toBe(false);
  });
});

describe('finding and timing', () => {
  for (const [rate, ppm] of [[44100, 0], [48000, 300], [96000, -500], [192000, 0]] as const) {
    it(`finds both ends to 0.01 sample at ${rate} Hz, clocks ${ppm} ppm apart`, () => {
      const ratio = 1 + ppm * 1e-6;
      const startS = 1.2345678;
      const x = renderTake(identity(rate), rate * ratio, startS, Math.ceil(17 * rate));
      const hits = find(x, rate);
      expect(hits.map((h) => h.end)).toEqual(['start', 'end']);
      const [a, b] = hits.map((h) => read(x, rate, h, ratio));
      expect([a!.word, b!.word]).toEqual([identity(rate), identity(rate)]);
      // 0.01 sample: a clean marker has only the templates' own rounding; the design asks 0.05.
      expect(Math.abs(a!.frame - startS * rate * ratio)).toBeLessThan(0.01);
      expect(Math.abs(b!.frame - (startS + takeTimetable.endMarker.atS) * rate * ratio)).toBeLessThan(0.01);
    });
  }

  it('finds an inverted, dull take 10 dB above noise, and nothing in noise or in the sweep', () => {
    const rate = 48000;
    const x = renderTake(identity(rate), rate, 2, 18 * rate);
    let low = 0;
    const pole = Math.exp((-2 * Math.PI * 1200) / rate); // a plug behind a volume pot with a long lead
    const dull = x.map((v) => -(low = pole * low + (1 - pole) * v));
    const hiss = noise(dull.length, 0.1 / Math.SQRT2 / Math.sqrt(10), 4);
    dull.forEach((v, i) => (dull[i] = v + hiss[i]!));
    const hits = find(dull, rate);
    expect(hits.map((h) => [h.end, Math.round(h.frame / rate)])).toEqual([['start', 2], ['end', 15]]);
    for (const hit of hits) expect(read(dull, rate, hit).word).toEqual(identity(rate));
    expect(find(noise(60 * rate, 0.1, 5), rate)).toEqual([]);
  });

  it('finds nothing in digital silence', () => {
    expect(find(new Float64Array(48000 * 5), 48000)).toEqual([]);
  });

  it('finds a marker wherever it lies against the blocks', () => {
    const rate = 48000;
    for (const startS of [0, 1.0, 2.3, 2.5, 2.61, 2.75]) {
      const hits = find(renderTake(identity(rate), rate, startS, Math.ceil((startS + 14) * rate)), rate);
      expect(hits.map((h) => h.end), `start at ${startS} s`).toEqual(['start', 'end']);
      expect(Math.abs(hits[0]!.frame / rate - startS)).toBeLessThan(0.001);
    }
  });
});
