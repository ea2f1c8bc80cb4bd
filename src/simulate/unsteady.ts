/**
 * Noise that is not steady: contacts that crackle, and a device whose noise grows while it is recorded.
 *
 * @module
 */

import type { Fault } from './faults.js';
import { randomStream, type Random } from './random.js';

/** Contacts make and break within this, and what they couple dies away at about this rate. */
const BURST_S = 0.02;
const SPARK_FALL_S = 0.4e-3;

/** Bursts of some ten sparks of either sign and any size up to the peak. */
function addCrackle(out: Float64Array, perS: number, peak: number, sampleRateHz: number, random: Random): void {
  const lengthS = out.length / sampleRateHz;
  const bursts = Math.max(1, Math.round(perS * lengthS));
  for (let b = 0; b < bursts; b++) {
    // One burst in each of equal stretches, anywhere in it.
    const startS = (lengthS * (b + 0.9 * random.uniform())) / bursts;
    const sparks = 5 + Math.floor(10 * random.uniform());
    for (let k = 0; k < sparks; k++) {
      // The first spark is the contact's own jump, to the full.
      const size = (k === 0 ? 1 : random.uniform()) * (random.uniform() < 0.5 ? -peak : peak);
      const first = Math.floor((startS + BURST_S * random.uniform()) * sampleRateHz);
      const last = Math.min(out.length, first + Math.ceil(8 * SPARK_FALL_S * sampleRateHz));
      for (let n = first; n < last; n++) out[n] += size * Math.exp(-(n - first) / (SPARK_FALL_S * sampleRateHz));
    }
  }
}

/** White noise whose density grows in proportion to time, from nothing. */
function addGrowingNoise(out: Float64Array, densityPerRtHz: number, sampleRateHz: number, random: Random): void {
  const noise = new Float64Array(out.length);
  random.fillNormal(noise);
  const rms = densityPerRtHz * Math.sqrt(sampleRateHz / 2);
  for (let n = 0; n < out.length; n++) out[n] += (rms * n * noise[n]) / out.length;
}

/**
 * Adds what the given faults make of an idle capture.
 *
 * @param perVolt - samples (±1) per volt at the output
 * @param passedOn - what of a loop's noise reaches this output, 1 for that loop alone at the first output
 * @param seed - the same for every output, which hear one crackle of a loop at the same moment
 */
export function addUnsteady(out: Float64Array, perVolt: number, sampleRateHz: number, faults: readonly Fault[], passedOn: (loop: string) => number, seed: number): void {
  const random = randomStream(seed);
  for (const fault of faults) {
    if (fault.kind === 'output-crackle') addCrackle(out, fault.perS, fault.peakV * perVolt, sampleRateHz, random);
    else if (fault.kind === 'loop-crackle') addCrackle(out, fault.perS, fault.peakV * perVolt * passedOn(fault.loop), sampleRateHz, random);
    else if (fault.kind === 'loop-drift') addGrowingNoise(out, fault.densityVPerRtHz * perVolt * passedOn(fault.loop), sampleRateHz, random);
  }
}
