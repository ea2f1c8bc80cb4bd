/**
 * What has changed between two measurements of one job: the last and the one before.
 *
 * @module
 */
import { compareJobs } from './compare.js';
import type { ReadingDifference } from './compare.js';
import type { CaptureRecord, OverallWord, Reading, Results, Verdict } from './results.js';

/** A reading whose verdict is another one. */
export interface TurnedReading {
  readonly id: string;
  readonly label: string;
  readonly state: string;
  readonly source: string | null;
  readonly output: string | null;
  readonly from: Verdict;
  readonly to: Verdict;
}

export interface Changes {
  /** When the earlier one was measured (ISO 8601). */
  readonly since: string;
  readonly verdict: { readonly from: OverallWord; readonly to: OverallWord };
  /** Step ids: captured since, captured again, no longer used. Told apart by the SHA-256 of their files. */
  readonly captures: { readonly added: readonly string[]; readonly again: readonly string[]; readonly gone: readonly string[] };
  /** Of `board.yaml`, `bench.yaml`, `limits` and `program`, those that are not as they were. */
  readonly inputs: readonly string[];
  /** Titles of findings, by their ids. */
  readonly findings: { readonly added: readonly string[]; readonly gone: readonly string[] };
  readonly turned: readonly TurnedReading[];
  /** Readings that moved by more than the uncertainty of both, most of all against it first. */
  readonly moved: readonly ReadingDifference[];
  /** Readings that both have, of which that can be said, and that come from a capture that is not the same. */
  readonly comparable: number;
}

/** Sets a measurement against the one before it. */
export function changesSince(earlier: Results, later: Results): Changes {
  const { readings } = compareJobs(earlier, later);
  const decided = readings.filter(({ significance }) => significance !== 'open');
  const captures = captureChanges(earlier.captures, later.captures);
  const isNew = new Set([...captures.added, ...captures.again]);
  const renewed = new Set(later.readings.filter((r) => r.capture.some((step) => isNew.has(step))).map(keyOf));
  return {
    since: earlier.conditions.measuredAt,
    verdict: { from: earlier.verdict.word, to: later.verdict.word },
    captures,
    inputs: [
      ...(earlier.board.sha256 === later.board.sha256 ? [] : ['board.yaml']),
      ...(earlier.bench.sha256 === later.bench.sha256 ? [] : ['bench.yaml']),
      ...(sameLimits(earlier, later) ? [] : ['limits']),
      ...(earlier.tool.version === later.tool.version ? [] : ['program']),
    ],
    findings: {
      added: later.findings.filter((f) => !earlier.findings.some(({ id }) => id === f.id)).map(({ title }) => title),
      gone: earlier.findings.filter((f) => !later.findings.some(({ id }) => id === f.id)).map(({ title }) => title),
    },
    turned: turnedReadings(earlier.readings, later.readings),
    moved: decided.filter(({ significance }) => significance !== 'same').sort((a, b) => weightOf(b) - weightOf(a)),
    comparable: decided.filter((d) => renewed.has(keyOf({ ...d, state: d.second.state }))).length,
  };
}

/** True where the two say the same: nothing went in or came out that was not there before. */
export const isUnchanged = ({ verdict, captures, inputs, findings, turned, moved }: Changes): boolean =>
  verdict.from === verdict.to && [captures.added, captures.again, captures.gone, inputs, findings.added, findings.gone, turned, moved].every((list) => list.length === 0);

function captureChanges(earlier: readonly CaptureRecord[], later: readonly CaptureRecord[]): Changes['captures'] {
  const [before, after] = [filesOf(earlier), filesOf(later)];
  const steps = [...after.keys()];
  return {
    added: steps.filter((step) => !before.has(step)),
    again: steps.filter((step) => before.has(step) && before.get(step) !== after.get(step)),
    gone: [...before.keys()].filter((step) => !after.has(step)),
  };
}

/** The limits as they were applied to what was read: a set of the same name may have other numbers. */
function sameLimits(earlier: Results, later: Results): boolean {
  const numbers = ({ limit }: Reading): string => JSON.stringify(limit && [limit.max, limit.min, limit.within]);
  const before = new Map(earlier.readings.map((r) => [keyOf(r), numbers(r)]));
  return earlier.conditions.limits === later.conditions.limits && later.readings.every((r) => (before.get(keyOf(r)) ?? numbers(r)) === numbers(r));
}

/** What each step was measured from: a step may have several captures that count together. */
function filesOf(captures: readonly CaptureRecord[]): ReadonlyMap<string, string> {
  const files = new Map<string, string[]>();
  for (const { step, sha256 } of captures) files.set(step, [...(files.get(step) ?? []), sha256]);
  return new Map([...files].map(([step, list]) => [step, list.sort().join(' ')]));
}

const keyOf = (r: Pick<Reading, 'id' | 'state' | 'source' | 'output' | 'unit'>): string => [r.id, r.state, r.source ?? '', r.output ?? '', r.unit].join('\n');

function turnedReadings(earlier: readonly Reading[], later: readonly Reading[]): TurnedReading[] {
  const before = new Map(earlier.map((r) => [keyOf(r), r.verdict]));
  return later.flatMap((r) => {
    const from = before.get(keyOf(r));
    const { id, label, state, source, output, verdict } = r;
    return from === undefined || from === verdict ? [] : [{ id, label, state, source, output, from, to: verdict }];
  });
}

/** How many times its uncertainty a reading moved; a sign that turned outweighs all. */
const weightOf = ({ difference, uncertainty }: ReadingDifference): number => (difference === null || !uncertainty ? Infinity : Math.abs(difference) / uncertainty);
