/** Hum of 50 Hz at 48 kHz: so much of each line from the first on, of rms √½ in all as a sine of 0 dBFS has; one period, made once. */
export function humOf(lines: readonly number[]): (frame: number) => number {
  const scale = 1 / Math.hypot(...lines);
  const period = Float64Array.from({ length: 960 }, (_, n) => scale * lines.reduce((sum, a, i) => sum + a * Math.sin((2 * Math.PI * (i + 1) * n) / 960), 0));
  return (frame) => period[frame % 960]!;
}
