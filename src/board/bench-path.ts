/**
 * What the circuit needs to know of a bench.
 *
 * @module
 */
import type { BenchPath } from '../circuit/prediction.js';
import type { Bench } from './model.js';

export const benchPath = (bench: Bench): BenchPath => ({
  generatorOhm: bench.output?.resistanceOhm ?? null,
  plugs: bench.plugs.map(({ id, resistanceOhm }) => ({ id, ohm: resistanceOhm.value })),
  straightLead: bench.lead,
  loads: Object.fromEntries(bench.inputs.flatMap(({ output, resistanceOhm }) => (resistanceOhm === null ? [] : [[output, { ohm: resistanceOhm }] as const]))),
});
