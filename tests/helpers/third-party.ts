/** SoX and FFmpeg as devices under test. */
import { execFileSync } from 'node:child_process';
import { basename } from 'node:path';

/** SoX in a folder; its errors go to the log. */
export function sox(folder: string, ...args: readonly string[]): void {
  // -R: the same dither and noise in every run (SoX's default, said here because the tests lean on it).
  execFileSync('sox', ['-R', '-V1', ...args], { cwd: folder, stdio: ['ignore', 'ignore', 'inherit'] });
}

export function ffmpeg(folder: string, ...args: readonly string[]): void {
  execFileSync('ffmpeg', ['-v', 'error', '-y', ...args], { cwd: folder, stdio: ['ignore', 'ignore', 'inherit'] });
}

const words = (effects: string): string[] => effects.split(' ').filter((word) => word !== '');

/** A mono file through one chain of SoX effects per output, into one file of 32-bit integers. */
export function throughSox(folder: string, played: string, into: string, ...chains: readonly string[]): string {
  const parts = chains.map((effects, i) => {
    const part = `${basename(into, '.wav')}-${i}.wav`;
    sox(folder, played, '-b', '32', part, ...words(effects));
    return part;
  });
  sox(folder, ...(parts.length > 1 ? ['-M'] : []), ...parts, '-b', '32', into);
  return into;
}

/** A mono file through two chains of FFmpeg filters, one per output. */
export function throughFfmpeg(folder: string, played: string, into: string, ...chains: readonly string[]): string {
  const split = `[0:a]aformat=sample_fmts=dbl,asplit=${chains.length}${chains.map((_, i) => `[i${i}]`).join('')}`;
  const each = chains.map((filters, i) => `[i${i}]${filters}[o${i}]`);
  const merge = `${chains.map((_, i) => `[o${i}]`).join('')}join=inputs=${chains.length}:channel_layout=stereo[out]`;
  ffmpeg(folder, '-i', played, '-filter_complex', [split, ...each, merge].join(';'), '-map', '[out]', '-c:a', 'pcm_f64le', into);
  return into;
}

/** |H|² of the one-pole low-pass of SoX (`lowpass -1`) and FFmpeg (`lowpass=p=1`): pole e^(−2π·fc/fs), gain 1 at 0 Hz. */
export function onePolePower(cornerHz: number, sampleRateHz: number): (hz: number) => number {
  const pole = Math.exp((-2 * Math.PI * cornerHz) / sampleRateHz);
  return (hz) => (1 - pole) ** 2 / (1 - 2 * pole * Math.cos((2 * Math.PI * hz) / sampleRateHz) + pole * pole);
}

/** Mean of a power response between two frequencies, every octave weighing the same (midpoint rule, 2000 steps). */
export function meanPowerBetween(power: (hz: number) => number, lowHz: number, highHz: number): number {
  const steps = 2000;
  let sum = 0;
  for (let i = 0; i < steps; i++) sum += power(lowHz * (highHz / lowHz) ** ((i + 0.5) / steps));
  return sum / steps;
}

/** Where a falling power response is half of its mean between 200 and 500 Hz; by halving the interval. */
export function halfPowerHz(power: (hz: number) => number): number {
  const half = meanPowerBetween(power, 200, 500) / 2;
  let [low, high] = [500, 20000];
  for (let i = 0; i < 60; i++) {
    const middle = Math.sqrt(low * high);
    if (power(middle) > half) low = middle;
    else high = middle;
  }
  return low;
}
