/**
 * The words of the report: what a verdict, a state or a place on the board is called in front of a customer.
 *
 * @module
 */
import type { OverallWord, Reading, Results, Verdict } from '../judge/results.js';
import { listed } from './numbers.js';
import { LONGEST_NAME, shorten } from './text.js';

/** What a mark on paper can say: the verdicts, a part with a finding against it, and a part nobody measured. */
export type Mark = Verdict | 'caution' | 'absent';

/** The word beside each mark. */
export const markWord: Readonly<Record<Mark, string>> = {
  pass: 'within limits',
  fail: 'outside limits',
  caution: 'see finding',
  undecided: 'not decided',
  'bench-limited': 'hidden by the bench',
  info: 'no limit set',
  absent: 'not measured',
};

/** Worst first: the order in which one mark outweighs another. */
export const gravity: readonly Mark[] = ['fail', 'caution', 'undecided', 'bench-limited', 'pass', 'info', 'absent'];

/** The gravest of several marks; `absent` of none. */
export function gravest(marks: readonly Mark[]): Mark {
  return gravity.find((m) => marks.includes(m)) ?? 'absent';
}

/** The mark of several readings together; without a figure and a limit among them nothing was measured. */
export const markOfAll = (readings: readonly Reading[]): Mark =>
  gravest(readings.filter((r) => r.value !== null || r.verdict !== 'info').map((r) => r.verdict));

export const overallWords: Readonly<Record<OverallWord, { readonly word: string; readonly mark: Mark }>> = {
  pass: { word: 'Within limits', mark: 'pass' },
  fail: { word: 'Outside limits', mark: 'fail' },
  undecided: { word: 'Not decided', mark: 'undecided' },
  'not complete': { word: 'Not complete', mark: 'absent' },
};

/** Running text: plain words, figures that stand out, names that strangers chose. */
export type Phrase = readonly (string | { readonly figure: string } | { readonly name: string })[];

/** A phrase without its markup, for alternative texts. */
export const plain = (phrase: Phrase): string =>
  phrase.map((p) => (typeof p === 'string' ? p : 'figure' in p ? p.figure : p.name)).join('');

/** The loop that a reading or curve is about: its own, or that of its state. */
export function loopOf(item: { readonly loop: string | null; readonly state: string }): string | null {
  return item.loop ?? (item.state.startsWith('loop-') ? item.state.slice('loop-'.length) : null);
}

/** Longest name of a loop or output in a sentence or table: it stands there again and again, and longer once, over its section. */
export const NAME_IN_PLACE = 48;

const nameIn = (list: readonly { readonly id: string; readonly name: string }[], id: string, most: number): string =>
  shorten(list.find((l) => l.id === id)?.name ?? id, most);

export const loopName = (results: Results, id: string, most = NAME_IN_PLACE): string => nameIn(results.board.loops, id, most);

/** `A, stage amplifier`, or the id alone where the name adds nothing. */
export function outputName(results: Results, id: string, most = NAME_IN_PLACE): string {
  const name = nameIn(results.board.outputs, id, most);
  return name === id ? id : `${shorten(id, 24)}, ${name}`;
}

/** A place where a reading was taken: one output, or a pair that must agree. */
export function outputPhrase(results: Results, output: string): Phrase {
  const pair = pairOf(results, output);
  if (pair === null) return ['output ', { name: outputName(results, output) }];
  return ['outputs ', { name: shorten(pair[0], 24) }, ' and ', { name: shorten(pair[1], 24) }];
}

/** The two outputs of `A:B`; null for a single output, even one with a colon in its id. */
export function pairOf(results: Results, output: string | null): readonly [string, string] | null {
  if (output === null || results.board.outputs.some((o) => o.id === output)) return null;
  const known = results.board.match.find(([a, b]) => `${a}:${b}` === output);
  if (known !== undefined) return known;
  const colon = output.indexOf(':');
  return colon < 0 ? null : [output.slice(0, colon), output.slice(colon + 1)];
}

/** A state of the board in words, to head a table. */
export function statePhrase(results: Results, state: string): Phrase {
  const buffered = results.board.buffer !== null;
  switch (state) {
    case 'bench':
      return ['Bench alone, looped to itself'];
    case 'lead':
      return ['Straight lead, no board'];
    case 'rest':
      return [buffered ? 'Every loop out, buffer in' : 'Every loop out'];
    case 'unbuffered':
      return ['Every loop out, buffer out'];
    case 'all':
      return ['Every loop in'];
  }
  const [kind, rest] = splitState(state);
  if (kind === 'loop') return ['Loop ', { name: loopName(results, rest) }, ' in'];
  if (kind === 'lift') return ['Ground lift on, output ', { name: outputName(results, rest) }];
  if (kind === 'invert') return ['Polarity switch inverted, output ', { name: outputName(results, rest) }];
  if (kind === 'into') return ['Played into output ', { name: outputName(results, rest) }];
  return ['State ', { name: shorten(state, LONGEST_NAME) }];
}

