/** Leads moved while a tone plays, from samples with planted faults to the verdict, the finding and the page. */
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { readBench, readBoard } from '../../src/board/read.js';
import { judgeJob } from '../../src/judge/judge-job.js';
import { limitSets } from '../../src/judge/limit-sets.js';
import type { Finding, Results } from '../../src/judge/results.js';
import { estimateCapture, measureJob } from '../../src/measure/job.js';
import { memoryRecording } from '../../src/measure/recording.js';
import { readResults } from '../../src/report/read-results.js';
import { renderReport } from '../../src/report/report.js';
import { reportView } from '../../src/report/view.js';
import { runCli, temporaryFolder } from '../helpers/cli.js';
import { noise, seeded } from '../helpers/random.js';
import { makeJob, writeRecording } from '../helpers/recordings.js';

const RATE = 48000;
const STEP = { id: 'rest.flex', state: 'rest', plug: null, kind: 'flex' } as const;
const board = (outputs: readonly string[]): string => `format: boardproof-board/1\nboard: Small\nlimits: studio-quiet\noutputs: [${outputs.map((id) => `{ id: ${id} }`).join(', ')}]\n`;
const bench = (outputs: readonly string[]): string => `format: boardproof-bench/1\nbench: bench 1\ninputs: [${outputs.map((id, i) => `{ channel: ${i + 1}, output: ${id} }`).join(', ')}]\n`;

/** What a contact does: takes the tone away, or crackles, for a time. */
interface Planted {
  readonly kind: 'dropout' | 'crackle';
  readonly atS: number;
  readonly lengthS: number;
}

function channel(seed: number, planted: readonly Planted[], lengthS = 10): Float64Array {
  const x = noise(lengthS * RATE, 1e-5, seed);
  const { uniform } = seeded(seed + 100);
  for (let n = 0; n < x.length; n++) {
    const t = n / RATE;
    const now = planted.find((p) => t >= p.atS && t < p.atS + p.lengthS);
    x[n]! += (now?.kind === 'dropout' ? 0 : 0.1) * Math.sin(2 * Math.PI * 997 * t) + (now?.kind === 'crackle' ? 0.02 * (2 * uniform() - 1) : 0);
  }
  return x;
}

const shared: Planted = { kind: 'dropout', atS: 3, lengthS: 0.04 };
const atB: Planted = { kind: 'crackle', atS: 6, lengthS: 0.01 };

function results(channels: readonly Float64Array[], limits = limitSets['studio-quiet']!): Results {
  const outputs = ['A', 'B'].slice(0, channels.length);
  const read = readBoard(board(outputs), 'board.yaml', {});
  const heard = readBench(bench(outputs), outputs);
  if (!read.ok || !heard.ok) throw new Error('the files of this test are wrong');
  const estimate = estimateCapture(memoryRecording(channels, RATE), STEP, heard.value, 50)!;
  return judgeJob({
    board: read.value, bench: heard.value, limits, measured: measureJob(read.value, heard.value, [estimate]),
    captures: [], steps: [], tool: { name: 'boardproof', version: '0' }, measuredAt: '2026-01-01T00:00:00Z', boardSha256: '', benchSha256: '', problems: [],
  });
}

const clean = results([channel(1, []), channel(2, [])]);
const faulty = results([channel(3, [shared]), channel(4, [shared, atB])]);
const flexOf = ({ findings }: Results): Finding[] => findings.filter((f) => f.id.startsWith('flex/'));

