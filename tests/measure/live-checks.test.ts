import { describe, expect, it } from 'vitest';
import { measureIdle } from '../../src/measure/idle.js';
import { checkConverted, checkIdleHum, checkIdleTone, checkLoops, checkTakeHum, drowns, heardIdle, heardTake } from '../../src/measure/live-checks.js';
import type { TakeOfState } from '../../src/measure/live-checks.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { findTakes } from '../../src/measure/take-search.js';
import { measureTake } from '../../src/measure/take.js';
import type { TakeEstimate } from '../../src/measure/take.js';
import { problem } from '../../src/problems.js';
import { sweepTopHz } from '../../src/signals/sweep.js';
import { renderTake } from '../../src/signals/take.js';
import { chain, gain, highPass, lowPass, through } from '../helpers/device.js';
import { noise } from '../helpers/random.js';

const RATE = 48000;
const FILE = { file: 'captures/x.wav', outputs: ['A'] };
const played = renderTake({ stepCode: 1, levelDbfs: -12, sweepTopHz: sweepTopHz(RATE) }, RATE, 1, 16 * RATE);
const located = findTakes(memoryRecording([played], RATE)).takes[0]!;
const plus = (x: Float64Array, y: Float64Array): Float64Array => x.map((v, n) => v + y[n]!);
const dbfs = (rms: number): number => 20 * Math.log10(rms) + 3.0103;
const rmsOf = (levelDbfs: number): number => 10 ** ((levelDbfs - 3.0103) / 20);

/** Hum of a sleeve without contact: mains with a second and a third line 12 and 6 dB below, a fifth and a ninth 15 and 20 dB, so much in all. */
function hum(length: number, mainsHz: number, levelDbfs: number): Float64Array {
  const parts = [1, 10 ** (-12 / 20), 10 ** (-6 / 20), 0, 10 ** (-15 / 20), 0, 0, 0, 10 ** (-20 / 20)];
  const scale = rmsOf(levelDbfs) / Math.hypot(...parts);
  return Float64Array.from({ length }, (_, n) => parts.reduce((s, a, k) => s + Math.SQRT2 * a * scale * Math.sin((2 * Math.PI * (k + 1) * mainsHz * n) / RATE + k), 0));
}

/** The second before the take is all that is looked at. */
const before = (levelDbfs: number, humOverDb: number, seed: number, mainsHz = 50): Float64Array =>
  plus(noise(RATE, rmsOf(levelDbfs - humOverDb), seed), hum(RATE, mainsHz, levelDbfs));
const humBefore = (x: Float64Array, mainsHz = 50): ReturnType<typeof checkTakeHum> => checkTakeHum(FILE, memoryRecording([x], RATE), located, mainsHz);

describe('hum before a take', () => {
  // Threshold: −70 dBFS and 30 dB over the rest; the estimate of either moves by less than 1 dB in 0.9 s.
  it.each([
    [-40, 40, true],
    [-68.5, 31.5, true],
    [-71.5, 40, false],
    [-40, 28.5, false],
  ])('%s dBFS and %s dB over the rest: said, %s', (level, over, said) => {
    expect(humBefore(before(level, over, 1))?.code ?? null).toBe(said ? 'capture.hum' : null);
  });

  it('is said in dB over the rest, mains off their nominal frequency as well', () => {
    for (const [mainsHz, nominal] of [[49.8, 50], [50.6, 50], [60.2, 60]] as const) {
      const found = humBefore(before(-45, 36, 2, mainsHz), nominal)!;
      const said = found.details as unknown as { overDb: number; outputs: string[] };
      expect(said.outputs).toEqual(['A']);
      // The uncertainty of a noise power over 0.9 s of a 24 kHz band is 0.03 dB; the window's edges leave some more.
      expect(Math.abs(said.overDb - 36)).toBeLessThan(1);
    }
  });

  it('names every output that hums, and the likeliest cause', () => {
    const found = checkTakeHum({ file: 'x', outputs: ['A', 'B', 'C'] }, memoryRecording([before(-45, 36, 3), before(-60, 10, 4), before(-50, 33, 5)], RATE), located, 50)!;
    expect(found.message).toMatch(/^x: outputs A and C hum, 36 dB above everything else in the noise; push every plug home/);
    expect(checkIdleHum(FILE, measureIdle(memoryRecording([plus(noise(6 * RATE, rmsOf(-90), 6), hum(6 * RATE, 50, -50))], RATE), 50, false))!.message).toMatch(/output A hums, \d\d dB above .*; see that the shorting plug is in/);
  });

  it('is not invented: 20 quiet beginnings with a hum up to 27 dB over the rest, none said', () => {
    const said = Array.from({ length: 20 }, (_, seed) => humBefore(before(-60, 8 + seed, 100 + seed))).filter((p) => p !== null);
    expect(said).toEqual([]);
  });

  it('drowns a tone of its own output only', () => {
    const found = humBefore(before(-24, 60, 6))!;
    expect(['A', 'B'].map((output) => drowns(found, problem('capture.too-quiet', { file: 'x', output, levelDbfs: -26, noiseDbfs: -24 })))).toEqual([true, false]);
    expect(drowns(found, problem('capture.silent', { file: 'x', output: 'A' }))).toBe(false);
  });

  it('is not looked for where the recorder was started too late to tell', () => {
    expect(checkTakeHum(FILE, memoryRecording([hum(RATE, 50, -20)], RATE), { ...located, startFrame: 0.4 * RATE }, 50)).toBeNull();
  });
});

