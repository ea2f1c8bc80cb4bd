/** The board as built against the board as its file has it, on takes made from closed forms. */
import { describe, expect, it } from 'vitest';
import type { Bench, Board } from '../../src/board/model.js';
import { stepsOf } from '../../src/board/steps.js';
import { judgeJob } from '../../src/judge/judge-job.js';
import { limitSets } from '../../src/judge/limit-sets.js';
import type { Results } from '../../src/judge/results.js';
import { figure, part } from '../../src/measure/figure.js';
import type { Figure } from '../../src/measure/figure.js';
import { bufferInput, hissOverPhysics, overDesign } from '../../src/measure/over-design.js';
import { playerOf, stateFits } from '../../src/measure/through-plugs.js';
import type { TakeEstimate } from '../../src/measure/take.js';
import { behind, responseWith } from '../helpers/plug-takes.js';
import spice from '../outside/ngspice/tone.json' with { type: 'json' };

const lead = (lengthM: number): { lengthM: number; capacitanceFPerM: number } => ({ lengthM, capacitanceFPerM: 100e-12 });
const exact = (value: number): { value: number; tolerance: number } => ({ value, tolerance: 0.01 * value });

const bare: Board = {
  name: 'true bypass',
  serial: null,
  mainsHz: 50,
  limits: { kind: 'named', name: 'studio-quiet' },
  instrument: {
    pickup: { resistanceOhm: 8200, inductanceH: 3.1, capacitanceF: 110e-12 },
    volumeOhm: 5e5,
    tone: { resistanceOhm: 5e5, capacitorF: 22e-9 },
    lead: { lengthM: 5, capacitanceFPerM: 95e-12 },
  },
  input: { wiring: lead(0.9), buffer: null },
  loops: [
    { id: 'eq', name: 'equaliser', expect: 'unity', supply: null, currentA: null, wiring: lead(0.6) },
    { id: 'fuzz', name: 'fuzz', expect: 'effect', supply: null, currentA: null, wiring: null },
  ],
  outputs: [{ id: 'A', name: 'amplifier', loadOhm: 1e6, lift: false, polaritySwitch: false, isolated: false }],
  match: [],
  supplies: [],
  invented: true,
};
const buffered: Board = { ...bare, input: { wiring: lead(0.3), buffer: { inputResistanceOhm: 1e6, inputCapacitanceF: 30e-12, outputResistanceOhm: 220, noiseVPerRtHz: 9e-9, defeatable: true } } };

const bench: Bench = {
  name: 'bench',
  sampleRateHz: 48000,
  output: { channel: 1, fullScaleDbu: exact(12), resistanceOhm: 100 },
  inputs: [{ channel: 1, output: 'A', fullScaleDbu: { value: 18, tolerance: 0.1 }, resistanceOhm: 1e6 }],
  plugs: [{ id: 'plug10k', resistanceOhm: exact(10000) }],
  lead: lead(0.5),
};

/** What hangs on the jack in each state, pF; on the straight lead 50 pF of its own and 40 pF of the recorder. */
type Truth = Readonly<Record<string, number>>;
const LEAD_PF = 90;

function fitsOf(truth: Truth): ReturnType<typeof stateFits> {
  const all: Truth = { lead: LEAD_PF, ...truth };
  const takeOf = (id: string): TakeEstimate[] | null => {
    const [, state, plug] = /^([^+.]+)(?:\+([^.]+))?\.take$/.exec(id)!;
    // Without a plug, the straight lead is the bench looped to itself.
    const pF = state === 'bench' ? LEAD_PF : all[state!];
    if (pF === undefined || (state === 'lead' && plug === undefined)) return null;
    const response = responseWith(behind(plug === undefined ? 100 : 10100, 1e-6, pF * 1e-12), 1e-5, id.length + pF);
    return [{ response } as TakeEstimate];
  };
  return stateFits(bench, Object.keys(all), takeOf);
}

function resultsOf(board: Board, truth: Truth): Results {
  const { fits, figures } = fitsOf(truth);
  return judgeJob({
    board,
    bench,
    limits: limitSets['studio-quiet']!,
    measured: { figures: [...figures, ...playerOf(board, fits).figures, ...overDesign(board, bench, fits)], curves: [], remarks: [] },
    captures: [],
    steps: [],
    tool: { name: 'boardproof', version: '0' },
    measuredAt: '2026-01-01T00:00:00Z',
    boardSha256: '',
    benchSha256: '',
    problems: [],
  });
}

