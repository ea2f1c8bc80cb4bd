/**
 * Where bytes come from: a file, or memory in a test.
 *
 * @module
 */

export interface ByteSource {
  /** For messages. */
  readonly name: string;
  /** Bytes in all. */
  readonly size: number;
  /** Fills `into` from that position and gives the number of bytes read: less than asked for only at the end. */
  read(position: number, into: Uint8Array): number;
}
