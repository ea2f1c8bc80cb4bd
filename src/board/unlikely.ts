/**
 * Values that are allowed and yet hardly meant: nF written for pF, mH for H. What is usual is common practice, no
 * source; the ranges are wide on purpose.
 *
 * @module
 */
import { formatQuantity } from '../units/format.js';
import type { QuantityKind } from '../units/kinds.js';
import { keyText } from './fault.js';
import type { Complaint, KeyPath } from './fault.js';
import type { Bench, Board, Lead } from './model.js';

interface Usual {
  readonly path: KeyPath;
  readonly value: number | null | undefined;
  readonly kind: QuantityKind;
  readonly low: number;
  readonly high: number;
}

const leadValues = (path: KeyPath, lead: Lead | null | undefined): Usual[] =>
  lead
    ? [
        { path: [...path, 'length'], value: lead.lengthM, kind: 'length', low: 0, high: 100 },
        { path: [...path, 'capacitance'], value: lead.capacitanceFPerM, kind: 'capacitancePerLength', low: 20e-12, high: 1e-9 },
      ]
    : [];

function boardValues(board: Board): Usual[] {
  const { instrument, input, wiring, loops, outputs } = board;
  const pickup = instrument?.pickup;
  const buffer = input.buffer;
  return [
    { path: ['instrument', 'pickup', 'resistance'], value: pickup?.resistanceOhm, kind: 'resistance', low: 1, high: 100e3 },
    { path: ['instrument', 'pickup', 'inductance'], value: pickup?.inductanceH, kind: 'inductance', low: 1e-3, high: 50 },
    { path: ['instrument', 'pickup', 'capacitance'], value: pickup?.capacitanceF, kind: 'capacitance', low: 5e-12, high: 2e-9 },
    { path: ['instrument', 'volume'], value: instrument?.volumeOhm, kind: 'resistance', low: 5e3, high: 10e6 },
    { path: ['instrument', 'tone', 'resistance'], value: instrument?.tone?.resistanceOhm, kind: 'resistance', low: 5e3, high: 10e6 },
    { path: ['instrument', 'tone', 'capacitor'], value: instrument?.tone?.capacitorF, kind: 'capacitance', low: 500e-12, high: 1e-6 },
    ...leadValues(['instrument', 'lead'], instrument?.lead),
    ...leadValues(['input', 'wiring'], input.wiring),
    ...leadValues(['wiring'], wiring),
    { path: ['input', 'buffer', 'inputResistance'], value: buffer?.inputResistanceOhm, kind: 'resistance', low: 10e3, high: 100e6 },
    { path: ['input', 'buffer', 'inputCapacitance'], value: buffer?.inputCapacitanceF, kind: 'capacitance', low: 0, high: 2e-9 },
    { path: ['input', 'buffer', 'outputResistance'], value: buffer?.outputResistanceOhm, kind: 'resistance', low: 0, high: 20e3 },
    { path: ['input', 'buffer', 'noise'], value: buffer?.noiseVPerRtHz, kind: 'noiseDensity', low: 0, high: 1e-6 },
    ...loops.flatMap((loop, i): Usual[] => [
      { path: ['loops', i, 'current'], value: loop.currentA, kind: 'current', low: 0, high: 5 },
      ...leadValues(['loops', i, 'wiring'], loop.wiring),
    ]),
    ...outputs.flatMap((output, i): Usual[] => [
      { path: ['outputs', i, 'load'], value: output.loadOhm, kind: 'resistance', low: 100, high: 100e6 },
      ...leadValues(['outputs', i, 'wiring'], output.wiring),
    ]),
    ...board.supplies.flatMap(({ outlets }, i) =>
      outlets.flatMap((outlet, j): Usual[] => [
        { path: ['supplies', i, 'outlets', j, 'volts'], value: outlet.volts, kind: 'voltage', low: 1, high: 60 },
        { path: ['supplies', i, 'outlets', j, 'limit'], value: outlet.limitA, kind: 'current', low: 1e-3, high: 10 },
      ]),
    ),
  ];
}

/** What 0 dBFS usually is at the output of an interface, dBu. */
export const USUAL_OUTPUT_DBU = [-20, 40] as const;

function benchValues(bench: Bench): Usual[] {
  return [
    { path: ['output', 'fullScale'], value: bench.output?.fullScaleDbu?.value, kind: 'level', low: USUAL_OUTPUT_DBU[0], high: USUAL_OUTPUT_DBU[1] },
    { path: ['output', 'resistance'], value: bench.output?.resistanceOhm, kind: 'resistance', low: 0, high: 20e3 },
    ...bench.inputs.flatMap((input, i): Usual[] => [
      { path: ['inputs', i, 'fullScale'], value: input.fullScaleDbu?.value, kind: 'level', low: -40, high: 40 },
      { path: ['inputs', i, 'resistance'], value: input.resistanceOhm, kind: 'resistance', low: 500, high: 100e6 },
    ]),
    ...bench.plugs.map((plug, i): Usual => ({ path: ['plugs', i, 'resistance'], value: plug.resistanceOhm.value, kind: 'resistance', low: 100, high: 10e6 })),
    ...(bench.loads ?? []).map((load, i): Usual => ({ path: ['loads', i, 'resistance'], value: load.resistanceOhm.value, kind: 'resistance', low: 100, high: 1e6 })),
    ...leadValues(['lead'], bench.lead),
  ];
}

/** The value a thousand or a million times larger or smaller, where that would be usual. */
function likelyMeant(value: number, { kind, low, high }: Usual): string | null {
  if (kind === 'level' || value === 0) return null;
  const meant = [1e-3, 1e3, 1e-6, 1e6].map((factor) => value * factor).find((v) => v >= low && v <= high);
  return meant === undefined ? null : formatQuantity(meant, kind);
}

const complaints = (values: readonly Usual[]): Complaint[] =>
  values.flatMap((usual) => {
    const { path, value, kind, low, high } = usual;
    if (value === null || value === undefined || (value >= low && value <= high)) return [];
    const usually = low === 0 ? `up to ${formatQuantity(high, kind)}` : `${formatQuantity(low, kind)} to ${formatQuantity(high, kind)}`;
    const says = `${keyText(path)} is ${formatQuantity(value, kind)}; usual is ${usually}`;
    return [{ path, says, severity: 'caution' as const, nearest: likelyMeant(value, usual) }];
  });

export const unlikelyInBoard = (board: Board): Complaint[] => complaints(boardValues(board));
export const unlikelyInBench = (bench: Bench): Complaint[] => complaints(benchValues(bench));
