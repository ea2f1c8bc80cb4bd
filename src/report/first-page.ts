/**
 * What the player reads: a handful of plain sentences with their numbers, each with its mark.
 *
 * @module
 */
import type { Curve, CurveMark, Reading, Results } from '../judge/results.js';
import { differenceUnit } from '../units/format.js';
import type { BoardParts } from './board-parts.js';
import { isBenchState } from './board-parts.js';
import { counted, decimalsFor, fixed, frequency, isPolarity, numberWord, polarityWord, rounded, sentenceCase, withUnit } from './numbers.js';
import { limitText, marginOf } from './reading-tables.js';
import { type Mark, type Phrase, gravest, gravity, listedPhrases, loopName, loopOf, markOfAll, outputPhrase, pairOf, statePhrase } from './words.js';

export interface Sentence {
  readonly topic: string;
  readonly mark: Mark;
  readonly text: Phrase;
}

// ∞ − ∞ is NaN, and falls through to the next question.
const heavier = (a: Reading, b: Reading): number =>
  gravity.indexOf(a.verdict) - gravity.indexOf(b.verdict) ||
  (marginOf(a) ?? Infinity) - (marginOf(b) ?? Infinity) ||
  (b.value ?? -Infinity) - (a.value ?? -Infinity) ||
  0;

/** The reading that decides: gravest, then nearest to its limit, then highest. */
const worst = (readings: readonly Reading[]): Reading | undefined =>
  readings.filter((r) => r.value !== null).sort(heavier)[0];

/** `with every loop out and the buffer in`. */
function inState(results: Results, state: string): Phrase {
  switch (state) {
    case 'rest':
      return ['with every loop out'];
    case 'unbuffered':
      return ['with the buffer out'];
    case 'all':
      return ['with every loop in'];
  }
  if (state.startsWith('loop-')) return ['with loop ', { name: loopName(results, state.slice('loop-'.length)) }, ' in'];
  return ['in the state “', ...statePhrase(results, state), '”'];
}

function atOutput(results: Results, output: string | null): Phrase {
  // With one output there is nothing to tell apart.
  return output === null || results.board.outputs.length < 2 ? [] : [' at ', ...outputPhrase(results, output)];
}

/** Undecided because the limit lies within the uncertainty. */
function tooClose(reading: Reading): boolean {
  const margin = marginOf(reading);
  return reading.verdict === 'undecided' && margin !== null && reading.uncertainty !== null && Math.abs(margin) <= reading.uncertainty;
}

/** How a reading stands to its limit, as the end of a sentence. */
function standing(reading: Reading): Phrase {
  const margin = marginOf(reading);
  const limit = limitText(reading.limit, reading.unit);
  if (margin === null || limit === null || reading.limit === null) return [];
  const apart = withUnit(rounded(Math.abs(margin), reading.uncertainty, reading.unit), differenceUnit(reading.unit));
  const bare = limit.replace(/^[≤≥]\s/u, '');
  const side =
    reading.limit.within !== null
      ? [margin >= 0 ? ', inside the limits of ' : ', outside the limits of ', bare]
      : [', ', { figure: apart }, (margin >= 0) === (reading.limit.max !== null) ? ' below the limit of ' : ' above the limit of ', bare];
  if (tooClose(reading)) return [...side, ', too close to it to decide'];
  if (reading.verdict === 'bench-limited') return [...side, '; the bench’s own noise hides the rest'];
  return side;
}

/** A level as the object of “is”: `−92.3 dBu`, or `below −101 dBu` for a bound. */
function level(reading: Reading): Phrase {
  if (reading.value === null) return ['not known'];
  const figure = { figure: withUnit(rounded(reading.value, reading.uncertainty, reading.unit), reading.unit) };
  return reading.bound === null ? [figure] : [reading.bound === 'upper' ? 'below ' : 'above ', figure];
}

const FLOOR_IDS = ['noise.a', 'noise.unweighted', 'noise.468-qpk', 'noise.ccir-rms'];

