import { describe, expect, it } from 'vitest';
import { EXCERPT_S, cutExcerpts, listeningOf } from '../../src/measure/excerpt.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { muLawSample } from '../../src/wav/mu-law.js';
import { seeded } from '../helpers/random.js';

const RATE = 48000;
const tone = (hz: number, amplitude: number, seconds: number, rate = RATE): Float64Array => Float64Array.from({ length: seconds * rate }, (_, i) => amplitude * Math.sin((2 * Math.PI * hz * i) / rate));
const rmsDb = (samples: ArrayLike<number>): number => 10 * Math.log10(Array.from(samples).reduce((sum, v) => sum + v * v, 0) / samples.length);
const decoded = (wav: string): number[] => [...atob(wav)].slice(58).map((c) => muLawSample(c.charCodeAt(0)));

describe('an excerpt', () => {
  it.each([44100, 48000, 96000, 192000])('keeps tones of the band and their level, at %i Hz', (rate) => {
    const [cut] = cutExcerpts(memoryRecording([tone(1000, 0.01, 4, rate)], rate), [])!;
    expect(cut!.samples.length).toBe(EXCERPT_S * cut!.sampleRateHz);
    // 0.05 dB: ripple of the thinning filter.
    expect(Math.abs(rmsDb(cut!.samples) - 20 * Math.log10(0.01 / Math.SQRT2))).toBeLessThan(0.05);
  });

  it('takes away DC, and what would fold down from above its band by 40 dB', () => {
    const above = tone(15000, 0.1, 4).map((v) => v + 0.3);
    const [cut] = cutExcerpts(memoryRecording([above], RATE), [])!;
    expect(rmsDb(cut!.samples)).toBeLessThan(-20 - 3 - 40);
  });

  it('keeps clear of what was left out of the figures, and is none where nothing long enough is left', () => {
    const channel = tone(500, 0.001, 6);
    channel[RATE] = 1;
    const [cut] = cutExcerpts(memoryRecording([channel], RATE), [[RATE - 100, RATE + 100]])!;
    expect(Math.max(...cut!.samples)).toBeLessThan(0.0011);
    expect(cutExcerpts(memoryRecording([channel.slice(0, 3 * RATE)], RATE), [[RATE - 100, RATE + 100]])).toBeNull();
  });

  it('is raised with the others by one amount, and never to more than a soft level', () => {
    const random = seeded(7);
    const noise = (rms: number): Float64Array => Float64Array.from({ length: 4 * RATE }, () => rms * random.gauss());
    for (const loudest of [3e-6, 1e-3, 0.3]) {
      const cuts = [loudest, loudest / 10].map((rms, i) => ({ state: `s${String(i)}`, capture: `s${String(i)}.idle`, cut: cutExcerpts(memoryRecording([noise(rms)], RATE), [])![0]! }));
      const made = listeningOf('A', cuts)!;
      const played = made.excerpts.map((e) => decoded(e.wav));
      expect(rmsDb(played[0]!)).toBeLessThan(-27.5);
      expect(Math.max(...played[0]!.map(Math.abs))).toBeLessThan(10 ** (-8.5 / 20));
      // 20 dB apart before, 20 dB apart after: to 0.2 dB, two draws of noise and the code's own.
      expect(Math.abs(rmsDb(played[0]!) - rmsDb(played[1]!) - 20)).toBeLessThan(0.2);
      // As much above the recording as is stated; the fades take 0.1 dB.
      expect(Math.abs(rmsDb(played[0]!) - rmsDb(cuts[0]!.cut.samples) - made.raisedDb)).toBeLessThan(0.15);
    }
  });

  it('of silence is none', () => {
    expect(listeningOf('A', [{ state: 'rest', capture: 'rest.idle', cut: cutExcerpts(memoryRecording([new Float64Array(4 * RATE)], RATE), [])![0]! }])).toBeNull();
  });

  it('is a WAV file of the length that its header says', () => {
    const { excerpts, sampleRateHz } = listeningOf('A', [{ state: 'rest', capture: 'rest.idle', cut: cutExcerpts(memoryRecording([tone(400, 0.001, 4)], RATE), [])![0]! }])!;
    const bytes = Uint8Array.from(atob(excerpts[0]!.wav), (c) => c.charCodeAt(0));
    const view = new DataView(bytes.buffer);
    expect(new TextDecoder().decode(bytes.subarray(0, 4))).toBe('RIFF');
    expect(view.getUint32(4, true)).toBe(bytes.length - 8);
    expect([view.getUint16(20, true), view.getUint32(24, true), view.getUint32(54, true)]).toEqual([7, sampleRateHz, EXCERPT_S * sampleRateHz]);
    expect(bytes.length).toBe(58 + EXCERPT_S * sampleRateHz);
  });
});
