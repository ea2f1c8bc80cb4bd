import { createHash } from 'node:crypto';

/** SHA-256 of the samples as interleaved little-endian doubles, as generate.py computes it. */
export function sha256OfInterleaved(channels: readonly Float64Array[]): string {
  const bytes = Buffer.alloc(channels.length * channels[0]!.length * 8);
  channels.forEach((samples, c) => {
    samples.forEach((x, i) => bytes.writeDoubleLE(x, (i * channels.length + c) * 8));
  });
  return createHash('sha256').update(bytes).digest('hex');
}
