/**
 * JSON Schemas for editors, from the schemas that read the files.
 *
 * @module
 */
import { z } from 'zod';
import { benchSchema, boardSchema, limitsSchema } from './schema.js';

const titles = {
  board: ['boardproof board.yaml', boardSchema],
  bench: ['boardproof bench.yaml', benchSchema],
  limits: ['boardproof limits', limitsSchema],
} as const;

export type SchemaName = keyof typeof titles;
export const schemaNames: readonly SchemaName[] = ['board', 'bench', 'limits'];

/** JSON Schema (draft 2020-12) of a kind of file, as text. */
export function jsonSchema(name: SchemaName): string {
  const [title, schema] = titles[name];
  const { $schema, ...rest } = z.toJSONSchema(schema, { io: 'input' });
  return `${JSON.stringify({ $schema, title, ...rest }, null, 2)}\n`;
}
