/** Seeded noise for tests only: never shared with simulate/ or measure/. */
export function seeded(seed: number): { uniform: () => number; gauss: () => number } {
  let s = seed >>> 0 || 1;
  const uniform = (): number => {
    // mulberry32 (public domain recipe, from memory)
    s = (s + 0x6d2b79f5) >>> 0;
    let t = Math.imul(s ^ (s >>> 15), 1 | s);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
  const gauss = (): number => Math.sqrt(-2 * Math.log(1 - uniform())) * Math.cos(2 * Math.PI * uniform());
  return { uniform, gauss };
}

export function noise(length: number, rms: number, seed: number): Float64Array {
  const { gauss } = seeded(seed);
  return Float64Array.from({ length }, () => rms * gauss());
}
