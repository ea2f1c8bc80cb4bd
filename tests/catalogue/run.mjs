/**
 * Plants every fault of the catalogue into boards of 2 to 16 loops, one at a time and in pairs, looks at clean boards as well,
 * and writes what was found to reports/fault-catalogue.json and, as a table, to reports/fault-catalogue.md.
 *
 *     node tests/catalogue/run.mjs [--boards 12] [--clean 300] [--workers 2] [--out reports]
 *     … --journal <file>    keeps what each board gave, and goes on where an earlier run with the same program stopped
 *     node tests/catalogue/run.mjs --check reports/fault-catalogue.json     a few trials again: same outcome?
 *
 * Everything follows from the seeds: board n is drawn from seed n, its faults from seed and kind.
 */
import { appendFileSync, existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import { Worker, isMainThread, parentPort } from 'node:worker_threads';
import { drawBoard, draws } from './boards.mjs';
import { catalogue } from './catalogue.mjs';
import { kindOf, resultsOf, score } from './trial.mjs';

const SIZES = [2, 3, 4, 5, 3, 6, 8, 4, 10, 5, 12, 16];
/** Pairs of faults on each board with faults. */
const PAIRS = 8;
/** Kinds from here on came later: each is paired once on each board with one of the earlier, among which the other pairs are drawn as before. */
const LATER = 42;
/** Clean boards come from seeds of their own. */
const CLEAN_SEED = 100000;

const boardOf = (seed) => drawBoard(seed, { low: SIZES[seed % SIZES.length], high: SIZES[seed % SIZES.length] });

/** A fault of a kind on a board: where, what, and what should be told; null where the board has no place for it. */
function plantOn(model, seed, kind) {
  const entry = catalogue.find((e) => e.kind === kind);
  const draw = draws(seed * 1000 + catalogue.indexOf(entry));
  const places = entry.places(model);
  if (places.length === 0) return null;
  const place = draw.pick(places);
  return { faults: entry.plant(place, model, draw), told: entry.told(place) };
}

function trial(model, seed, kinds, known) {
  const planted = kinds.map((kind) => plantOn(model, seed, kind));
  if (planted.includes(null)) return null;
  const faults = planted.flatMap((p) => p.faults);
  const { findings, right, extra } = score(resultsOf({ ...model, faults }, seed, known), planted.map((p) => p.told));
  return { seed, loops: model.board.loops.length, kinds, right, told: findings.map(kindOf), extra: extra.map(({ id }) => id), ...(right.every(Boolean) && extra.length === 0 ? {} : { faults, findings: findings.map(({ id, title }) => `${id}: ${title}`) }) };
}

/** Pairs that are drawn for a board: two kinds at two places of their own. */
function pairsFor(model, seed) {
  const draw = draws(seed + 777);
  const drawn = catalogue.slice(0, LATER);
  const pairs = [];
  const take = (kinds) => {
    const [a, b] = kinds.map((kind) => plantOn(model, seed, kind));
    // Two faults at one place can hide each other: a dead loop has no hiss.
    if (a && b && kinds[0] !== kinds[1] && !pairs.some((pair) => kinds.every((kind) => pair.includes(kind))) && !clash(model, a.told, b.told)) pairs.push(kinds);
  };
  for (let tries = 0; pairs.length < PAIRS && tries < 200; tries++) take([draw.pick(drawn).kind, draw.pick(drawn).kind]);
  for (const { kind } of catalogue.slice(LATER)) {
    const before = pairs.length;
    for (let tries = 0; pairs.length === before && tries < 50; tries++) take([kind, draw.pick(drawn).kind]);
  }
  return pairs;
}

function clash({ board }, a, b) {
  const parts = ({ finding, loop, output, supply }) => {
    const loops = board.loops.filter((l) => l.id === loop || (supply !== undefined && l.supply === supply)).map(({ id }) => id);
    return [...loops, ...[output ?? []].flat(), ...(loop === undefined && output === undefined && supply === undefined ? [finding === 'interaction' ? 'together' : 'input'] : [])];
  };
  return parts(a).some((part) => parts(b).includes(part));
}

function boardTrials(seed) {
  const model = boardOf(seed);
  const known = new Map();
  const singles = catalogue.flatMap(({ kind }) => trial(model, seed, [kind], known) ?? []);
  const pairs = pairsFor(model, seed).map((kinds) => trial(model, seed, kinds, known));
  return { singles, pairs };
}

const cleanTrial = (seed) => ({ seed, ...trial(boardOf(seed), seed, [], new Map()) });

/** One-sided 95 % bound of a share: the p at which so many or more (fewer) of n come 5 times in 100 (Clopper and Pearson). */
function bound(hits, n, side) {
  if (n === 0 || (side === 'low' && hits === 0)) return side === 'low' ? 0 : 1;
  if (side === 'high' && hits === n) return 1;
  // In logarithms: the first terms of many trials are below the smallest number.
  const logs = [0];
  for (let k = 1; k <= n; k++) logs.push(logs[k - 1] + Math.log((n - k + 1) / k));
  const tail = (p) => {
    const chance = (k) => Math.exp(logs[k] + k * Math.log(p) + (n - k) * Math.log1p(-p));
    let sum = 0;
    if (side === 'low') for (let k = hits; k <= n; k++) sum += chance(k);
    else for (let k = 0; k <= hits; k++) sum += chance(k);
    return sum;
  };
  let [low, high] = [1e-9, 1 - 1e-9];
  for (let step = 0; step < 60; step++) {
    const p = (low + high) / 2;
    if (side === 'low' ? tail(p) < 0.05 : tail(p) > 0.05) low = p;
    else high = p;
  }
  return (low + high) / 2;
}

function reportOf(singles, pairs, clean) {
  const right = singles.filter((t) => t.right[0]).length;
  const both = pairs.filter((t) => t.right.every(Boolean)).length;
  const noisy = clean.filter((t) => t.told.length > 0).length;
  const kinds = catalogue.map(({ kind, physics, range }) => {
    const of = singles.filter((t) => t.kinds[0] === kind);
    const told = {};
    for (const t of of) for (const finding of t.told) told[finding] = (told[finding] ?? 0) + 1;
    return { kind, physics, range, planted: of.length, right: of.filter((t) => t.right[0]).length, alsoOther: of.filter((t) => t.extra.length > 0).length, told };
  });
  const short = (v) => Math.round(v * 1e4) / 1e4;
  return {
    format: 'boardproof-fault-catalogue/1',
    made: 'node tests/catalogue/run.mjs',
    singles: { planted: singles.length, right, share: short(right / singles.length), atLeast: short(bound(right, singles.length, 'low')), withOtherFindings: singles.filter((t) => t.extra.length > 0).length },
    pairs: { planted: pairs.length, bothRight: both, share: short(both / Math.max(1, pairs.length)), withOtherFindings: pairs.filter((t) => t.extra.length > 0).length },
    clean: { boards: clean.length, withFinding: noisy, atMost: short(bound(noisy, clean.length, 'high')) },
    kinds,
    notRight: [...singles, ...pairs, ...clean].filter((t) => t.findings),
    trials: singles.map((t) => [t.seed, t.kinds[0], t.right[0], t.extra]),
    cleanTrials: clean.map((t) => [t.seed, t.told]),
  };
}

function tableOf(report) {
  const { singles, pairs, clean, kinds } = report;
  const columns = [...new Set(kinds.flatMap(({ told }) => Object.keys(told)))].sort();
  const percent = (v) => `${(100 * v).toFixed(1)} %`;
  return `# Fault catalogue: what was planted, and what was told

Made by \`${report.made}\`; do not edit. Boards, faults and noise are invented, from seeds; every trial is in fault-catalogue.json.

- **Single faults**: ${singles.right} of ${singles.planted} told rightly and at the right place (${percent(singles.share)}; at least ${percent(singles.atLeast)} with 95 % confidence); ${singles.withOtherFindings} with another finding beside it.
- **Pairs**: both told in ${pairs.bothRight} of ${pairs.planted} (${percent(pairs.share)}); ${pairs.withOtherFindings} with another finding beside them.
- **Clean boards**: ${clean.withFinding} of ${clean.boards} with a finding (at most ${percent(clean.atMost)} with 95 % confidence).

Rows are the faults planted, columns the kinds of finding told (any severity but "note"), in number of boards.

| planted | boards | right | ${columns.join(' | ')} |
| --- | --- | --- | ${columns.map(() => '---').join(' | ')} |
${kinds.map(({ kind, planted, right, told }) => `| ${kind} | ${planted} | ${right} | ${columns.map((c) => told[c] ?? '').join(' | ')} |`).join('\n')}

| planted | physics | range |
| --- | --- | --- |
${kinds.map(({ kind, physics, range }) => `| ${kind} | ${physics} | ${range} |`).join('\n')}
`;
}

/** A few trials of a report once more, on its smallest boards: where the outcome is another, the report is out of date. */
function check(file) {
  const report = JSON.parse(readFileSync(file, 'utf8'));
  const listed = report.kinds.map(({ kind }) => kind).join();
  if (listed !== catalogue.map(({ kind }) => kind).join()) return ['The catalogue has other kinds of fault than the report.'];
  const seeds = [...new Set(report.trials.map(([seed]) => seed))].sort((a, b) => SIZES[a % SIZES.length] - SIZES[b % SIZES.length] || a - b).slice(0, 1);
  const differences = [];
  for (const seed of seeds) {
    const model = boardOf(seed);
    const known = new Map();
    const of = report.trials.filter(([s]) => s === seed);
    for (const [, kind, right, extra] of of.filter((_, k) => k % 4 === 0)) {
      const again = trial(model, seed, [kind], known);
      if (again.right[0] !== right || String(again.extra) !== String(extra)) differences.push(`Board ${seed}, ${kind}: ${again.right[0] ? 'right' : 'not right'}${again.extra.length > 0 ? `, with ${again.extra}` : ''}, where the report has ${right ? 'right' : 'not right'}${extra.length > 0 ? `, with ${extra}` : ''}.`);
    }
  }
  for (const [seed, told] of report.cleanTrials.filter(([s]) => SIZES[s % SIZES.length] <= 3).slice(0, 1)) {
    const again = cleanTrial(seed);
    if (String(again.told) !== String(told)) differences.push(`Clean board ${seed}: ${again.told}, where the report has ${told}.`);
  }
  return differences;
}

if (!isMainThread) {
  parentPort.on('message', ({ at, kind, seed }) => {
    parentPort.postMessage({ at, kind, seed, result: kind === 'board' ? boardTrials(seed) : cleanTrial(seed) });
  });
} else {
  const { values } = parseArgs({ options: { boards: { type: 'string', default: '12' }, clean: { type: 'string', default: '300' }, workers: { type: 'string', default: '2' }, out: { type: 'string' }, journal: { type: 'string' }, check: { type: 'string' } } });
  if (values.check !== undefined) {
    const differences = check(values.check);
    for (const line of differences) process.stdout.write(`${line}\n`);
    process.stdout.write(differences.length === 0 ? 'The report is current.\n' : 'The report is out of date: node tests/catalogue/run.mjs\n');
    process.exitCode = differences.length === 0 ? 0 : 1;
  } else {
    const out = values.out ?? fileURLToPath(new URL('../../reports', import.meta.url));
    mkdirSync(out, { recursive: true });
    const jobs = [
      ...Array.from({ length: Number(values.boards) }, (_, n) => ({ kind: 'board', seed: n + 1 })),
      ...Array.from({ length: Number(values.clean) }, (_, n) => ({ kind: 'clean', seed: CLEAN_SEED + n })),
    ];
    const results = new Array(jobs.length);
    const kept = values.journal !== undefined && existsSync(values.journal) ? readFileSync(values.journal, 'utf8').trim().split('\n').map((line) => JSON.parse(line)) : [];
    for (const { kind, seed, result } of kept) {
      const at = jobs.findIndex((job) => job.kind === kind && job.seed === seed);
      if (at >= 0) results[at] = result;
    }
    const open = jobs.flatMap((job, at) => (results[at] === undefined ? [{ at, ...job }] : []));
    let next = 0;
    let done = jobs.length - open.length;
    await Promise.all(
      Array.from({ length: Number(values.workers) }, () =>
        new Promise((resolve, reject) => {
          const worker = new Worker(fileURLToPath(import.meta.url));
          const give = () => {
            if (next === open.length) {
              void worker.terminate().then(resolve);
              return;
            }
            worker.postMessage(open[next]);
            next++;
          };
          worker.on('message', ({ at, kind, seed, result }) => {
            results[at] = result;
            if (values.journal !== undefined) appendFileSync(values.journal, `${JSON.stringify({ kind, seed, result })}\n`);
            done++;
            process.stderr.write(`${done} of ${jobs.length}\r`);
            give();
          });
          worker.on('error', reject);
          give();
        }),
      ),
    );
    const of = (kind) => results.filter((_, n) => jobs[n].kind === kind);
    const report = reportOf(of('board').flatMap((b) => b.singles), of('board').flatMap((b) => b.pairs), of('clean'));
    writeFileSync(join(out, 'fault-catalogue.json'), `${JSON.stringify(report, null, 1)}\n`);
    writeFileSync(join(out, 'fault-catalogue.md'), tableOf(report));
    process.stdout.write(tableOf(report).split('\n').slice(4, 7).join('\n') + '\n');
  }
}
