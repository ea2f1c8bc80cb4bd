import { describe, expect, it } from 'vitest';
import { readBench, readBoard } from '../../src/board/read.js';
import { benchTemplate, boardTemplate } from '../../src/board/template.js';

/** The examples brought to life: lines whose # is followed at once by a key or by its indentation of two. */
const uncommented = (text: string): string => text.replace(/^#(?=[a-zA-Z]| {2})/gm, '');

const faults = (reading: ReturnType<typeof readBoard> | ReturnType<typeof readBench>): string[] => (reading.ok ? reading.cautions : reading.faults).map(({ message }) => message);

describe('the templates', () => {
  it('are good as they are', () => {
    const board = readBoard(boardTemplate('Board 1'));
    expect(faults(board)).toEqual([]);
    expect(faults(readBench(benchTemplate(), board.outputs))).toEqual([]);
  });

  it('are good with all their examples, which use every part of the format', () => {
    const board = readBoard(uncommented(boardTemplate('Board 1')));
    expect(faults(board)).toEqual([]);
    expect(faults(readBench(uncommented(benchTemplate()), board.outputs))).toEqual([]);
    expect(board.ok && [board.value.instrument, board.value.input.buffer, board.value.serial].every((part) => part !== null)).toBe(true);
    expect(board.ok && [board.value.loops.length, board.value.outputs.length, board.value.match.length, board.value.supplies.length]).toEqual([2, 2, 1, 1]);
  });

  it('give no calibration that nobody has measured', () => {
    const bench = readBench(benchTemplate(), ['A']);
    expect(bench.ok && [bench.value.output, bench.value.inputs[0]!.fullScaleDbu]).toEqual([null, null]);
  });

  it.each(['plain', 'with "quotes"', "it's: a # name", '- [x]', '{', 'Плата', '\u202e', 'a\\b', '~', '007'])('keep the name %j', (name) => {
    const board = readBoard(boardTemplate(name));
    expect(board.ok && board.value.name).toBe(name);
  });

  it('fit 80 columns in their prose', () => {
    const prose = `${boardTemplate('x')}${benchTemplate()}`.split('\n').filter((line) => /^# \S/.test(line));
    expect(prose.filter((line) => line.length > 80)).toEqual([]);
  });
});
