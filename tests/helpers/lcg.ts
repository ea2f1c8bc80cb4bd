/** The whole-number generator of tests/outside/scipy/generate.py: the same samples in both languages. */
export function lcg(length: number, seed: number): Float64Array {
  let x = seed;
  return Float64Array.from({ length }, () => {
    x = (Math.imul(1664525, x) + 1013904223) >>> 0;
    return x / 2147483648 - 1;
  });
}
