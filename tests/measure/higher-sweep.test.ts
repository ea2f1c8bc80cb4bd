import { expect, it } from 'vitest';
import { GRID_HZ } from '../../src/measure/frequency-grid.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { findTakes } from '../../src/measure/take-search.js';
import { measureTake } from '../../src/measure/take.js';
import { irfft, nextPowerOfTwo, rfft, zeroSpectrum } from '../../src/numerics/fft.js';
import { renderTake } from '../../src/signals/take.js';
import { chain, gain, lowPass } from '../helpers/device.js';

/** Every second sample of a long transform: what a recorder at half the rate hears, its filter closing from 20.5 to 21.8 kHz. */
function throughAndHalved(x: Float64Array, rate: number, response: (hz: number) => readonly [number, number]): Float64Array {
  const size = nextPowerOfTwo(x.length + rate / 2);
  const whole = rfft(x, size);
  const half = zeroSpectrum(size / 2);
  for (let k = 1; k < size / 4; k++) {
    const hz = (k * rate) / size;
    const filter = hz < 20500 ? 1 : hz > 21800 ? 0 : 0.5 + 0.5 * Math.cos((Math.PI * (hz - 20500)) / 1300);
    const [c, s] = response(hz);
    half.re[k] = (filter * (whole.re[k]! * c - whole.im[k]! * s)) / 2;
    half.im[k] = (filter * (whole.re[k]! * s + whole.im[k]! * c)) / 2;
  }
  return irfft(half).slice(0, Math.floor(x.length / 2));
}

it('a sweep to 24 kHz recorded at 44.1 kHz gives the response to 20 kHz within 0.02 dB', () => {
  const identity = { stepCode: 7, levelDbfs: -12, sweepTopHz: 24000 };
  const truth = chain(lowPass(3000), gain(-3));
  const x = renderTake(identity, 88200, 1, 16 * 88200);
  const recording = memoryRecording([throughAndHalved(x, 88200, truth)], 44100);
  const [take] = findTakes(recording).takes;
  const [estimate] = measureTake(recording, take!, [0]);
  GRID_HZ.forEach((hz, i) => {
    const [re, im] = truth(hz);
    const { curve } = estimate!.response;
    expect(Math.abs(20 * Math.log10(Math.hypot(curve.re[i]!, curve.im[i]!) / Math.hypot(re, im))), `${hz.toFixed(0)} Hz`).toBeLessThan(0.02);
  });
});
