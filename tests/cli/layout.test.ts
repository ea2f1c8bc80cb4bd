import { readFileSync, readdirSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { describe, expect, it } from 'vitest';
import { asciiJson, asciiOf, wantsAscii } from '../../cli/ascii.js';
import { keysLine, paragraph, statement, table, widthOf, wrap } from '../../cli/layout.js';
import type { Cell } from '../../cli/layout.js';
import type { Context } from '../../cli/terminal.js';

function shown(act: (context: Context) => void, settings: Partial<Context> = {}): string[] {
  let text = '';
  const sink = { write: (t: string) => (text += t) };
  act({ out: sink, err: sink, now: () => new Date(0), cwd: '/', isTty: false, ...settings });
  return text.trimEnd().split('\n');
}

const width = (columns: number): Partial<Context> => ({ columns: { out: columns, err: columns } });

it('keys stay with what they do, and within the terminal', () => {
  const keys = [['+', '5 dB louder'], ['-', '5 dB softer'], ['Enter', 'the meter is steady'], ['q', 'stop']] as const;
  expect(shown((context) => context.err.write(`  ${keysLine(context, keys)}`), width(40))).toEqual(['  [+] 5 dB louder   [-] 5 dB softer', '  [Enter] the meter is steady', '  [q] stop']);
  for (const columns of [30, 40, 60, 80]) expect(Math.max(...shown((context) => context.err.write(`  ${keysLine(context, keys)}`), width(columns)).map(widthOf))).toBeLessThan(columns + 1);
});

describe('widthOf', () => {
  it.each([
    ['abc', 3],
    ['Bühne', 5],
    ['Bu\u0308hne', 5],
    ['舞台', 4],
    ['🎸', 2],
    ['\u001b[31mred\u001b[39m', 3],
  ])('%s takes %d columns', (text, columns) => {
    expect(widthOf(text)).toBe(columns);
  });
});

describe('wrap', () => {
  it('breaks at spaces and leaves a long word whole', () => {
    expect(wrap('one two /a/very/long/path three', '  ', '* ', 12)).toBe('* one two\n  /a/very/long/path\n  three');
  });

  it('counts wide characters as two columns', () => {
    expect(wrap('舞台 舞台 舞台', '', '', 10)).toBe('舞台 舞台\n舞台');
  });
});

const HEADS = ['reading', 'state', 'value', 'verdict'];
const ROWS: readonly (readonly Cell[])[] = [
  ['noise.hum', 'loop-comp', '-78.95 ± 0.10 dBu', ['red', 'FAIL']],
  ['player.hiss-over-instrument', 'rest', '', 'pass'],
];

describe('table', () => {
  it('has a head over every column and nothing behind the last', () => {
    expect(shown((context) => {
      table(context, HEADS, ROWS, '  ');
    })).toEqual([
      '  reading                      state      value              verdict',
      '  noise.hum                    loop-comp  -78.95 ± 0.10 dBu  FAIL',
      '  player.hiss-over-instrument  rest                          pass',
    ]);
  });

  it('becomes blocks where the terminal is too narrow, and stays inside it', () => {
    const lines = shown((context) => {
      table(context, HEADS, ROWS);
    }, width(40));
    expect(lines).toEqual([
      'noise.hum',
      '  state    loop-comp',
      '  value    -78.95 ± 0.10 dBu',
      '  verdict  FAIL',
      'player.hiss-over-instrument',
      '  state    rest',
      '  verdict  pass',
    ]);
  });

  it('wraps a long last column under itself', () => {
    const lines = shown((context) => {
      table(context, ['outlet', 'loops'], [['S1.1', 'one, two, three, four, five, six, seven']]);
    }, width(30));
    expect(lines).toEqual(['outlet  loops', 'S1.1    one, two, three, four,', '        five, six, seven']);
  });

  it('measures a sign by the room that it takes in ASCII', () => {
    const [head, first] = shown((context) => {
      table(context, HEADS, ROWS);
    }, { ascii: true });
    expect(first!.indexOf('FAIL')).toBe(head!.indexOf('verdict'));
    expect(first).toContain('-78.95 +/- 0.10 dBu');
  });

  it('is coloured without being moved', () => {
    const colour = { colour: { out: true, err: true } };
    const plain = shown((context) => {
      table(context, HEADS, ROWS);
    });
    // eslint-disable-next-line no-control-regex -- Colour is what is taken away.
    expect(shown((context) => { table(context, HEADS, ROWS); }, colour).map((line) => line.replace(/\u001b\[\d+m/g, ''))).toEqual(plain);
  });
});

describe('paragraph and statement', () => {
  it('a paragraph has 80 columns anywhere, fewer on a narrow terminal', () => {
    const text = 'word '.repeat(40).trim();
    const longest = (lines: readonly string[]): number => Math.max(...lines.map((line) => line.length));
    expect(longest(shown((context) => { paragraph(context, text); }))).toBe(79);
    expect(longest(shown((context) => { paragraph(context, text); }, width(200)))).toBe(79);
    expect(longest(shown((context) => { paragraph(context, text); }, width(40)))).toBe(39);
  });

  it('a statement stays one line for another program, and is broken at words for a person', () => {
    const text = 'board.yaml:5:1: "mians" is no key of this file; did you mean "mains"? allowed here: format, board.';
    expect(shown((context) => { statement(context, 'out', text); })).toEqual([text]);
    expect(shown((context) => { statement(context, 'out', text, '  '); }, width(80))).toHaveLength(2);
  });
});

describe('a locale without UTF-8', () => {
  it.each([
    [{}, 'linux', true],
    [{ LANG: 'C' }, 'linux', true],
    [{ LANG: 'de_DE.ISO-8859-1' }, 'linux', true],
    [{ LANG: 'de_DE.UTF-8' }, 'linux', false],
    [{ LANG: 'C.utf8' }, 'linux', false],
    [{ LANG: 'de_DE.UTF-8', LC_ALL: 'C' }, 'linux', true],
    [{ LANG: 'C', LC_CTYPE: 'de_DE.UTF-8' }, 'linux', false],
    [{ LANG: 'C', LC_ALL: '', LC_CTYPE: 'de_DE.UTF-8' }, 'linux', false],
    [{}, 'darwin', false],
    [{}, 'win32', false],
  ])('%j on %s: %s', (env, platform, ascii) => {
    expect(wantsAscii(env, platform)).toBe(ascii);
  });

  it('has a word for every sign that the program says', () => {
    const root = resolve(import.meta.dirname, '../..');
    const files = ['cli', 'src'].flatMap((folder) => readdirSync(join(root, folder), { recursive: true, encoding: 'utf8' }).map((name) => join(root, folder, name)));
    const said = files
      .filter((file) => file.endsWith('.ts') && !file.includes('/report/') && !file.endsWith('methods.ts'))
      .map((file) => readFileSync(file, 'utf8').replace(/\/\*[\s\S]*?\*\//g, '').replace(/(^|\s)\/\/.*/g, ''))
      .join('');
    const signs = [...new Set(said)].filter((c) => c.charCodeAt(0) > 126);
    expect(signs.length).toBeGreaterThan(15);
    expect(signs.filter((c) => asciiOf(c).startsWith('\\u'))).toEqual([]);
  });

  it('shows a name of other letters so that it cannot be taken for another', () => {
    expect(asciiOf('Bühne 舞台 🎸')).toBe(String.raw`B\u{fc}hne \u{821e}\u{53f0} \u{1f3b8}`);
  });

  it('gives the same JSON document', () => {
    const json = JSON.stringify({ name: 'Bühne 🎸', unit: 'µs' });
    expect(asciiJson(json)).toMatch(/^[ -~]+$/);
    expect(JSON.parse(asciiJson(json))).toEqual(JSON.parse(json));
  });
});
