/**
 * What there is to listen to: the noise of the states that say most, all raised by one amount.
 *
 * @module
 */
import type { Results } from '../judge/results.js';
import { fixed, withUnit } from './numbers.js';
import { measuredText } from './reading-tables.js';
import { type Phrase, opening, outputPhrase, statePhrase } from './words.js';

export interface ListeningView {
  readonly output: Phrase;
  /** `raised by 54 dB`. */
  readonly raised: string;
  readonly duration: string;
  readonly band: string;
  readonly clips: readonly { readonly title: Phrase; readonly level: string; readonly wav: string }[];
  /** Excerpts that the results file has and the page has not. */
  readonly left: number;
}

/** A clip is some 43 kB on the page. */
const MOST_CLIPS = 4;

export function listeningView(results: Results): ListeningView | null {
  const { listening } = results;
  if (listening === undefined || listening === null || listening.excerpts.length === 0) return null;
  const { output, raisedDb, durationS, sampleRateHz, excerpts } = listening;
  const noise = (state: string): Results['readings'][number] | undefined => results.readings.find((r) => r.id === 'noise.a' && r.state === state && r.output === output && r.value !== null);
  // The board at rest, with everything in, with the buffer out; then what is loudest.
  const first = ['rest', 'all', 'unbuffered'];
  const rank = (state: string): number => (first.includes(state) ? first.indexOf(state) - 1e6 : -(noise(state)?.value ?? -1e3));
  const chosen = [...excerpts].sort((a, b) => rank(a.state) - rank(b.state)).slice(0, MOST_CLIPS);
  return {
    output: outputPhrase(results, output),
    raised: raisedDb === 0 ? 'as loud as recorded' : `${raisedDb < 0 ? 'lowered' : 'raised'} by ${withUnit(fixed(Math.abs(raisedDb), 0), 'dB')}`,
    duration: withUnit(fixed(durationS, 0), 's'),
    band: withUnit(fixed((sampleRateHz * 0.45) / 1000, 1), 'kHz'),
    clips: chosen.map(({ state, wav }) => {
      const reading = noise(state);
      return { title: opening(statePhrase(results, state)), level: reading === undefined ? '' : `${measuredText(reading)}, A-weighted`, wav };
    }),
    left: excerpts.length - chosen.length,
  };
}
