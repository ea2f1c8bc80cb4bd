/**
 * From spectra to the samples of a recording: noise, and the signal through the circuit, in one transform of the whole
 * capture.
 *
 * @module
 */

import { complexInverse, irfft, nextPowerOfTwo, rfft, zeroSpectrum, type Spectrum } from '../numerics/fft.js';
import type { ComplexCurve } from '../circuit/response.js';
import { logGrid, toBins, binMap, type BinMap, type LogGrid } from './log-grid.js';
import type { Random } from './random.js';
import { fillShapedNoise, noiseScratch, type NoiseScratch, type NoiseShape } from './shaped-noise.js';

/** A transform length with the grid of frequencies that its bins are interpolated from. */
export interface Frame {
  readonly frames: number;
  readonly size: number;
  /** True rate of the recorder's samples. */
  readonly trueRateHz: number;
  readonly grid: LogGrid;
  readonly map: BinMap;
}

export function frameOf(frames: number, trueRateHz: number, pointsPerOctave?: number): Frame {
  const size = nextPowerOfTwo(frames);
  const binHz = trueRateHz / size;
  const grid = logGrid(binHz, trueRateHz / 2, pointsPerOctave);
  return { frames, size, trueRateHz, grid, map: binMap(grid, binHz, size / 2 + 1) };
}

/** Arrays as long as a transform: tens of megabytes, and captures come in rows, so the last set is kept. */
interface Scratch {
  readonly size: number;
  readonly packed: Float64Array;
  readonly time: Float64Array;
  readonly noise: NoiseScratch;
  readonly spectra: Spectrum[];
}

let kept: Scratch | null = null;

function scratchOf(size: number): Scratch {
  if (kept?.size !== size) {
    kept = { size, packed: new Float64Array(2 * size), time: new Float64Array(2 * size), noise: noiseScratch(size / 2 + 1), spectra: [] };
  }
  return kept;
}

/** Spectra of noise alone, one per channel; they hold until the next call for the same length. */
export function noiseSpectra(shape: NoiseShape, frame: Frame, random: Random): readonly Spectrum[] {
  const { spectra, noise } = scratchOf(frame.size);
  while (spectra.length < shape.count) spectra.push(zeroSpectrum(frame.size));
  const used = spectra.slice(0, shape.count);
  fillShapedNoise(used, shape, frame.map, frame.size, frame.trueRateHz, random, noise);
  return used;
}

/** Adds signal × transfer × delay to the spectrum of a channel; the bin at 0 Hz and the last carry nothing. */
export function addThrough(out: Spectrum, signal: Spectrum, transfer: ComplexCurve, delayS: number, frame: Frame): void {
  const { lRe, lIm } = scratchOf(frame.size).noise;
  const hRe = toBins(frame.map, transfer.re, lRe);
  const hIm = toBins(frame.map, transfer.im, lIm);
  const half = frame.size >> 1;
  if (delayS !== 0) {
    const turns = (-delayS * frame.trueRateHz) / frame.size;
    for (let k = 1; k < half; k++) {
      const angle = 2 * Math.PI * ((turns * k) % 1);
      const c = Math.cos(angle);
      const s = Math.sin(angle);
      const re = hRe[k] * c - hIm[k] * s;
      hIm[k] = hRe[k] * s + hIm[k] * c;
      hRe[k] = re;
    }
  }
  for (let k = 1; k < half; k++) {
    out.re[k] += signal.re[k] * hRe[k] - signal.im[k] * hIm[k];
    out.im[k] += signal.re[k] * hIm[k] + signal.im[k] * hRe[k];
  }
}

/** Real signals of two spectra by one complex inverse; the bins at 0 Hz and at the last are taken as zero. */
function inversePair(a: Spectrum, b: Spectrum, size: number, frames: number): [Float64Array, Float64Array] {
  const { packed, time } = scratchOf(size);
  packed.fill(0, 0, 2);
  packed.fill(0, size, size + 2);
  for (let k = 1; k < size >> 1; k++) {
    const aRe = a.re[k];
    const aIm = a.im[k];
    const bRe = b.re[k];
    const bIm = b.im[k];
    packed[2 * k] = aRe - bIm;
    packed[2 * k + 1] = aIm + bRe;
    const m = 2 * (size - k);
    packed[m] = aRe + bIm;
    packed[m + 1] = bRe - aIm;
  }
  complexInverse(packed, time);
  const first = new Float64Array(frames);
  const second = new Float64Array(frames);
  for (let n = 0; n < frames; n++) {
    first[n] = time[2 * n];
    second[n] = time[2 * n + 1];
  }
  return [first, second];
}

/** Samples of each spectrum, the first `frames` of them. */
export function toSamples(spectra: readonly Spectrum[], frame: Frame): Float64Array[] {
  const samples: Float64Array[] = [];
  for (let c = 0; c + 1 < spectra.length; c += 2) samples.push(...inversePair(spectra[c], spectra[c + 1], frame.size, frame.frames));
  if (spectra.length % 2 === 1) samples.push(irfft(spectra[spectra.length - 1]).slice(0, frame.frames));
  return samples;
}

export const spectrumOf = (samples: Float64Array, frame: Frame): Spectrum => rfft(samples, frame.size);
