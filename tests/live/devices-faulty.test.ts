/**
 * A board that SoX is, with one or two faults at a time: the program is to name each of them at its place, with the figure that SoX
 * was told, and nothing else. The clean board and one with two faults go through the compiled program; of the others each file
 * that differs is estimated once, by the same functions. Needs sox.
 *
 * Tolerances: noise and lines have the spectral scatter that each reading states beside its calibration, and 0.05 dB; gains 0.005 dB.
 */
import { copyFileSync, cpSync, mkdirSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { basename, join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { readBench, readBoard } from '../../src/board/read.js';
import { parseStepId } from '../../src/board/states.js';
import { judgeReadings } from '../../src/judge/judge-job.js';
import { limitSets } from '../../src/judge/limit-sets.js';
import type { Finding, Reading, Results } from '../../src/judge/results.js';
import { measureIdle } from '../../src/measure/idle.js';
import { estimateCapture, measureJob } from '../../src/measure/job.js';
import type { CaptureEstimate } from '../../src/measure/job.js';
import { wavRecording } from '../../src/measure/wav-recording.js';
import { readWavInfo } from '../../src/wav/header.js';
import { fileSource } from '../../cli/files.js';
import { TWO_PERIODS_CREST_DB } from '../helpers/bursts.js';
import { onePercentAt, sineThrough } from '../helpers/clippers.js';
import { boardproof } from '../helpers/program.js';
import { makeJob } from '../helpers/recordings.js';
import { CLEAN_SOX_BOARD, ECHO_LATENCY_FRAMES, SOX_BENCH, SOX_BOARD, makeWhite, recordSox } from '../helpers/sox-board.js';
import type { SoxBoard, SoxLoop, SoxOutput, SoxPart, Sound } from '../helpers/sox-board.js';
import { meanPowerBetween, onePolePower } from '../helpers/third-party.js';

const root = mkdtempSync(join(tmpdir(), 'boardproof-faulty-'));
afterAll(() => {
  rmSync(root, { recursive: true, force: true });
});

const FULL_SCALE_DBU = 18;
const STEPS = ['bench', 'rest', 'loop-trim', 'loop-echo', 'all'].flatMap((state) => [`${state}.idle`, `${state}.take`]);
const STAIRS = ['rest.stairs', 'loop-trim.stairs'];
const MORE = [...STAIRS, 'rest.switching'];

const [boardFile, benchFile] = [readBoard(SOX_BOARD), readBench(SOX_BENCH, ['A', 'B'])];
if (!boardFile.ok || !benchFile.ok) throw new Error('the board or the bench of this test is not valid');
const files = { board: boardFile.value, bench: benchFile.value };

type Judged = Pick<Results, 'readings' | 'findings'>;

/** The clean board with parts of it changed: a chain takes the place of its own, sounds are added. */
interface Change {
  readonly loops?: Partial<Record<SoxLoop, Partial<SoxPart>>>;
  readonly outputs?: Partial<Record<SoxOutput, Partial<SoxPart>>>;
  readonly together?: readonly Sound[];
  readonly pressesDbfs?: readonly number[];
  readonly echoBleed?: number;
}
function changed({ loops = {}, outputs = {}, ...more }: Change): SoxBoard {
  const part = (clean: SoxPart, by: Partial<SoxPart> = {}): SoxPart => ({ ...clean, ...by, sounds: [...clean.sounds, ...(by.sounds ?? [])] });
  const { trim, echo } = CLEAN_SOX_BOARD.loops;
  const { A, B } = CLEAN_SOX_BOARD.outputs;
  return { ...CLEAN_SOX_BOARD, ...more, loops: { trim: part(trim, loops.trim), echo: part(echo, loops.echo) }, outputs: { A: part(A, outputs.A), B: part(B, outputs.B) } };
}

const estimated = new Map<string, CaptureEstimate | null>();
function estimateOf(file: string, step: string): CaptureEstimate | null {
  if (!estimated.has(file)) {
    const source = fileSource(join(root, file));
    try {
      const recording = wavRecording(source, readWavInfo(source));
      const named = { id: step, ...parseStepId(step)! };
      // The quasi-peak meter takes longer than all else together, and no finding is read from it.
      estimated.set(file, named.kind === 'idle' ? { step: named, kind: 'idle', inputs: measureIdle(recording, 50, false), excerpts: null } : estimateCapture(recording, named, files.bench, 50));
    } finally {
      source.close();
    }
  }
  return estimated.get(file)!;
}

function judged(device: SoxBoard, steps: readonly string[] = [...STEPS, ...MORE], { match = true } = {}): Judged {
  const board = match ? files.board : { ...files.board, match: [] };
  const estimates = steps.map((step) => ({ step, estimate: estimateOf(recordSox(root, device, step), step) }));
  return judgeReadings({
    board,
    bench: files.bench,
    limits: limitSets['studio-quiet']!,
    measured: measureJob(board, files.bench, estimates.flatMap(({ estimate }) => estimate ?? [])),
    problems: estimates.flatMap(({ step, estimate }) => (estimate ? [] : [{ code: 'take.unheard', message: '', step }])),
  });
}

const told = ({ findings }: Judged): string[] => findings.map(({ id }) => id).sort();
const finding = ({ findings }: Judged, id: string): Finding => findings.find((f) => f.id === id)!;

function reading({ readings }: Judged, id: string, state: string, output: string | null, loop?: string): Reading {
  const found = readings.filter((r) => r.id === id && r.state === state && r.output === output && r.source === null && (loop === undefined || r.loop === loop));
  expect(found.length, `${id} in ${state} on ${output ?? 'no output'}`).toBe(1);
  return found[0]!;
}
function close(r: Reading, truth: number, allowed: number): void {
  expect(r.value, r.id).toBeTypeOf('number');
  expect(Math.abs(r.value! - truth), `${r.id} in ${r.state} on ${r.output}: read ${r.value}, is ${truth}`).toBeLessThanOrEqual(allowed);
}
/** A level, whose stated uncertainty has the calibration in it; the files have none. */
const closeLevel = (r: Reading, truthDbfs: number): void => {
  close(r, truthDbfs + FULL_SCALE_DBU, 0.05 + Math.sqrt(Math.max(0, (r.uncertainty ?? 0) ** 2 - 0.1 ** 2)));
};

const sumDb = (...levels: number[]): number => 10 * Math.log10(levels.reduce((sum, l) => sum + 10 ** (l / 10), 0));
const lines = (...of: [number, number][]): Sound[] => of.map(([hz, dbfs]) => ({ make: `synth 5 sine ${hz} gain ${dbfs}` }));
/** Without the board's own sounds: 9 or 21 dB up, cut off at full scale by SoX, and down again; with a direct voltage put under it, one half first. */
const clipAt = (db: number, offset = 0): string => (offset === 0 ? `gain ${db} gain ${-db}` : `dcshift ${offset} gain ${db} gain ${-db} dcshift ${-offset}`);
const clipper = (db: number, offset = 0) => (x: number): number => Math.max(-1, Math.min(1, (x + offset) * 10 ** (db / 20))) / 10 ** (db / 20) - offset;

beforeAll(async () => {
  makeJob(join(root, 'job'), SOX_BOARD, SOX_BENCH);
  expect(await boardproof(['signals', '--job', 'job', '--out', 'play'], { cwd: root })).toMatchObject({ exit: 0 });
  makeWhite(root);
});

interface Trial {
  readonly name: string;
  readonly change: Change;
  readonly told: readonly string[];
  /** The level stairs are heard as well; they take as long as all else, and tell of clipping alone. */
  readonly stairs?: true;
  readonly check: (results: Judged) => void;
}

const trials: readonly Trial[] = [
  {
    name: 'trim inverts, the outlet of echo ripples',
    change: { loops: { trim: { chain: 'vol -1' }, echo: { sounds: lines([100, -88], [200, -94], [300, -100]) } } },
    told: ['hum/echo', 'loop-inverted/trim'],
    check: (r) => {
      expect(finding(r, 'hum/echo').where).toEqual({ loop: 'echo', output: null, supply: 'S1.2' });
      expect(finding(r, 'hum/echo').cause).toMatch(/rectifier ripple/);
      closeLevel(reading(r, 'noise.hum', 'loop-echo', 'A'), sumDb(-88, -94, -100));
      expect(reading(r, 'loop.polarity', 'loop-trim', 'B').value).toBe(-1);
    },
  },
  {
    name: 'trim is 1.7 dB low and has a magnetic hum',
    change: { loops: { trim: { chain: 'gain -1.7', sounds: lines([50, -92], [150, -95], [250, -101]) } } },
    told: ['hum/trim', 'loop-level/trim'],
    stairs: true,
    check: (r) => {
      expect(finding(r, 'hum/trim').cause).toMatch(/magnetic pick-up/);
      closeLevel(reading(r, 'noise.hum', 'loop-trim', 'B'), sumDb(-92, -95, -101));
      close(reading(r, 'loop.gain', 'loop-trim', 'A'), -1.7, 0.005);
    },
  },
  {
    name: 'trim is dull, echo whines at 1013 Hz and twice and three times that',
    change: { loops: { trim: { chain: 'lowpass -1 4000' }, echo: { sounds: lines([1013, -100], [2026, -106], [3039, -112]) } } },
    told: ['loop-response/trim', 'whine/1013'],
    check: (r) => {
      expect(finding(r, 'whine/1013')).toMatchObject({ where: { loop: 'echo', supply: 'S1.2' } });
      expect(finding(r, 'whine/1013').title).toMatch(/1\.013 kHz with 2 harmonics/);
      closeLevel(reading(r, 'noise.whine', 'loop-echo', 'A'), sumDb(-100, -106, -112));
      const power = onePolePower(4000, 48000);
      close(reading(r, 'loop.droop.10k', 'loop-trim', 'A'), 10 * Math.log10(power(10000) / meanPowerBetween(power, 200, 500)), 0.01);
    },
  },
  { name: 'nothing comes through trim', change: { loops: { trim: { chain: 'vol 0' } } }, told: ['loop-silent/trim'], check: (r) => { expect(finding(r, 'loop-silent/trim').cause).toMatch(/open, or its device has no supply/); } },
  {
    name: 'a short in trim leaves a little, the noise of echo grows',
    change: { loops: { trim: { chain: 'vol 0.004' }, echo: { sounds: [{ hissDbfs: -98, then: 'fade t 5' }] } } },
    told: ['drift/echo', 'loop-silent/trim'],
    check: (r) => {
      close(reading(r, 'loop.gain', 'loop-trim', 'A'), 20 * Math.log10(0.004), 0.05);
      expect(finding(r, 'loop-silent/trim').cause).toMatch(/^Tip and shield touch/);
    },
  },
  {
    name: 'a lead of trim has parted: 20 dB a decade rising',
    change: { loops: { trim: { chain: 'highpass -1 20000 gain -30' } } },
    told: ['loop-silent/trim'],
    check: (r) => expect(finding(r, 'loop-silent/trim').cause).toMatch(/hot conductor .* has parted/),
  },
  {
    name: 'B is inverted and hisses',
    change: { outputs: { B: { chain: 'vol -1', sounds: [{ hissDbfs: -103 }] } } },
    told: ['hiss/B', 'polarity/B'],
    check: (r) => closeLevel(reading(r, 'noise.unweighted', 'rest', 'B'), sumDb(-103, -117) + 10 * Math.log10(19980 / 24000)),
  },
  {
    name: 'B is 1.2 dB low, trim crackles',
    change: { outputs: { B: { chain: 'gain -1.2' } }, loops: { trim: { sounds: [{ make: 'synth 0.004 whitenoise gain -62 pad 0.9 0.3 repeat 3 trim 0 5' }] } } },
    told: ['crackle/trim', 'level/B'],
    stairs: true,
    check: (r) => {
      // The bench hears B 0.01 dB higher, and that is divided out.
      close(reading(r, 'match.level', 'rest', 'A:B'), -1.2 + 0.1 - 0.01, 0.005);
      expect(reading(r, 'noise.crackle', 'loop-trim', 'A').value).toBe(4);
    },
  },
  {
    name: 'B loses treble, A hums',
    change: { outputs: { B: { chain: 'lowpass -1 5000' }, A: { sounds: lines([50, -92], [150, -95]) } } },
    told: ['hum/A', 'output-response/B'],
    check: (r) => {
      expect(finding(r, 'output-response/B').title).toMatch(/treble/);
      closeLevel(reading(r, 'noise.hum', 'rest', 'A'), sumDb(-92, -95));
    },
  },
  {
    name: 'B loses bass, trim hisses',
    change: { outputs: { B: { chain: 'highpass -1 150' } }, loops: { trim: { sounds: [{ hissDbfs: -101 }] } } },
    told: ['hiss/trim', 'output-response/B'],
    check: (r) => {
      expect(finding(r, 'output-response/B').title).toMatch(/bass/);
      closeLevel(reading(r, 'noise.from-loop.hiss', 'loop-trim', 'A'), sumDb(-101, -124) + 10 * Math.log10(19980 / 24000));
    },
  },
  {
    name: 'B is half a millisecond late, the two loops hum only together',
    change: { outputs: { B: { chain: 'delay 24s' } }, together: lines([50, -90], [150, -94]) },
    told: ['delay/B', 'interaction/hum'],
    check: (r) => {
      close(reading(r, 'match.delay', 'rest', 'A:B'), 500, 1);
      expect(finding(r, 'delay/B').title).toContain('500 µs later than output A: summed, they first cancel at 1 kHz');
    },
  },
  {
    name: 'trim clips on one half, B early',
    change: { loops: { trim: { chain: 'gain 0', stairs: clipAt(12, 0.1) } }, outputs: { B: { chain: 'gain -0.05', stairs: clipAt(15) } } },
    told: ['clipping/B', 'clipping/trim'],
    stairs: true,
    check: (r) => {
      for (const [f, state, output] of [[clipper(12, 0.1), 'loop-trim', 'A'], [clipper(15), 'rest', 'B']] as const) {
        // 0.1 dB of A behind the loop; 0.03 dB as of the stairs of another test.
        close(reading(r, 'headroom', state, output), 20 * Math.log10(sineThrough(f, onePercentAt(f)).tone) + FULL_SCALE_DBU - (output === 'A' ? 0.1 : 0), 0.03);
      }
      expect(finding(r, 'clipping/B').cause).toMatch(/Both halves/);
      expect(finding(r, 'clipping/trim').cause).toMatch(/One half/);
    },
  },
  {
    name: 'the footswitch of echo clicks, and two clocks beat in it',
    change: {
      pressesDbfs: [-77, -78, -62, -63],
      loops: { echo: { sounds: [...lines([4003.7, -100]), { make: 'synth 5 sine 5607.3 synth 5 sine amod 4003.7 gain -96' }] } },
    },
    told: ['click/echo', 'clocks/4004'],
    check: (r) => {
      expect(finding(r, 'clocks/4004')).toMatchObject({ where: { loop: 'echo', supply: 'S1.2' } });
      close(reading(r, 'click.peak', 'rest', 'A', 'echo'), -62 + TWO_PERIODS_CREST_DB + FULL_SCALE_DBU, 0.1);
    },
  },
  {
    name: 'trim drops out twice',
    change: { loops: { trim: { chain: 'trim 0 =9.5 =9.52 =11 =11.02 pad 0.02@9.5 0.02@10.98' } } },
    told: ['intermittent/trim'],
    check: (r) => expect(reading(r, 'take.dropouts', 'loop-trim', 'A').value).toBe(2),
  },
];

describe('through the compiled program', () => {
  it('the clean board has nothing to find, and every capture it asks for', async () => {
    // Laid into the job by hand; that such recordings are imported is proved beside the devices of other tests, and by the next.
    mkdirSync(join(root, 'job', 'captures'));
    for (const step of STEPS) copyFileSync(join(root, recordSox(root, CLEAN_SOX_BOARD, step)), join(root, 'job', 'captures', `${step}.wav`));
    const run = await boardproof(['measure', 'job', '--json'], { cwd: root });
    expect(run.exit, run.err).toBe(0);
    const results = JSON.parse(run.out) as Results;
    expect(results.findings).toEqual([]);
    expect(results.verdict.word).toBe('pass');
    // The others of this file are judged by the same functions, without the program around them.
    expect(told(judged(CLEAN_SOX_BOARD))).toEqual([]);
  });

  it('of two faults the summary names the two places', async () => {
    // Each loop by itself is enough to tell: what is heard with both in is left out.
    cpSync(join(root, 'job'), join(root, 'two'), { recursive: true, filter: (file) => !basename(file).startsWith('all.') });
    const { change, told: wanted, check } = trials[0]!;
    for (const [step, ...more] of [['loop-trim.take'], ['loop-echo.idle', '--step', 'loop-echo.idle']] as const) {
      const filed = await boardproof(['import', 'two', recordSox(root, changed(change), step), ...more], { cwd: root });
      expect(filed, filed.err + filed.out).toMatchObject({ exit: 0 });
    }
    const run = await boardproof(['measure', 'two'], { cwd: root });
    expect(run.exit, run.err).toBe(1);
    const said = run.out.replace(/\s+/g, ' ');
    const results = JSON.parse(readFileSync(join(root, 'two', 'results.json'), 'utf8')) as Results;
    expect(told(results)).toEqual(wanted);
    check(results);
    expect(said).toContain('Loop trim inverts polarity.');
    expect(said).toMatch(/Loop echo adds hum: at least [\d.]+ dB more than with every loop out\./);
  });
});

describe('one or two faults at a time', () => {
  // The first went through the program.
  it.each(trials.slice(1))('$name', ({ change, told: wanted, stairs, check }) => {
    // A fault of an output is in every take: those of the loops alone then tell nothing more.
    const isHeard = (step: string): boolean => !(change.outputs?.B?.chain && /^loop-.*\.take$/.test(step)) && (stairs === true || !STAIRS.includes(step));
    const results = judged(changed(change), [...STEPS, ...MORE].filter(isHeard));
    expect(told(results), results.findings.map((f) => f.title).join('\n')).toEqual([...wanted].sort());
    check(results);
  });

  it('a loop that is heard while it is out, beside an output that does not pass it', () => {
    const results = judged(changed({ echoBleed: 0.003 }), ['bench.take', 'rest.take', 'loop-echo.take'], { match: false });
    expect(told(results)).toEqual(['bleed/echo']);
    close(reading(results, 'bleed', 'rest', 'A'), 20 * Math.log10(0.003), 0.7);
    close(reading(results, 'loop.delay', 'loop-echo', 'A'), (1e6 * ECHO_LATENCY_FRAMES) / 48000, 1);
  });
});
