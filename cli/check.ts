/**
 * `boardproof check <job>`: everything that is wrong with the two files, and the supply budget.
 *
 * @module
 */
import type { Fault } from '../src/board/fault.js';
import type { Bench, Board } from '../src/board/model.js';
import { printable } from '../src/board/printable.js';
import { benchGaps, stepsOf } from '../src/board/steps.js';
import { supplyBudget } from '../src/board/supply-budget.js';
import type { OutletBudget, SupplyBudget } from '../src/board/supply-budget.js';
import { exitCode } from '../src/problems.js';
import { formatQuantity } from '../src/units/format.js';
import { readJobFiles } from './job.js';
import { paragraph, statement, table } from './layout.js';
import { nextStep, word } from './next-step.js';
import { paintFor, print, printJson } from './terminal.js';
import type { Context } from './terminal.js';

export const CHECK_FORMAT = 'boardproof-check/1';

export async function run(context: Context, [jobPath]: readonly string[], options: { json?: boolean }): Promise<number> {
  const { board, bench, faults } = readJobFiles(jobPath!, context.cwd);
  const bad = faults.filter(({ severity }) => severity === 'fault');
  const cautions = faults.filter(({ severity }) => severity === 'caution');
  const budget = board ? supplyBudget(board) : null;
  const gaps = bench ? benchGaps(bench) : [];
  if (options.json) {
    printJson(context, {
      format: CHECK_FORMAT,
      valid: bad.length === 0,
      faults: bad,
      cautions,
      remarks: gaps,
      board: board ? { name: board.name, serial: board.serial, mainsHz: board.mainsHz, limits: limitsWords(board), loops: board.loops.length, outputs: board.outputs.length } : null,
      bench: bench ? { name: bench.name, inputs: bench.inputs.length, plugs: bench.plugs.length, loads: bench.loads?.length ?? 0 } : null,
      supplyBudget: budget,
    });
  } else {
    printFindings(context, bad, cautions, gaps);
    if (board && bench && bad.length === 0) printSummary(context, board, bench);
    if (budget) printBudget(context, budget);
  }
  if (bad.length > 0) return exitCode.usage;
  nextStep(context, 'see what to capture, in order', `boardproof steps ${word(jobPath!)}`);
  return exitCode.done;
}

function printFindings(context: Context, bad: readonly Fault[], cautions: readonly Fault[], gaps: readonly string[]): void {
  const paint = paintFor(context, 'out');
  const say = (sign: string, message: string): void => {
    statement(context, 'out', message, '         ', sign);
  };
  for (const { message } of bad) say(`${paint('red', 'fault')}    `, message);
  for (const message of [...cautions.map((c) => c.message), ...gaps]) say(`${paint('yellow', 'caution')}  `, message);
  if (bad.length > 0) print(context, `\n${bad.length === 1 ? 'One fault' : `${bad.length} faults`}; nothing can be measured until ${bad.length === 1 ? 'it is' : 'they are'} put right.`);
}

const counted = (n: number, what: string): string => `${n} ${what}${n === 1 ? '' : 's'}`;

const limitsWords = ({ limits }: Board): string => (limits.kind === 'named' ? limits.name : limits.kind === 'file' ? limits.path : limits.set.name);

function printSummary(context: Context, board: Board, bench: Bench): void {
  const steps = stepsOf(board, bench);
  const serial = board.serial === null ? '' : `, serial ${printable(board.serial)}`;
  const made = `${counted(board.loops.length, 'loop')}, ${counted(board.outputs.length, 'output')}`;
  paragraph(context, `${printable(board.name)}${serial}: ${made}; mains ${board.mainsHz} Hz; limits ${printable(limitsWords(board))}.`, '       ', 'Board  ');
  paragraph(context, `${printable(bench.name)}: ${counted(bench.inputs.length, 'recorder input')}, ${counted(bench.plugs.length, 'source plug')}${bench.loads?.length ? `, ${counted(bench.loads.length, 'load')}` : ''}.`, '       ', 'Bench  ');
  const optional = steps.filter(({ required }) => !required).length;
  paragraph(context, `${counted(steps.length - optional, 'capture')} for a complete sign-off, ${optional} optional.`, '       ', 'Steps  ');
}

function printBudget(context: Context, budget: SupplyBudget): void {
  if (budget.outlets.length === 0) return;
  const paint = paintFor(context, 'out');
  print(context, `\n${paint('bold', 'Supply budget')}`);
  table(context, ['outlet', 'volts', 'drawn', 'gives', 'budget', 'loops'], budget.outlets.map(budgetRow), '  ');
  if (budget.unfed.length > 0) paragraph(context, `Without an outlet here: loop ${budget.unfed.join(', ')}.`, '  ');
  for (const caution of budget.cautions) paragraph(context, caution, '         ', `${paint('yellow', 'caution')}  `);
}

const known = (value: number | null, kind: 'voltage' | 'current'): string => (value === null ? 'not given' : formatQuantity(value, kind));

function budgetRow({ outlet, volts, limitA, drawnA, loops, unknown, state }: OutletBudget): string[] {
  const drawn = unknown.length > 0 ? `${formatQuantity(drawnA, 'current')} + ?` : formatQuantity(drawnA, 'current');
  return [outlet, known(volts, 'voltage'), drawn, known(limitA, 'current'), state, loops.join(', ') || '-'];
}
