/**
 * Writes a value into YAML text and leaves every other character as it was: comments, order, spacing.
 *
 * @module
 */
import { isMap, isNode, isScalar, isSeq, parseDocument } from 'yaml';
import type { Node, YAMLMap } from 'yaml';
import type { KeyPath } from './fault.js';

/** A text as a scalar that reads back as that text, in a flow map too. */
const scalar = (value: string): string => (/^[A-Za-z0-9-][A-Za-z0-9 .±_-]*$/.test(value) && !value.startsWith('- ') && !value.endsWith(' ') ? value : JSON.stringify(value));

/**
 * The text with a value at a path of keys (and indices of entries that are there).
 *
 * @returns null where something on the path is neither map nor list, or the text is no valid YAML.
 */
export function setYamlValue(text: string, path: KeyPath, value: string): string | null {
  const document = parseDocument(text, { schema: 'failsafe', logLevel: 'error' });
  if (document.errors.length > 0) return null;
  let here: unknown = document.contents;
  for (const [depth, part] of path.entries()) {
    if (isSeq(here)) {
      here = here.items[Number(part)];
      if (here === undefined) return null;
      continue;
    }
    if (!isMap(here)) return null;
    const pair = here.items.find((p) => isScalar(p.key) && String(p.key.value) === String(part));
    const rest = path.slice(depth + 1);
    if (!pair || !isNode(pair.value) || (isScalar(pair.value) && pair.value.value === null && rest.length > 0)) return pair ? null : insert(text, here, String(part), nested(rest, value), depth === 0);
    here = pair.value;
  }
  if (!isScalar(here)) return null;
  const [from, to] = here.range!;
  const written = scalar(value);
  return `${text.slice(0, from)}${from > 0 && text[from - 1] === ':' ? ' ' : ''}${written}${text.slice(to)}`;
}

/** What stands behind a new key: the value, or a flow map around it. */
const nested = (keys: KeyPath, value: string): string => keys.reduceRight<string>((inner, key) => `{ ${String(key)}: ${inner} }`, scalar(value));

function insert(text: string, map: YAMLMap, key: string, value: string, atTop: boolean): string {
  const entry = `${key}: ${value}`;
  if (map.flow) {
    const end = text.lastIndexOf('}', map.range![1] - 1);
    const before = text.slice(0, end).trimEnd();
    const comma = map.items.length > 0 && !before.endsWith(',') ? ',' : '';
    return `${before}${comma} ${entry} ${text.slice(end)}`;
  }
  if (atTop) return underExample(text, key, entry) ?? `${text}${text.endsWith('\n') ? '' : '\n'}${entry}\n`;
  const first = (map.items[0]!.key as Node).range![0];
  const column = first - (text.lastIndexOf('\n', first - 1) + 1);
  return `${text.slice(0, first)}${entry}\n${' '.repeat(column)}${text.slice(first)}`;
}

/** Below the commented example of a key, as templates have them (`#key: …`, and lines of it further in); null where there is none. */
function underExample(text: string, key: string, entry: string): string | null {
  const example = new RegExp(`^#${key.replace(/\W/g, '\\$&')}:.*(?:\\r?\\n#[ \\t]+.*)*(?:\\r?\\n|$)`, 'm').exec(text);
  if (!example) return null;
  const at = example.index + example[0].length;
  const written = `${text.slice(0, at)}${at === text.length && !text.endsWith('\n') ? '\n' : ''}${entry}\n${text.slice(at)}`;
  // It may stand within the lines of another key.
  const { errors, contents } = parseDocument(written, { schema: 'failsafe', logLevel: 'error' });
  return errors.length === 0 && isMap(contents) && contents.has(key) ? written : null;
}