function noiseSentence(results: Results, readings: readonly Reading[]): Sentence {
  const floors = readings.filter((r) => FLOOR_IDS.includes(r.id) || r.id === 'noise.hiss');
  const id = FLOOR_IDS.find((i) => floors.some((r) => r.id === i && r.value !== null)) ?? 'noise.hiss';
  const mark = markOfAll(floors);
  // The page speaks of the A-weighted floor, unless only another weighting is outside its limit.
  const worstOfAll = worst(floors);
  const chosen =
    worstOfAll !== undefined && worstOfAll.verdict === 'fail' && !floors.some((r) => r.id === id && r.verdict === 'fail')
      ? worstOfAll
      : worst(floors.filter((r) => r.id === id));
  if (chosen === undefined) {
    return { topic: 'Noise', mark, text: ['The noise of the board was not measured.'] };
  }
  const weighting = chosen.id === 'noise.a' ? ' (A-weighted, as the ear hears it)' : ` (${chosen.label})`;
  const snr = readings.find((r) => r.id === 'snr.a' && r.state === chosen.state && r.output === chosen.output);
  const above: Phrase =
    snr === undefined || snr.value === null
      ? []
      : [` A signal at the level of the test tone stands ${snr.bound === 'lower' ? 'more than ' : ''}`, { figure: withUnit(fixed(snr.value, 0), snr.unit) }, ' above the noise.'];
  return {
    topic: 'Noise',
    mark,
    text: ['The most noise', ...atOutput(results, chosen.output), ', ', ...inState(results, chosen.state), ', is ', ...level(chosen), weighting, ...standing(chosen), '.', ...above, ...besidePickup(readings)],
  };
}

/** The board's hiss beside what the player's own pickup and pots make: the measure that a player has in their ear. */
function besidePickup(readings: readonly Reading[]): Phrase {
  const over = readings.filter((r) => r.id === 'player.hiss-over-instrument' && r.state === 'rest' && r.value !== null).sort((a, b) => b.value! - a.value!)[0];
  if (over === undefined) return [];
  const value = over.value!;
  const amount = { figure: withUnit(fixed(Math.abs(value), Math.abs(value) < 9.5 ? 1 : 0), over.unit) };
  if (value < 0) return [' With every loop out its hiss is ', amount, ' below that of the player’s own pickup', value < -6 ? ', which covers it.' : '.'];
  return [' With every loop out its hiss is ', amount, ' above that of the player’s own pickup', over.bound === 'upper' ? ' at most.' : '.'];
}

/** The strongest whine line of some spectra. */
function strongestWhine(curves: readonly Curve[]): { curve: Curve; mark: CurveMark } | null {
  let best: { curve: Curve; mark: CurveMark } | null = null;
  for (const curve of curves) {
    for (const mark of curve.marks) if (mark.kind === 'whine' && (best === null || mark.level > best.mark.level)) best = { curve, mark };
  }
  return best;
}

function humSentence(results: Results, readings: readonly Reading[]): Sentence {
  const hums = readings.filter((r) => r.id === 'noise.hum');
  const whines = readings.filter((r) => r.id === 'noise.whine');
  const spectra = results.curves.filter((c) => c.kind === 'noise-density' && !isBenchState(c.state));
  const said: Phrase[] = [];
  const hum = worst(hums);
  if (hum !== undefined) {
    said.push(['Mains hum is loudest', ...atOutput(results, hum.output), ', ', ...inState(results, hum.state), ': ', ...level(hum), ...standing(hum), '.']);
  } else if (hums.length > 0) said.push(['No mains hum stands out of the hiss.']);
  const whine = worst(whines);
  const line = strongestWhine(whine === undefined ? spectra : spectra.filter((c) => c.state === whine.state && c.output === whine.output));
  if (whine !== undefined) {
    const at: Phrase = line === null ? [] : [', strongest at ', { figure: frequency(line.mark.hz) }];
    said.push(['Whine is loudest', ...atOutput(results, whine.output), ', ', ...inState(results, whine.state), ': ', ...level(whine), ...standing(whine), ...at, '.']);
  } else if (line !== null) {
    const figure = withUnit(rounded(line.mark.level, null, line.mark.unit), line.mark.unit);
    said.push(['The strongest whine is at ', { figure: frequency(line.mark.hz) }, ', ', ...inState(results, line.curve.state), ': ', { figure }, '.']);
  } else if (spectra.length > 0) said.push(['No whine stands out of the hiss.']);
  if (said.length === 0) said.push(['Hum and whine were not measured.']);
  return { topic: 'Hum and whine', mark: markOfAll([...hums, ...whines]), text: said.flatMap((p, i) => (i === 0 ? [...p] : [' ', ...p])) };
}

