/**
 * The chunk list of a RIFF file: a four-character name, a 32-bit size, that many bytes, and one pad byte where the size
 * is odd (RIFF 1991; 64-bit sizes: EBU Tech 3306, ITU-R BS.2088).
 *
 * @module
 */
import { readFully, type ByteSource } from './byte-source.js';

/** More chunks than this are no recording; it also bounds the time spent on a damaged or hostile file. */
export const mostChunks = 4096;

export interface Chunk {
  /** Its four characters; characters that cannot be printed are kept as they are. */
  readonly id: string;
  /** The 32-bit size as written, without the pad byte; 0xFFFFFFFF where a ds64 chunk or nobody knows it. */
  readonly size: number;
  /** Position of its first byte after name and size. */
  readonly offset: number;
}

/** Reads up to `count` bytes; what lies past the end is left out. `count` is a constant of the caller, never a size from the file. */
export function peek(source: ByteSource, position: number, count: number): DataView {
  const bytes = new Uint8Array(count);
  return new DataView(bytes.buffer, 0, position >= source.size ? 0 : readFully(source, position, bytes));
}

/** Characters of one byte each. */
export function text(view: DataView, start: number, length: number): string {
  let characters = '';
  for (let i = start; i < start + length; i++) characters += String.fromCharCode(view.getUint8(i));
  return characters;
}

/** A 64-bit size as a number; above 2^53 it is rounded, and larger than any file. */
export function uint64(view: DataView, at: number): number {
  return view.getUint32(at + 4, true) * 2 ** 32 + view.getUint32(at, true);
}

/** Name and size at a position, or null where fewer than 8 bytes are left. */
export function chunkAt(source: ByteSource, position: number): Chunk | null {
  const head = peek(source, position, 8);
  return head.byteLength < 8 ? null : { id: text(head, 0, 4), size: head.getUint32(4, true), offset: position + 8 };
}

/** True for four printable ASCII characters, which every chunk name in use is. */
export function isName(id: string): boolean {
  return /^[ -~]{4}$/.test(id);
}

/** Where the chunk after one that ends at `end` begins. */
export function nextChunk(source: ByteSource, end: number, size: number): number {
  if (size % 2 === 0) return end;
  // The pad byte is 0. Some writers leave it out: then a name begins here, and none a byte later.
  const pad = peek(source, end, 1);
  if (pad.byteLength === 0 || pad.getUint8(0) === 0) return end + 1;
  const here = chunkAt(source, end);
  const later = chunkAt(source, end + 1);
  const known = here !== null && usualNames.has(here.id);
  return here !== null && isLikely(source, here) && (known || later === null || !isLikely(source, later)) ? end : end + 1;
}

/** True where chunk follows chunk from `position` to the very end of the source. */
export function isChunkList(source: ByteSource, position: number): boolean {
  let at = position;
  for (let count = 0; count < mostChunks && at < source.size; count++) {
    const chunk = chunkAt(source, at);
    if (chunk === null || !isLikely(source, chunk)) return false;
    at = nextChunk(source, chunk.offset + chunk.size, chunk.size);
  }
  return at >= source.size;
}

function isLikely(source: ByteSource, chunk: Chunk): boolean {
  return isName(chunk.id) && (chunk.id === 'data' || chunk.offset + chunk.size <= source.size);
}

const usualNames = new Set(['fmt ', 'data', 'fact', 'bext', 'LIST', 'JUNK', 'PEAK', 'cue ', 'smpl', 'inst', 'iXML', 'axml', 'chna', 'id3 ']);
