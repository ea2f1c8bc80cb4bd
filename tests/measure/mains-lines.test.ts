/**
 * Hum of a loop beside hum that is there without it: lines of known amplitude and phase in white noise. The bound must lie under the
 * truth at every phase, close to it in phase and against it, and say nothing where only the mains' voltage has changed.
 */
import { describe, expect, it } from 'vitest';
import { measureIdle } from '../../src/measure/idle.js';
import { leastHumAdded } from '../../src/measure/mains-lines.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { randomStream } from '../../src/simulate/random.js';

const RATE = 8000;
const AT_REST = 1e-3;
const OF_LOOP = 6e-4;

/** Lines at 50 and 150 Hz, the second half as strong. */
function idle(seed: number, gain: number, added: number, phase: number) {
  const noise = new Float64Array(8 * RATE);
  randomStream(seed).fillNormal(noise);
  const line = (n: number, hz: number): number => gain * AT_REST * Math.cos((2 * Math.PI * hz * n) / RATE) + added * Math.cos((2 * Math.PI * hz * n) / RATE + phase);
  const x = noise.map((v, n) => 1e-5 * v + line(n, 50) + 0.5 * line(n, 150));
  return measureIdle(memoryRecording([x], RATE), 50, false)[0]!.spectrum!;
}

const rest = idle(1, 1, 0, 0);
/** Mean square of what the loop really adds. */
const truth = (1.25 * OF_LOOP ** 2) / 2;

describe('the least hum that a loop adds', () => {
  it.each([0, 0.8, 1.6, 2.4, Math.PI])('is under the truth at a phase of %f, and within what the mains may have changed where the lines lie along each other', (phase) => {
    const least = leastHumAdded(idle(2, 1, OF_LOOP, phase), rest, 50, 0);
    expect(least).toBeLessThan(truth);
    // |a − r| less a tenth of r is 5e-4 of 6e-4, less the scatter.
    if (phase === 0 || phase === Math.PI) expect(least).toBeGreaterThan(truth * (4.8 / 6) ** 2);
  });

  it('is none where the mains is higher by 8 %, or the loop passes on hum from before it by as much', () => {
    const other = idle(3, 1.08, 0, 0);
    expect(leastHumAdded(other, rest, 50, 0)).toBe(0);
    expect(leastHumAdded(idle(4, 1.19, 0, 0), rest, 50, 0.12)).toBe(0);
    expect(leastHumAdded(idle(4, 1.19, 0, 0), rest, 50, 0)).toBeGreaterThan(0);
  });
});