describe('leads that are moved', () => {
  it('pass where nothing happens: no finding, and the counts within their limits', () => {
    expect(clean.readings.map((r) => [r.id, r.output, r.value, r.limit?.max, r.verdict])).toEqual(
      ['A', 'B'].flatMap((output) => ['flex.dropouts', 'flex.crackles'].map((id) => [id, output, 0, 0, 'pass'])),
    );
    expect(clean.readings[0]!.limit!.basis).toMatch(/common practice, no source: a contact/);
    expect(clean.findings).toEqual([]);
    expect(clean.verdict.word).toBe('pass');
    expect(clean.flex).toMatchObject([{ capture: 'rest.flex', durationS: 10, events: [] }]);
    // The tone stands: within 0.1 dB of its usual level throughout.
    for (const { lowDb, highDb } of clean.flex![0]!.levels) expect([Math.min(...lowDb) > -0.1, Math.max(...highDb) < 0.1, lowDb.length]).toEqual([true, true, 100]);
  });

  it('fail with a finding per place: what all outputs share, and what one has alone', () => {
    expect(faulty.readings.map((r) => [r.id, r.output, r.value, r.verdict])).toEqual([
      ['flex.dropouts', 'A', 1, 'fail'],
      ['flex.crackles', 'A', 0, 'pass'],
      ['flex.dropouts', 'B', 1, 'fail'],
      ['flex.crackles', 'B', 1, 'fail'],
    ]);
    expect(faulty.verdict.word).toBe('fail');
    const found = flexOf(faulty);
    // Nothing is told twice.
    expect(faulty.findings).toEqual(found);
    expect(found.map((f) => [f.severity, f.where.output, f.title])).toEqual([
      ['fault', null, 'Moving the leads interrupts the signal at every output: 1 dropout, the longest 40 ms.'],
      ['fault', 'B', 'Moving the leads makes the signal crackle at output B only: 1 crackle.'],
    ]);
    expect(found[0]!.evidence).toEqual(['flex.dropouts in rest on A', 'flex.dropouts in rest on B', 'rest.flex: dropout at 3.00 s (40 ms)']);
    expect(found[0]!.cause).toContain('all outputs share');
    expect(found[1]!.cause).toContain('behind the point where the outputs part');
    for (const f of found) expect([f.tryNext.includes('one plug at a time'), f.confirm!.includes('rest.flex')]).toEqual([true, true]);
    const [a, b] = faulty.flex![0]!.levels;
    expect([a!.lowDb[30]! < -40, b!.lowDb[30]! < -40, a!.lowDb[60]! > -0.1]).toEqual([true, true, true]);
  });

  it('of a board with one output cannot say on which side', () => {
    expect(flexOf(results([channel(5, [shared])]))).toMatchObject([{ where: { output: 'A' }, title: 'Moving the leads interrupts the signal: 1 dropout, the longest 40 ms.', cause: expect.stringContaining('anywhere') as string }]);
  });

  it('that may fail so often by the shop’s own limits are a note, and without a limit a caution', () => {
    const rows = (max: number): string => `${board(['A'])}`.replace('limits: studio-quiet', `limits:\n  - { reading: flex.dropouts, max: ${max} times, basis: ours }\n`);
    const own = (max: number): Results['findings'] => {
      const read = readBoard(rows(max), 'board.yaml', {});
      if (!read.ok || read.value.limits.kind !== 'inline') throw new Error(JSON.stringify(read));
      return results([channel(6, [shared])], read.value.limits.set).findings;
    };
    expect(own(1).map((f) => f.severity)).toEqual(['note']);
    expect(own(0).map((f) => f.severity)).toEqual(['fault']);
    expect(results([channel(6, [shared])], { name: 'none', rows: [] }).findings.map((f) => f.severity)).toEqual(['caution']);
  });

  it('without a tone give no count, and are not decided', () => {
    const silent = results([noise(5 * RATE, 1e-5, 7)]);
    expect(silent.readings.map((r) => [r.value, r.verdict])).toEqual([[null, 'undecided'], [null, 'undecided']]);
    expect([silent.flex![0]!.levels, silent.findings]).toEqual([[], []]);
  });

  it('are drawn: a strip per output with a mark over each event, and a table behind it', async () => {
    const stored = readResults(JSON.stringify(faulty), 'results.json');
    const [view] = reportView(stored).flex;
    expect(view!.strips.map((s) => s.caption)).toEqual(['In 10.0 s: 1 dropout, no crackle.', 'In 10.0 s: 1 dropout, 1 crackle.'].map((s) => expect.stringMatching(new RegExp(s.replace('10.0 s', '10(\\.0)?\\s+s').replaceAll('1 ', '(1|one)\\s'))) as string));
    const page = await renderReport(stored);
    const part = /<section class="part" id="flex-1"[^]*?<\/section>/.exec(page)![0];
    // Two outputs, each on two widths of paper.
    expect([part.match(/class="drop"/g)!.length, part.match(/class="crack"/g)!.length]).toEqual([4, 2]);
    expect(part).toMatch(/3\.00\s+s<\/th><td>dropout<\/td><td>(39|4\d)\s+ms/);
    expect(part).not.toMatch(/NaN|undefined|Infinity/);
    const quiet = await renderReport(clean);
    expect(quiet).toContain('id="flex-1"');
    expect(quiet).not.toContain('class="drop"');
  });

  it('are told by measure: counts, verdict, where to look', async () => {
    const job = makeJob(join(temporaryFolder(), 'job'), board(['A', 'B']), bench(['A', 'B']));
    const file = writeRecording(join(job, '..', 'moved.wav'), [channel(3, [shared]), channel(4, [shared, atB])]);
    expect((await runCli(['import', job, file, '--step', 'rest.flex'])).exit).toBe(0);
    const { exit, out } = await runCli(['measure', job]);
    expect(exit).toBe(1);
    expect(out).toContain('Moving the leads interrupts the signal at every output');
    expect(out).toMatch(/Dropouts while leads were moved {2}\(flex\.dropouts\)\n +rest +A, B +1 +≤ 0 +✗ outside limits/);
  });
});
