/**
 * YAML 1.2 text as plain maps, lists and texts, with the position of every key and value.
 *
 * Every scalar stays the text that was written: `serial: 007` is "007" and not 7, `mains: 50` is "50"; the schemas say
 * which texts are numbers. Maps have no prototype, so a key such as `__proto__` is a key like any other.
 *
 * @module
 */
import { LineCounter, isAlias, isMap, isScalar, isSeq, parseDocument } from 'yaml';
import type { Document, Node, YAMLError } from 'yaml';
import { byPosition, faultAt, quote } from './fault.js';
import type { Complaint, Fault, KeyPath, Position } from './fault.js';
import { printable } from './printable.js';

export type Tree = string | Tree[] | { [key: string]: Tree };

export interface YamlDocument {
  readonly tree: Tree;
  readonly faults: readonly Fault[];
  /** True where the text is so broken that looking at its keys would only repeat the fault. */
  readonly broken: boolean;
  /** Where a value is; for a path that is not there, the nearest thing around it that is. */
  valueAt(path: KeyPath): Position;
  keyAt(path: KeyPath): Position;
}

/** Larger than any board: 128 KiB. */
const LONGEST_TEXT = 131_072;
/** Together with LONGEST_DEPTH, keeps a hostile file from exhausting the parser's stack. */
const LONGEST_LINE = 2000;
const LONGEST_DEPTH = 50;
const MOST_NODES = 10_000;

const START: Position = { line: 1, column: 1 };

export function readYaml(source: string | Uint8Array, file: string): YamlDocument {
  const refuse = (says: string, at: Position = START): YamlDocument => ({
    tree: '',
    broken: true,
    faults: [faultAt(file, at, { path: [], says })],
    valueAt: () => START,
    keyAt: () => START,
  });
  if (source.length > LONGEST_TEXT) return refuse(`the file is larger than ${LONGEST_TEXT / 1024} KiB, which no such file needs to be; look whether it is the right one`);
  let text: string;
  try {
    text = typeof source === 'string' ? source.replace(/^\ufeff/, '') : new TextDecoder('utf-8', { fatal: true }).decode(source);
  } catch {
    return refuse('the file is not text in UTF-8; save it as UTF-8');
  }
  const hostile = tooDeep(text);
  if (hostile) return refuse(hostile.says, hostile.at);

  const lines = new LineCounter();
  const document = parseDocument(text, { schema: 'failsafe', lineCounter: lines, prettyErrors: false, logLevel: 'error', uniqueKeys: false });
  const positionOf = (offset: number): Position => {
    const { line, col } = lines.linePos(offset);
    return { line: Math.max(1, line), column: Math.max(1, col) };
  };
  const { told, until } = causes([...document.errors, ...document.warnings], (offset) => positionOf(offset).line);
  const faults = told.map((error) => faultAt(file, positionOf(error.pos[0]), { path: [], says: wordsFor(error) }));
  const broken = document.errors.length > 0;
  const located = locate(document, positionOf, (offset, complaint) => {
    if (offset < until) faults.push(faultAt(file, positionOf(offset), complaint));
  });
  return {
    tree: located.tree,
    faults: faults.sort(byPosition),
    broken,
    valueAt: (path) => positionOf(located.find(path).value),
    keyAt: (path) => positionOf(located.find(path).key),
  };
}

/** A look at the bare text, before a parser that calls itself for every level sees it. */
function tooDeep(text: string): { says: string; at: Position } | null {
  const lines = text.split(/\r\n|\r|\n/);
  let depth = 0;
  for (const [index, line] of lines.entries()) {
    if (line.length > LONGEST_LINE) return { says: `the line is longer than ${LONGEST_LINE} characters; break it`, at: { line: index + 1, column: LONGEST_LINE } };
    for (let column = 0; column < line.length; column++) {
      const character = line[column]!;
      if (character === '[' || character === '{') depth++;
      else if ((character === ']' || character === '}') && depth > 0) depth--;
      if (depth > LONGEST_DEPTH) return { says: `brackets are nested more than ${LONGEST_DEPTH} deep; no such file needs that`, at: { line: index + 1, column: column + 1 } };
    }
  }
  return null;
}

/** Faults of one line, which leave the lines after it readable. */
const LOCAL: readonly YAMLError['code'][] = ['TAB_AS_INDENT', 'BLOCK_AS_IMPLICIT_KEY', 'BAD_SCALAR_START', 'BAD_DQ_ESCAPE', 'TAG_RESOLVE_FAILED'];

/**
 * Of what the parser says, what has a cause of its own: one fault a line, and none behind one that shifts all that follows, such as a
 * bracket that is not closed; `until` is where that one is.
 */
function causes<E extends YAMLError | Document['warnings'][number]>(errors: readonly E[], lineOf: (offset: number) => number): { told: E[]; until: number } {
  const told: E[] = [];
  for (const error of [...errors].sort((a, b) => a.pos[0] - b.pos[0])) {
    const isFirst = told.length === 0 || lineOf(error.pos[0]) !== lineOf(told.at(-1)!.pos[0]);
    if (isFirst) told.push(error);
    if (!LOCAL.includes(error.code)) return { told, until: error.pos[0] };
  }
  return { told, until: Infinity };
}

