import { describe, expect, it } from 'vitest';
import { readBoard } from '../../src/board/read.js';
import { supplyBudget } from '../../src/board/supply-budget.js';

const budgetOf = (loops: string, outlets: string): ReturnType<typeof supplyBudget> => {
  const reading = readBoard(`format: boardproof-board/1\nboard: x\noutputs: [{ id: A }]\nloops: [${loops}]\nsupplies: [{ id: S, outlets: [${outlets}] }]\n`);
  if (!reading.ok) throw new Error(reading.faults.map(({ message }) => message).join('\n'));
  return supplyBudget(reading.value);
};

describe('supplyBudget', () => {
  it('adds what an outlet feeds and holds it against its limit', () => {
    const { outlets, cautions, unfed } = budgetOf(
      '{ id: a, supply: S.1, current: 80 mA }, { id: b, supply: S.1, current: 30 mA }, { id: c }',
      '{ id: 1, volts: 9, limit: 100 mA }, { id: 2, volts: 12, limit: 300 mA }',
    );
    expect(outlets).toEqual([
      { outlet: 'S.1', volts: 9, limitA: 0.1, drawnA: 0.11, loops: ['a', 'b'], unknown: [], state: 'over' },
      { outlet: 'S.2', volts: 12, limitA: 0.3, drawnA: 0, loops: [], unknown: [], state: 'unused' },
    ]);
    expect(unfed).toEqual(['c']);
    expect(cautions).toEqual([
      'Outlet S.1 is asked for 110 mA but gives 100 mA: move a loop to an outlet that gives more.',
      'Outlet S.1 feeds loops a, b together: whine and hum can pass from one to the other.',
    ]);
  });

  it('is exact at the limit: 100 mA and 200 mA are 300 mA', () => {
    const { outlets } = budgetOf('{ id: a, supply: S.1, current: 0.1 A }, { id: b, supply: S.1, current: 0.2 A }', '{ id: 1, limit: 300 mA }');
    expect(outlets[0]).toMatchObject({ drawnA: 0.3, state: 'within' });
  });

  it('says what it does not know', () => {
    const { outlets, cautions } = budgetOf('{ id: a, supply: S.1 }, { id: b, supply: S.2, current: 50 mA }', '{ id: 1, limit: 100 mA }, { id: 2 }');
    expect(outlets.map(({ state }) => state)).toEqual(['open', 'open']);
    expect(outlets[0]!.unknown).toEqual(['a']);
    expect(cautions).toEqual(['Outlet S.1: the current of loop a is not given, so its budget is open.']);
  });
});
