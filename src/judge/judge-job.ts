/**
 * Figures → judged readings, findings and the verdict on the whole board: everything that results.json holds.
 *
 * @module
 */
import type { Bench, Board, LimitSet, Step } from '../board/model.js';
import type { Curve } from '../measure/curve.js';
import type { Figure } from '../measure/figure.js';
import type { JobFigures } from '../measure/job.js';
import { attributionLevels } from './attribution-levels.js';
import { findingsOf } from './findings.js';
import { limitFor, limitSets } from './limit-sets.js';
import { methodChecks } from './method-checks.js';
import { methods } from './methods.js';
import { predictedOf } from './predicted.js';
import { repeatFindings } from './repeat-findings.js';
import { RESULTS_FORMAT } from './results.js';
import type { CaptureRecord, Reading, Results } from './results.js';
import { combined } from './uncertainty.js';
import { judge } from './verdict.js';

export interface JobToJudge {
  readonly board: Board;
  readonly bench: Bench;
  readonly limits: LimitSet;
  readonly measured: JobFigures;
  readonly captures: readonly CaptureRecord[];
  /** All steps of the board, to say which are missing. */
  readonly steps: readonly Step[];
  readonly tool: { readonly name: string; readonly version: string };
  /** ISO 8601 with offset or Z. */
  readonly measuredAt: string;
  readonly boardSha256: string;
  readonly benchSha256: string;
  /** Of the bench looped to itself; absent or null where it was not played and recorded by the program. */
  readonly roundTripS?: number | null;
  /** Captures that could not be used, and why. */
  readonly problems: readonly { readonly code: string; readonly message: string; readonly step?: string }[];
}

/** Problems of a take that say that nothing of it was heard. */
const UNHEARD: readonly string[] = ['take.unheard', 'capture.silent', 'capture.too-quiet'];

const finite = (v: number | null): number | null => (v !== null && Number.isFinite(v) ? v : null);

/** The sets of the program ask for a droop through about 10 kΩ; through another plug the same lead loses more or less. */
function plugFits(figure: Figure, limits: LimitSet, bench: Bench): boolean {
  const ohm = bench.plugs.find((p) => p.id === figure.source)?.resistanceOhm.value;
  return ohm === undefined || limitSets[limits.name] !== limits || (ohm > 7000 && ohm < 14000);
}

/** Levels that a limit in dBu speaks of, but that the bench gives in dBFS. */
function unapplied(readings: readonly Reading[], limits: LimitSet): number {
  return readings.filter((r) => r.unit === 'dBFS' && r.state !== 'bench' && r.state !== 'lead' && limitFor(limits, { ...r, unit: 'dBu' }, null) !== null).length;
}

function readingOf(figure: Figure, limits: LimitSet, board: Board, bench: Bench): Reading {
  const expect = board.loops.find((l) => l.id === figure.loop)?.expect ?? null;
  // States of the bench alone are not the board: nothing to sign.
  const judged = figure.state !== 'bench' && figure.state !== 'lead' && plugFits(figure, limits, bench);
  const row = judged ? limitFor(limits, figure, expect) : null;
  const value = finite(figure.value);
  const sum = figure.parts === null || value === null ? null : combined(figure.parts);
  const uncertainty = sum === null ? null : finite(sum.coverageFactor * sum.standard);
  return {
    id: figure.id,
    label: figure.label,
    state: figure.state,
    source: figure.source,
    output: figure.output,
    loop: figure.loop,
    value,
    unit: figure.unit,
    bound: figure.bound,
    uncertainty,
    uncertaintyReason: uncertainty === null ? (figure.uncertaintyReason ?? 'no value') : null,
    budget: value === null ? [] : (figure.parts ?? []),
    combined: uncertainty === null ? null : sum,
    limit: row === null ? null : { max: row.max, min: row.min, within: row.within, basis: row.basis },
    verdict: judge({ value, uncertainty, bound: figure.bound, benchLimited: figure.benchLimited }, row),
    method: figure.method,
    capture: figure.capture,
    remarks: figure.remarks,
    ...(figure.repeats ? { repeats: figure.repeats } : {}),
  };
}

