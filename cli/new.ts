/**
 * `boardproof new <job>`: a job folder with two commented files to fill in.
 *
 * @module
 */
import fs from 'node:fs';
import path from 'node:path';
import { jsonSchema } from '../src/board/json-schema.js';
import { benchTemplate, boardTemplate } from '../src/board/template.js';
import { printable } from '../src/board/printable.js';
import { exitCode, problem } from '../src/problems.js';
import { makeFolder, writeNewFileAtomic } from './files.js';
import { CAPTURES } from './job.js';
import { nextStep, word } from './next-step.js';
import { print, printJson } from './terminal.js';
import type { Context } from './terminal.js';

export const NEW_FORMAT = 'boardproof-new/1';

export async function run(context: Context, [jobPath]: readonly string[], options: { json?: boolean; schemas?: boolean }): Promise<number> {
  const folder = path.resolve(context.cwd, jobPath!);
  const schemaOf = (kind: string): string | null => (options.schemas ? `${kind}.schema.json` : null);
  const wanted: readonly (readonly [name: string, text: string])[] = [
    ['board.yaml', boardTemplate(path.basename(folder), schemaOf('board'))],
    ['bench.yaml', benchTemplate(schemaOf('bench'))],
    ...(options.schemas ? (['board', 'bench'] as const).map((kind) => [`${kind}.schema.json`, jsonSchema(kind)] as const) : []),
  ];
  const missing = wanted.filter(([name]) => !fs.existsSync(path.join(folder, name)));
  // A job of which one file is there is finished, not refused: `new` may have been stopped between the two.
  if (['board.yaml', 'bench.yaml'].every((name) => fs.existsSync(path.join(folder, name)))) throw problem('cli.job-exists', { path: jobPath! });

  makeFolder(path.join(folder, CAPTURES));
  for (const [name, text] of missing) await writeNewFileAtomic(path.join(folder, name), text);

  if (options.json) printJson(context, { format: NEW_FORMAT, job: folder, written: missing.map(([name]) => name) });
  else print(context, `Job ${printable(jobPath!)}: wrote ${missing.map(([name]) => name).join(', ')}.`);
  nextStep(context, 'fill in board.yaml and bench.yaml, then check them', `boardproof check ${word(jobPath!)}`);
  return exitCode.done;
}