describe('hum in an idle capture', () => {
  const idle = (levelDbfs: number, overDb: number, seed: number): ReturnType<typeof measureIdle> =>
    measureIdle(memoryRecording([plus(noise(6 * RATE, rmsOf(levelDbfs - overDb), seed), hum(6 * RATE, 50.1, levelDbfs))], RATE), 50, false);

  it('is said only where it drowns everything else', () => {
    // The rest is summed from 20 Hz to 20 kHz, five sixths of the white noise: 0.8 dB more of distance.
    expect(checkIdleHum(FILE, idle(-50, 31, 1))?.code).toBe('capture.hum');
    expect(checkIdleHum(FILE, idle(-50, 28, 2))).toBeNull();
    expect(checkIdleHum(FILE, idle(-72, 40, 3))).toBeNull();
  });

  it('and the figures for the bench are those of the samples', () => {
    const [said] = heardIdle(FILE, idle(-50, 20, 4));
    expect(said).toMatchObject({ output: 'A', kind: 'idle' });
    expect((said as { humDbfs: number }).humDbfs).toBeCloseTo(-50, 1);
  });
});

describe('a tone in an idle capture', () => {
  const heard = (hz: number, levelDbfs: number, overDb: number, seed: number): ReturnType<typeof checkIdleTone> => {
    const hiss = noise(6 * RATE, rmsOf(levelDbfs - overDb), seed);
    return checkIdleTone(FILE, measureIdle(memoryRecording([hiss.map((v, n) => v + 10 ** (levelDbfs / 20) * Math.sin((2 * Math.PI * hz * n) / RATE))], RATE), 50, false));
  };

  it('is told from a whine by how far it stands over everything, and named by its frequency', () => {
    expect(heard(997, -20, 70, 1)?.message).toMatch(/^captures\/x\.wav: output A carries a steady tone of 997 Hz, 7[01] dB above everything else, where nothing should play/);
    expect(heard(440, -55, 50, 2)?.details).toMatchObject({ outputs: ['A'] });
    // The whine of a supply is a finding: too soft, or not so far above the noise.
    expect([heard(8000, -65, 60, 3), heard(8000, -50, 40, 4), checkIdleTone(FILE, measureIdle(memoryRecording([noise(6 * RATE, 1e-4, 5)], RATE), 50, false))]).toEqual([null, null, null]);
  });
});

