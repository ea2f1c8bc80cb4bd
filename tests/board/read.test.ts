import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { readBench, readBoard, readLimits } from '../../src/board/read.js';
import type { Fault, FileReading } from '../../src/board/read.js';
import { boardTemplate } from '../../src/board/template.js';
import { anyText } from '../helpers/any-text.js';
import { BENCH_YAML, PIT_BOARD_YAML } from '../helpers/pit-board.js';

function valueOf<T>(reading: FileReading<T>): T {
  if (!reading.ok) throw new Error(reading.faults.map(({ message }) => message).join('\n'));
  return reading.value;
}

const faultsOf = (reading: FileReading<unknown>): readonly Fault[] => {
  if (reading.ok) throw new Error('the file was taken as good');
  return reading.faults;
};

const messages = (reading: FileReading<unknown>): string[] => faultsOf(reading).map(({ message }) => message);

const SMALL = 'format: boardproof-board/1\nboard: small\noutputs: [{ id: A }]\n';

describe('readBoard', () => {
  it('reads every key of the format into SI units', () => {
    expect(valueOf(readBoard(PIT_BOARD_YAML))).toEqual({
      name: 'Pit Board 7',
      serial: 'PB-007',
      mainsHz: 50,
      limits: { kind: 'named', name: 'studio-quiet' },
      instrument: {
        pickup: { resistanceOhm: 8200, inductanceH: 3.1, capacitanceF: 110e-12 },
        volumeOhm: 500e3,
        tone: { resistanceOhm: 500e3, capacitorF: 22e-9 },
        lead: { lengthM: 5, capacitanceFPerM: 95e-12 },
      },
      input: {
        wiring: { lengthM: 0.4, capacitanceFPerM: 100e-12 },
        buffer: { inputResistanceOhm: 1e6, inputCapacitanceF: 30e-12, outputResistanceOhm: 220, noiseVPerRtHz: 9e-9, defeatable: true },
      },
      loops: [
        { id: 'comp', name: 'compressor', expect: 'effect', supply: 'S1.1', currentA: 0.08, wiring: null },
        { id: 'eq', name: 'equaliser set flat', expect: 'unity', supply: null, currentA: null, wiring: { lengthM: 0.6, capacitanceFPerM: 100e-12 } },
        { id: 'insert', name: 'insert patched through', expect: 'unity', supply: null, currentA: null, wiring: null },
      ],
      outputs: [
        { id: 'A', name: 'stage amplifier', loadOhm: 1e6, lift: true, polaritySwitch: true, isolated: true },
        { id: 'B', name: 'pit DI', loadOhm: 10e3, lift: false, polaritySwitch: false, isolated: false },
      ],
      match: [['A', 'B']],
      supplies: [{ id: 'S1', outlets: [{ id: '1', volts: 9, limitA: 0.1 }] }],
      invented: false,
    });
  });

  it('needs only format, board and outputs', () => {
    expect(valueOf(readBoard(SMALL))).toEqual({
      name: 'small',
      serial: null,
      mainsHz: 50,
      limits: { kind: 'named', name: 'studio-quiet' },
      instrument: null,
      input: { wiring: null, buffer: null },
      loops: [],
      outputs: [{ id: 'A', name: 'A', loadOhm: null, lift: false, polaritySwitch: false, isolated: false }],
      match: [],
      supplies: [],
      invented: false,
    });
  });

  it('keeps text as it was written: a serial of 007 is not 7', () => {
    const board = valueOf(readBoard('format: boardproof-board/1\nboard: 1.10\nserial: 007\noutputs: [{ id: 1e2, name: no }]\n'));
    expect([board.name, board.serial, board.outputs[0]!.id, board.outputs[0]!.name]).toEqual(['1.10', '007', '1e2', 'no']);
  });

  it('follows anchors and aliases', () => {
    const board = valueOf(readBoard(`${SMALL.replace('{ id: A }', '{ id: A, wiring: &w { length: 1 m, capacitance: 100 pF/m } }')}input: { wiring: *w }\n`));
    expect(board.input.wiring).toEqual({ lengthM: 1, capacitanceFPerM: 100e-12 });
  });

  it('takes a byte-order mark and any script in names', () => {
    expect(valueOf(readBoard(`\ufeff${SMALL.replace('small', 'Плата 7 · ピット')}`)).name).toBe('Плата 7 · ピット');
    expect(valueOf(readBoard(new TextEncoder().encode(`\ufeff${SMALL}`))).name).toBe('small');
  });

  it('reports everything that is wrong at once, each with its place', () => {
    const reading = readBoard(
      [
        'format: boardproof-board/1', //                                             1
        'bord: X', //                                                                2
        'mains: 55', //                                                              3
        'limits: studio-quite', //                                                   4
        'instrument:', //                                                            5
        '  pickup: { resistance: "8,2k", inductance: 3.1, capacitance: 110 pF, colour: red }', // 6
        '  volume:', //                                                              7
        '  tone: []', //                                                             8
        'loops:', //                                                                 9
        '  - { id: comp, expect: unty, supply: S1.9, current: 80 }', //             10
        '  - { id: COMP }', //                                                      11
        '  - { name: no id }', //                                                   12
        '  - { id: "../x" }', //                                                    13
        '  - { id: con }', //                                                       14
        'outputs:', //                                                              15
        '  - { id: A, lift: yes }', //                                              16
        '  - { id: A, load: -10k }', //                                             17
        'match: [[A, C], [A], [A, A]]', //                                          18
        'supplies:', //                                                             19
        '  - { id: S1, outlets: [{ id: 1, limit: 100 mA }, { id: 1 }] }', //        20
      ].join('\n'),
      'board.yaml',
      { limitSets: ['studio-quiet', 'stage'] },
    );
    expect(messages(reading)).toEqual([
      'board.yaml:1:1: the file has no "board" (name of the board); add it.',
      'board.yaml:2:1: "bord" is no key of this file; did you mean "board"? allowed here: format, board, serial, mains, limits, instrument, input, wiring, loops, outputs, match, supplies, invented.',
      'board.yaml:3:8: mains "55" is no mains frequency; allowed here: 50 Hz, 60 Hz.',
      'board.yaml:4:9: there is no set of limits "studio-quite" (a file of limits ends in .yaml); did you mean "studio-quiet"? allowed here: studio-quiet, stage.',
      'board.yaml:6:25: instrument.pickup.resistance "8,2k" has a comma in its number; write a decimal point and no thousands separator, as in 8.2k, 8k2, 1M or 220.',
      'board.yaml:6:45: instrument.pickup.inductance "3.1" has no unit; write an inductance as in 3.1 H or 450 mH.',
      'board.yaml:6:71: "colour" is no key of instrument.pickup; allowed here: resistance, inductance, capacitance, loss.',
      'board.yaml:7:10: instrument.volume is empty; give it a value, or take the line out.',
      'board.yaml:8:9: instrument.tone is a list, but must be keys with their values.',
      'board.yaml:10:25: loops[1].expect "unty" is none of the words that can stand here; did you mean "unity"? allowed here: unity, effect.',
      'board.yaml:10:39: there is no outlet "S1.9"; did you mean "S1.1"? allowed here: S1.1.',
      'board.yaml:10:54: loops[1].current "80" has no unit; write a current as in 100 mA or 1.5 A.',
      'board.yaml:11:11: the loop id "COMP" differs from "comp" only in case, which file names may not tell apart; give each loop its own.',
      'board.yaml:12:5: loops[3] has no "id" (id of the loop: a short name of letters, digits, - and _); add it.',
      'board.yaml:13:11: loops[4].id "../x" cannot be part of a file name; use up to 32 letters (A to Z), digits, - and _, beginning with a letter or digit; a "name" may hold anything.',
      'board.yaml:14:11: loops[5].id "con" is a name that systems keep for themselves; choose another.',
      'board.yaml:16:20: outputs[1].lift "yes" is neither true nor false; did you mean "true"? allowed here: true, false.',
      'board.yaml:17:11: the output id "A" is used twice; give each output its own.',
      'board.yaml:17:20: outputs[2].load "-10k" must be above zero.',
      'board.yaml:18:13: there is no output "C"; allowed here: A.',
      'board.yaml:18:17: match[2] must be a pair of outputs, as in [A, B].',
      'board.yaml:18:22: match[3] sets the output "A" against itself; name two outputs.',
      'board.yaml:20:57: the outlet id "1" is used twice; give each outlet its own.',
    ]);
    const [first] = faultsOf(reading).filter(({ nearest }) => nearest !== null);
    expect(first).toMatchObject({ file: 'board.yaml', line: 2, column: 1, key: 'bord', severity: 'fault', nearest: 'board' });
    expect(first!.allowed).toContain('outputs');
  });

  it.each([
    ['', /1:1: the file is empty/],
    ['# only a remark\n', /1:1: the file is empty/],
    ['- a\n- b\n', /1:1: the file must hold keys/],
    ['words', /1:1: the file must hold keys/],
    [SMALL.replace('board/1', 'board/2'), /1:9: format "boardproof-board\/2" is a later format .* newer program/],
    [SMALL.replace('board/1', 'bench/1'), /1:9: format "boardproof-bench\/1" is another kind of file/],
    [SMALL.replace('boardproof-board/1', 'yes'), /1:9: format "yes" is not the format .* write boardproof-board\/1/],
    [`${SMALL}board: again\n`, /4:1: "board" is on lines 2 and 4; put both into one\.$/],
    [`${SMALL}__proto__: 1\n__proto__: 2\n`, /5:1: "__proto__" is on lines 4 and 5; put both into one\.\n/],
    [`${SMALL}input:\n\twiring: x\n`, /5:1: the line begins with a tab/],
    [`${SMALL}---\n${SMALL}`, /4:1: a second document/],
    [`${SMALL}serial: "open\n`, /closing quote/],
    [`${SMALL}serial: a: b\n`, /4:9: there are two colons/],
    [`${SMALL}serial: @x\n`, /4:9: a value cannot begin with this character/],
    [`${SMALL}serial: !!python/object x\n`, /4:9: tags/],
    [`${SMALL}<<: { serial: x }\n`, /4:1: "<<" is no key of this file/],
    [`${SMALL}serial: *none\n`, /4:9: there is no anchor &none/],
    [`${SMALL}loops: &l [*l]\n`, /4:12: the alias \*l holds itself/],
    [`${SMALL}? [a, b]\n: x\n`, /4:3: a key must be one word/],
    [`${SMALL}__proto__: { polluted: yes }\n`, /4:1: "__proto__" is no key of this file/],
    [SMALL.replace('A', 'constructor'), /3:17: outputs\[1\].id "constructor" is a name that systems keep/],
    [SMALL.replace('A', '__proto__'), /cannot be part of a file name/],
    [SMALL.replace('[{ id: A }]', '[]'), /3:10: outputs is empty; a board has at least one/],
    [SMALL.replace('[{ id: A }]', 'A'), /3:10: outputs is "A", but must be a list/],
    [SMALL.replace('small', `"${'x'.repeat(201)}"`), /board .* is longer than 200 characters/],
    [SMALL.replace('small', '"\\u202e\\u0007evil"') + 'bad: 1\n', /^board.yaml:4:1: "bad"/],
    [`${SMALL}"\\u202e\\u001b[31mred": 1\n`, /4:1: "\\u\{202e\}\\u\{1b\}\[31mred" is no key/],
    [`${SMALL}instrument: { volume: "8\\u202E\\u0007k" }\n`, /instrument\.volume "8\\u\{202e\}\\u\{7\}k" has the unit "\\u\{202e\}\\u\{7\}k"/],
    [`${SMALL}input: { buffer: { inputResistance: 1M ± 5 %, outputResistance: 220 } }\n`, /takes no tolerance/],
    [`${SMALL}input: { buffer: { inputResistance: 0, outputResistance: 220 } }\n`, /"0" must be above zero/],
  ])('refuses %j', (text, says) => {
    expect(messages(readBoard(text)).join('\n')).toMatch(says);
  });

  it('says once that a bracket is missing, and nothing of what is only behind it', () => {
    const whole = boardTemplate('x').replace(/^#(?=\S| {2})/gm, '');
    expect(readBoard(whole).ok).toBe(true);
    [...whole].forEach((sign, at) => {
      if (!'[]{}'.includes(sign)) return;
      const said = messages(readBoard(whole.slice(0, at) + whole.slice(at + 1)));
      // A list that is open may also make a key of several words, on the same line.
      expect([1, 2], said.join('\n')).toContain(said.length);
      expect(new Set(said.map((m) => m.split(':')[1])).size, said.join('\n')).toBe(1);
    });
    expect(messages(readBoard(`${SMALL}serial: a: b\nmains: c: d\n`)).map((m) => m.split(':')[1])).toEqual(['4', '5']);
  });

  it.each([
    ['brackets', '[\n'.repeat(50_000), /brackets are nested more than 50 deep/],
    ['dashes', `a: ${'- '.repeat(50_000)}`, /line is longer than 2000/],
    ['lines', 'a: 1\n'.repeat(60_000), /larger than 128 KiB/],
  ])('refuses far too many %s', (_what, text, says) => {
    expect(messages(readBoard(text)).join('\n')).toMatch(says);
  });

  it('refuses text that is not UTF-8', () => {
    expect(messages(readBoard(new Uint8Array([0xff, 0xfe, 0x61, 0])))).toEqual(['board.yaml:1:1: the file is not text in UTF-8; save it as UTF-8.']);
  });

  it('refuses aliases that multiply, in no time', () => {
    const bomb = ['a0: &a0 [x, x, x, x, x, x, x, x, x, x]', ...Array.from({ length: 12 }, (_, i) => `a${i + 1}: &a${i + 1} [${Array(10).fill(`*a${i}`).join(', ')}]`)].join('\n');
    expect(messages(readBoard(bomb)).join('\n')).toMatch(/more than 10000 values/);
  });

  // Work that grows with the square of the file would take minutes here and end in the time limit of tests.
  it('is short about files that are all faults', () => {
    const full = (line: string): string => line.repeat(Math.floor(60_000 / line.length));
    const texts = [full('a: 1\n'), full('! \n'), full("'\n"), `a: &a x\nb:\n${full('- *a\n')}`, `${SMALL}match:\n${full(' - [b, c]\n')}`, Array.from({ length: 6000 }, (_, i) => `k${i}: v\n`).join('')];
    for (const text of texts) {
      expect(faultsOf(readBoard(text)).length, text.slice(0, 20)).toBeLessThanOrEqual(101);
    }
  });

  it('resolves an alias to the anchor last set before it', () => {
    const board = valueOf(readBoard('format: boardproof-board/1\nboard: &n one\nserial: *n\noutputs: [{ id: A, name: &n two }, { id: B, name: *n }]\n'));
    expect([board.serial, board.outputs[1]!.name]).toEqual(['one', 'two']);
  });

  it('keeps deep nesting within bounds of the stack', () => {
    const deep = Array.from({ length: 100 }, (_, i) => `${' '.repeat(Math.min(i * 10, 1900))}${'- '.repeat(5)}`).join('\n');
    expect(faultsOf(readBoard(deep)).length).toBeGreaterThan(0);
  });

  it('cautions where a value is allowed but hardly meant', () => {
    const reading = readBoard(`${SMALL}instrument: { pickup: { resistance: 8k2, inductance: 3 H, capacitance: 110 nF } }\n`);
    expect(reading.ok && reading.cautions.map(({ message, severity }) => [severity, message])).toEqual([
      ['caution', 'board.yaml:4:72: instrument.pickup.capacitance is 110 nF; usual is 5 pF to 2 nF; did you mean "110 pF"?'],
    ]);
  });

  it('has no caution on the board of the format', () => {
    const reading = readBoard(PIT_BOARD_YAML);
    expect(reading.ok && reading.cautions).toEqual([]);
  });
});

describe('limits', () => {
  const rows = [
    '  - { reading: noise.a, states: [rest, all], max: -85 dBu, basis: house rule }',
    '  - { reading: gain.1k, states: loop-*, expect: unity, within: [-0.5 dB, 0.5 dB], basis: house rule }',
    '  - { reading: corner.-3db, min: 15 kHz, basis: house rule }',
  ].join('\n');
  const expected = [
    { reading: 'noise.a', states: ['rest', 'all'], expect: null, max: -85, min: null, within: null, unit: 'dBu', basis: 'house rule' },
    { reading: 'gain.1k', states: ['loop-*'], expect: 'unity', max: null, min: null, within: [-0.5, 0.5], unit: 'dB', basis: 'house rule' },
    { reading: 'corner.-3db', states: null, expect: null, max: null, min: 15000, within: null, unit: 'Hz', basis: 'house rule' },
  ];

  it('are read from board.yaml and from a file of their own alike', () => {
    const inline = valueOf(readBoard(`${SMALL}limits:\n${rows}\n`)).limits;
    expect(inline).toEqual({ kind: 'inline', set: { name: 'written out in board.yaml', rows: expected } });
    expect(valueOf(readLimits(`format: boardproof-limits/1\nlimits: house\nrows:\n${rows}\n`, 'house.yaml'))).toEqual({ name: 'house', rows: expected });
    expect(valueOf(readBoard(`${SMALL}limits: ../house.yaml\n`)).limits).toEqual({ kind: 'file', path: '../house.yaml' });
  });

  it.each([
    ['- { reading: noise.a, basis: x }', /exactly one of max, min and within; it has none/],
    ['- { reading: noise.a, max: 1 dB, min: 0 dB, basis: x }', /exactly one of max, min and within; it has 2/],
    ['- { reading: noise.a, within: [1 dB, 2 %], basis: x }', /two units/],
    ['- { reading: noise.a, within: [2 dB, 1 dB], basis: x }', /higher value first/],
    ['- { reading: noise.a, max: -85, basis: x }', /limits\[1\].max "-85" has no unit/],
    ['- { reading: noise.a, max: -85 dBu }', /limits\[1\] has no "basis" \(what the number rests on\)/],
    ['- { reading: noise.b, max: -85 dBu, basis: x }', /there is no reading "noise.b"; did you mean "noise.a"\?/],
    ['- { reading: noise.a, max: -85 dBu, basis: x, state: rest }', /"state" is no key of limits\[1\]; did you mean "states"\?/],
    ['- { reading: noise.a, max: -85 dBu, basis: x, states: rset }', /limits\[1\].states "rset" is no state; did you mean "rest"\?/],
    ['- { reading: noise.a, max: -85 dBu, basis: x, states: [rest, loop-] }', /limits\[1\].states\[2\] "loop-" is no state/],
    ['- 3', /limits\[1\] is "3", but must be a row such as/],
  ])('are refused: %s', (row, says) => {
    expect(messages(readBoard(`${SMALL}limits:\n  ${row}\n`, 'board.yaml', { readings: ['noise.a'] })).join('\n')).toMatch(says);
  });

  it('in a file that is not there', () => {
    const reading = readBoard(`${SMALL}limits: house.yaml\n`, 'board.yaml', { limitFileExists: () => false });
    expect(messages(reading)).toEqual(['board.yaml:4:9: there is no file of limits "house.yaml"; its path starts from the job folder.']);
  });
});

describe('readBench', () => {
  it('reads every key of the format into SI units', () => {
    expect(valueOf(readBench(BENCH_YAML, ['A', 'B']))).toEqual({
      name: 'bench 1',
      sampleRateHz: 48000,
      output: { channel: 1, fullScaleDbu: { value: 12, tolerance: 0.1 }, resistanceOhm: 100 },
      inputs: [
        { channel: 1, output: 'A', fullScaleDbu: { value: 18, tolerance: 0.1 }, resistanceOhm: 1e6 },
        { channel: 2, output: 'B', fullScaleDbu: { value: 18, tolerance: 0.1 }, resistanceOhm: 1e6 },
      ],
      plugs: [{ id: 'plug10k', resistanceOhm: { value: 10e3, tolerance: 100 } }],
      lead: { lengthM: 0.5, capacitanceFPerM: 100e-12 },
    });
  });

  it('needs only format, bench and inputs, and invents no calibration', () => {
    expect(valueOf(readBench('format: boardproof-bench/1\nbench: b\ninputs: [{ channel: 1, output: A }]\n', null))).toEqual({
      name: 'b',
      sampleRateHz: null,
      output: null,
      inputs: [{ channel: 1, output: 'A', fullScaleDbu: null, resistanceOhm: null }],
      plugs: [],
      lead: null,
    });
  });

  it('is held against the outputs of the board', () => {
    const bench = (inputs: string): string => `format: boardproof-bench/1\nbench: b\ninputs: ${inputs}\n`;
    expect(messages(readBench(bench('[{ channel: 1, output: A }, { channel: 1, output: C }, { channel: 2, output: A }]'), ['A', 'B']))).toEqual([
      'bench.yaml:3:9: no input hears the output "B" of the board; add one.',
      'bench.yaml:3:48: two inputs are on channel "1"; give each its own.',
      'bench.yaml:3:59: there is no output of the board "C"; allowed here: A, B.',
      'bench.yaml:3:86: two inputs hear the output "A"; one is enough.',
    ]);
  });

  it.each([
    ['sampleRate: 22050', /sampleRate must be from 44100 to 192000 Hz/],
    ['sampleRate: fast', /sampleRate "fast" does not begin with a number/],
    ['output: { channel: 0 }', /output.channel "0" must be a whole number from 1/],
    ['output: { fullScale: 12 V }', /has the unit "V".*18 dBu/],
    ['plugs: [{ id: p, resistance: 10k }, { id: P, resistance: 10k }]', /plug id "P" differs from "p" only in case/],
    ['plugs: [{ id: a+b, resistance: 10k }]', /cannot be part of a file name/],
    ['plug: []', /"plug" is no key of this file; did you mean "plugs"\?/],
  ])('refuses %s', (line, says) => {
    expect(messages(readBench(`format: boardproof-bench/1\nbench: b\ninputs: [{ channel: 1, output: A }]\n${line}\n`, ['A'])).join('\n')).toMatch(says);
  });
});

describe('any text at all', () => {
  /** Each fault is one line, names the file and a place inside it, and shows no hidden character. */
  const wellFormed = (text: string): void => {
    for (const reading of [readBoard(text), readBench(text, ['A']), readLimits(text, 'limits.yaml')]) {
      for (const fault of reading.ok ? reading.cautions : reading.faults) {
        expect(fault.message).toMatch(/^[a-z]+\.yaml:\d+:\d+: .+[.?]$/);
        expect(fault.message).not.toMatch(/[\p{Cc}\u202a-\u202e\u2066-\u2069]/u);
        expect(fault.line).toBeLessThanOrEqual(text.split(/\r\n?|\n/).length);
      }
      if (!reading.ok) expect(reading.faults.length).toBeGreaterThan(0);
    }
  };

  it('gives a value or faults, and never throws', () => {
    fc.assert(fc.property(anyText(200), wellFormed), { seed: 11, numRuns: 200 });
  });

  it('nor does YAML of any shape', () => {
    const words = ['format', 'board', 'outputs', 'id', 'A', 'boardproof-board/1', 'loops', '8k2', '~', 'null', 'true', '*x', '&x', '<<', '!t', '"', "'", '|', '>', '- ', ': ', '? ', '[', ']', '{', '}', ', ', '\n', '\n  ', '\n    ', '\t', '#', '---\n', '...\n', '%YAML 1.2\n'];
    fc.assert(fc.property(fc.array(fc.constantFrom(...words), { maxLength: 40 }).map((parts) => parts.join('')), wellFormed), { seed: 12, numRuns: 600 });
  });

  it('nor does a good file with one stretch of it replaced', () => {
    fc.assert(
      fc.property(fc.nat(PIT_BOARD_YAML.length), fc.nat(12), anyText(6), (at, length, put) => {
        wellFormed(PIT_BOARD_YAML.slice(0, at) + put + PIT_BOARD_YAML.slice(at + length));
      }),
      { seed: 13, numRuns: 150 },
    );
  });
});
