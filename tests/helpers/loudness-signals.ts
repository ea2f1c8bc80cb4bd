/** Signals for the loudness meter: the test signals of EBU Tech 3341, and those of tests/outside/ffmpeg/generate.py. */
import { lcg } from './lcg.js';

/** A sine of a peak level, dBFS. */
export const aSine = (rate: number, seconds: number, hz: number, dbfs = 0): Float64Array => tone(rate, hz, [[dbfs, seconds]]);

/** Peak level (dBFS) and length (s) of stretches that follow each other. */
type Parts = readonly (readonly number[])[];

function shaped(rate: number, parts: Parts, x: (length: number) => Float64Array): Float64Array {
  const lengths = parts.map(([, seconds]) => Math.round(seconds! * rate));
  const out = x(lengths.reduce((a, b) => a + b));
  let at = 0;
  parts.forEach(([dbfs], i) => {
    const gain = 10 ** (dbfs! / 20);
    for (const end = at + lengths[i]!; at < end; at++) out[at]! *= gain;
  });
  return out;
}

function tone(rate: number, hz: number, parts: Parts): Float64Array {
  // One second of a whole frequency repeats.
  const second = Float64Array.from({ length: rate }, (_, n) => Math.sin((2 * Math.PI * hz * n) / rate));
  return shaped(rate, parts, (length) => {
    const x = new Float64Array(length);
    for (let at = 0; at < length; at += rate) x.set(at + rate <= length ? second : second.subarray(0, length - at), at);
    return x;
  });
}

/** Cases 1 to 6: stereo 1 kHz sines, and one of five channels. EBU Tech 3341 (signals from memory, confirmed by computation). */
export function ebuCase(number: number, rate: number): Float64Array[] {
  const stereo: Readonly<Record<number, Parts>> = {
    1: [[-23, 20]],
    2: [[-33, 20]],
    3: [[-36, 10], [-23, 60], [-36, 10]],
    4: [[-72, 10], [-36, 10], [-23, 60], [-36, 10], [-72, 10]],
    5: [[-26, 20], [-20, 20.1], [-26, 20]],
  };
  if (number === 6) return [-28, -28, -24, -30, -30].map((dbfs) => tone(rate, 1000, [[dbfs, 20]]));
  const x = tone(rate, 1000, stereo[number]!);
  return [x, x];
}

/** A case of tests/outside/ffmpeg/loudness.json: the same tone or noise in every channel, or the noise and its opposite in turn. */
export function loudnessSignal({ rate, channels, hz, parts }: { rate: number; channels: number; hz: number | null; parts: Parts }): Float64Array[] {
  const x = hz === null ? shaped(rate, parts, (length) => lcg(length, 2024)) : tone(rate, hz, parts);
  const opposite = x.map((v) => -v);
  return Array.from({ length: channels }, (_, c) => (channels === 5 && c % 2 === 1 ? opposite : x));
}
