/**
 * What is wrong in a file that a person wrote: where, what, what is allowed, and what was likely meant.
 *
 * @module
 */
import { printable } from './printable.js';

export interface Position {
  /** From 1. */
  readonly line: number;
  /** From 1, in characters. */
  readonly column: number;
}

export interface Fault extends Position {
  readonly file: string;
  /** Such as `loops[2].supply`; empty for the file as a whole. */
  readonly key: string;
  /** `fault`: the file cannot be used. `caution`: it can, but look at this. */
  readonly severity: 'fault' | 'caution';
  /** The whole sentence, with file, line and column. */
  readonly message: string;
  readonly allowed: readonly string[] | null;
  /** The known word that was likely meant. */
  readonly nearest: string | null;
}

export type KeyPath = readonly (string | number)[];

export interface Complaint {
  readonly path: KeyPath;
  /** Clause that follows file, line and column. */
  readonly says: string;
  readonly severity?: Fault['severity'];
  /** The complaint is about the key, not about its value. */
  readonly atKey?: boolean;
  readonly allowed?: readonly string[] | null;
  readonly nearest?: string | null;
}

/** Text between quotes, safe to show and not too long. */
export function quote(text: string, longest = 60): string {
  const characters = [...text];
  return `"${printable(characters.length > longest ? `${characters.slice(0, longest).join('')}…` : text)}"`;
}

/** `loops[2].supply`, counted from 1 as people do. */
export const keyText = (path: KeyPath): string =>
  path.map((part, i) => (typeof part === 'number' ? `[${part + 1}]` : `${i > 0 ? '.' : ''}${printable(part)}`)).join('');

/** Longer clauses repeat what somebody wrote by mistake. */
const LONGEST_CLAUSE = 400;

export function faultAt(file: string, { line, column }: Position, complaint: Complaint): Fault {
  const { path, says, severity = 'fault', allowed = null, nearest = null } = complaint;
  const clause = says.length > LONGEST_CLAUSE ? `${says.slice(0, LONGEST_CLAUSE)}…` : says;
  const meant = nearest === null ? '' : `; did you mean ${quote(nearest)}?`;
  const list = allowed === null ? '' : `${meant === '' ? ';' : ''} allowed here: ${allowed.join(', ')}`;
  const end = meant !== '' && list === '' ? '' : '.';
  return { file, line, column, key: keyText(path), severity, allowed, nearest, message: printable(`${file}:${line}:${column}: ${clause}${meant}${list}${end}`) };
}

/** In the order of the lines. */
export const byPosition = (a: Position, b: Position): number => a.line - b.line || a.column - b.column;
