/**
 * The frequencies every response is taken at: 1/48 octave steps from 20 Hz to 20 kHz, with the round ones that readings
 * name put in exactly.
 *
 * @module
 */
const STEPS = 478;
const NAMED = [20, 100, 200, 500, 997, 1000, 2000, 5000, 10000, 20000];

export const GRID_HZ: Float64Array = Float64Array.from(
  [...new Set([...NAMED, ...Array.from({ length: STEPS + 1 }, (_, i) => 20 * 1000 ** (i / STEPS))])].filter(
    (hz) => NAMED.includes(hz) || NAMED.every((named) => Math.abs(hz / named - 1) > 0.003),
  ),
).sort();

/** Index in the grid of a frequency that is exactly in it. */
export const gridIndex = (hz: number): number => GRID_HZ.indexOf(hz);

/** Indices [first, last] of the grid within two frequencies. */
export function gridRange(lowHz: number, highHz: number): readonly [number, number] {
  let first = 0;
  while (GRID_HZ[first]! < lowHz) first++;
  let last = GRID_HZ.length - 1;
  while (GRID_HZ[last]! > highHz) last--;
  return [first, last];
}

/** Weight of each grid point as its share of log frequency (half the distance to its neighbours). */
export const GRID_LOG_WEIGHT: Float64Array = GRID_HZ.map((hz, i) => {
  const below = i === 0 ? hz : GRID_HZ[i - 1]!;
  const above = i === GRID_HZ.length - 1 ? hz : GRID_HZ[i + 1]!;
  return Math.log(above / below) / 2;
});
