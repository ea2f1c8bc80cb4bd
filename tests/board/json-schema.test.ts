import { describe, expect, it } from 'vitest';
import { parse } from 'yaml';
import { jsonSchema, schemaNames } from '../../src/board/json-schema.js';
import { BENCH_YAML, PIT_BOARD_YAML } from '../helpers/pit-board.js';

interface Node {
  readonly type?: string | readonly string[];
  readonly properties?: Readonly<Record<string, Node>>;
  readonly items?: Node | false;
  readonly prefixItems?: readonly Node[];
  readonly anyOf?: readonly Node[];
  readonly required?: readonly string[];
  readonly enum?: readonly unknown[];
  readonly const?: unknown;
  readonly pattern?: string;
}

const typeOf = (value: unknown): string => (Array.isArray(value) ? 'array' : typeof value === 'object' ? 'object' : typeof value);

/** What a validator would object to, for the few words of JSON Schema that the generated files use. */
function objections(value: unknown, node: Node, path: string): string[] {
  if (node.anyOf) return node.anyOf.some((one) => objections(value, one, path).length === 0) ? [] : [`${path}: fits nothing`];
  const types = [node.type ?? []].flat().map((type) => (type === 'integer' ? 'number' : type));
  if (types.length > 0 && !types.includes(typeOf(value))) return [`${path}: is ${typeOf(value)}, not ${types.join(' or ')}`];
  if (node.enum && !node.enum.includes(value)) return [`${path}: ${String(value)} is none of ${node.enum.join(', ')}`];
  if (node.const !== undefined && node.const !== value) return [`${path}: ${String(value)} is not ${String(node.const)}`];
  if (node.pattern && !new RegExp(node.pattern).test(String(value))) return [`${path}: ${String(value)} does not match ${node.pattern}`];
  if (Array.isArray(value)) return value.flatMap((item, i) => objections(item, node.prefixItems?.[i] ?? (node.items || {}), `${path}[${i}]`));
  if (typeof value !== 'object' || value === null) return [];
  const missing = (node.required ?? []).filter((key) => !(key in value));
  return [
    ...missing.map((key) => `${path}: no ${key}`),
    ...Object.entries(value).flatMap(([key, inner]) => (node.properties?.[key] ? objections(inner, node.properties[key], `${path}.${key}`) : [`${path}: unknown key ${key}`])),
  ];
}

describe('the JSON Schemas for editors', () => {
  // To write them anew after a change of the schemas: npm run schemas
  it.each(schemaNames)('%s.schema.json is current', async (name) => {
    await expect(jsonSchema(name)).toMatchFileSnapshot(`../../src/board/${name}.schema.json`);
  });

  it.each([
    ['board', PIT_BOARD_YAML],
    ['bench', BENCH_YAML],
  ] as const)('%s: takes the example of the format, and no other keys', (name, text) => {
    const schema = JSON.parse(jsonSchema(name)) as Node;
    const document = parse(text) as Record<string, unknown>;
    expect(objections(document, schema, name)).toEqual([]);
    expect(objections({ ...document, format: undefined, colour: 'red' }, schema, name)).toContain(`${name}: unknown key colour`);
    const rest = Object.fromEntries(Object.entries(document).filter(([key]) => key !== 'format'));
    expect(objections(rest, schema, name)).toEqual([`${name}: no format`]);
  });
});
