/**
 * `demo`: a board that does not exist, through the whole job: its two files, recordings of it, import, measure, report.
 *
 * The recordings are written as WAV files and then treated as strangers: all takes and the level stairs, in no order, in one
 * long recording, and one file for each capture that has no markers.
 *
 * @module
 */
import fs from 'node:fs';
import path from 'node:path';
import { stepCode } from '../src/board/step-code.js';
import type { Step } from '../src/board/model.js';
import { exitCode, problem } from '../src/problems.js';
import { demoBenchYaml, demoBoardYaml } from '../src/simulate/demo-board.js';
import type { Results } from '../src/judge/results.js';
import { wavHeader, wavTrailer } from '../src/wav/write.js';
import { makeFolder, writeFileAtomic, writeNewFileAtomic } from './files.js';
import { run as importRun } from './import.js';
import { openJob } from './job.js';
import { paragraph } from './layout.js';
import { nextStep, word } from './next-step.js';
import { measureFolder } from './measuring.js';
import { writeReport } from './write-report.js';
import { printSummary } from './results-summary.js';
import { progress } from './progress.js';
import { SIMULATED_FORMAT, demonstration, simulateAll } from './simulation.js';
import type { SimulationAnswer } from './simulation.js';
import { paintFor, print, printJson } from './terminal.js';
import type { Context } from './terminal.js';

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
  const isNew = !fs.existsSync(folder);
  makeFolder(recordings);
  say(`${paint('bold', 'Pit Board 7, a guitar board for a theatre pit orchestra.')} It is invented, and so is every figure below.`);
  say(options.clean ? 'This one was built without faults.' : 'Four faults were built in; let us see whether the measurement finds them.');

  await writeNewFileAtomic(path.join(folder, 'board.yaml'), demoBoardYaml);
  await writeNewFileAtomic(path.join(folder, 'bench.yaml'), demoBenchYaml);
  const { steps } = demonstration(options.clean === true);

  part('1. Record', `${steps.length} captures, simulated from the circuit and written as WAV files`);
  const marked = shuffled(steps.filter(({ kind }) => kind === 'take' || kind === 'stairs'));
  const unmarked = steps.filter((s) => !marked.includes(s));
  try {
    await record(own, options.clean === true, recordings, unmarked, marked);
  } catch (error) {
    // A demonstration that was broken off here holds nothing of anybody's, and would stand in the way of the next.
    if (isNew) fs.rmSync(folder, { recursive: true, force: true });
    throw error;
  }
  const takes = marked.filter(({ kind }) => kind === 'take').length;
  const idles = unmarked.filter(({ kind }) => kind === 'idle').length;
  say(`${path.relative(context.cwd, recordings) || '.'}: takes.wav (${takes} takes and the level stairs, in no order), ${idles} idle captures, one of footswitches pressed and one of leads moved`, '   ');

  part('2. Import', 'takes and stairs are known by their markers, the others by --step');
  // What comes next is not for the reader to do.
  const inside: Context = { ...own, forProgram: true };
  const filed = [await importRun(inside, [folder, path.join(recordings, 'takes.wav')], {})];
  filed.push(await importRun(inside, [folder, ...unmarked.map(({ id }) => path.join(recordings, `${id}.wav`))], { step: unmarked.map(({ id }) => id).join(',') }));
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

/** Simulates every step; those with markers go one after the other into one long recording. */
async function record(context: Context, clean: boolean, folder: string, unmarked: readonly Step[], marked: readonly Step[]): Promise<void> {
  const steps = [...unmarked, ...marked];
  const shown = progress(context);
  const simulated = (done: number): void => {
    shown.share('Simulating', done, steps.length, 'captures');
  };
  simulated(0);
  try {
    const captures = await simulateAll(steps.map(({ id }) => ({ step: id, clean })), simulated, context.signal);
    for (const [i, { id }] of unmarked.entries()) await writeFileAtomic(path.join(folder, `${id}.wav`), wavOf([captures[i]!]));
    await writeFileAtomic(path.join(folder, 'takes.wav'), wavOf(captures.slice(unmarked.length)));
  } finally {
    shown.done();
  }
}

/** Captures one after the other, as one file. */
function* wavOf(captures: readonly SimulationAnswer[]): Generator<Uint8Array> {
  const { channels, sampleRateHz } = captures[0]!;
  const spec = { format: SIMULATED_FORMAT, channels, sampleRateHz, frames: captures.reduce((sum, { frames }) => sum + frames, 0) } as const;
  yield wavHeader(spec);
  for (const { bytes } of captures) yield bytes;
  yield wavTrailer(spec);
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
