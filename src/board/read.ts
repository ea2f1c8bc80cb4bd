/**
 * board.yaml, bench.yaml and files of limits: from their text to what they mean, or to everything that is wrong with
 * them at once.
 *
 * @module
 */
import type { z } from 'zod';
import { complaintsOf } from './complaints.js';
import { benchCrossChecks, boardCrossChecks, limitCrossChecks, limitSetCheck, outputIds } from './cross-checks.js';
import type { KnownWords } from './cross-checks.js';
import { byPosition, faultAt } from './fault.js';
import type { Complaint, Fault } from './fault.js';
import type { Bench, Board, LimitSet } from './model.js';
import { benchSchema, boardSchema, limitsSchema } from './schema.js';
import { unlikelyInBench, unlikelyInBoard } from './unlikely.js';
import { readYaml } from './yaml-document.js';
import type { Tree, YamlDocument } from './yaml-document.js';

export type { Fault } from './fault.js';
export type { KnownWords } from './cross-checks.js';

export type FileReading<T> =
  | { readonly ok: true; readonly value: T; readonly cautions: readonly Fault[] }
  /** Cautions are among the faults, as far as they could be seen. */
  | { readonly ok: false; readonly faults: readonly Fault[] };

export type BoardReading = FileReading<Board> & {
  /** Ids of the outputs, as far as the file can be read; null where none can. */
  readonly outputs: readonly string[] | null;
};

/** Reads board.yaml. Never throws; `file` is what messages call it. */
export function readBoard(source: string | Uint8Array, file = 'board.yaml', known: KnownWords = {}): BoardReading {
  const document = readYaml(source, file);
  const checks = (tree: Tree): Complaint[] => [...boardCrossChecks(tree), ...limitSetCheck(tree, known), ...limitCrossChecks(tree, ['limits'], known)];
  const reading = read(document, file, boardSchema, checks, unlikelyInBoard);
  const outputs = document.broken ? [] : outputIds(document.tree);
  return { ...reading, outputs: outputs.length > 0 ? outputs : null };
}

/** Reads bench.yaml; `outputs` are those of the board it is used with, null where that is not known. Never throws. */
export function readBench(source: string | Uint8Array, outputs: readonly string[] | null, file = 'bench.yaml'): FileReading<Bench> {
  return read(readYaml(source, file), file, benchSchema, (tree) => benchCrossChecks(tree, outputs), unlikelyInBench);
}

/** Reads a file of limits. Never throws. */
export function readLimits(source: string | Uint8Array, file: string, known: KnownWords = {}): FileReading<LimitSet> {
  return read(readYaml(source, file), file, limitsSchema, (tree) => limitCrossChecks(tree, ['rows'], known), () => []);
}

function read<T>(
  document: YamlDocument,
  file: string,
  schema: z.ZodType<T>,
  crossChecks: (tree: Tree) => Complaint[],
  unlikely: (value: T) => Complaint[],
): FileReading<T> {
  if (document.broken) return { ok: false, faults: first(document.faults) };
  const place = (complaint: Complaint): Fault => faultAt(file, complaint.atKey ? document.keyAt(complaint.path) : document.valueAt(complaint.path), complaint);
  const { tree } = document;
  if (typeof tree !== 'object' || Array.isArray(tree)) {
    const says = typeof tree === 'string' && tree === '' ? 'the file is empty; "boardproof new" writes one to start from' : 'the file must hold keys with their values, as in "format: …"';
    return { ok: false, faults: [...document.faults, place({ path: [], says })] };
  }
  const parsed = schema.safeParse(tree);
  const complaints = [...(parsed.success ? unlikely(parsed.data) : complaintsOf(parsed.error.issues, tree)), ...crossChecks(tree)];
  const faults = [...document.faults, ...complaints.map(place)].sort(byPosition);
  if (parsed.success && faults.every(({ severity }) => severity === 'caution')) return { ok: true, value: parsed.data, cautions: faults };
  return { ok: false, faults: first(faults) };
}

/** A file with more faults than this is another kind of file. */
const MOST_FAULTS = 100;

function first(faults: readonly Fault[]): readonly Fault[] {
  if (faults.length <= MOST_FAULTS) return faults;
  const { file, line, column } = faults[MOST_FAULTS]!;
  return [...faults.slice(0, MOST_FAULTS), faultAt(file, { line, column }, { path: [], says: `and ${faults.length - MOST_FAULTS} more from here on; look whether it is the right file` })];
}
