import fc from 'fast-check';
import { readFileSync, readdirSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { Problem } from '../../src/problems.js';
import { bytesSource, type ByteSource } from '../../src/wav/byte-source.js';
import { readWavInfo, type WavInfo } from '../../src/wav/header.js';
import { forEachBlock, readFrames } from '../../src/wav/read.js';
import { chunk, ds64, file, format, guid, noise, u16, u32, u64, zeros } from './build.js';

const info = (bytes: Uint8Array): WavInfo => readWavInfo(bytesSource('take.wav', bytes));

function refusal(act: () => unknown): Problem {
  try {
    act();
  } catch (error) {
    if (error instanceof Problem) return error;
    throw error;
  }
  throw new Error('was not refused');
}

const text = (characters: string): Uint8Array => Uint8Array.from(characters, (c) => c.charCodeAt(0));
const data = chunk('data', noise(40));
const unknown = 0xffffffff;

describe('refused, with the reason', () => {
  const cases: readonly (readonly [what: string, bytes: Uint8Array, code: string, says: RegExp])[] = [
    ['an empty file', new Uint8Array(0), 'wav.empty-file', /is empty/],
    ['text', text('# a board\nformat: x'), 'wav.not-wav', /is not a WAV file; export/],
    ['three bytes', text('RIF'), 'wav.not-wav', /is not a WAV file/],
    ['big-endian', text('RIFX\0\0\0\x20WAVEfmt '), 'wav.not-wav', /big-endian/],
    ['AVI', text('RIFF\x20\0\0\0AVI LIST'), 'wav.not-wav', /an AVI video/],
    ['another RIFF', text('RIFF\x20\0\0\0WEBPVP8 '), 'wav.not-wav', /a RIFF file of another kind/],
    ['AIFF', text('FORM\0\0\0\x20AIFFCOMM'), 'wav.not-wav', /an AIFF file/],
    ['FLAC', text('fLaC\0\0\0\x22\x10\0\x10\0'), 'wav.not-wav', /a FLAC file/],
    ['Ogg', text('OggS\0\x02\0\0\0\0\0\0'), 'wav.not-wav', /an Ogg file/],
    ['MP3 with a tag', text('ID3\x04\0\0\0\0\0\0\0\0'), 'wav.not-wav', /an MP3 or AAC file/],
    ['MP3', text('\xff\xfb\x90\x64\0\0\0\0\0\0\0\0'), 'wav.not-wav', /an MP3 or AAC file/],
    ['M4A', text('\0\0\0\x20ftypM4A '), 'wav.not-wav', /an MP4 or M4A file/],
    ['Wave64', text('riff\x2e\x91\xcf\x11\xa5\xd6\x28\xdb'), 'wav.not-wav', /a Wave64 file/],
    ['zeros', Uint8Array.from(zeros(4000)), 'wav.not-wav', /a file of zeros/],

    ['a bare RIFF header', file([]), 'wav.no-format', /no "fmt " chunk/],
    ['eight bytes of a header', file([]).slice(0, 8), 'wav.no-format', /no "fmt " chunk/],
    ['data without fmt', file([data]), 'wav.no-format', /before its samples/],
    ['fmt after data', file([data, format()]), 'wav.no-format', /before its samples/],
    ['two fmt', file([format(), format(), data]), 'wav.two-formats', /two "fmt "/],
    ['a second fmt after data', file([format(), data, format({ rate: 96000 })]), 'wav.two-formats', /two "fmt "/],
    ['no data', file([format(), chunk('LIST', text('INFO') as unknown as number[])]), 'wav.no-data', /no "data" chunk/],
    ['two data', file([format(), data, chunk('LIST', zeros(5)), data]), 'wav.two-recordings', /more than one recording/],
    ['two data after a bext', file([chunk('bext', [...zeros(320), ...text('2024-05-06'), ...zeros(300)]), format(), data, data]), 'wav.two-recordings', /more than one recording/],
    ['two files in one', Uint8Array.from([...file([format(), data]), ...file([format(), data])]), 'wav.two-recordings', /more than one recording/],
    ['garbage between chunks', file([format(), noise(20), data]), 'wav.damaged', /at byte 36/],
    ['a chunk longer than the file', file([format(), chunk('LIST', zeros(10), 5000), data]), 'wav.chunk-past-end', /"LIST" chunk/],
    ['a chunk of 4 GiB', file([format(), chunk('JUNK', zeros(10), unknown), data]), 'wav.chunk-past-end', /"JUNK" chunk/],
    ['a fmt longer than the file', file([chunk('fmt ', zeros(16), 0x7fffffff)]), 'wav.chunk-past-end', /"fmt " chunk/],
    ['cut inside fmt', file([format(), data]).slice(0, 30), 'wav.chunk-past-end', /"fmt " chunk/],
    ['ten thousand chunks', file([format(), ...Array.from({ length: 10_000 }, () => chunk('JUNK', [])), data]), 'wav.damaged', /no valid chunk/],

    ['fmt of 14 bytes', file([chunk('fmt ', zeros(14)), data]), 'wav.format-short', /only 14 bytes/],
    ['extensible fmt of 18 bytes', file([chunk('fmt ', [...u16(0xfffe), ...zeros(16)]), data]), 'wav.format-short', /only 18 bytes/],
    ['ADPCM', file([format({ tag: 2, bits: 4, blockAlign: 1024 }), data]), 'wav.encoding', /Microsoft ADPCM/],
    ['IMA ADPCM', file([format({ tag: 0x11, bits: 4, blockAlign: 1024 }), data]), 'wav.encoding', /IMA ADPCM/],
    ['A-law', file([format({ tag: 6, bits: 8 }), data]), 'wav.encoding', /A-law/],
    ['mu-law', file([format({ tag: 7, bits: 8 }), data]), 'wav.encoding', /mu-law/],
    ['MP3 in WAV', file([format({ tag: 0x55, bits: 0, blockAlign: 1 }), data]), 'wav.encoding', /MP3/],
    ['an unknown encoding', file([format({ tag: 0x1234 }), data]), 'wav.encoding', /0x1234/],
    ['A-law, extensible', file([format({ bits: 8, subformat: guid(6) }), data]), 'wav.encoding', /A-law/],
    ['an unknown subformat', file([format({ subformat: noise(16) }), data]), 'wav.encoding', /subformat 8bb0d5/],

    ['8 bits', file([format({ bits: 8 }), data]), 'wav.bits', /8-bit integer/],
    ['8 valid bits in 8', file([format({ bits: 8, validBits: 8 }), data]), 'wav.bits', /8-bit integer/],
    ['0 bits', file([format({ bits: 0, blockAlign: 4 }), data]), 'wav.bits', /0-bit integer/],
    ['40 bits', file([format({ bits: 40 }), data]), 'wav.bits', /40-bit integer/],
    ['64-bit integers', file([format({ bits: 64 }), data]), 'wav.bits', /64-bit integer/],
    ['16-bit float', file([format({ tag: 3, bits: 16 }), data]), 'wav.bits', /16-bit float/],
    ['24-bit float', file([format({ tag: 3, bits: 24 }), data]), 'wav.bits', /24-bit float/],
    ['32 valid bits in 24', file([format({ bits: 24, validBits: 32 }), data]), 'wav.valid-bits', /32 valid bits in samples of 24/],
    ['0 channels', file([format({ channels: 0, blockAlign: 4 }), data]), 'wav.channels', /0 channels/],
    ['33 channels', file([format({ channels: 33 }), data]), 'wav.channels', /33 channels/],
    ['65535 channels', file([format({ channels: 65535, blockAlign: 4 }), data]), 'wav.channels', /65535 channels/],
    ['0 Hz', file([format({ rate: 0 }), data]), 'wav.rate', /of 0 Hz/],
    ['32 kHz', file([format({ rate: 32000 }), data]), 'wav.rate', /32000 Hz/],
    ['192001 Hz', file([format({ rate: 192001 }), data]), 'wav.rate', /192001 Hz/],
    ['4 GHz', file([format({ rate: unknown }), data]), 'wav.rate', /4294967295 Hz/],
    ['24 bits in 4 bytes, not extensible', file([format({ bits: 24, blockAlign: 8 }), data]), 'wav.block-align', /frames of 8 bytes/],
    ['a block align of 0', file([format({ blockAlign: 0 }), data]), 'wav.block-align', /frames of 0 bytes/],
    ['a block align for mono', file([format({ blockAlign: 2 }), data]), 'wav.block-align', /2 channel\(s\) of 16 bits/],

    ['no samples', file([format(), chunk('data', [])]), 'wav.no-samples', /no samples/],
    ['no samples, but text', file([format(), chunk('data', []), chunk('LIST', zeros(12))]), 'wav.no-samples', /no samples/],
    ['no samples, but text, RF64', file([ds64(0), format(), chunk('data', [], unknown), chunk('LIST', zeros(12))], 'RF64'), 'wav.no-samples', /no samples/],
    ['half a frame', file([format(), chunk('data', noise(3))]), 'wav.no-samples', /not one whole frame/],
    ['half a frame of a stream', file([format(), chunk('data', noise(2), unknown)]), 'wav.no-samples', /not one whole frame/],
    ['a stream that ends at its header', file([format(), chunk('data', [], unknown)]), 'wav.no-samples', /no samples/],
    ['cut short', file([format(), data]).slice(0, 44 + 30), 'wav.cut-short', /says 10 frames, 7 are there, 3 are missing/],
    ['cut right after its header', file([format(), data]).slice(0, 44), 'wav.cut-short', /0 are there, 10 are missing/],
    ['a size just below 4 GiB', file([format(), chunk('data', noise(40), unknown - 3)]), 'wav.cut-short', /1073741823 frames, 10 are there/],
    ['RF64 cut short', file([ds64(8e9), format(), chunk('data', noise(40), unknown)], 'RF64'), 'wav.cut-short', /2000000000 frames, 10 are there/],
    ['BW64 of 2^63 bytes', file([ds64(2 ** 63), format(), chunk('data', noise(40), unknown)], 'BW64'), 'wav.cut-short', /10 are there/],
    ['RF64 without ds64', file([format(), chunk('data', noise(40), unknown)], 'RF64'), 'wav.no-ds64', /"ds64"/],
    ['RF64 with half a ds64', file([chunk('ds64', zeros(16)), format(), data], 'RF64'), 'wav.no-ds64', /"ds64"/],
    ['RF64, a large chunk that nobody knows', file([ds64(40), format(), chunk('axml', zeros(8), unknown), data], 'RF64'), 'wav.chunk-past-end', /"axml"/],
    ['RF64, a large chunk past the end', file([ds64(40, [['axml', 5e9]]), format(), chunk('axml', zeros(8), unknown), data], 'RF64'), 'wav.chunk-past-end', /"axml"/],
  ];

  test.each(cases)('%s', (_, bytes, code, says) => {
    const error = refusal(() => info(bytes));
    expect(error.code).toBe(code);
    expect(error.message).toMatch(says);
    expect(error.message).toMatch(/^take\.wav /);
    expect(error.exit).toBe(3);
  });
});

describe('accepted, though unusual', () => {
  test.each<readonly [what: string, bytes: Uint8Array, Partial<WavInfo>]>([
    ['data size 0 of a killed recorder', file([format(), chunk('data', noise(41), 0)]), { frames: 10, unfinished: true }],
    ['silence after a data size of 0', file([format(), chunk('data', zeros(40), 0)]), { frames: 10, unfinished: true }],
    ['data size 0xFFFFFFFF', file([format(), chunk('data', noise(40), unknown)]), { frames: 10, unfinished: true }],
    ['RF64 whose ds64 was never filled in', file([ds64(0), format(), chunk('data', noise(40), unknown)], 'RF64'), { frames: 10, unfinished: true }],
    [
      'RF64 with a ds64 of ones',
      file([chunk('ds64', [...u64(0), ...u32(unknown), ...u32(unknown), ...zeros(12)]), format(), chunk('data', noise(40), unknown)], 'RF64'),
      { frames: 10, unfinished: true },
    ],
    ['the 32-bit size where it is known, whatever ds64 says', file([ds64(8), format(), chunk('data', noise(40))], 'RF64'), { frames: 10, unfinished: false }],
    ['ds64 ignored in RIFF', file([ds64(8), format(), chunk('data', noise(40))]), { frames: 10 }],
    ['a large chunk of the ds64 table', file([ds64(40, [['axml', 6]]), format(), chunk('axml', zeros(6), unknown), chunk('data', noise(40), unknown)], 'RF64'), { frames: 10 }],
    ['a last frame that is not whole', file([format(), chunk('data', noise(43))]), { frames: 10, unfinished: false }],
    ['a last frame that is neither whole nor there', file([format(), chunk('data', noise(43))]).slice(0, 44 + 41), { frames: 10 }],
    ['an odd chunk without its pad byte', file([format(), chunk('note', noise(5)).slice(0, -1), data]), { frames: 10 }],
    ['an odd chunk whose pad byte is not zero', file([format(), [...chunk('note', noise(5)).slice(0, -1), 100], data]), { frames: 10 }],
    ['an odd chunk before other text', file([format(), chunk('note', noise(5)).slice(0, -1), chunk('LIST', noise(4)), data]), { frames: 10 }],
    ['an odd chunk before one of an unusual name', file([format(), chunk('note', noise(5)).slice(0, -1), chunk('zzzz', noise(4)), data]), { frames: 10 }],
    ['garbage after the samples', file([format(), data, noise(33)]), { frames: 10, unfinished: false }],
    ['a chunk after the samples that is cut off', file([format(), data, chunk('LIST', noise(4), 9999)]), { frames: 10 }],
    ['fmt with more bytes than are known', file([chunk('fmt ', [...format().slice(8), ...noise(100)]), data]), { frames: 10 }],
    ['20-bit PCM in 3 bytes, not extensible', file([format({ bits: 20, channels: 1, blockAlign: 3 }), chunk('data', noise(30))]), { frames: 10, bitsPerSample: 24, validBits: 20 }],
    ['valid bits of 0, which means all', file([format({ validBits: 0 }), data]), { frames: 10, validBits: 16 }],
    ['B-format subformat', file([format({ channels: 4, subformat: [1, 0, 0, 0, 0x21, 7, 0xd3, 0x11, 0x86, 0x44, 0xc8, 0xc1, 0xca, 0, 0, 0] }), data]), { frames: 5, encoding: 'pcm' }],
    ['a bext too short for a date', file([chunk('bext', noise(100)), format(), data]), { frames: 10, recordedAt: null }],
    ['a bext without a time', file([chunk('bext', [...zeros(320), ...text('2024-05-06'), ...zeros(300)]), format(), data]), { frames: 10, recordedAt: '2024-05-06' }],
    ['a bext with no date', file([chunk('bext', zeros(602)), format(), data]), { frames: 10, recordedAt: null }],
    ['a bext with an impossible date', file([chunk('bext', [...zeros(320), ...text('2024-13-06'), ...zeros(300)]), format(), data]), { recordedAt: null }],
  ])('%s', (_, bytes, expected) => {
    expect(info(bytes)).toMatchObject(expected);
  });
});

test('a float sample that is no number is refused with its frame and channel', () => {
  for (const bits of [32, 64] as const)
    for (const [value, word] of [[NaN, 'NaN'], [Infinity, 'Infinity'], [-Infinity, '-Infinity']] as const) {
      const frames = 9000; // more than one piece of the reader
      const bytes = file([format({ tag: 3, bits }), chunk('data', zeros((frames * 2 * bits) / 8))]);
      const view = new DataView(bytes.buffer);
      const at = 44 + (8500 * 2 + 1) * (bits / 8);
      if (bits === 32) view.setFloat32(at, value, true);
      else view.setFloat64(at, value, true);
      const source = bytesSource('take.wav', bytes);
      const error = refusal(() => {
        forEachBlock(source, readWavInfo(source), { startFrame: 100, blockFrames: 1000 }, () => undefined);
      });
      expect(error.code).toBe('wav.not-finite');
      expect(error.message).toContain(`(${word}, frame 8500, channel 2)`);
      expect(refusal(() => readFrames(source, readWavInfo(source), 8400, 200)).details).toMatchObject({ frame: 8500, channel: 2 });
      expect(readFrames(source, readWavInfo(source), 0, 8500)[1]).toEqual(new Float64Array(8500));
    }
});

test('a file that shrinks while it is read is refused', () => {
  const whole = file([format(), chunk('data', noise(4000))]);
  const source: ByteSource = { ...bytesSource('take.wav', whole.slice(0, 2000)), size: whole.length };
  expect(refusal(() => readFrames(source, readWavInfo(source), 0, 1000)).code).toBe('wav.read-short');
  expect(refusal(() => readFrames(source, readWavInfo(source), 0, 1000)).message).toContain('past byte 2000');
});

test('stretches outside the file are refused, none at all is allowed anywhere', () => {
  const source = bytesSource('take.wav', file([format(), data]));
  const whole = readWavInfo(source);
  for (const [start, frames] of [[-1, 2], [0, 11], [10, 1], [0.5, 1], [0, NaN]] as const) expect(refusal(() => readFrames(source, whole, start, frames)).code).toBe('wav.range');
  for (const blockFrames of [0, -1, 2.5, NaN])
    expect(
      refusal(() => {
        forEachBlock(source, whole, { blockFrames }, () => undefined);
      }).code,
    ).toBe('wav.block-frames');
  expect(readFrames(source, whole, 25, 0)).toEqual([new Float64Array(0), new Float64Array(0)]);
  let blocks = 0;
  forEachBlock(source, whole, { startFrame: 10 }, () => blocks++);
  expect(blocks).toBe(0);
});

describe('whatever the bytes', () => {
  const folder = new URL('../outside/wav-files/', import.meta.url);
  const seeds = readdirSync(folder)
    .filter((name) => name.endsWith('.wav'))
    .map((name) => new Uint8Array(readFileSync(new URL(name, folder))));

  /** Reads all there is, and counts: the work must stay within what the file's true size allows. */
  function readAll(bytes: Uint8Array): void {
    let reads = 0;
    let largest = 0;
    const source: ByteSource = {
      name: 'take.wav',
      size: bytes.length,
      read(position, into) {
        reads++;
        largest = Math.max(largest, into.length);
        return bytesSource('', bytes).read(position, into);
      },
    };
    try {
      const found = readWavInfo(source);
      expect(largest, 'bytes asked for at once in the header').toBeLessThanOrEqual(1024);
      const frameBytes = (found.channels * found.bitsPerSample) / 8;
      expect(found.dataOffset + found.frames * frameBytes, 'end of the samples').toBeLessThanOrEqual(bytes.length);
      forEachBlock(source, found, {}, ({ channels }) => {
        for (const samples of channels) expect(samples.every((x) => Number.isFinite(x))).toBe(true);
      });
    } catch (error) {
      if (!(error instanceof Problem)) throw error;
      expect(error.exit, error.message).toBe(3);
    }
    // A chunk takes 8 bytes and up to four reads, and the list may be walked twice.
    expect(reads, 'reads').toBeLessThanOrEqual(20 + bytes.length);
  }

  const small = fc.oneof(fc.integer({ min: 0, max: 255 }), fc.constantFrom(0, 1, 255, 127, 128));
  const mutation = fc.oneof(
    fc.record({ kind: fc.constant('byte' as const), at: fc.nat(200), value: small }),
    fc.record({ kind: fc.constant('word' as const), at: fc.nat(120), value: fc.constantFrom(0, 1, 2, 0x7fffffff, 0x80000000, 0xfffffffe, 0xffffffff, 0x7ffff000) }),
    fc.record({ kind: fc.constant('cut' as const), at: fc.nat(2000), value: fc.constant(0) }),
    fc.record({ kind: fc.constant('remove' as const), at: fc.nat(120), value: fc.integer({ min: 1, max: 40 }) }),
    fc.record({ kind: fc.constant('repeat' as const), at: fc.nat(120), value: fc.integer({ min: 1, max: 64 }) }),
  );

  test('changed headers of real files are read or refused, in bounded work', () => {
    fc.assert(
      fc.property(fc.constantFrom(...seeds), fc.array(mutation, { minLength: 1, maxLength: 6 }), (seed, mutations) => {
        let bytes = seed.slice();
        for (const { kind, at, value } of mutations) {
          if (kind === 'byte' && at < bytes.length) bytes[at] = value;
          else if (kind === 'word' && at + 4 <= bytes.length) new DataView(bytes.buffer).setUint32(at, value, true);
          else if (kind === 'cut') bytes = bytes.slice(0, at);
          else if (kind === 'remove') bytes = Uint8Array.from([...bytes.slice(0, at), ...bytes.slice(at + value)]);
          else if (kind === 'repeat') bytes = Uint8Array.from([...bytes.slice(0, at + value), ...bytes.slice(at)]);
        }
        readAll(bytes);
      }),
      { seed: 20_240_601, numRuns: 2000 },
    );
  });

  test('random chunk lists are read or refused, in bounded work', () => {
    const id = fc.constantFrom('fmt ', 'data', 'ds64', 'bext', 'LIST', 'JUNK', 'RIFF', '\0\0\0\0', 'ab\xff ');
    const part = fc.oneof(
      fc.record({ id, content: fc.array(small, { maxLength: 60 }), size: fc.option(fc.constantFrom(0, 1, 7, 28, 0x7ffff000, 0xffffffff), { nil: undefined }) }).map((c) => chunk(c.id, c.content, c.size)),
      fc.record({ tag: fc.constantFrom(1, 3), channels: fc.integer({ min: 1, max: 32 }), bits: fc.constantFrom(16, 24, 32, 64) }).map((f) => format(f)),
      fc.constant(ds64(40)),
    );
    fc.assert(
      fc.property(fc.array(part, { maxLength: 8 }), fc.constantFrom('RIFF', 'RF64', 'BW64'), (parts, container) => {
        readAll(file(parts, container));
      }),
      { seed: 20_240_602, numRuns: 2000 },
    );
  });
});
