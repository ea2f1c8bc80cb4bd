/**
 * Finds the samples of a WAV file and says how they are written.
 *
 * The dialect that is read:
 * - RIFF, and RF64 or BW64 with a ds64 chunk, of which only the values are used whose 32-bit field reads 0xFFFFFFFF;
 * - 16, 24 and 32-bit integers (fewer valid bits, such as 24 in 32, are left-justified), 32 and 64-bit float, with a plain
 *   or an extensible "fmt " chunk; 1 to 32 channels; 44.1 to 192 kHz; speaker positions are ignored;
 * - any other chunks before and after the samples, odd ones with or without their pad byte; the total size is ignored;
 * - a stream whose writer never came back to fill in the size (0, 0xFFFFFFFF, or the 0x7FFFF000 cut to whole frames that
 *   one common tool writes): the samples run to the end of the file, and {@link WavInfo.unfinished} says so;
 * - a last frame that is not whole is left out, as libsndfile does.
 *
 * Everything else is refused, and so is whatever could give a wrong figure: a file shorter than it says, two recordings in
 * one file, a size that wrapped at 4 GiB, sample sizes that contradict each other.
 *
 * Only the size of a chunk's known part is ever read, so no allocation and no loop follows a number in the file.
 *
 * Sources: RIFF 1991, WAVEFORMATEXTENSIBLE; EBU Tech 3285 (bext), EBU Tech 3306 and ITU-R BS.2088 (64-bit sizes).
 *
 * @module
 */
import { problem } from '../problems.js';
import { broadcastTime, originationField } from './broadcast-time.js';
import type { ByteSource } from './byte-source.js';
import { chunkAt, isChunkList, isName, mostChunks, nextChunk, peek, text, uint64, type Chunk } from './chunks.js';
import { formatBytes, formatLabel, readFormat, type SampleFormat } from './format-chunk.js';
import { otherFileKind } from './other-files.js';

export interface WavInfo {
  readonly container: 'RIFF' | 'RF64' | 'BW64';
  readonly encoding: 'pcm' | 'float';
  /** Bits that one sample takes in the file. */
  readonly bitsPerSample: number;
  /** Bits of them that carry the signal. */
  readonly validBits: number;
  readonly channels: number;
  readonly sampleRateHz: number;
  /** Whole frames; one frame is one sample of every channel. */
  readonly frames: number;
  /** Position of the first sample in the file, in bytes. */
  readonly dataOffset: number;
  /** True where the writer never filled in the length: it may have been killed, so the end may be missing. */
  readonly unfinished: boolean;
  /** For people, such as "24-bit PCM, extensible, RF64". */
  readonly formatLabel: string;
  /** When it was recorded by the recorder's own clock, `yyyy-mm-ddThh:mm:ss` or the date alone; null where unknown. */
  readonly recordedAt: string | null;
}

const unknown32 = 0xffffffff;
const unknown64 = 2 ** 64;
const streamOf2GiB = 0x7ffff000;

/** 64-bit sizes of the chunks whose 32-bit field reads 0xFFFFFFFF. */
interface LargeSizes {
  readonly data: number;
  readonly others: ReadonlyMap<string, number>;
}

/**
 * Reads the header; never the samples.
 *
 * @throws `wav.empty-file`, `wav.not-wav`, `wav.damaged`, `wav.chunk-past-end`, `wav.no-format`, `wav.two-formats`,
 *   `wav.no-data`, `wav.two-recordings`, `wav.no-ds64`, `wav.no-samples`, `wav.cut-short`, `wav.wrapped-size`, and what
 *   {@link readFormat} throws
 */
