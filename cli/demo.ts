/**
 * `demo`: a board that does not exist, through the whole job: its two files, recordings of it, import, measure, report.
 *
 * The recordings are written as WAV files and then treated as strangers: all takes, in no order, in one long recording, and
 * one file for each idle capture.
 *
 * @module
 */
import fs from 'node:fs';
import path from 'node:path';
import { readBench, readBoard } from '../src/board/read.js';
import { stepCode } from '../src/board/step-code.js';
import { stepsOf } from '../src/board/steps.js';
import type { Step } from '../src/board/model.js';
import { exitCode, problem } from '../src/problems.js';
import { demoBenchYaml, demoBoardYaml, demoModel } from '../src/simulate/demo-board.js';
import { simulateStep } from '../src/simulate/simulate-step.js';
import type { SimulationModel } from '../src/simulate/model.js';
import { memoryRecording } from '../src/measure/recording.js';
import type { Results } from '../src/judge/results.js';
import { encodeRecording } from './encode-recording.js';
import { writeFileAtomic, writeNewFileAtomic } from './files.js';
import { run as importRun } from './import.js';
import { openJob } from './job.js';
import { paragraph } from './layout.js';
import { nextStep, word } from './next-step.js';
import { measureFolder } from './measuring.js';
import { writeReport } from './write-report.js';
import { printSummary } from './results-summary.js';
import { progress } from './progress.js';
import { paintFor, print, printJson } from './terminal.js';
import type { Context } from './terminal.js';

/** Fixes everything random in the demonstration. */
const SEED = 7;

export async function run(context: Context, _args: readonly string[], options: { readonly out?: string; readonly clean?: boolean; readonly json?: boolean }): Promise<number> {
  const folder = options.out === undefined ? freeFolder(context.cwd) : path.resolve(context.cwd, options.out);
  if (fs.existsSync(path.join(folder, 'board.yaml'))) throw problem('cli.job-exists', { path: path.join(folder, 'board.yaml') });
  const own: Context = options.json ? { ...context, out: context.err, quiet: true } : context;
  const paint = paintFor(own, 'out');
  const say = (text: string, indent = '', first = indent): void => {
    if (!options.json) paragraph(own, text, indent, first);
  };
  const part = (title: string, text = ''): void => {
    say(`${paint('bold', title)}${text === '' ? '' : `  ${text}`}`, '   ', '\n');
  };

  const recordings = path.join(folder, 'recordings');
  fs.mkdirSync(recordings, { recursive: true });
  say(`${paint('bold', 'Pit Board 7, a guitar board for a theatre pit orchestra.')} It is invented, and so is every figure below.`);
  say(options.clean ? 'This one was built without faults.' : 'Four faults were built in; let us see whether the measurement finds them.');

  await writeNewFileAtomic(path.join(folder, 'board.yaml'), demoBoardYaml);
  await writeNewFileAtomic(path.join(folder, 'bench.yaml'), demoBenchYaml);
  const board = readBoard(demoBoardYaml);
  if (!board.ok) throw problem('board.faults', { file: 'board.yaml', faults: board.faults });
  const bench = readBench(demoBenchYaml, board.outputs);
  if (!bench.ok) throw problem('board.faults', { file: 'bench.yaml', faults: bench.faults });
  const model = demoModel(board.value, bench.value, options.clean === true);
  const steps = stepsOf(board.value, bench.value).filter((s) => s.required);

  part('1. Record', `${steps.length} captures, simulated from the circuit and written as WAV files`);
  const idles = steps.filter((s) => s.kind === 'idle');
  const takes = shuffled(steps.filter((s) => s.kind === 'take'));
  await record(own, model, recordings, idles, takes);
  say(`${path.relative(context.cwd, recordings) || '.'}: takes.wav (${takes.length} takes in no order), ${idles.length} idle captures`, '   ');

  part('2. Import', 'the takes are known by their markers, the idle captures by --step');
  const quiet: Context = { ...own, quiet: true };
  const filed = [await importRun(quiet, [folder, path.join(recordings, 'takes.wav')], {})];
  for (const step of idles) filed.push(await importRun(quiet, [folder, path.join(recordings, `${step.id}.wav`)], { step: step.id }));
  const refused = Math.max(...filed);
  if (refused !== exitCode.done) return refused;

  part('3. Measure');
  const job = openJob(folder, context);
  const measured = await measureFolder(own, job, folder);
  const { results } = measured;
  if (!options.json) printSummary(own, measured);

  part('4. Report');
  const report = await writeReport(own, results, path.join(folder, 'report.html'));
  if (options.json) printJson(context, { format: 'boardproof-demo/1', job: folder, report, verdict: results.verdict, findings: results.findings });
  else {
    sayInPlainWords(own, results);
    print(own, `\nReport: ${report}`);
  }
  const shown = word(path.relative(context.cwd, folder) || '.');
  nextStep(context, 'open the report in any browser. Look further into this job, or make one of your own', `boardproof predict ${shown}`, `boardproof compare ${shown} unbuffered rest`, 'boardproof new <job>');
  return exitCode.done;
}

function freeFolder(cwd: string): string {
  for (let n = 1; ; n++) {
    const folder = path.join(cwd, n === 1 ? 'boardproof-demo' : `boardproof-demo-${n}`);
    if (!fs.existsSync(folder)) return folder;
  }
}

/** Simulates every step; the takes go one after the other into one long recording. */
async function record(context: Context, model: SimulationModel, folder: string, idles: readonly Step[], takes: readonly Step[]): Promise<void> {
  const shown = progress(context);
  let done = 0;
  const simulate = (step: Step): ReturnType<typeof simulateStep> => {
    shown.share(`Simulating ${step.id.padEnd(22)}`, done++, idles.length + takes.length, 'captures');
    return simulateStep(model, step, SEED);
  };
  try {
    for (const step of idles) {
      const { channels, sampleRateHz } = simulate(step);
      await writeFileAtomic(path.join(folder, `${step.id}.wav`), encodeRecording(memoryRecording(channels, sampleRateHz), 'pcm24'));
    }
    const parts = takes.map(simulate);
    const channels = parts[0]!.channels.map((_, c) => {
      const joined = new Float64Array(parts.reduce((s, p) => s + p.channels[c]!.length, 0));
      let at = 0;
      for (const part of parts) {
        joined.set(part.channels[c]!, at);
        at += part.channels[c]!.length;
      }
      return joined;
    });
    await writeFileAtomic(path.join(folder, 'takes.wav'), encodeRecording(memoryRecording(channels, parts[0]!.sampleRateHz), 'pcm24'));
  } finally {
    shown.done();
  }
}

/** The same order every time, and not that of the steps. */
function shuffled(steps: readonly Step[]): Step[] {
  return [...steps].sort((a, b) => stepCode(a.id) - stepCode(b.id));
}

function sayInPlainWords(context: Context, results: Results): void {
  const faults = results.findings.filter((f) => f.severity === 'fault');
  paragraph(context, faults.length === 0 ? 'Nothing to mend: every figure that has a limit is inside it.' : 'What it found, in plain words:', '   ');
  for (const { title } of faults) paragraph(context, title, '     ', '   - ');
}