/** Phrases as one: `a, b and c`. */
export const listedPhrases = (phrases: readonly Phrase[]): Phrase => listed(phrases).flatMap((p) => (typeof p === 'string' ? [p] : [...p]));

/** A state as a heading where one output is spoken of: what is done at that output itself, or at another. */
export function statePhraseAt(results: Results, state: string, output: string | null): Phrase {
  const [kind, at] = splitState(state);
  if (output === null || (kind !== 'lift' && kind !== 'invert')) return statePhrase(results, state);
  return [kind === 'lift' ? 'Ground lift on' : 'Polarity switch inverted', ...(at === output ? [] : [' at ' as const, { name: shorten(at, 24) }])];
}

/** Where a reading was taken: the state, then the output, each once. */
export const wherePhrase = (results: Results, { state, output }: { readonly state: string; readonly output: string | null }): Phrase => [
  ...statePhraseAt(results, state, output),
  ...(output === null ? [] : [', ' as const, ...outputPhrase(results, output)]),
];

function splitState(state: string): readonly [string, string] {
  const dash = state.indexOf('-');
  return dash < 0 ? [state, ''] : [state.slice(0, dash), state.slice(dash + 1)];
}

/** `the buffer in`, `loop chorus in`: a state after “with”. */
export function withState(results: Results, state: string): Phrase {
  switch (state) {
    case 'bench':
      return ['the bench alone'];
    case 'lead':
      return ['the straight lead'];
    case 'rest':
      return [results.board.buffer === null ? 'every loop out' : 'the buffer in'];
    case 'unbuffered':
      return ['the buffer out'];
    case 'all':
      return ['every loop in'];
  }
  const [kind, rest] = splitState(state);
  if (kind === 'loop') return ['loop ', { name: loopName(results, rest) }, ' in'];
  if (kind === 'lift') return ['the ground lift on at ', { name: shorten(rest, 24) }];
  if (kind === 'invert') return ['the polarity switch inverted at ', { name: shorten(rest, 24) }];
  if (kind === 'into') return ['the take played into ', { name: shorten(rest, 24) }];
  return ['the board in state ', { name: shorten(state, LONGEST_NAME) }];
}

/** A phrase that begins a sentence. */
export const opening = (phrase: Phrase): Phrase => phrase.map((p, i) => (i === 0 && typeof p === 'string' ? p.charAt(0).toUpperCase() + p.slice(1) : p));

/** A phrase that goes on within one. */
export const lowered = (phrase: Phrase): Phrase => phrase.map((p, i) => (i === 0 && typeof p === 'string' ? p.charAt(0).toLowerCase() + p.slice(1) : p));

/** A state in the few characters that fit beside a line on a chart. */
export function stateLabel(results: Results, state: string): string {
  switch (state) {
    case 'bench':
      return 'bench alone';
    case 'lead':
      return 'straight lead';
    case 'rest':
      return results.board.buffer === null ? 'loops out' : 'buffer in';
    case 'unbuffered':
      return 'buffer out';
    case 'all':
      return 'all loops in';
  }
  const [kind, rest] = splitState(state);
  if (kind === 'loop') return shorten(loopName(results, rest), 16);
  if (kind === 'lift') return `lift ${shorten(rest, 10)}`;
  if (kind === 'invert') return `inverted ${shorten(rest, 8)}`;
  if (kind === 'into') return `into ${shorten(rest, 10)}`;
  return shorten(state, 16);
}

/** States in the order of the job: the board at rest first, the bench's own last; others as they come. */
export function stateOrder(states: Iterable<string>): string[] {
  const rank = (s: string): number => {
    const fixedRank = ['rest', 'unbuffered', 'lead', 'all'].indexOf(s);
    if (fixedRank >= 0) return fixedRank;
    return s === 'bench' ? 6 : s.startsWith('loop-') ? 4 : 5;
  };
  return [...new Set(states)].sort((a, b) => rank(a) - rank(b));
}

/** The source plug, as a qualifier after a label. */
export const sourceWords = (source: string | null): string => (source === null ? '' : `through ${shorten(source, 40)}`);
