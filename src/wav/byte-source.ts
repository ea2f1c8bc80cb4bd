/**
 * Where the bytes of a WAV file come from. The layer never opens a file: the caller wraps one (or anything else).
 *
 * @module
 */

/** Bytes at positions, read synchronously. Sizes and positions are whole numbers up to 2^53, so files may pass 4 GiB. */
export interface ByteSource {
  /** What messages call it, usually the file name. */
  readonly name: string;
  /** Number of bytes. */
  readonly size: number;
  /** Copies bytes from `position` on to the start of `into`; returns how many: fewer than asked is allowed, 0 means the end. */
  read(position: number, into: Uint8Array): number;
}

/** Bytes that are in memory already. */
export function bytesSource(name: string, bytes: Uint8Array): ByteSource {
  return {
    name,
    size: bytes.length,
    read(position, into) {
      const part = bytes.subarray(position, position + into.length);
      into.set(part);
      return part.length;
    },
  };
}

/** Reads on until `into` is full or the source ends; returns how many bytes came. */
export function readFully(source: ByteSource, position: number, into: Uint8Array): number {
  let got = 0;
  while (got < into.length) {
    const count = source.read(position + got, got === 0 ? into : into.subarray(got));
    if (!(count > 0)) break;
    got += count;
  }
  return got;
}
