/**
 * The "fmt " chunk: how samples are written (RIFF 1991, WAVEFORMATEX, WAVEFORMATEXTENSIBLE).
 *
 * @module
 */
import { problem } from '../problems.js';
import { text } from './chunks.js';

/** What is read and written: everything a recorder at the bench makes. */
export const allowed = { mostChannels: 32, lowestRateHz: 44_100, highestRateHz: 192_000 } as const;

/** The longest part of a "fmt " chunk that has a meaning for us, in bytes. */
export const formatBytes = 40;

export interface SampleFormat {
  readonly encoding: 'pcm' | 'float';
  /** Bits that one sample takes in the file: 16, 24, 32 (pcm), 32, 64 (float). */
  readonly bitsPerSample: number;
  /** Bits of them that carry the signal; the rest, at the lower end, is filling. */
  readonly validBits: number;
  readonly channels: number;
  readonly sampleRateHz: number;
  /** True for WAVE_FORMAT_EXTENSIBLE. */
  readonly extensible: boolean;
}

const pcm = 0x0001;
const float = 0x0003;
const extensibleTag = 0xfffe;

const otherEncodings: Readonly<Record<number, string>> = {
  0x0002: 'Microsoft ADPCM',
  0x0006: 'A-law',
  0x0007: 'mu-law',
  0x0011: 'IMA ADPCM',
  0x0031: 'GSM 6.10',
  0x0050: 'MPEG audio',
  0x0055: 'MP3',
  0x0092: 'AC-3',
  0x00ff: 'AAC',
};

// What follows the 16-bit tag in a subformat GUID, as bytes in the file: ...-0000-0010-8000-00AA00389B71, and
// ...-0721-11D3-8644-C8C1CA000000 of B-format files, whose samples are written alike.
const guidTails = ['000000001000800000aa00389b71', '00002107d3118644c8c1ca000000'];

/**
 * Reads the chunk; `view` holds its first bytes, at most {@link formatBytes}.
 *
 * A sample takes whole bytes: `wBitsPerSample` rounded up to 8, or what it says for extensible files, where
 * `wValidBitsPerSample` may be less (0 means all). Bits are left-justified in their bytes, as both documents say.
 *
 * @throws `wav.format-short`, `wav.encoding`, `wav.bits`, `wav.valid-bits`, `wav.channels`, `wav.rate`, `wav.block-align`
 */
export function readFormat(file: string, view: DataView): SampleFormat {
  if (view.byteLength < 16) throw problem('wav.format-short', { file, bytes: view.byteLength });
  const extensible = view.getUint16(0, true) === extensibleTag;
  if (extensible && view.byteLength < formatBytes) throw problem('wav.format-short', { file, bytes: view.byteLength });
  const tag = extensible ? subformat(file, view) : view.getUint16(0, true);
  if (tag !== pcm && tag !== float) throw problem('wav.encoding', { file, encoding: encodingName(tag) });

  const channels = view.getUint16(2, true);
  const sampleRateHz = view.getUint32(4, true);
  const blockAlign = view.getUint16(12, true);
  const statedBits = view.getUint16(14, true);
  const encoding = tag === pcm ? 'pcm' : 'float';
  if (channels < 1 || channels > allowed.mostChannels) throw problem('wav.channels', { file, channels });
  if (sampleRateHz < allowed.lowestRateHz || sampleRateHz > allowed.highestRateHz) throw problem('wav.rate', { file, sampleRateHz });

  const bitsPerSample = encoding === 'pcm' ? 8 * Math.ceil(statedBits / 8) : statedBits;
  const known = encoding === 'pcm' ? [16, 24, 32] : [32, 64];
  if (!known.includes(bitsPerSample)) throw problem('wav.bits', { file, bits: statedBits, encoding });
  if (blockAlign !== (channels * bitsPerSample) / 8) throw problem('wav.block-align', { file, blockAlign, channels, bits: statedBits });

  const statedValid = extensible ? view.getUint16(18, true) : statedBits;
  if (encoding === 'pcm' && statedValid > bitsPerSample) throw problem('wav.valid-bits', { file, validBits: statedValid, bits: bitsPerSample });
  const validBits = encoding === 'float' || statedValid === 0 ? bitsPerSample : statedValid;
  return { encoding, bitsPerSample, validBits, channels, sampleRateHz, extensible };
}

/** For people, such as "24-bit PCM in 32, extensible". */
export function formatLabel(format: SampleFormat): string {
  const { encoding, bitsPerSample, validBits, extensible } = format;
  const bits = validBits < bitsPerSample ? `${validBits}-bit PCM in ${bitsPerSample}` : `${bitsPerSample}-bit ${encoding === 'pcm' ? 'PCM' : 'float'}`;
  return extensible ? `${bits}, extensible` : bits;
}

function subformat(file: string, view: DataView): number {
  const hex = [...text(view, 24, 16)].map((c) => c.charCodeAt(0).toString(16).padStart(2, '0')).join('');
  if (!guidTails.includes(hex.slice(4))) throw problem('wav.encoding', { file, encoding: `subformat ${hex}` });
  return view.getUint16(24, true);
}

function encodingName(tag: number): string {
  return otherEncodings[tag] ?? `encoding 0x${tag.toString(16).padStart(4, '0')}`;
}
