/** Devices that clip, without memory, and what is true of a sine through them: by quadrature over one turn, shared with nothing. */
export type Clipper = (x: number) => number;

const limited = (x: number, at: number, sharpness: number): number => x / (1 + Math.abs(x / at) ** sharpness) ** (1 / sharpness);

export const clippers: Readonly<Record<string, Clipper>> = {
  'hard, both halves': (x) => Math.max(-0.3, Math.min(0.3, x)),
  'hard, one half first': (x) => Math.max(-0.24, Math.min(0.45, x)),
  'soft, hyperbolic tangent': (x) => 0.5 * Math.tanh(x / 0.5),
  'firm, as an amplifier near its rails': (x) => limited(x, 0.3, 24),
  'one half soft, the other firm': (x) => (x > 0 ? 0.6 * Math.tanh(x / 0.6) : limited(x, 0.4, 8)),
  'second and third order': (x) => x + 0.02 * x * x - 0.06 * x ** 3,
  'inverting, one half first': (x) => -Math.max(-0.24, Math.min(0.45, x)),
};

/** Tone and distortion, second to tenth harmonic over the tone, of A·cos θ through a device; amplitudes. */
export function sineThrough(f: Clipper, amplitude: number): { tone: number; thd: number; evenOverOddDb: number } {
  const turn = 2048;
  const sums = Array.from({ length: 11 }, () => 0);
  for (let i = 0; i < turn; i++) {
    const theta = (2 * Math.PI * (i + 0.5)) / turn;
    const y = f(amplitude * Math.cos(theta));
    for (let n = 1; n <= 10; n++) sums[n]! += (2 * y * Math.cos(n * theta)) / turn;
  }
  const power = (from: number, step: number): number => sums.reduce((s, a, n) => (n >= from && (n - from) % step === 0 ? s + a * a : s), 0);
  return { tone: Math.abs(sums[1]!), thd: Math.sqrt(power(2, 1)) / Math.abs(sums[1]!), evenOverOddDb: 10 * Math.log10(power(2, 2) / power(3, 2)) };
}

const found = new Map<Clipper, number>();

/** Input amplitude at which the distortion first is 1 %. */
export function onePercentAt(f: Clipper): number {
  const known = found.get(f);
  if (known !== undefined) return known;
  let [low, high] = [0.01, 20];
  for (let pass = 0; pass < 36; pass++) {
    const middle = Math.sqrt(low * high);
    if (sineThrough(f, middle).thd > 0.01) high = middle;
    else low = middle;
  }
  found.set(f, low);
  return low;
}
