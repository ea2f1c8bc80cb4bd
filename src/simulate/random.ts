/**
 * Seeded random numbers of the simulator's own: xoshiro128** (Blackman and Vigna, 2018, public domain; from memory),
 * seeded through splitmix32, with normal deviates by the ziggurat method. Nothing in measure/ uses it.
 *
 * Ziggurat: Marsaglia and Tsang, Journal of Statistical Software 5 (2000) no. 8, with 128 layers; the layer comes from
 * the low 7 bits of a draw and the value from the 24 highest, so that the two do not depend on each other (Doornik, 2005).
 *
 * @module
 */

/** Where the lowest layer's tail begins, and the area of each of 128 layers (Marsaglia and Tsang's constants). */
const LAYERS = 128;
const TAIL = 3.442619855899;
const AREA = 9.91256303526217e-3;

const density = (x: number): number => Math.exp(-0.5 * x * x);

/** Right edge of each layer, the lowest first at its nominal width; one more, 0, above the top. */
const EDGE: Float64Array = (() => {
  const edge = new Float64Array(LAYERS + 1);
  edge[0] = AREA / density(TAIL);
  edge[1] = TAIL;
  for (let k = 2; k < LAYERS; k++) edge[k] = Math.sqrt(-2 * Math.log(AREA / edge[k - 1] + density(edge[k - 1])));
  return edge;
})();
const HEIGHT: Float64Array = EDGE.map(density);

export interface Random {
  /** Uniform in (0, 1]. */
  uniform(): number;
  /** Triangular in (−1, 1): the difference of two uniform deviates of 16 bits. */
  triangular(): number;
  /** Fills with independent normal deviates, mean 0, variance 1. */
  fillNormal(out: Float64Array): void;
}

const rotl = (x: number, k: number): number => (x << k) | (x >>> (32 - k));

/** A stream that follows from the seed alone. Any finite number is a seed; its lower 32 bits count. */
export function randomStream(seed: number): Random {
  let s = seed >>> 0;
  const splitmix = (): number => {
    s = (s + 0x9e3779b9) | 0;
    let t = s ^ (s >>> 16);
    t = Math.imul(t, 0x21f0aaad);
    t ^= t >>> 15;
    t = Math.imul(t, 0x735a2d97);
    return t ^ (t >>> 15);
  };
  let a = splitmix();
  let b = splitmix();
  let c = splitmix();
  let d = splitmix() | 1;
  const next = (): number => {
    const result = Math.imul(rotl(Math.imul(b, 5), 7), 9) >>> 0;
    const t = b << 9;
    c ^= a;
    d ^= b;
    b ^= c;
    a ^= d;
    c ^= t;
    d = rotl(d, 11);
    return result;
  };
  const SCALE = 2 ** -32;
  return {
    uniform: () => (next() + 1) * SCALE,
    triangular() {
      const both = next();
      return ((both >>> 16) - (both & 0xffff)) / 65536;
    },
    fillNormal(out) {
      for (let n = 0; n < out.length; n++) {
        for (;;) {
          const bits = next();
          const layer = bits & (LAYERS - 1);
          // Odd multiples of 2⁻²⁴ in (−1, 1): symmetric and never 0.
          const x = ((bits >>> 8) * 2 ** -23 - 1 + 2 ** -24) * EDGE[layer];
          if (Math.abs(x) < EDGE[layer + 1]) {
            out[n] = x;
            break;
          }
          if (layer === 0) {
            // Beyond the lowest layer's edge: the tail, by Marsaglia's exponential pair.
            let beyond: number;
            let other: number;
            do {
              beyond = -Math.log((next() + 1) * SCALE) / TAIL;
              other = -Math.log((next() + 1) * SCALE);
            } while (2 * other < beyond * beyond);
            out[n] = x > 0 ? TAIL + beyond : -TAIL - beyond;
            break;
          }
          if (HEIGHT[layer] + (next() + 1) * SCALE * (HEIGHT[layer + 1] - HEIGHT[layer]) < density(x)) {
            out[n] = x;
            break;
          }
        }
      }
    },
  };
}

/** A seed for one of many streams: FNV-1a of the text, mixed with the seed, so that each step has noise of its own. */
export function streamSeed(seed: number, text: string): number {
  let hash = 0x811c9dc5 ^ (seed >>> 0);
  for (let k = 0; k < text.length; k++) {
    hash ^= text.charCodeAt(k);
    hash = Math.imul(hash, 0x01000193);
  }
  return (hash ^ (hash >>> 15)) >>> 0;
}
