/**
 * Words of the bench, explained where they are met first: a few words each, once in a run.
 *
 * @module
 */

const WORDS: readonly (readonly [met: RegExp, means: string])[] = [
  [/\bY lead\b/, 'A Y lead joins one plug to several.'],
  [/\bstraight lead\b/, 'The straight lead is the short plain one, "lead" in bench.yaml, that the board is compared with.'],
  [/\bsource plug\b/, 'A source plug is a resistor in series, "plugs" in bench.yaml: it makes the bench look like an instrument.'],
  [/\bload \S+ across\b/, 'A load is a resistor from tip to sleeve, "loads" in bench.yaml.'],
  [/\bthe take\b/, 'The take is the test signal: a tone and a sweep between two coded markers.'],
  [/\bthe (level )?stairs\b/, 'The level stairs are the tone in steps, each louder: they show where the board clips.'],
  [/\bthe steady tone\b/, 'The steady tone is 997 Hz.'],
  [/\bground lifts?\b/i, 'A ground lift opens the shield of an audio output; protective earth stays connected.'],
];

/** What the words met in a text mean that were not met before; `known` learns them. */
export function firstWords(text: string, known: Set<string>): string {
  const met = WORDS.filter(([pattern, means]) => pattern.test(text) && !known.has(means)).map(([, means]) => means);
  for (const means of met) known.add(means);
  return met.join(' ');
}
