/** Byte by byte, for files that no program would write. */

const ascii = (characters: string): number[] => [...characters].map((c) => c.charCodeAt(0));
export const u16 = (value: number): number[] => [value & 255, (value >> 8) & 255];
export const u32 = (value: number): number[] => [...u16(value % 65536), ...u16(Math.floor(value / 65536))];
export const u64 = (value: number): number[] => [...u32(value % 2 ** 32), ...u32(Math.floor(value / 2 ** 32))];

/** A chunk with its pad byte; `size` is what its header says, the true one if left out. */
export function chunk(id: string, content: readonly number[], size = content.length): number[] {
  return [...ascii(id), ...u32(size), ...content, ...(content.length % 2 ? [0] : [])];
}

export function file(chunks: readonly (readonly number[])[], container = 'RIFF', form = 'WAVE'): Uint8Array {
  const content = chunks.flat();
  return Uint8Array.from([...ascii(container), ...u32(container === 'RIFF' ? 4 + content.length : 0xffffffff), ...ascii(form), ...content]);
}

export interface FormatFields {
  tag?: number;
  channels?: number;
  rate?: number;
  bits?: number;
  blockAlign?: number;
  validBits?: number;
  subformat?: readonly number[];
}

/** A "fmt " chunk; extensible where `validBits` or `subformat` is given. */
export function format(fields: FormatFields = {}): number[] {
  const { tag = 1, channels = 2, rate = 48000, bits = 16 } = fields;
  const { blockAlign = (channels * bits) / 8, validBits, subformat } = fields;
  const extensible = validBits !== undefined || subformat !== undefined;
  const plain = [...u16(extensible ? 0xfffe : tag), ...u16(channels), ...u32(rate), ...u32(rate * blockAlign), ...u16(blockAlign), ...u16(bits)];
  if (!extensible) return chunk('fmt ', plain);
  return chunk('fmt ', [...plain, ...u16(22), ...u16(validBits ?? bits), ...u32(0), ...(subformat ?? guid(tag))]);
}

export function guid(tag: number): number[] {
  return [...u16(tag), 0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71];
}

export function ds64(dataBytes: number, table: readonly (readonly [id: string, bytes: number])[] = []): number[] {
  return chunk('ds64', [...u64(2 ** 33), ...u64(dataBytes), ...u64(0), ...u32(table.length), ...table.flatMap(([id, bytes]) => [...ascii(id), ...u64(bytes)])]);
}

export const zeros = (count: number): number[] => new Array<number>(count).fill(0);

/** Bytes that are neither zero nor text. */
export const noise = (count: number): number[] => Array.from({ length: count }, (_, i) => 128 + ((i * 37 + 11) % 127));
