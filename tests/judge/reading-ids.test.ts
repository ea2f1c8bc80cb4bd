import { readFileSync, readdirSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { describe, expect, it } from 'vitest';
import { limitSets } from '../../src/judge/limit-sets.js';
import { methods } from '../../src/judge/methods.js';
import { isReadingId, readingIds } from '../../src/judge/reading-ids.js';

const root = resolve(import.meta.dirname, '../..');
const measure = join(root, 'src/measure');
const sources = readdirSync(measure).map((f) => readFileSync(join(measure, f), 'utf8')).join('\n');

describe('reading ids', () => {
  it('every reading that a measure gives is listed, and every one listed is given', () => {
    const given = new Set([...sources.matchAll(/\bid: '([a-z][a-z0-9.-]*)'/g)].map((m) => m[1]!));
    for (const [, id] of sources.matchAll(/\(place, '([a-z.-]+)'/g)) given.add(id!);
    for (const [, id] of sources.matchAll(/(?:levelChange\(at\([^)]*\)|echoFigure\([^']*), '([a-z.-]+)'/g)) given.add(id!);
    expect([...given].filter((id) => !isReadingId(id)).sort()).toEqual([]);
    expect(readingIds.filter((id) => !given.has(id))).toEqual([]);
  });

  it('the README says of each what it means', () => {
    const readme = readFileSync(join(root, 'README.md'), 'utf8');
    expect(readingIds.filter((id) => !readme.includes(`\`${id}\``))).toEqual([]);
  });

  it('limits name readings that exist, methods have notes', () => {
    for (const set of Object.values(limitSets)) expect(set.rows.filter((r) => !isReadingId(r.reading)).map((r) => r.reading)).toEqual([]);
    const used = new Set([...sources.matchAll(/\bmethod: '([a-z.-]+)'/g)].map((m) => m[1]!));
    expect([...used].filter((id) => !methods.some((m) => m.id === id))).toEqual([]);
  });

  it('no sentence of a finding has an id for a name', () => {
    const judge = join(root, 'src/judge');
    const lines = readdirSync(judge).filter((f) => /findings?(-context)?\.ts$/.test(f)).flatMap((f) => readFileSync(join(judge, f), 'utf8').split('\n'));
    const sentences = lines.filter((line) => /\b(title|cause|tryNext|confirm)\b.*['`"][A-Z]/.test(line));
    expect(sentences.length).toBeGreaterThan(100);
    // Ids of one word (bleed, headroom) are names; the others have a dot or a hyphen.
    const named = readingIds.filter((id) => /[.-]/.test(id));
    const strings = (line: string): string => [...line.matchAll(/'([^']*)'|`([^`]*)`/g)].map((m) => m[1] ?? m[2]!).filter((text) => text.includes(' ')).join(' ');
    expect(sentences.map(strings).filter((text) => named.some((id) => text.includes(id)))).toEqual([]);
  });
});
