/**
 * Captures → results.json, for `measure`, `signoff` and `demo`.
 *
 * @module
 */
import { parseStepId, stateHasEffect } from '../src/board/states.js';
import { changesSince } from '../src/judge/changes.js';
import type { Changes } from '../src/judge/changes.js';
import { exitOfVerdict, judgeJob } from '../src/judge/judge-job.js';
import type { CaptureRecord, Results } from '../src/judge/results.js';
import { measureJob } from '../src/measure/job.js';
import type { CaptureEstimate } from '../src/measure/job.js';
import { againstRest, checkAgainstRest } from '../src/measure/rest-checks.js';
import { clockRatioOf } from '../src/measure/take.js';
import { exitCode, problem } from '../src/problems.js';
import { earlierResults, keepResults } from './earlier-results.js';
import type { EstimateAnswer, EstimateRequest } from './estimate-file.js';
import { estimateAll } from './estimate-pool.js';
import { writeFileAtomic } from './files.js';
import { CAPTURES, benchRoundTripS, isAsIs } from './job.js';
import type { CaptureFile, Job } from './job.js';
import { progress } from './progress.js';
import { toJson } from './terminal.js';
import type { Context } from './terminal.js';
import { toolVersion } from './version.js';

export interface Measured {
  readonly results: Results;
  /** Against the results that the job had before; null where it had none that can be read. */
  readonly changes: Changes | null;
  /** Why results that the job had cannot be read. */
  readonly unreadable: string | null;
}

/** Measures every capture of a job, judges, and writes results.json; what stood there is kept under a name of its own. */
export async function measureFolder(context: Context, job: Job, jobName: string): Promise<Measured> {
  const captures = [...job.captures.values()].flatMap((capture) => [capture, ...capture.repeats]);
  if (captures.length === 0) throw problem('cli.no-captures', { job: jobName });
  const shown = progress(context);
  shown.share('Measuring', 0, captures.length, 'captures');
  let answers: EstimateAnswer[];
  try {
    answers = await estimateAll(
      captures.map((capture) => estimateRequest(job, capture)),
      (done) => {
        shown.share('Measuring', done, captures.length, 'captures');
      },
      context.signal,
    );
  } finally {
    shown.done();
  }
  const estimates = answers.flatMap((a) => ('estimate' in a && a.estimate ? [a.estimate] : []));
  const estimateOf = (capture: CaptureFile): CaptureEstimate | null => {
    const answer = answers[captures.indexOf(capture)]!;
    return 'estimate' in answer ? answer.estimate : null;
  };
  const measured = measureJob(job.board, job.bench, estimates);
  const results = judgeJob({
    board: job.board,
    bench: job.bench,
    limits: job.limits,
    measured: { ...measured, remarks: [...measured.remarks, ...againstRestRemarks(job, captures, estimateOf)] },
    captures: captures.flatMap((capture, i) => recordOf(capture, answers[i]!, captures)),
    steps: job.steps,
    tool: { name: 'boardproof', version: toolVersion() },
    measuredAt: context.now().toISOString(),
    boardSha256: job.boardSha256,
    benchSha256: job.benchSha256,
    roundTripS: benchRoundTripS(job),
    problems: answers.flatMap((a) => ('code' in a ? [{ code: a.code, message: a.message, step: a.step }] : [])),
  });
  const { results: earlier, unreadable } = await earlierResults(job.folder, jobName);
  const text = `${toJson(results)}\n`;
  keepResults(job.resultsFile, text);
  await writeFileAtomic(job.resultsFile, text);
  return { results, changes: earlier && changesSince(earlier, results), unreadable };
}