const words: Partial<Record<YAMLError['code'], string>> = {
  TAB_AS_INDENT: 'the line begins with a tab; YAML is indented with spaces',
  MULTIPLE_DOCS: 'a second document begins here; take the line of three dashes out',
  BAD_INDENT: 'the indentation does not fit what is above, or a bracket is not closed; keys of one map begin in the same column',
  BLOCK_AS_IMPLICIT_KEY: 'there are two colons in one line; a bracket before them is missing, or a value that holds ": " must stand between quotes',
  MISSING_CHAR: 'something is missing here: a closing quote, a bracket, a comma, or the colon after a key',
  BAD_SCALAR_START: 'a value cannot begin with this character; put the value between quotes',
  BAD_DQ_ESCAPE: 'this backslash means nothing between double quotes; double it, or use single quotes',
  TAG_RESOLVE_FAILED: 'tags (words that begin with !) mean nothing here; take this one out',
  UNEXPECTED_TOKEN: 'this does not belong here; look at the indentation and for a missing quote or bracket above',
};

const wordsFor = (error: YAMLError): string => words[error.code] ?? `the text is no valid YAML: ${quote(error.message.split('\n')[0]!, 120)}`;

interface Offsets {
  readonly key: number;
  readonly value: number;
}

/** Plain data and the offsets of its parts. */
function locate(document: Document.Parsed, positionOf: (offset: number) => Position, complain: (offset: number, complaint: Complaint) => void): { tree: Tree; find: (path: KeyPath) => Offsets } {
  const offsets = new Map<string, Offsets>();
  const nameOf = (path: KeyPath): string => JSON.stringify(path);
  const startOf = (node: unknown, otherwise: number): number => (node as Node | null | undefined)?.range?.[0] ?? otherwise;
  let nodes = 0;
  // Kept here because looking an anchor up in the document walks all of it, for every alias anew.
  const anchors = new Map<string, unknown>();
  let inAlias = 0;

  const visit = (node: unknown, path: KeyPath, key: number, open: readonly unknown[]): Tree => {
    const value = startOf(node, key);
    offsets.set(nameOf(path), { key, value });
    if (++nodes > MOST_NODES) {
      if (nodes === MOST_NODES + 1) complain(value, { path, says: `the file holds more than ${MOST_NODES} values, or aliases that make as many` });
      return '';
    }
    if (isAlias(node)) {
      const target = anchors.get(node.source);
      if (target !== undefined && !open.includes(target)) {
        inAlias++;
        const tree = visit(target, path, key, open);
        inAlias--;
        return tree;
      }
      complain(value, { path, says: target !== undefined ? `the alias *${printable(node.source)} holds itself` : `there is no anchor &${printable(node.source)} before this alias` });
      return '';
    }
    if (inAlias === 0 && (isScalar(node) || isSeq(node) || isMap(node)) && node.anchor) anchors.set(node.anchor, node);
    if (isSeq(node)) return node.items.map((item, i) => visit(item, [...path, i], startOf(item, value), [...open, node]));
    if (isMap(node)) {
      const map = Object.create(null) as { [key: string]: Tree };
      for (const pair of node.items) {
        const at = startOf(pair.key, value);
        if (!isScalar(pair.key)) {
          complain(at, { path, says: 'a key must be one word' });
          continue;
        }
        const name = String(pair.key.value ?? '');
        // Looked for here because the parser compares every key with every other.
        if (Object.hasOwn(map, name)) {
          const lines = [offsets.get(nameOf([...path, name]))!.key, at].map((offset) => positionOf(offset).line);
          complain(at, { path: [...path, name], says: `"${printable(name)}" is ${lines[0] === lines[1] ? `twice on line ${lines[0]}` : `on lines ${lines.join(' and ')}`}; put both into one` });
        }
        map[name] = visit(pair.value, [...path, name], at, [...open, node]);
      }
      return map;
    }
    return isScalar(node) ? String(node.value ?? '') : '';
  };

  const tree = visit(document.contents, [], 0, []);
  const find = (path: KeyPath): Offsets => {
    for (let length = path.length; length >= 0; length--) {
      const found = offsets.get(nameOf(path.slice(0, length)));
      // What is not there is reported where what should hold it begins.
      if (found) return length === path.length ? found : { key: found.key, value: found.key };
    }
    return { key: 0, value: 0 };
  };
  return { tree, find };
}

/** What is in the tree at a path; undefined where nothing is. */
export function at(tree: Tree, path: KeyPath): Tree | undefined {
  let here: Tree | undefined = tree;
  for (const part of path) {
    if (typeof here !== 'object') return undefined;
    here = Array.isArray(here) ? here[part as number] : Object.hasOwn(here, part) ? here[part] : undefined;
  }
  return here;
}
