import { existsSync, readFileSync, readdirSync } from 'node:fs';
import { dirname, join, relative, resolve } from 'node:path';
import { describe, expect, it } from 'vitest';

const root = resolve(import.meta.dirname, '..');

/** Layers of src/, lowest first; a file may import its own folder and layers below. */
const layers: Readonly<Record<string, number>> = {
  units: 0,
  'problems.ts': 0,
  numerics: 1,
  signals: 1,
  wav: 2,
  circuit: 2,
  board: 3,
  measure: 4,
  simulate: 4,
  judge: 5,
  report: 6,
  capture: 6,
  'index.ts': 7,
};

/** Folders of one layer that may see each other, and the direction. */
const sideways: readonly (readonly [from: string, to: string])[] = [
  ['units', 'problems.ts'],
  ['signals', 'numerics'],
];

function filesBelow(folder: string): string[] {
  return readdirSync(join(root, folder), { withFileTypes: true }).flatMap((entry) => {
    const path = join(folder, entry.name);
    return entry.isDirectory() ? filesBelow(path) : /\.ts$/.test(entry.name) && !/\.d\.ts$/.test(entry.name) ? [path] : [];
  });
}

/** Import and re-export paths of a file, relative ones as paths from the root. */
function importsOf(file: string): string[] {
  const text = readFileSync(join(root, file), 'utf8');
  return [...text.matchAll(/^(?:import|export)\b[^'"`;]*?from\s+['"]([^'"]+)['"]|^import\s+['"]([^'"]+)['"]|\bimport\(\s*['"]([^'"]+)['"]\s*\)/gm)].map((m) => {
    const path = (m[1] ?? m[2] ?? m[3])!;
    return path.startsWith('.') ? relative(root, resolve(root, dirname(file), path)).replace(/\.js$/, '.ts') : path;
  });
}

const roomOf = (file: string): string => file.split('/')[1]!;

const sources = filesBelow('src');

describe('the layers of src/', () => {
  it('has files, and knows every room', () => {
    expect(sources.length).toBeGreaterThan(30);
    expect([...new Set(sources.map(roomOf))].filter((room) => !(room in layers))).toEqual([]);
  });

  it('imports point down', () => {
    const wrong = sources.flatMap((file) =>
      importsOf(file).flatMap((target) => {
        if (!target.startsWith('src/')) return target.startsWith('cli/') || target.startsWith('tests/') ? [`${file} → ${target}`] : [];
        const [from, to] = [roomOf(file), roomOf(target)];
        if (from === to || layers[to]! < layers[from]! || sideways.some(([a, b]) => a === from && b === to)) return [];
        return [`${file} → ${target}`];
      }),
    );
    expect(wrong).toEqual([]);
  });

  it('nothing in src/ touches files, processes or the network', () => {
    expect(sources.flatMap((file) => importsOf(file).filter((t) => t.startsWith('node:')).map((t) => `${file} → ${t}`))).toEqual([]);
  });

  it('measure/ and simulate/ share nothing above the transform, so that a simulated capture is an honest check', () => {
    const reach = (file: string, seen = new Set<string>()): Set<string> => {
      for (const target of importsOf(file)) {
        if (!target.startsWith('src/') || seen.has(target) || !existsSync(join(root, target))) continue;
        seen.add(target);
        reach(target, seen);
      }
      return seen;
    };
    const of = (room: string): Set<string> => new Set(sources.filter((f) => roomOf(f) === room).flatMap((f) => [...reach(f)]));
    const measure = of('measure');
    const simulate = of('simulate');
    expect([...measure].filter((f) => roomOf(f) === 'simulate')).toEqual([]);
    expect([...simulate].filter((f) => roomOf(f) === 'measure')).toEqual([]);
    expect([...measure].filter((f) => simulate.has(f) && roomOf(f) === 'numerics')).toEqual(['src/numerics/fft.ts']);
  });

  it('numbers are written by units/format on screen and report/numbers on paper, which know no negative zero', () => {
    const written = [...sources, ...filesBelow('cli')].filter((file) => readFileSync(join(root, file), 'utf8').includes('.toFixed('));
    // Coordinates of drawings, magnitudes, and times that problems.ts keeps above zero.
    expect(written.filter((file) => !file.startsWith('src/report/'))).toEqual(['src/problems.ts', 'src/units/format.ts']);
  });

  it('the public door only re-exports', () => {
    const text = readFileSync(join(root, 'src/index.ts'), 'utf8').replace(/\/\*[\s\S]*?\*\//g, '');
    expect(text.split(';').map((s) => s.trim()).filter((s) => s && !/^export (type )?(\*|\{[^}]*\}) from/.test(s))).toEqual([]);
  });
});