/** The readings of a measured job, judged, and what is found in them. */
export function judgeReadings({ board, bench, limits, measured, problems }: Pick<JobToJudge, 'board' | 'bench' | 'limits' | 'measured' | 'problems'>): Pick<Results, 'readings' | 'findings'> {
  const readings = measured.figures.map((f) => readingOf(f, limits, board, bench));
  const unheard = problems.flatMap((p) => (UNHEARD.includes(p.code) ? (p.step ?? []) : []));
  const findings = findingsOf({ board, readings, curves: measured.curves, attribution: measured.attribution ?? [], flex: measured.flex ?? [], unheard });
  return { readings, findings: [...findings, ...repeatFindings(readings)] };
}

/** Judges a measured job. */
export function judgeJob(job: JobToJudge): Results {
  const { board, bench, limits, measured } = job;
  const { readings, findings } = judgeReadings(job);
  const captured = new Set(job.captures.map((c) => c.step));
  const missing = job.steps.filter((s) => s.required && !captured.has(s.id)).map((s) => s.id);
  const count = (...verdicts: Reading['verdict'][]): number => readings.filter((r) => verdicts.includes(r.verdict)).length;
  const passed = count('pass');
  const failed = count('fail');
  const undecided = count('undecided', 'bench-limited');
  const calibrated = bench.inputs.every((i) => i.fullScaleDbu !== null);
  const figures = (n: number): string => `${n} ${n === 1 ? 'figure' : 'figures'}`;
  const unread = unapplied(readings, limits);
  const noPlug = bench.plugs.length === 0;
  // Where nothing comes through there is no figure to be outside a limit.
  const silent = findings.find((f) => f.id.startsWith('loop-silent/'));
  const word = failed > 0 || silent ? 'fail' : missing.length > 0 || unread > 0 || passed + undecided === 0 ? 'not complete' : undecided > 0 ? 'undecided' : 'pass';
  const sentence =
    word === 'fail'
      ? failed === 0 && silent
        ? `Not within limits: ${silent.title.charAt(0).toLowerCase()}${silent.title.slice(1)}`
        : `Not within limits: ${figures(failed)} outside, ${passed} inside${undecided > 0 ? `, ${undecided} not decided` : ''}.`
      : word === 'not complete'
        ? missing.length > 0
          ? `Not complete: ${missing.length} of the captures it needs ${missing.length === 1 ? 'is' : 'are'} missing; ${figures(passed)} within limits so far.`
          : unread > 0
            ? `Not complete: the bench is not calibrated, so ${figures(unread)} could not be held against ${unread === 1 ? 'its limit' : 'their limits'} in dBu; ${passed} within limits.`
            : 'Not complete: no figure could be held against a limit.'
        : word === 'undecided'
          ? `Not decided: ${figures(undecided)} too close to the limit, or limited by the bench; ${passed} within limits.`
          : `Within limits: ${passed === 1 ? 'the one figure that has a limit' : `all ${passed} figures that have one`}${noPlug ? '; tone loss was not measured' : ''}.`;
  const used = new Set([
    ...readings.map((r) => r.method),
    ...(measured.noiseBands?.length ? ['noise.bands'] : []),
    ...(measured.distortion?.length ? ['take.harmonics'] : []),
  ]);
  return {
    format: RESULTS_FORMAT,
    tool: job.tool,
    board: {
      name: board.name,
      serial: board.serial,
      mainsHz: board.mainsHz,
      invented: board.invented,
      buffer: board.input.buffer ? { defeatable: board.input.buffer.defeatable } : null,
      loops: board.loops.map(({ id, name, expect, supply }) => ({ id, name, expect, supply })),
      outputs: board.outputs.map(({ id, name }) => ({ id, name })),
      match: board.match,
      sha256: job.boardSha256,
    },
    bench: {
      name: bench.name,
      calibrated,
      inputs: bench.inputs.map((i) => ({ channel: i.channel, output: i.output, fullScale: stated(i.fullScaleDbu, 'dBu', 'dB') })),
      plugs: bench.plugs.map((p) => ({ id: p.id, resistance: stated(p.resistanceOhm, 'Ω', 'Ω')! })),
      sha256: job.benchSha256,
      roundTripS: job.roundTripS ?? null,
    },
    conditions: {
      measuredAt: job.measuredAt,
      limits: limits.name,
      coverage: 'Expanded uncertainty for 95 % coverage (JCGM 100:2008). Repeatability of connections is seen only where a step was captured more than once; ageing of the board is not included.',
      decisionRule: 'Pass only where the value with its uncertainty is inside the limit, fail only where it is outside with its uncertainty, else not decided (JCGM 106:2012, guard band of one expanded uncertainty). A figure exactly at its limit is passed in 2.5 of 100 measurements and failed in 2.5 of 100, one that is further away less often (simulated).',
      remarks: [
        ...(calibrated ? [] : ['The bench is not calibrated: levels are in dBFS at the recorder, and limits in dBu were not applied.']),
        ...(noPlug ? ['Tone loss was not measured: bench.yaml names no source plug.'] : []),
        ...measured.remarks,
      ],
    },
    captures: job.captures,
    readings,
    curves: measured.curves.map(rounded),
    noiseBands: (measured.noiseBands ?? []).map(rounded),
    distortion: (measured.distortion ?? []).map(rounded),
    playerCurves: (measured.playerCurves ?? []).map(rounded),
    predicted: predictedOf(board, bench),
    listening: measured.listening ?? null,
    attribution: (measured.attribution ?? []).map(attributionLevels),
    stairs: measured.stairs ?? [],
    flex: measured.flex ?? [],
    findings,
    methods: methods.filter((m) => used.has(m.id)).map((m) => ({ ...m, checked: methodChecks[m.id] ?? [] })),
    verdict: { word, sentence, passed, failed, undecided, missing },
    problems: [...job.problems.map(({ code, message }) => ({ code, message })), ...readings.filter((r) => r.value === null).map(noValue)],
  };
}

