/**
 * Is a tone or a sweep, as it was recorded, one piece? A buffer that was dropped, given twice or given late leaves the level as it
 * was, and where as many samples are made up for later, the markers too; but it moves the phase at once, which no board does.
 *
 * The recording is multiplied by the conjugate of what was played, an analytic signal, and weighted over short windows: what is
 * left is the board's response at that frequency, which changes evenly from window to window. A step in it is a break.
 *
 * @module
 */
import { hann } from '../numerics/window.js';
import { median } from '../numerics/statistics.js';

/** A window holds so many periods, which keeps hum, harmonics and the mirrored frequency out, … */
const PERIODS = 6;
/** … and lasts so long at least, s. */
const SHORTEST_S = 0.005;
/** A step of the response from one window to the next, against how it moves around there, is a break from here on; a quarter of a turn is 1.4. */
const LEAST_STEP = 0.4;
/** … where it is so many times what is usual there: two ways of different delay ripple from window to window. */
const OVER_USUAL = 5;
/** Windows on either side that tell how it moves, … */
const AROUND = 8;
/** … and what is usual: more than a buffer of 4096 frames disturbs at 44.1 kHz, twice over. */
const FAR_AROUND = 80;
/** The signal in a window stands over what noise leaves there by this, an amplitude ratio: noise alone then steps by a fifth of the least. */
const OVER_NOISE = 20;

/** A wave as it was played, on the time base of the recording. */
export interface PlayedWave {
  /** Phase at a frame, turns. */
  turnsAt(frame: number): number;
  /** Frequency at a frame, Hz. */
  hzAt(frame: number): number;
}

/**
 * Frame of `x` about which the first break lies; null where it is one piece.
 *
 * @param noiseRms - Of the silences beside it.
 */
export function breakAt(x: Float64Array, sampleRateHz: number, played: PlayedWave, noiseRms: number): number | null {
  const frames: number[] = [];
  const re: number[] = [];
  const im: number[] = [];
  const heard: boolean[] = [];
  const turned = { sine: new Float64Array(x.length), cosine: new Float64Array(x.length) };
  x.forEach((v, n) => {
    const angle = 2 * Math.PI * (played.turnsAt(n) % 1);
    turned.sine[n] = v * Math.sin(angle);
    turned.cosine[n] = v * Math.cos(angle);
  });
  let window = hann(2);
  for (let from = 0; ; ) {
    const size = 2 * Math.ceil((sampleRateHz * Math.max(SHORTEST_S, PERIODS / played.hzAt(from))) / 2);
    if (from + size > x.length) break;
    if (window.length !== size) window = hann(size);
    let [a, b] = [0, 0];
    for (let n = 0; n < size; n++) {
      a += window[n]! * turned.sine[from + n]!;
      b += window[n]! * turned.cosine[from + n]!;
    }
    frames.push(from + size / 2);
    re.push(a / size);
    im.push(b / size);
    // Of white noise, the mean under Hann weights has √(3/8 / size) of the rms in both parts together, half of it in each.
    heard.push(Math.hypot(a, b) / size > OVER_NOISE * noiseRms * Math.sqrt(0.375 / size));
    from += size / 2;
  }
  // From each window to the one after the next, which shares no sample with it.
  const steps = Array.from({ length: Math.max(0, frames.length - 2) }, (_, k) => {
    const power = re[k]! ** 2 + im[k]! ** 2;
    return [(re[k + 2]! * re[k]! + im[k + 2]! * im[k]!) / power, (im[k + 2]! * re[k]! - re[k + 2]! * im[k]!) / power] as const;
  });
  const near = <T>(all: readonly T[], k: number, reach: number): T[] => all.slice(Math.max(0, k - reach), k + reach + 1);
  const sizes = re.map((a, k) => Math.hypot(a, im[k]!));
  // Against the level around, not that of the window: in a notch the phase turns fast.
  const off = (k: number): number => {
    const around = near(steps, k, AROUND);
    const [c, d] = [median(around.map((s) => s[0])), median(around.map((s) => s[1]))];
    return (Math.hypot(steps[k]![0] - c, steps[k]![1] - d) * sizes[k]!) / median(near(sizes, k + 1, AROUND));
  };
  /** Medians are slow: a step that is as three windows before is none. */
  const moves = ([a, b]: readonly [number, number], k: number): boolean => {
    const [c, d] = steps[Math.max(0, k - 3)]!;
    return Math.hypot(a - c, b - d) > LEAST_STEP / 3;
  };
  const all = [...steps.keys()];
  const k = steps.findIndex((step, i) => {
    if (!moves(step, i) || heard[i] !== true || heard[i + 2] !== true) return false;
    const by = off(i);
    // What is usual there is asked of hardly any.
    return by > LEAST_STEP && by > OVER_USUAL * median(near(all, i, FAR_AROUND).map(off));
  });
  return k < 0 ? null : frames[k + 1]!;
}
