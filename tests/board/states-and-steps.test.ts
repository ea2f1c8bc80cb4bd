import { describe, expect, it } from 'vitest';
import type { Bench, Board } from '../../src/board/model.js';
import { readBench, readBoard } from '../../src/board/read.js';
import { boardStates, departureOf, parseStepId, settingOf, stepId } from '../../src/board/states.js';
import { benchGaps, stepsOf } from '../../src/board/steps.js';
import { BENCH_YAML, PIT_BOARD_YAML } from '../helpers/pit-board.js';

function boardOf(text: string): Board {
  const reading = readBoard(text);
  if (!reading.ok) throw new Error(reading.faults.map(({ message }) => message).join('\n'));
  return reading.value;
}

function benchOf(text: string): Bench {
  const reading = readBench(text, null);
  if (!reading.ok) throw new Error(reading.faults.map(({ message }) => message).join('\n'));
  return reading.value;
}

const pit = boardOf(PIT_BOARD_YAML);
const bench = benchOf(BENCH_YAML);
const small = boardOf('format: boardproof-board/1\nboard: small\noutputs: [{ id: A }]\n');
const smallBench = benchOf('format: boardproof-bench/1\nbench: b\ninputs: [{ channel: 1, output: A }]\n');

describe('states', () => {
  it('are those that the board has switches for', () => {
    expect(boardStates(pit)).toEqual(['bench', 'lead', 'rest', 'unbuffered', 'loop-comp', 'loop-eq', 'loop-insert', 'all', 'lift-A', 'invert-A', 'into-A', 'into-B']);
    expect(boardStates(small)).toEqual(['bench', 'lead', 'rest']);
  });

  it('say how to set the board', () => {
    expect(settingOf(pit, 'rest')).toBe('Every loop out; buffer in; no ground lift engaged; polarity normal.');
    expect(settingOf(pit, 'unbuffered')).toBe('Every loop out; buffer defeated; no ground lift engaged; polarity normal.');
    expect(settingOf(pit, 'loop-eq')).toBe('Only loop eq (equaliser set flat) in; buffer in; no ground lift engaged; polarity normal.');
    expect(settingOf(pit, 'all')).toBe('Every loop in; buffer in; no ground lift engaged; polarity normal.');
    expect(settingOf(pit, 'invert-A')).toBe('Every loop out; buffer in; no ground lift engaged; polarity switch of output A (stage amplifier) set to inverted.');
    expect(settingOf(small, 'rest')).toBe('');
  });

  it('say what of it is not as at rest', () => {
    expect(['rest', 'unbuffered', 'loop-eq', 'all', 'invert-A', 'bench'].map((state) => departureOf(pit, state))).toEqual([
      '', 'buffer defeated', 'only loop eq (equaliser set flat) in', 'every loop in', 'polarity switch of output A (stage amplifier) set to inverted', '',
    ]);
  });

  it('never let a ground lift be taken for protective earth', () => {
    expect(settingOf(pit, 'lift-A')).toContain('audio shield; protective earth stays connected');
  });

  it('show a hostile name harmlessly', () => {
    const evil = boardOf('format: boardproof-board/1\nboard: x\noutputs: [{ id: A, lift: true, name: "\\u202E\\u001B[31m" }]\n');
    expect(settingOf(evil, 'lift-A')).toContain('A (\\u{202e}\\u{1b}[31m)');
  });
});

describe('step ids', () => {
  it('are read back as they are written', () => {
    for (const step of stepsOf(pit, bench)) {
      expect(stepId(step)).toBe(step.id);
      expect(parseStepId(step.id)).toEqual({ state: step.state, plug: step.plug, kind: step.kind });
    }
  });

  it.each(['', 'rest', 'rest.', '.take', 'rest.dance', 'rest+.take', 'rest+a+b.take', '../x.take', 'rest~2026.take', 'rest.take.wav'])('%j is none', (id) => {
    expect(parseStepId(id)).toBeNull();
  });
});

