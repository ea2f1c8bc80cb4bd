/**
 * Names what a file is that is not a WAV file, by its first bytes, so that the message can say what to do.
 *
 * @module
 */

const kinds: readonly (readonly [start: RegExp, kind: string])[] = [
  [/^RIFX/, 'a big-endian WAV file (RIFX)'],
  [/^RIFF....AVI /s, 'an AVI video'],
  [/^(RIFF|RF64|BW64)/, 'a RIFF file of another kind'],
  [/^FORM....AIF[FC]/s, 'an AIFF file'],
  [/^riff/, 'a Wave64 file'],
  [/^fLaC/, 'a FLAC file'],
  [/^OggS/, 'an Ogg file'],
  [/^caff/, 'a CAF file'],
  [/^....ftyp/s, 'an MP4 or M4A file'],
  [/^(ID3|\xff[\xe2-\xff])/, 'an MP3 or AAC file'],
  [/^\.snd/, 'an AU file'],
  [/^PK/, 'a ZIP archive'],
  [/^\0+$/, 'a file of zeros'],
];

/** @param start the first 16 bytes, one character each */
export function otherFileKind(start: string): string | null {
  return kinds.find(([pattern]) => pattern.test(start))?.[1] ?? null;
}