/** Why a reading has no value, for programs that read the results. */
const noValue = (r: Reading): { code: string; message: string } => ({
  code: 'reading.no-value',
  message: `${r.id} in ${r.state}${r.source ? `+${r.source}` : ''}${r.output ? `, output ${r.output}` : ''} has no value: ${r.remarks[0] ?? r.uncertaintyReason ?? 'no signal'}`,
});

function stated(s: { value: number; tolerance: number | null } | null, unit: string, toleranceUnit: string): string | null {
  return s === null ? null : `${s.value} ${unit}${s.tolerance === null ? '' : ` ± ${s.tolerance} ${toleranceUnit}`}`;
}

/** Curves hold thousands of numbers: seven significant digits are a ten-thousandth of a hertz at 1 kHz, and far below any uncertainty. */
function rounded<C extends Pick<Curve, 'x' | 'y' | 'low' | 'high' | 'peak'>>(curve: C): C {
  const round = (values: readonly (number | null)[]): (number | null)[] => values.map((v) => (v === null || !Number.isFinite(v) ? null : Number(v.toPrecision(7))));
  return {
    ...curve,
    x: { ...curve.x, values: round(curve.x.values) },
    y: { ...curve.y, values: round(curve.y.values) },
    low: curve.low && round(curve.low),
    high: curve.high && round(curve.high),
    peak: curve.peak && round(curve.peak),
  };
}

/** Exit code of a verdict: 0 within limits, 1 outside, 4 not decided or not complete. */
export const exitOfVerdict = (word: Results['verdict']['word']): 0 | 1 | 4 => (word === 'pass' ? 0 : word === 'fail' ? 1 : 4);