describe('steps', () => {
  it('of the board of the format, in an order that groups the patching', () => {
    expect(stepsOf(pit, bench).map(({ id, required }) => (required ? id : `(${id})`))).toEqual([
      'bench.idle',
      'bench.take',
      '(bench.stairs)',
      'lead+plug10k.take',
      'rest.idle',
      'unbuffered.idle',
      'loop-comp.idle',
      'loop-eq.idle',
      'loop-insert.idle',
      'all.idle',
      'lift-A.idle',
      '(rest.switching)',
      '(loop-comp.switching)',
      '(loop-eq.switching)',
      '(loop-insert.switching)',
      'rest.take',
      'unbuffered.take',
      'loop-comp.take',
      'loop-eq.take',
      'loop-insert.take',
      'all.take',
      'invert-A.take',
      '(lift-A.take)',
      '(rest.flex)',
      '(rest.stairs)',
      '(unbuffered.stairs)',
      '(loop-comp.stairs)',
      '(loop-eq.stairs)',
      '(loop-insert.stairs)',
      '(all.stairs)',
      'rest+plug10k.take',
      'unbuffered+plug10k.take',
      '(into-A.take)',
      '(into-B.take)',
    ]);
  });

  it('change the patching as seldom as there are ways to patch', () => {
    const patches = stepsOf(pit, bench).map(({ patch }) => patch);
    const changes = patches.filter((patch, i) => patch !== patches[i - 1]).length;
    expect(changes).toBe(new Set(patches).size);
    expect(changes).toBe(8);
  });

  it('of the smallest board and bench', () => {
    expect(stepsOf(small, smallBench).filter(({ required }) => required).map(({ id }) => id)).toEqual(['bench.idle', 'bench.take', 'rest.idle', 'rest.take']);
  });

  it('ask for one loop alone in once: it is every loop in', () => {
    const states = stepsOf({ ...pit, loops: pit.loops.slice(0, 1) }, bench).map(({ state }) => state);
    expect(states).toContain('loop-comp');
    expect(states).not.toContain('all');
  });

  it('say what to patch: input terminated when idle, driven when not, through the plug where one is named', () => {
    const patchOf = (id: string): string => stepsOf(pit, bench).find((step) => step.id === id)!.patch;
    expect(patchOf('bench.idle')).toBe('Board left out: a shorting plug (tip to sleeve) on the lead of recorder inputs 1 and 2; bench output 1 unpatched.');
    expect(patchOf('bench.take')).toBe('Board left out: bench output 1 straight to recorder inputs 1 and 2 at once (Y lead).');
    expect(patchOf('lead+plug10k.take')).toBe('Board left out: bench output 1 through source plug plug10k and the straight lead to recorder inputs 1 and 2 at once (Y lead).');
    expect(patchOf('rest.idle')).toBe(
      'A shorting plug (tip to sleeve) in the board’s input; bench output 1 unpatched; output A (stage amplifier) to recorder input 1, B (pit DI) to 2.',
    );
    expect(patchOf('rest+plug10k.take')).toMatch(/^Bench output 1 through source plug plug10k into the board’s input; output A/);
    expect(patchOf('into-B.take')).toBe(
      'Bench output 1 into the jack of output B (pit DI) and recorder input 2 (Y lead); output A (stage amplifier) to recorder input 1; a shorting plug in the board’s input. Line outputs only: never one for headphones or loudspeakers.',
    );
  });

  it('say what to play', () => {
    const setOf = (id: string): string => stepsOf(pit, bench).find((step) => step.id === id)!.set;
    expect(setOf('bench.idle')).toBe('Play nothing; record 20 s or more.');
    expect(setOf('rest.take')).toMatch(/ Play the take once\.$/);
    expect(setOf('rest.switching')).toMatch(/press the footswitch of each loop/);
    expect(setOf('loop-eq.switching')).toMatch(/^Only loop eq .* press the footswitch of this loop out and in again, five times/);
  });

  it('of every plug', () => {
    const two = benchOf(BENCH_YAML.replace('plugs:\n', 'plugs:\n  - { id: plug100k, resistance: 100k ± 1 % }\n'));
    expect(stepsOf(pit, two).filter(({ plug }) => plug !== null).map(({ id }) => id)).toEqual([
      'lead+plug100k.take',
      'lead+plug10k.take',
      'rest+plug100k.take',
      'unbuffered+plug100k.take',
      'rest+plug10k.take',
      'unbuffered+plug10k.take',
    ]);
  });
});

describe('benchGaps', () => {
  it('names what a bench file leaves out', () => {
    expect(benchGaps(bench)).toEqual([]);
    expect(benchGaps(smallBench)).toEqual([
      'bench.yaml names no source plug, so tone loss cannot be measured; add one under "plugs".',
      'Recorder input 1 has no "fullScale" in bench.yaml: levels will be in dBFS, and limits in dBu cannot be judged; "boardproof calibrate" sets it with a voltmeter.',
    ]);
  });
});
