import { describe, expect, test } from 'vitest';
import { blockConverter } from '../../src/wav/convert.js';
import { seeded } from '../helpers/random.js';

/** The definition, one sample at a time: x / 2^(bits-1) for two's complement, the number itself for floats. */
function naive(encoding: 'pcm' | 'float', bits: number, bytes: Uint8Array): Float64Array {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.length);
  const step = bits / 8;
  return Float64Array.from({ length: bytes.length / step }, (_, i) => {
    if (encoding === 'float') return bits === 32 ? view.getFloat32(i * 4, true) : view.getFloat64(i * 8, true);
    let integer = 0;
    for (let k = 0; k < step; k++) integer += bytes[i * step + k]! * 256 ** k;
    return (integer >= 2 ** (bits - 1) ? integer - 2 ** bits : integer) / 2 ** (bits - 1);
  });
}

const formats = [
  ['pcm', 16],
  ['pcm', 24],
  ['pcm', 32],
  ['float', 32],
  ['float', 64],
] as const;

describe.each(formats)('%s %i', (encoding, bits) => {
  test.each([1, 2, 3, 32])('%i channels equal the definition exactly, whatever was in the buffers', (channels) => {
    const { uniform } = seeded(bits + channels);
    const frames = 257;
    const converter = blockConverter({ encoding, bitsPerSample: bits, channels }, 300);
    for (const [from, count] of [[0, frames], [5, 1], [40, 100]] as const) {
      converter.bytes.fill(0xa5);
      const raw = converter.bytes.subarray(0, (count * channels * bits) / 8);
      for (let i = 0; i < raw.length; i++) raw[i] = Math.floor(256 * uniform());
      const expected = naive(encoding, bits, raw.slice());
      const into = Array.from({ length: channels }, () => new Float64Array(frames).fill(NaN));
      converter.convert(count, into, from);
      into.forEach((samples, c) => {
        for (let i = 0; i < frames; i++) {
          const inside = i >= from && i < from + count;
          const want = inside ? expected[(i - from) * channels + c]! : NaN;
          if (!Object.is(samples[i], want)) expect.fail(`channel ${c}, frame ${i}: ${samples[i]}, not ${want}`);
        }
      });
    }
  });
});

test.each([16, 24, 32])('%i-bit ends of the scale', (bits) => {
  const converter = blockConverter({ encoding: 'pcm', bitsPerSample: bits, channels: 1 }, 4);
  const bytes = bits / 8;
  const filling = (k: number): number => [0x00, 0xff, 0x00, 0xff][k]!;
  for (let k = 0; k < 4; k++) converter.bytes.fill(filling(k), k * bytes, (k + 1) * bytes);
  converter.bytes[bytes - 1] = 0x80;
  converter.bytes[2 * bytes - 1] = 0x7f;
  const out = new Float64Array(4);
  converter.convert(4, [out], 0);
  const step = 2 ** (1 - bits);
  expect([...out]).toEqual([-1, 1 - step, 0, -step]);
});

test('every 16-bit value', () => {
  const converter = blockConverter({ encoding: 'pcm', bitsPerSample: 16, channels: 1 }, 65536);
  const view = new DataView(converter.bytes.buffer, converter.bytes.byteOffset);
  for (let i = 0; i < 65536; i++) view.setInt16(2 * i, i - 32768, true);
  const out = new Float64Array(65536);
  converter.convert(65536, [out], 0);
  expect(out).toEqual(Float64Array.from(out, (_, i) => (i - 32768) / 32768));
});
