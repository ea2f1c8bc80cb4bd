/**
 * What a schema found, in words.
 *
 * @module
 */
import type { z } from 'zod';
import { quote, keyText } from './fault.js';
import type { Complaint, KeyPath } from './fault.js';
import { nearest } from './nearest.js';
import { at } from './yaml-document.js';
import type { Tree } from './yaml-document.js';

type Issue = z.core.$ZodIssue;

export const complaintsOf = (issues: readonly Issue[], tree: Tree): Complaint[] => issues.flatMap((issue) => ofIssue(issue, [], tree));

function ofIssue(issue: Issue, above: KeyPath, tree: Tree): Complaint[] {
  const path: KeyPath = [...above, ...issue.path.map((part) => (typeof part === 'symbol' ? String(part) : part))];
  const subject = path.length === 0 ? 'the file' : keyText(path);
  switch (issue.code) {
    case 'unrecognized_keys': {
      const known = issue.message.split(', ');
      const where = path.length === 0 ? 'of this file' : `of ${subject}`;
      return issue.keys.map((key) => ({ path: [...path, key], atKey: true, says: `${quote(key)} is no key ${where}${decimalComma(key)}`, allowed: known, nearest: nearest(key, known) }));
    }
    case 'invalid_union':
      return likeliestBranch(issue.errors).flatMap((inner) => ofIssue(inner, path, tree));
    case 'invalid_type':
      return [ofType(issue, path, subject, tree)];
    case 'custom': {
      const { allowed = null, nearest: meant = null } = (issue.params ?? {}) as { allowed?: readonly string[] | null; nearest?: string | null };
      return [{ path, says: `${subject} ${issue.message}`, allowed, nearest: meant }];
    }
    default:
      return [{ path, says: `${subject} ${issue.message}` }];
  }
}

/** `{ resistance: 8,2k }` is the resistance 8 and a key 2k. */
const decimalComma = (key: string): string => (/^\d/.test(key) ? ' (a comma begins a new key: write numbers with a decimal point, as in 8.2k)' : '');

/** Of several ways to write a value, the one whose outer shape fits. */
const likeliestBranch = (branches: readonly (readonly Issue[])[]): readonly Issue[] =>
  branches.find((issues) => !issues.some((issue) => issue.code === 'invalid_type' && issue.path.length === 0)) ?? branches[0] ?? [];

/** What a limit looks like, for whoever wrote only its name. */
function limitForm(path: KeyPath): string | null {
  const row = '{ reading: noise.a, max: -85 dBu, basis: our own }';
  if (path[0] === 'limits' && path.length === 1) return `the name of a set, a file, or a list of rows such as ${row}`;
  return (path[0] === 'limits' || path[0] === 'rows') && path.length === 2 ? `a row such as ${row}` : null;
}

const shapes = { string: 'a single value', array: 'a list', tuple: 'a list', object: 'keys with their values' } as const;

function ofType(issue: Extract<Issue, { code: 'invalid_type' }>, path: KeyPath, subject: string, tree: Tree): Complaint {
  const found = at(tree, path);
  const expected = shapes[issue.expected as keyof typeof shapes] ?? issue.expected;
  if (found !== undefined) {
    const got = Array.isArray(found) ? 'is a list' : typeof found === 'object' ? 'holds keys' : found.trim() === '' ? 'is empty' : `is ${quote(found)}`;
    return { path, says: `${subject} ${got}, but must be ${limitForm(path) ?? expected}` };
  }
  const around = path.slice(0, -1);
  const key = path.at(-1) ?? '';
  const meaning = issue.expected === 'string' ? ` (${issue.message})` : '';
  return { path, says: `${around.length === 0 ? 'the file' : keyText(around)} has no ${quote(String(key))}${meaning}; add it` };
}
