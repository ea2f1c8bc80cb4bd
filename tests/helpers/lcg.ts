/** The whole-number generator of tests/outside/scipy/generate.py: the same samples in both languages. */
export function lcg(length: number, seed: number): Float64Array {
  let x = seed;
  return Float64Array.from({ length }, () => {
    x = (Math.imul(1664525, x) + 1013904223) >>> 0;
    return x / 2147483648 - 1;
  });
}

/** Noise with an offset in whole numbers of 24 bits, as tests/outside/{sox,ffmpeg,libsndfile} make it; full scale 1. */
export function wholeNoise(length: number, seed: number): Float64Array {
  let x = seed;
  return Float64Array.from({ length }, () => {
    x = (Math.imul(1664525, x) + 1013904223) >>> 0;
    return ((x >>> 9) - 4194304 + 83886) / 8388608;
  });
}