const over = (board: Board, truth: Truth): Map<string, Figure> => new Map(overDesign(board, bench, fitsOf(truth).fits).map((f) => [f.state, f]));

describe('capacitance beyond the board file', () => {
  it('is what no wiring of the file accounts for, the recorder’s own input set apart', () => {
    // Designed: 90 pF of wiring, and the recorder's 40 pF, as nothing stands between.
    const got = over(bare, { rest: 90 + 40 + 250 }).get('rest')!;
    expect(Math.abs(got.value! - 250)).toBeLessThan(2);
    expect(got.remarks[0]).toMatch(/^380 pF measured, 130 pF by board\.yaml: 2\.5 m of lead more at 100 pF\/m\.$/);
    expect(over(bare, { rest: 130 }).get('rest')!.value!).toBeLessThan(2);
  });

  it('of a loop is over the board with every loop out, less its own wiring; the plug’s tolerance counts for the difference', () => {
    const got = over(bare, { rest: 130, 'loop-eq': 130 + 610, 'loop-fuzz': 500 });
    expect(Math.abs(got.get('loop-eq')!.value! - 550)).toBeLessThan(2);
    // 0.5 % of 610 pF, not of 740 and 130 apart; a plug above what is stated reads both too high.
    expect(got.get('loop-eq')!.parts!.at(-1)!.standard).toBeCloseTo(0.005 * 610, 1);
    // The file says nothing of the wiring of the fuzz.
    expect(got.get('loop-fuzz')).toBeUndefined();
  });

  it('is not said where the file has no wiring at all, or a buffer keeps the loop away', () => {
    expect(over({ ...bare, input: { wiring: null, buffer: null } }, { rest: 500 }).size).toBe(0);
    expect([...over(buffered, { rest: 60, 'loop-eq': 60 }).keys()]).toEqual(['rest']);
  });
});

describe('findings', () => {
  const titles = (board: Board, truth: Truth): string[] => resultsOf(board, truth).findings.filter(({ id }) => id.startsWith('capacitance/')).map(({ title }) => title);

  it('name a loop with far more lead than designed, in metres', () => {
    expect(titles(bare, { rest: 130, 'loop-eq': 740 })).toEqual(['Loop eq adds 610 pF, 60 pF expected: about 5.5 m of lead too much, or a bad lead.']);
  });

  it('tell wiring before the buffer from wiring behind it', () => {
    // 30 pF of wiring and 30 pF of the buffer; without the buffer 30 pF and the recorder's 40.
    expect(titles(buffered, { rest: 360, unbuffered: 370 })).toEqual(['Before the buffer hang 360 pF, 60 pF expected: about 3.0 m of lead too much, or a bad lead; with all that hangs there the player loses 1.1 dB in 2–5 kHz.']);
    expect(titles(buffered, { rest: 60, unbuffered: 470 })).toEqual(['With the buffer out hang 470 pF, 70 pF expected: about 4.0 m of lead too much, or a bad lead; with all that hangs there the player loses 1.6 dB in 2–5 kHz.']);
    expect(titles(buffered, { rest: 60, unbuffered: 70 })).toEqual([]);
    // A metre and a half is wiring that nobody measured.
    expect(titles(buffered, { rest: 60, unbuffered: 220 })).toEqual([]);
  });

  it('say what a loss outside its limit comes from', () => {
    const { findings, readings } = resultsOf(buffered, { rest: 60, unbuffered: 1270 });
    expect(readings.find(({ id, state }) => id === 'player.loss-2-5k' && state === 'unbuffered')!.verdict).toBe('fail');
    const [found, ...more] = findings.filter(({ id }) => !id.startsWith('limit/'));
    expect(found).toMatchObject({ id: 'capacitance/unbuffered', severity: 'fault' });
    expect(found!.title).toMatch(/^With the buffer out hang \d+ pF, \d+ pF expected: about \d+\.\d m of lead too much, or a bad lead; with all that hangs there the player loses \d\.\d dB in 2–5 kHz\.$/);
    expect(found!.evidence).toContainEqual(expect.stringMatching(/^player\.loss-2-5k in unbuffered/));
    // The loss is what the lead does: one cause, one finding.
    expect(more).toEqual([]);
    expect(findings.filter(({ id }) => id.startsWith('limit/player'))).toEqual([]);
  });
});

