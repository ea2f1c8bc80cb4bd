/**
 * Why the audio system does not open a device, in words: what the library says is its own and its backends' jargon.
 *
 * @module
 */

const WORDS: readonly (readonly [said: RegExp, words: string])[] = [
  [/busy|exclusive|in use/i, 'another program holds it'],
  [/not ?available|no such|not found|disconnected|unplugged/i, 'it is not there any more'],
  [/permission|denied/i, 'the system does not allow it'],
  [/not ?supported|channel|sample ?rate/i, 'it does not open with these channels at this sample rate'],
];

/** The whole of what was said only for those who look for a bug. */
export function refusalWords(said: string, debug = false): string {
  const words = WORDS.find(([pattern]) => pattern.test(said))?.[1] ?? 'the audio system refuses it';
  return debug ? `${words} (${said})` : words;
}