/** From this much loss in 2 to 5 kHz on, dB, the word for what is heard (common practice, no source). */
const HEARD: readonly (readonly [number, string])[] = [
  [3, 'clearly duller'],
  [1.5, 'duller'],
  [0.5, 'a touch duller'],
  [-0.5, 'as good as unchanged'],
  [-Infinity, 'brighter'],
];

/** What the player's own instrument loses, where that was measured; else what the bench's plug loses. */
function toneSentence(results: Results, readings: readonly Reading[]): Sentence {
  const losses = readings.filter((r) => r.id === 'player.loss-2-5k' && r.value !== null && loopOf(r) === null);
  const of = (state: string): Reading | undefined => worst(losses.filter((r) => r.state === state));
  const said = [of('rest'), of('unbuffered')].filter((r) => r !== undefined);
  if (said.length === 0) return plugSentence(results, readings);
  const clauses = said.map((r): Phrase => {
    const loss = r.value!;
    const amount = rounded(Math.abs(loss), r.uncertainty, r.unit);
    const allowed = r.limit?.max ?? null;
    return [
      ...(results.board.buffer === null ? inState(results, r.state) : [r.state === 'rest' ? 'with the buffer in' : 'with the buffer out']),
      loss < 0 && Number(amount) !== 0 ? ', it gains ' : ', it loses ',
      { figure: withUnit(amount, r.unit) },
      ` in 2–5 kHz (${HEARD.find(([from]) => loss >= from)![1]}${allowed === null ? '' : `; ${withUnit(fixed(allowed, decimalsFor(allowed, null, r.unit)), r.unit)} allowed`})`,
      ...(tooClose(r) ? [', too close to it to decide'] : []),
    ];
  });
  const tones = readings.filter((r) => r.id.startsWith('droop.') || /^player\.(loss|resonance-shift)/.test(r.id));
  const droops = tones.filter((r) => r.id.startsWith('droop.') && r.verdict === 'fail');
  return {
    topic: 'Tone',
    mark: markOfAll(tones),
    text: [
      'The player’s instrument, against its own lead straight into an amplifier: ',
      ...clauses.flatMap((c, i) => (i === 0 ? c : ['; ', ...c])),
      '.',
      ...(droops.length === 0 ? [] : [` On the bench, ${droops.length === 1 ? 'one figure' : counted(droops.length, 'figure')} of treble through the source plug ${droops.length === 1 ? 'is' : 'are'} outside.`]),
    ],
  };
}

