/**
 * Captures of one step that do not agree: said once per step, with the figures that show it.
 *
 * @module
 */
import { inSentence } from '../units/format.js';
import type { Finding, Reading } from './results.js';

/** Figures shown as evidence. */
const SHOWN = 4;

/** How far the captures of a step spread, over the limit's own scale where there is one: the plainest evidence first. */
const spread = (values: readonly (number | null)[]): number => {
  const numbers = values.flatMap((v) => (v === null ? [] : [v]));
  return numbers.length < 2 ? Infinity : Math.max(...numbers) - Math.min(...numbers);
};

export function repeatFindings(readings: readonly Reading[]): Finding[] {
  const steps = new Map<string, { reading: Reading; values: readonly (number | null)[] }[]>();
  for (const reading of readings) {
    for (const { step, values, agree } of reading.repeats ?? []) if (!agree) steps.set(step, [...(steps.get(step) ?? []), { reading, values }]);
  }
  return [...steps].map(([step, unlike]): Finding => {
    const count = unlike[0]!.values.length;
    // In units of its own uncertainty: decibels and hertz do not compare.
    const byWeight = [...unlike].sort((a, b) => spread(b.values) / (b.reading.uncertainty ?? 1) - spread(a.values) / (a.reading.uncertainty ?? 1));
    // Presses and moved leads are pooled, not averaged: no two go alike, and the worst of them is the reading.
    const pooled = /\.(switching|flex)$/.test(step);
    const outputs = new Set(unlike.map(({ reading }) => reading.output));
    return {
      id: `repeats-disagree/${step}`,
      severity: pooled ? 'note' : 'caution',
      where: { loop: unlike[0]!.reading.loop, output: outputs.size === 1 ? (unlike[0]!.reading.output ?? null) : null, supply: null },
      title: `The ${count} captures of ${step} do not agree.`,
      evidence: [
        ...byWeight.slice(0, SHOWN).map(({ reading: { label, output, unit }, values }) => `${label}${output === null ? '' : ` at output ${output}`}: ${values.map((v) => (v === null ? 'no value' : shown(v, values))).join(', ')} ${unit}, the newest first`),
        ...(unlike.length > SHOWN ? [`and ${unlike.length - SHOWN} more ${unlike.length - SHOWN === 1 ? 'reading' : 'readings'}`] : []),
      ],
      cause: pooled ? 'Presses and plugs never go alike: a click depends on the moment of the press, a bad contact on how the plug is moved. A large difference may be a contact that is bad only now and then.' : 'Something changed from one capture to the next: a contact, a knob, a switch, the temperature of a circuit just switched on, or what is near the board.',
      tryNext: pooled ? `Nothing has to be done: the worst of all counts. Capture ${step} once more with --repeat to see how far it goes.` : `Look at what the step asks for, then capture ${step} again without --repeat, so that the earlier captures no longer count. Until then the scatter is in the uncertainty.`,
      basis: 'Scatter of the captures against the noise of each (chi-square, one false alarm in 10 000 figures); the cause is common practice, no source.',
    };
  });
}

/** With as many digits as tell the values apart, and one more. */
function shown(value: number, values: readonly (number | null)[]): string {
  const apart = spread(values);
  const digits = Number.isFinite(apart) && apart > 0 ? Math.min(6, Math.max(0, 1 - Math.floor(Math.log10(apart)))) : 2;
  return inSentence(value, digits);
}