export function readWavInfo(source: ByteSource): WavInfo {
  const file = source.name;
  const container = readContainer(source);
  let format: SampleFormat | null = null;
  let large: LargeSizes | null = null;
  let recordedAt: string | null = null;
  let data: Chunk | null = null;

  let at = 12;
  for (let count = 0; data === null; count++) {
    const chunk = chunkAt(source, at);
    if (chunk === null) throw format === null ? problem('wav.no-format', { file }) : problem('wav.no-data', { file });
    if (!isName(chunk.id) || count === mostChunks) throw problem('wav.damaged', { file, position: at });
    if (chunk.id === 'data') {
      data = chunk;
      break;
    }
    const size = chunk.size === unknown32 ? (large?.others.get(chunk.id) ?? unknown32) : chunk.size;
    if (chunk.offset + size > source.size) throw problem('wav.chunk-past-end', { file, chunk: chunk.id });
    if (chunk.id === 'fmt ') {
      if (format !== null) throw problem('wav.two-formats', { file });
      format = readFormat(file, peek(source, chunk.offset, Math.min(size, formatBytes)));
    } else if (chunk.id === 'ds64' && container !== 'RIFF') large ??= readLargeSizes(source, chunk);
    else if (chunk.id === 'bext') recordedAt ??= readRecordedAt(source, chunk);
    at = nextChunk(source, chunk.offset + size, size);
  }
  if (format === null) throw problem('wav.no-format', { file });

  const frameBytes = (format.channels * format.bitsPerSample) / 8;
  const rest = source.size - data.offset;
  const stated = statedSize(file, data, container, large);
  const unfinished = isUnfinished(source, data, stated, frameBytes);
  const bytes = unfinished ? rest : stated;
  const frames = Math.floor(bytes / frameBytes);
  const present = Math.floor(rest / frameBytes);
  if (frames > present) throw problem('wav.cut-short', { file, frames, present, missing: frames - present });
  if (frames === 0) throw problem('wav.no-samples', { file });
  if (container === 'RIFF' && rest - bytes >= 2 ** 32) throw problem('wav.wrapped-size', { file });
  const recordedAfter = readTail(source, data, bytes);

  const { encoding, bitsPerSample, validBits, channels, sampleRateHz } = format;
  return {
    container,
    encoding,
    bitsPerSample,
    validBits,
    channels,
    sampleRateHz,
    frames,
    dataOffset: data.offset,
    unfinished,
    formatLabel: container === 'RIFF' ? formatLabel(format) : `${formatLabel(format)}, ${container}`,
    recordedAt: recordedAt ?? recordedAfter,
  };
}

function readContainer(source: ByteSource): WavInfo['container'] {
  const file = source.name;
  const head = peek(source, 0, 16);
  if (head.byteLength === 0) throw problem('wav.empty-file', { file });
  const start = text(head, 0, head.byteLength);
  const container = start.slice(0, 4);
  if (container === 'RIFF' || container === 'RF64' || container === 'BW64') {
    if (start.slice(8, 12) === 'WAVE') return container;
    if (start.length < 12) throw problem('wav.no-format', { file });
  }
  throw problem('wav.not-wav', { file, looksLike: otherFileKind(start) });
}

function readLargeSizes(source: ByteSource, chunk: Chunk): LargeSizes {
  const entryBytes = 12;
  const mostEntries = 64;
  const view = peek(source, chunk.offset, Math.min(chunk.size, 28 + mostEntries * entryBytes));
  if (view.byteLength < 28) throw problem('wav.no-ds64', { file: source.name });
  const others = new Map<string, number>();
  const entries = Math.min(view.getUint32(24, true), Math.floor((view.byteLength - 28) / entryBytes));
  for (let i = 0; i < entries; i++) others.set(text(view, 28 + i * entryBytes, 4), uint64(view, 32 + i * entryBytes));
  return { data: uint64(view, 8), others };
}

function readRecordedAt(source: ByteSource, chunk: Chunk): string | null {
  const { offset, bytes } = originationField;
  if (chunk.size < offset + bytes) return null;
  const field = peek(source, chunk.offset + offset, bytes);
  return broadcastTime(text(field, 0, field.byteLength));
}

/** Bytes of samples as the header has it, or null where it says that nobody knew. */
function statedSize(file: string, data: Chunk, container: WavInfo['container'], large: LargeSizes | null): number {
  if (data.size !== unknown32) return data.size;
  if (container === 'RIFF') return 0;
  if (large === null) throw problem('wav.no-ds64', { file });
  return large.data >= unknown64 ? 0 : large.data;
}

function isUnfinished(source: ByteSource, data: Chunk, stated: number, frameBytes: number): boolean {
  const rest = source.size - data.offset;
  if (stated > rest) return stated === Math.floor(streamOf2GiB / frameBytes) * frameBytes;
  // A size of 0 may also be true: then nothing follows, or only other chunks.
  return stated === 0 && !isChunkList(source, data.offset);
}

/** Looks through what follows the samples, up to whatever is no chunk, and gives the time of a "bext" chunk. */
function readTail(source: ByteSource, data: Chunk, bytes: number): string | null {
  const file = source.name;
  let recordedAt: string | null = null;
  let at = nextChunk(source, data.offset + bytes, bytes);
  for (let count = 0; count < mostChunks; count++) {
    const chunk = chunkAt(source, at);
    if (chunk === null || !isName(chunk.id)) break;
    if (['data', 'RIFF', 'RF64', 'BW64'].includes(chunk.id)) throw problem('wav.two-recordings', { file });
    if (chunk.id === 'fmt ') throw problem('wav.two-formats', { file });
    if (chunk.id === 'bext') recordedAt ??= readRecordedAt(source, chunk);
    at = nextChunk(source, chunk.offset + chunk.size, chunk.size);
  }
  return recordedAt;
}