function plugSentence(results: Results, readings: readonly Reading[]): Sentence {
  const droops = readings.filter((r) => r.id.startsWith('droop.'));
  const mark = markOfAll(droops);
  const id = ['droop.10k', 'droop.5k', 'droop.20k'].find((i) => droops.some((r) => r.id === i && r.value !== null));
  if (id === undefined) return { topic: 'Tone', mark, text: ['What the board takes off the treble was not measured.'] };
  const of = (state: string): Reading | undefined => worst(droops.filter((r) => r.id === id && r.state === state));
  const rest = of('rest');
  const unbuffered = of('unbuffered');
  const said: { reading: Reading; words: Phrase }[] = [];
  if (rest !== undefined) said.push({ reading: rest, words: results.board.buffer === null ? inState(results, 'rest') : ['with the buffer in'] });
  if (unbuffered !== undefined) said.push({ reading: unbuffered, words: ['with the buffer out'] });
  if (said.length === 0) {
    const other = worst(droops.filter((r) => r.id === id))!;
    said.push({ reading: other, words: inState(results, other.state) });
  }
  const clause = ({ reading, words }: (typeof said)[number]): Phrase => {
    // A droop counts downwards: below zero is a loss.
    const loss = -reading.value!;
    const amount = rounded(Math.abs(loss), reading.uncertainty, reading.unit);
    const allowed = reading.limit?.min ?? null;
    return [
      { figure: withUnit(amount, reading.unit) },
      loss < 0 && Number(amount) !== 0 ? ' stronger ' : ' weaker ',
      ...words,
      ...(allowed === null ? [] : [` (${withUnit(fixed(-allowed, decimalsFor(allowed, null, reading.unit)), reading.unit)} allowed)`]),
      ...(tooClose(reading) ? [', too close to it to decide'] : []),
    ];
  };
  const against = said.every(({ reading }) => reading.capture.some((c) => c.startsWith('lead'))) ? 'a straight lead' : 'the bench looped to itself';
  const at = frequency(Number(id.slice('droop.'.length, -1)) * 1000);
  return { topic: 'Tone', mark, text: [`Against ${against}, treble at ${at} comes out `, ...said.flatMap((c, i) => (i === 0 ? clause(c) : [' and ', ...clause(c)])), '.'] };
}

/** Outputs less far apart than this arrive together: sound goes a third of a millimetre in it. */
const TOGETHER_US = 1;

function matchSentence(results: Results, readings: readonly Reading[]): Sentence {
  const matches = readings.filter((r) => pairOf(results, r.output) !== null);
  if (results.board.match.length === 0 && matches.length === 0) return gainSentence(results, readings);
  const of = (prefix: string): Reading[] => matches.filter((r) => r.id.startsWith(prefix));
  const mark = markOfAll(matches);
  const level = worst(of('match.level').filter((r) => r.id === 'match.level'));
  const band = worst(of('match.level-worst-band'));
  const chosen = [...matches].sort(heavier)[0];
  const pair = pairOf(results, chosen?.output ?? null);
  if (chosen === undefined || pair === null) return { topic: 'Outputs', mark, text: ['Whether the outputs agree was not measured.'] };
  const ofPair = (id: string): Reading | undefined => worst(of(id).filter((r) => r.output === chosen.output && r.state === chosen.state && r.id === id));
  const said: Phrase[] = [];
  const apart = ofPair('match.level') ?? ofPair('match.level-worst-band') ?? level ?? band;
  if (apart !== undefined && apart.value !== null) {
    said.push(['are ', { figure: withUnit(rounded(Math.abs(apart.value), apart.uncertainty, apart.unit), apart.unit) }, ' apart in level', ...standing(apart)]);
  }
  const polarity = ofPair('match.polarity');
  if (polarity !== undefined && polarity.value !== null) {
    said.push([polarity.value < 0 ? 'are of ' : 'have the ', { figure: polarity.value < 0 ? 'opposite' : 'same' }, ' polarity']);
  }
  const delay = ofPair('match.delay');
  if (delay !== undefined && delay.value !== null) {
    // A player has no use for hundredths of a microsecond.
    if (Math.abs(delay.value) < TOGETHER_US && delay.unit === 'µs') said.push(['arrive ', { figure: 'together' }]);
    else said.push(['arrive ', { figure: withUnit(rounded(Math.abs(delay.value), delay.uncertainty, delay.unit), delay.unit) }, ' apart in time']);
  }
  if (said.length === 0) return { topic: 'Outputs', mark, text: ['Whether the outputs agree was not measured.'] };
  const subject: Phrase = ['Outputs ', { name: pair[0] }, ' and ', { name: pair[1] }, ' '];
  return { topic: 'Outputs', mark, text: [...subject, ...listedPhrases(said), '.'] };
}

