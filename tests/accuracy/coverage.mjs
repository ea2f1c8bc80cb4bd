/**
 * Do the stated 95 % intervals hold the truth in 93 to 97 % of captures?
 *
 * Each trial draws what a bench cannot know (the error of its calibrations, the tolerance of its plug and load, the noise of
 * every capture) and measures what is known in closed form, through the same code as `boardproof measure`. The families of
 * trials are in trials/. Trials are seeded; tables go to reports/coverage.json, with the first trials one by one, so that a
 * few seconds tell whether the code still gives the table.
 *
 *     node tests/accuracy/coverage.mjs [words of a table's name] [trials]   makes the tables whose name has all the words; none: all
 *     node tests/accuracy/coverage.mjs --check     runs the first trials of every table again; exit code 1 where they differ
 *
 * Fewer trials than a table is to have are shown and not kept.
 */
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { expanded } from '../../dist/src/judge/uncertainty.js';
import { tables as calibration } from './trials/calibration.mjs';
import { tables as clicks } from './trials/clicks.mjs';
import { tables as idle } from './trials/idle.mjs';
import { tables as plugs } from './trials/plugs.mjs';
import { tables as sources } from './trials/sources.mjs';
import { tables as stairs } from './trials/stairs.mjs';
import { tables as take } from './trials/take.mjs';
import { tables as loops } from './trials/loops.mjs';
import { tables as crosstalk } from './trials/crosstalk.mjs';

const TABLES = [...idle, ...take, ...plugs, ...loops, ...crosstalk, ...sources, ...clicks, ...stairs, ...calibration];
const REPORT = fileURLToPath(new URL('../../reports/coverage.json', import.meta.url));

/** @returns per reading: how often its interval held the truth, its errors, and the first trials. */
function tallied({ run, kept }, trials) {
  const rows = new Map();
  run(trials, (id, figure, truth) => {
    if (!figure || figure.value === null || figure.parts === null || figure.bound !== null || truth === undefined) return;
    const row = rows.get(id) ?? { inside: 0, trials: 0, errorSum: 0, errorSquares: 0, uncertaintySum: 0, first: [] };
    const error = figure.value - truth;
    const u = expanded(figure.parts);
    if (row.first.length < kept) row.first.push([error, u].map((v) => Number(v.toPrecision(6))));
    row.trials++;
    if (Math.abs(error) <= u) row.inside++;
    row.errorSum += error;
    row.errorSquares += error * error;
    row.uncertaintySum += u;
    rows.set(id, row);
  });
  return rows;
}

const load = () => (existsSync(REPORT) ? JSON.parse(readFileSync(REPORT, 'utf8')).tables : {});

/** Another machine's Math.sin differs in the last bit; a changed measure differs by far more. */
const asShown = (pairs) => JSON.stringify(pairs.map((pair) => pair.map((v) => v.toPrecision(3))));

function check() {
  const stored = load();
  const problems = [];
  const names = TABLES.map(({ name }) => name);
  for (const name of Object.keys(stored)) if (!names.includes(name)) problems.push(`${name}: no trials make this table`);
  for (const table of TABLES) {
    const rows = stored[table.name];
    if (!rows) {
      problems.push(`${table.name}: not made yet`);
      continue;
    }
    const now = tallied(table, table.kept);
    for (const [id, { first }] of Object.entries(rows)) {
      const again = now.get(id)?.first ?? [];
      // A reading that is a bound in the first trials has its first interval later.
      if (asShown(first.slice(0, again.length)) !== asShown(again)) problems.push(`${table.name}: ${id} is no longer what the table was made with: ${JSON.stringify(first)} then, ${JSON.stringify(again)} now`);
    }
    for (const id of now.keys()) if (!rows[id]) problems.push(`${table.name}: ${id} is not in it`);
  }
  for (const problem of problems) console.log(problem);
  console.log(problems.length === 0 ? 'reports/coverage.json is current' : 'reports/coverage.json is not current: make the tables named above again, node tests/accuracy/coverage.mjs <words of the name>');
  process.exitCode = problems.length === 0 ? 0 : 1;
}

function make(table, asked) {
  const began = performance.now();
  const trials = asked ?? table.trials;
  const rows = Object.fromEntries(
    [...tallied(table, trials)].map(([id, r]) => [
      id,
      {
        trials: r.trials,
        coveragePercent: Number(((100 * r.inside) / r.trials).toFixed(1)),
        meanError: Number((r.errorSum / r.trials).toPrecision(3)),
        rmsError: Number(Math.sqrt(r.errorSquares / r.trials).toPrecision(3)),
        meanUncertainty95: Number((r.uncertaintySum / r.trials).toPrecision(3)),
        first: r.first,
      },
    ]),
  );
  console.log(table.name);
  console.table(Object.fromEntries(Object.entries(rows).map(([id, row]) => [id, { ...row, first: undefined, ratio: Number((row.meanUncertainty95 / row.rmsError).toFixed(2)) }])));
  console.log(`${((performance.now() - began) / 1000).toFixed(0)} s`);
  if (trials < table.trials) return;
  const all = { ...load(), [table.name]: rows };
  const tables = Object.fromEntries(TABLES.flatMap(({ name }) => (all[name] ? [[name, all[name]]] : [])));
  writeFileSync(REPORT, `${JSON.stringify({ format: 'boardproof-coverage/1', made: 'node tests/accuracy/coverage.mjs', tables }, null, 1)}\n`);
}

const words = process.argv.slice(2);
if (words[0] === '--check') check();
else {
  const last = words.at(-1);
  const asked = /^\d+$/.test(last ?? '') ? Number(words.pop()) : null;
  for (const table of TABLES) if (words.every((word) => table.name.includes(word))) make(table, asked);
}
