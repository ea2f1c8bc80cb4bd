import { describe, expect, it } from 'vitest';
import { setYamlValue } from '../../src/board/edit-yaml.js';
import { readBench } from '../../src/board/read.js';
import { benchTemplate } from '../../src/board/template.js';
import { BENCH_YAML } from '../helpers/pit-board.js';

const set = (text: string, path: (string | number)[], value: string): string => {
  const done = setYamlValue(text, path, value);
  if (done === null) throw new Error('not set');
  return done;
};

describe('a value written into a file that a person wrote', () => {
  it('takes the place of the old one and moves nothing else', () => {
    expect(set(BENCH_YAML, ['output', 'fullScale'], '11.87 dBu ± 0.09 dB')).toBe(BENCH_YAML.replace('12 dBu ± 0.1 dB', '11.87 dBu ± 0.09 dB'));
    expect(set(BENCH_YAML, ['inputs', 1, 'fullScale'], '17 dBu ± 0.2 dB')).toBe(BENCH_YAML.replace('output: B, fullScale: 18 dBu ± 0.1 dB', 'output: B, fullScale: 17 dBu ± 0.2 dB'));
  });

  it('is added to a flow map, to a block map, and as a key of its own at the end', () => {
    const text = 'a: { b: 1 } # kept\nlist:\n  - { c: 1 }\nblock:\n  d: 1 # also\n  e: 2\nempty: {}\n';
    expect(set(text, ['a', 'x'], 'y z')).toBe(text.replace('{ b: 1 }', '{ b: 1, x: y z }'));
    expect(set(text, ['list', 0, 'x'], '-2 dBu')).toBe(text.replace('{ c: 1 }', '{ c: 1, x: -2 dBu }'));
    expect(set(text, ['block', 'x'], 'y')).toBe(text.replace('  d: 1', '  x: y\n  d: 1'));
    expect(set(text, ['empty', 'x'], 'y')).toBe(text.replace('{}', '{ x: y }'));
    expect(set(text, ['new', 'x'], 'y')).toBe(`${text}new: { x: y }\n`);
  });

  it('is written below its commented example, so that nobody takes the # away above it and has the key twice', () => {
    const done = set(set(benchTemplate(), ['output', 'device'], 'one'), ['recorder', 'device'], 'two');
    expect(done).toMatch(/\n#output: .*\noutput: \{ device: one \}\n#recorder: .*\nrecorder: \{ device: two \}\n\n# Which/);
    expect(set('a: 1\n#x:\n#  - y\n#  - z\nb: 2\n', ['x', 'k'], 'v')).toBe('a: 1\n#x:\n#  - y\n#  - z\nx: { k: v }\nb: 2\n');
    expect(set('a: 1\r\n#x: 3', ['x'], 'v')).toBe('a: 1\r\n#x: 3\nx: v\n');
    // Inside another key's lines there is no place.
    expect(set('a: {\n#x: 3\n  b: 1 }\n', ['x'], 'v')).toBe('a: {\n#x: 3\n  b: 1 }\nx: v\n');
  });

  it('reads back whatever it holds', () => {
    for (const name of ['hw:CARD=Interface,DEV=0', 'a "b" \\ c', '- x', 'x # y', '{', "it's", 'Ünïcode 音']) {
      const bench = readBench(set(set(benchTemplate(), ['output', 'device'], name), ['recorder', 'device'], name), ['A']);
      expect(bench).toMatchObject({ ok: true, value: { output: { device: name }, recorder: name } });
    }
  });

  it('is refused where there is no place for it', () => {
    expect(setYamlValue('a: [', ['a'], 'x')).toBeNull();
    expect(setYamlValue('a: text\n', ['a', 'b'], 'x')).toBeNull();
    expect(setYamlValue('a: [{ b: 1 }]\n', ['a', 3, 'b'], 'x')).toBeNull();
  });
});