describe('what to capture for it', () => {
  const loopSteps = (board: Board): string[] => stepsOf(board, bench).filter(({ state, plug }) => state.startsWith('loop-') && plug !== null).map(({ id, required }) => `${id}${required ? '' : ' (optional)'}`);

  it('the loops through a plug, where no buffer stands before them', () => {
    expect(loopSteps(bare)).toEqual(['loop-eq+plug10k.take (optional)', 'loop-fuzz+plug10k.take (optional)']);
    expect(loopSteps(buffered)).toEqual([]);
  });

  it('one plug without a take without one is refused, and the capture that helps is named', () => {
    const takeOf = (id: string): TakeEstimate[] | null => (id === 'rest+plug10k.take' ? [{ response: responseWith(behind(10100, 1e-6, 1e-10), 1e-5, 1) } as TakeEstimate] : null);
    const { figures, fits } = stateFits(bench, ['rest'], takeOf);
    expect(figures).toHaveLength(1);
    expect(figures[0]).toMatchObject({ id: 'capacitance', value: null, remarks: [expect.stringMatching(/capture rest\.take as well, or rest through a second plug/)] });
    expect(playerOf(bare, fits)).toEqual({ figures: [], curves: [] });
  });
});

describe('the input of the buffer', () => {
  it('is what is left without the wiring of the file', () => {
    const [found] = bufferInput(buffered, fitsOf({ rest: 75, unbuffered: 200 }).fits);
    expect(found!.state).toBe('rest');
    expect(Math.abs(found!.value! - 45)).toBeLessThan(1);
    expect(found!.remarks[0]).toBe('Less 30 pF of wiring by board.yaml; board.yaml has 30 pF for the buffer.');
  });

  it('is not guessed where the wiring is not stated, and there is none without a buffer', () => {
    const unstated = { ...buffered, input: { ...buffered.input, wiring: null } };
    expect(bufferInput(unstated, fitsOf({ rest: 75 }).fits)[0]).toMatchObject({ value: null, uncertaintyReason: 'not separable', remarks: [expect.stringContaining('give input.wiring')] });
    expect(bufferInput(bare, fitsOf({ rest: 75 }).fits)).toEqual([]);
  });
});

describe('hiss over physics', () => {
  const hiss = (state: string, value: number | null, more: Partial<Figure> = {}): Figure =>
    figure({ state, source: null, output: 'A', loop: null, capture: [] }, { id: 'noise.hiss', label: '', value, unit: 'dBu', method: '', parts: [part('spectral statistics', 'x', 0.05)], ...more });

  it('is over the path’s own resistors and buffer, and over the instrument', () => {
    const got = new Map(hissOverPhysics(buffered, bench, [hiss('rest', -95)]).map((f) => [f.id, f]));
    // √(9² + 4kT·220 Ω = 1.88²) nV over 19 980 Hz is −115.50 dBu.
    const floor = 20 * Math.log10(Math.hypot(9e-9, Math.sqrt(4 * 1.380649e-23 * 290 * 220)) * Math.sqrt(19980)) - 10 * Math.log10(0.6);
    expect(got.get('noise.over-thermal')!.value!).toBeCloseTo(-95 - floor, 1);
    expect(got.get('noise.over-thermal')!.parts).toEqual([part('spectral statistics', 'x', 0.05)]);
    // With the buffer's 9 nV the whole makes −109.00 dBu (ngspice, 10 pF more before the buffer); its 9 nV and 220 Ω alone −115.51.
    const [all, shorted] = ['buffer-in-10', 'shorted'].map((name) => 10 ** (spice.cases.find((c) => c.name === name)!.noiseDbu / 10));
    const most = -95 - 10 * Math.log10(all! - shorted!);
    // What is left of the whole is the instrument and the buffer's 1 MΩ; beside the pots' 500 kΩ that is less than a quarter of it.
    expect(got.get('player.hiss-over-instrument')!.value!).toBeGreaterThan(most);
    expect(got.get('player.hiss-over-instrument')!.value!).toBeLessThan(most + 1.2);
  });

  it('keeps a bound a bound, and says nothing without a calibration, a value, or noise to compare with', () => {
    expect(hissOverPhysics(buffered, bench, [hiss('rest', -110, { bound: 'upper', benchLimited: true })])[0]).toMatchObject({ bound: 'upper', benchLimited: true });
    expect(hissOverPhysics(buffered, bench, [hiss('rest', -90, { unit: 'dBFS' }), hiss('rest', null), hiss('loop-eq', -80), hiss('bench', -110)])).toEqual([]);
    expect(hissOverPhysics(bare, bench, [hiss('rest', -120)]).map(({ id }) => id)).toEqual(['player.hiss-over-instrument']);
  });
});