/** Asks for the estimate of a capture as `measure` reads it. */
export const estimateRequest = ({ board, bench, steps }: Job, capture: CaptureFile): EstimateRequest => {
  const step = parseStepId(capture.step)!;
  const coded = steps.flatMap(({ id, kind }) => (kind === 'take' || kind === 'stairs' ? [id] : []));
  return { file: capture.file, name: capture.name, step: { id: capture.step, ...step }, bench, mainsHz: board.mainsHz, mayBreathe: stateHasEffect(board, step.state), asIs: isAsIs(capture), coded };
};

/** Takes that rest.take contradicts, whichever was filed first, unless somebody has said that it is the board. */
function againstRestRemarks({ board, bench, captures: filed }: Job, captures: readonly CaptureFile[], estimateOf: (capture: CaptureFile) => CaptureEstimate | null): string[] {
  const restTake = filed.get('rest.take');
  const rest = restTake && estimateOf(restTake);
  if (rest?.kind !== 'take') return [];
  return captures.flatMap((capture) => {
    const now = estimateOf(capture);
    const wanted = againstRest(board, bench, { id: capture.step, ...parseStepId(capture.step)! });
    if (now?.kind !== 'take' || wanted === null || isAsIs(capture)) return [];
    const { refusal } = checkAgainstRest({ file: capture.name, outputs: bench.inputs.map((i) => i.output) }, now.inputs, rest.inputs, wanted);
    return refusal ? [`${refusal.message} To file it as it is, import it again with --as-is.`] : [];
  });
}

/** A capture that cannot be used is the first thing to mend, whatever the others say. */
export const exitOfResults = ({ problems, verdict }: Results): number => (problems.some(isOfCapture) ? exitCode.unusable : exitOfVerdict(verdict.word));

/** Problems of results that say why a capture was not used. */
export const isOfCapture = ({ code }: Results['problems'][number]): boolean => code !== 'reading.no-value' && code !== 'take.unheard';

/** What results.json says of a capture; one that could not be used is named under `problems`, and counts as missing. */
function recordOf(capture: CaptureFile, answer: EstimateAnswer, captures: readonly CaptureFile[]): CaptureRecord[] {
  if ('code' in answer) return [];
  const { facts, estimate } = answer;
  const { sidecar } = capture;
  const { state, plug, kind } = parseStepId(capture.step)!;
  return [
    {
      step: capture.step,
      state,
      plug,
      kind,
      file: capture.name,
      sha256: facts.sha256,
      sampleRateHz: facts.sampleRateHz,
      channels: facts.channels,
      format: facts.formatLabel,
      durationS: facts.frames / facts.sampleRateHz,
      recordedAt: sidecar?.recordedAt ?? facts.recordedAt,
      filedAt: sidecar?.filedAt ?? null,
      how: sidecar?.how ?? null,
      take: takeOf(estimate, facts.sampleRateHz),
      remarks: [
        ...(sidecar?.remarks ?? []),
        ...togetherRemarks(capture, captures),
        ...(sidecar === null ? ['There is no record of how this file came into the job.'] : sidecar.sha256 === facts.sha256 ? [] : ['The file is not the one that was filed: it has changed since.']),
      ],
    },
  ];
}

/** How many captures of its step count, and which are missing. */
function togetherRemarks(capture: CaptureFile, captures: readonly CaptureFile[]): string[] {
  const others = captures.filter(({ step }) => step === capture.step).length - 1;
  return [
    ...(others > 0 ? [`Counted together with ${others === 1 ? 'another capture' : `${others} other captures`} of this step.`] : []),
    ...capture.gone.map((name) => `${CAPTURES}/${name}, which counted together with it, is no longer there.`),
  ];
}

function takeOf(estimate: CaptureEstimate | null, sampleRateHz: number): CaptureRecord['take'] {
  if (estimate?.kind !== 'take' && estimate?.kind !== 'stairs') return null;
  const { located } = estimate.inputs[0]!;
  return { clockRatioPpm: (clockRatioOf(located) - 1) * 1e6, levelDbfs: located.identity.levelDbfs, startS: located.startFrame / sampleRateHz };
}