function gainSentence(results: Results, readings: readonly Reading[]): Sentence {
  const gains = readings.filter((r) => r.id === 'gain.1k' && loopOf(r) === null && r.state !== 'unbuffered');
  const gain = worst(gains);
  const mark = markOfAll(gains);
  if (gain === undefined || gain.value === null) return { topic: 'Level', mark, text: ['The level through the board was not measured.'] };
  return {
    topic: 'Level',
    mark,
    text: ['The board passes the signal at ', ...level(gain), atOutput(results, gain.output).length > 0 ? '' : ' at 1 kHz', ...atOutput(results, gain.output), ', ', ...inState(results, gain.state), ...standing(gain), '.'],
  };
}

function loopsSentence(results: Results, parts: BoardParts, readings: readonly Reading[]): Sentence | null {
  const { loops } = parts;
  if (loops.length === 0) return null;
  const mark = gravest(loops.map((l) => l.mark));
  const with_ = (m: Mark): number => loops.filter((l) => l.mark === m).length;
  const good = with_('pass') + with_('info');
  const text: (Phrase[number])[] = [];
  if (with_('absent') === loops.length) return { topic: 'Loops', mark, text: ['None of the loops was measured on its own.'] };
  if (good === loops.length) {
    text.push(loops.length === 1 ? 'The loop does what it should.' : `All ${counted(loops.length, 'loop')} do what they should.`);
    return { topic: 'Loops', mark, text };
  }
  text.push(good === 0 ? (loops.length === 1 ? 'The loop does not do what it should' : loops.length === 2 ? 'Neither of the two loops does what it should' : `None of the ${counted(loops.length, 'loop')} does what it should`) : `${sentenceCase(numberWord(good))} of ${counted(loops.length, 'loop')} ${good === 1 ? 'does what it' : 'do what they'} should`);
  const bad = loops.map((l, i) => ({ loop: l, id: results.board.loops[i]!.id })).filter(({ loop }) => loop.mark === 'fail' || loop.mark === 'caution');
  bad.slice(0, 3).forEach(({ id }, i) => {
    const failed = readings.filter((r) => loopOf(r) === id && r.verdict === 'fail').sort(heavier);
    // An inverted loop comes before any level.
    const reading = failed.find((r) => isPolarity(r.unit)) ?? failed[0];
    text.push(i === 0 ? '; look at ' : '; at ', { name: loopName(results, id) });
    if (reading === undefined || reading.value === null) return;
    if (isPolarity(reading.unit)) text.push(' (its polarity is ', { figure: polarityWord(reading.value) }, ')');
    else text.push(' (', { name: reading.label.charAt(0).toLowerCase() + reading.label.slice(1) }, ' ', ...level(reading), ')');
  });
  if (bad.length > 3) text.push(`; and at ${counted(bad.length - 3, 'more loop')}`);
  text.push('.');
  const absent = with_('absent');
  if (absent > 0) text.push(` ${sentenceCase(counted(absent, 'loop'))} ${absent === 1 ? 'was' : 'were'} not measured.`);
  const unsure = with_('undecided') + with_('bench-limited');
  if (unsure > 0) text.push(` ${sentenceCase(counted(unsure, 'loop'))} could not be decided.`);
  return { topic: 'Loops', mark, text };
}

/** Four or five sentences: noise, hum and whine, tone, outputs, loops. */
export function firstPageSentences(results: Results, parts: BoardParts): Sentence[] {
  const readings = results.readings.filter((r) => !isBenchState(r.state));
  const loops = loopsSentence(results, parts, readings);
  return [
    noiseSentence(results, readings),
    humSentence(results, readings),
    toneSentence(results, readings),
    matchSentence(results, readings),
    ...(loops === null ? [] : [loops]),
  ];
}
