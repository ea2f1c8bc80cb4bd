/**
 * The parts of the board with the result of each: what its readings say, and what findings say against it.
 *
 * @module
 */
import type { Finding, Reading, Results } from '../judge/results.js';
import { counted } from './numbers.js';
import { measuredText } from './reading-tables.js';
import { LONGEST_NAME, shorten } from './text.js';
import { type Mark, type Phrase, gravest, loopName, loopOf, markOfAll, outputName, pairOf } from './words.js';

export interface BoardPart {
  /** Short tag, such as the loop's or output's id. */
  readonly id: string;
  readonly name: string;
  readonly mark: Mark;
  /** What decided the mark. */
  readonly why: Phrase;
}

export interface LoopPart extends BoardPart {
  /** Supply outlet, or null where the file names none. */
  readonly outlet: string | null;
}

export interface BoardParts {
  /** The way in where there is no buffer, or null where the buffer stands for it. */
  readonly input: BoardPart | null;
  readonly buffer: BoardPart | null;
  /** The path with the buffer switched out; null where it cannot be. */
  readonly bypass: BoardPart | null;
  readonly loops: readonly LoopPart[];
  readonly outputs: readonly BoardPart[];
  readonly matches: readonly (BoardPart & { readonly pair: readonly [string, string] })[];
  readonly outlets: readonly (BoardPart & { readonly feeds: readonly string[] })[];
}

/** Readings about what the way in does to the tone. */
const TONE = /^(droop|corner|capacitance|input-resistance|player)\b/;
/** States of the bench without the board. */
export const isBenchState = (state: string): boolean => state === 'bench' || state === 'lead';

function judged(readings: readonly Reading[], findings: readonly Finding[]): { mark: Mark; why: Phrase } {
  const against = findings.filter((f) => f.severity !== 'note');
  const mark = gravest([markOfAll(readings), ...(against.length > 0 ? (['caution'] as const) : [])]);
  const deciding = readings.filter((r) => r.verdict === mark);
  const first = deciding[0];
  switch (mark) {
    case 'absent':
      return { mark, why: [readings.length === 0 ? 'no reading was taken' : 'no reading has a figure'] };
    case 'caution':
      return { mark, why: [{ name: against[0]!.title }] };
    case 'pass':
      return { mark, why: [`${counted(deciding.length, 'reading')} within ${deciding.length === 1 ? 'its limit' : 'their limits'}`] };
    case 'info':
      return { mark, why: [`${counted(deciding.length, 'reading')}, none with a limit`] };
    default: {
      const more: Phrase = deciding.length > 1 ? [`, and ${counted(deciding.length - 1, 'more reading')}`] : [];
      return { mark, why: [{ name: first!.label }, ': ', { figure: measuredText(first!) }, ...more] };
    }
  }
}

/** What fails with every loop out as well is not the loop's, unless a finding names the loop. */
function judgedLoop(own: readonly Reading[], loop: string, against: readonly Finding[]): { mark: Mark; why: Phrase } {
  const failsAtRest = (r: Reading): boolean => own.some((o) => o.state === 'rest' && o.verdict === 'fail' && o.id === r.id && o.source === r.source && o.output === r.output);
  const isTheBoards = (r: Reading): boolean => against.length === 0 && r.verdict === 'fail' && failsAtRest(r);
  return judged(own.filter((r) => loopOf(r) === loop && !isTheBoards(r)), against);
}

const hasSupply = (finding: Finding, outlet: string): boolean =>
  finding.where.supply !== null && (finding.where.supply === outlet || outlet.startsWith(`${finding.where.supply}.`));

export function boardParts(results: Results): BoardParts {
  const { board, findings } = results;
  const own = results.readings.filter((r) => !isBenchState(r.state));
  const ofBoard = own.filter((r) => loopOf(r) === null);
  const tone = (state: string): readonly Reading[] => ofBoard.filter((r) => TONE.test(r.id) && r.state === state);
  const wayIn = tone('rest');
  const bypassed = board.buffer?.defeatable === true ? tone('unbuffered') : [];
  const elsewhere = new Set([...wayIn, ...bypassed]);
  const outlets = [...new Set(board.loops.flatMap((l) => (l.supply === null ? [] : [l.supply])))];
  return {
    input: board.buffer === null ? { id: 'in', name: 'input', ...judged(wayIn, []) } : null,
    buffer: board.buffer === null ? null : { id: 'buffer', name: 'buffer', ...judged(wayIn, []) },
    bypass: board.buffer?.defeatable === true ? { id: 'out of circuit', name: 'buffer out', ...judged(bypassed, []) } : null,
    loops: board.loops.map((l) => ({
      id: shorten(l.id, 24),
      name: loopName(results, l.id, LONGEST_NAME),
      outlet: l.supply === null ? null : shorten(l.supply, 24),
      ...judgedLoop(own, l.id, findings.filter((f) => f.where.loop === l.id)),
    })),
    outputs: board.outputs.map((o) => ({
      id: shorten(o.id, 24),
      name: shorten(o.name, LONGEST_NAME),
      ...judged(
        ofBoard.filter((r) => r.output === o.id && !elsewhere.has(r)),
        findings.filter((f) => f.where.output === o.id),
      ),
    })),
    matches: board.match.map((pair) => {
      const [a, b] = pair;
      return {
        id: `${shorten(a, 24)} : ${shorten(b, 24)}`,
        name: `${outputName(results, a)} against ${outputName(results, b)}`,
        pair,
        ...judged(
          ofBoard.filter((r) => {
            const p = pairOf(results, r.output);
            return p !== null && p[0] === a && p[1] === b;
          }),
          [],
        ),
      };
    }),
    outlets: outlets.map((outlet) => {
      const against = findings.filter((f) => f.severity !== 'note' && hasSupply(f, outlet));
      return {
        id: shorten(outlet, 24),
        name: `outlet ${shorten(outlet, 24)}`,
        feeds: board.loops.filter((l) => l.supply === outlet).map((l) => loopName(results, l.id)),
        mark: against.length > 0 ? ('caution' as const) : ('info' as const),
        why: against.length > 0 ? [{ name: against[0]!.title }] : ['not measured itself; no finding points at it'],
      };
    }),
  };
}