describe('a converted sample rate', () => {
  /** To another rate and back with straight lines between the samples, as a simple converter does. */
  const converted = (x: Float64Array, rate: number): Float64Array => {
    const there = sampledAt(x, RATE / rate, Math.floor((x.length * rate) / RATE));
    return sampledAt(there, rate / RATE, x.length);
  };
  const sampledAt = (x: Float64Array, step: number, length: number): Float64Array =>
    Float64Array.from({ length }, (_, n) => {
      const at = n * step;
      const low = Math.floor(at);
      return (x[low] ?? 0) + (at - low) * ((x[low + 1] ?? 0) - (x[low] ?? 0));
    });
  const quiet = noise(played.length, 1e-6, 5);
  const channels = [plus(played, quiet), plus(converted(played, 44100), quiet), plus(played, noise(played.length, 6e-4, 6)), plus(played.map((v) => v + 0.05 * v * v), quiet)];
  const estimates = measureTake(memoryRecording(channels, RATE), located, [0, 1, 2, 3]);
  const said = (c: number): ReturnType<typeof checkConverted> => checkConverted(FILE, [estimates[c]!]);

  it('leaves what no bench looped to itself has', () => {
    const found = said(1);
    expect(found?.code).toBe('capture.converted');
    // A straight line between two samples misses the tone by (ωT)²·f(1 − f)/2 at a share f of the way. Its mean over f only lowers the
    // tone; the rest is √(1/120 − 1/144) = 0.037 of (ωT)², −64 dB at 48 kHz and −63 dB at 44.1 kHz, and the two lie on top of each
    // other in part: between 57 dB (as amplitudes) and 60 dB (as powers).
    const { sinadDb } = found!.details as unknown as { sinadDb: number };
    expect(sinadDb).toBeGreaterThan(56.5);
    expect(sinadDb).toBeLessThan(60.5);
  });

  it('is not said of a clean bench, of a noisy one, or of one that distorts by 0.6 %', () => {
    expect(said(0)).toBeNull();
    expect(said(2)).toBeNull();
    expect(said(3)).toBeNull();
  });

  it('what the builder reads of a take is in it', () => {
    const [of] = heardTake(FILE, memoryRecording([channels[2]!], RATE), located, [estimates[2]!]);
    expect(of).toMatchObject({ output: 'A', kind: 'take' });
    const { toneDbfs, peakDbfs, noiseDbfs } = of as { toneDbfs: number; peakDbfs: number; noiseDbfs: number };
    expect(toneDbfs).toBeCloseTo(-12, 2);
    // Noise of 6e-4 rms rides on the largest sample: four standard deviations of it at most in so many samples of a crest.
    expect(peakDbfs).toBeGreaterThan(-12.01);
    expect(peakDbfs).toBeLessThan(20 * Math.log10(10 ** (-12 / 20) + 6 * 6e-4));
    expect(noiseDbfs).toBeCloseTo(dbfs(6e-4), 0);
  });
});

describe('a loop that is not as the step wants it', () => {
  const drive = chain(gain(4), highPass(120), lowPass(5000));
  const devices = { rest: gain(0), drive, 'drive with eq': chain(drive, gain(0.03)), eq: gain(0.04), dull: lowPass(9000), between: chain(gain(1.5), lowPass(14000)) };
  const names = Object.keys(devices) as (keyof typeof devices)[];
  const estimates = measureTake(memoryRecording(names.map((name, c) => plus(through(played, RATE, devices[name]), noise(played.length, 1e-5, 20 + c))), RATE), located, [...names.keys()]);
  const of = (step: string, name: keyof typeof devices, effects: readonly string[] = []): TakeOfState => ({ step, effects, estimates: [estimates[names.indexOf(name)]!] as TakeEstimate[] });
  const rest = of('rest.take', 'rest');
  const driven = of('loop-drive.take', 'drive', ['drive']);

  it('is heard where it should be out', () => {
    const found = checkLoops(FILE, of('loop-eq.take', 'drive with eq'), [rest, driven]);
    expect(found?.details).toMatchObject({ step: 'loop-eq.take', loop: 'drive', asIn: 'loop-drive.take' });
  });

  it('is heard in the very first state, once its own take is there', () => {
    expect(checkLoops(FILE, of('rest.take', 'drive'), [driven])?.code).toBe('capture.loop-heard');
  });

  it('is not heard where it should be in', () => {
    const found = checkLoops(FILE, of('loop-drive.take', 'rest', ['drive']), [rest]);
    expect(found?.code).toBe('capture.loop-not-heard');
    expect(found?.details).toMatchObject({ loop: 'drive', asIn: 'rest.take' });
  });

  it('a loop that changes little, or in a way of its own, is let pass: that is a finding and no slip', () => {
    expect(checkLoops(FILE, of('loop-eq.take', 'eq'), [rest, driven])).toBeNull();
    expect(checkLoops(FILE, of('loop-eq.take', 'dull'), [rest, driven])).toBeNull();
    expect(checkLoops(FILE, of('loop-eq.take', 'between'), [rest, driven])).toBeNull();
    expect(checkLoops(FILE, of('loop-drive.take', 'eq', ['drive']), [of('rest.take', 'dull')])).toBeNull();
    expect(checkLoops(FILE, driven, [rest])).toBeNull();
    expect(checkLoops(FILE, rest, [])).toBeNull();
  });
});
