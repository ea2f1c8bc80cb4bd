/**
 * What no key can know by itself: names used twice, and names that nothing has. These look at the bare tree, so that
 * they report beside the faults of single values and not after them.
 *
 * @module
 */
import { quote } from './fault.js';
import type { Complaint, KeyPath } from './fault.js';
import { nearest } from './nearest.js';
import { at } from './yaml-document.js';
import type { Tree } from './yaml-document.js';

interface Named {
  readonly id: string;
  readonly path: KeyPath;
}

/** Longer lists are refused by the schema; looking through them would only take time. */
const MOST_ENTRIES = 128;

/** Texts under a key of every entry of a list. */
function named(tree: Tree, listPath: KeyPath, key: string): Named[] {
  const list = at(tree, listPath);
  if (!Array.isArray(list)) return [];
  return list.slice(0, MOST_ENTRIES).flatMap((_entry, i) => {
    const path = [...listPath, i, key];
    const id = at(tree, path);
    return typeof id === 'string' && id.trim() !== '' ? [{ id: id.trim(), path }] : [];
  });
}

/** Ids become file names, and some disks do not tell `A` from `a`. */
function twice(all: readonly Named[], what: string): Complaint[] {
  const seen = new Map<string, string>();
  return all.flatMap(({ id, path }) => {
    const before = seen.get(id.toLowerCase());
    seen.set(id.toLowerCase(), before ?? id);
    if (before === undefined) return [];
    const how = before === id ? 'is used twice' : `differs from ${quote(before)} only in case, which file names may not tell apart`;
    return [{ path, says: `the ${what} id ${quote(id)} ${how}; give each ${what} its own` }];
  });
}

function unknown(used: readonly Named[], known: readonly string[], what: string): Complaint[] {
  return used
    .filter(({ id }) => !known.includes(id))
    .map(({ id, path }) => ({ path, says: `there is no ${what} ${quote(id)}`, allowed: [...new Set(known)], nearest: nearest(id, known) }));
}

export const outputIds = (boardTree: Tree): readonly string[] => named(boardTree, ['outputs'], 'id').map(({ id }) => id);

export function boardCrossChecks(tree: Tree): Complaint[] {
  const supplies = named(tree, ['supplies'], 'id');
  const outlets = supplies.flatMap(({ id, path }) => {
    const own = named(tree, [...path.slice(0, -1), 'outlets'], 'id');
    return own.map((outlet) => ({ ...outlet, full: `${id}.${outlet.id}`, supply: path }));
  });
  const matches = at(tree, ['match']);
  const pairs = Array.isArray(matches) ? matches.slice(0, MOST_ENTRIES) : [];
  const matched = pairs.flatMap((pair, i) => (Array.isArray(pair) ? pair.flatMap((id, j) => (typeof id === 'string' ? [{ id: id.trim(), path: ['match', i, j] }] : [])) : []));
  return [
    ...twice(named(tree, ['loops'], 'id'), 'loop'),
    ...twice(named(tree, ['outputs'], 'id'), 'output'),
    ...twice(supplies, 'supply'),
    ...supplies.flatMap((supply) => twice(outlets.filter((o) => o.supply === supply.path), 'outlet')),
    ...unknown(named(tree, ['loops'], 'supply'), outlets.map(({ full }) => full), 'outlet'),
    ...unknown(matched, outputIds(tree), 'output'),
    ...pairs.flatMap((pair, i) =>
      Array.isArray(pair) && pair.length === 2 && typeof pair[0] === 'string' && pair[0] === pair[1]
        ? [{ path: ['match', i], says: `match[${i + 1}] sets the output ${quote(pair[0])} against itself; name two outputs` }]
        : [],
    ),
  ];
}

/** `outputs`: those of the board; null where the board is not known. */
export function benchCrossChecks(tree: Tree, outputs: readonly string[] | null): Complaint[] {
  const heard = named(tree, ['inputs'], 'output');
  const channels = named(tree, ['inputs'], 'channel');
  const channelSeen = new Set<string>();
  const heardSeen = new Set<string>();
  return [
    ...channels.flatMap(({ id, path }) => {
      const again = channelSeen.has(id);
      channelSeen.add(id);
      return again ? [{ path, says: `two inputs are on channel ${quote(id)}; give each its own` }] : [];
    }),
    ...heard.flatMap(({ id, path }) => {
      const again = heardSeen.has(id);
      heardSeen.add(id);
      return again ? [{ path, says: `two inputs hear the output ${quote(id)}; one is enough` }] : [];
    }),
    ...(outputs === null
      ? []
      : [
          ...unknown(heard, outputs, 'output of the board'),
          ...outputs.filter((id) => !heardSeen.has(id)).map((id) => ({ path: ['inputs'], says: `no input hears the output ${quote(id)} of the board; add one` })),
        ]),
    // Both stand behind the + of a step's id.
    ...twice([...named(tree, ['plugs'], 'id'), ...named(tree, ['loads'], 'id')], 'plug'),
    ...unknown(named(tree, ['loads'], 'output'), heard.map(({ id }) => id), 'recorder input that hears output'),
  ];
}

export interface KnownWords {
  /** Names of the sets of limits that come with the program; absent: any name will do. */
  readonly limitSets?: readonly string[];
  /** Ids of readings; absent: any will do. */
  readonly readings?: readonly string[];
  /** Whether a file of limits is there; absent: not looked at. */
  readonly limitFileExists?: (path: string) => boolean;
}

/** Names of readings in rows at a path. */
export function limitCrossChecks(tree: Tree, rows: KeyPath, { readings }: KnownWords): Complaint[] {
  if (!readings) return [];
  return named(tree, rows, 'reading')
    .filter(({ id }) => !readings.includes(id))
    .map(({ id, path }) => ({ path, says: `there is no reading ${quote(id)}`, nearest: nearest(id, readings) }));
}

const isLimitFile = (name: string): boolean => /\.ya?ml$/i.test(name);

/** A named set of limits, or a file of them, that does not exist. */
export function limitSetCheck(tree: Tree, { limitSets, limitFileExists }: KnownWords): Complaint[] {
  const written = at(tree, ['limits']);
  const name = typeof written === 'string' ? written.trim() : '';
  if (name === '') return [];
  if (isLimitFile(name)) {
    const there = limitFileExists?.(name) ?? true;
    return there ? [] : [{ path: ['limits'], says: `there is no file of limits ${quote(name)}; its path starts from the job folder` }];
  }
  if (!limitSets || limitSets.includes(name)) return [];
  return [{ path: ['limits'], says: `there is no set of limits ${quote(name)} (a file of limits ends in .yaml)`, allowed: limitSets, nearest: nearest(name, limitSets) }];
}
