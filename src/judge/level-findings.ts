/**
 * Findings on what is too loud or not loud enough: clicks of footswitches, and states that clip before the others.
 *
 * @module
 */
import { fixed, inSentence } from '../units/format.js';
import { CUSTOM, MEASURED, NOWHERE, capital, explain, key, loopName, readingAt, shown } from './finding-context.js';
import type { FindingContext } from './finding-context.js';
import type { Finding, Reading } from './results.js';

/** A loop that should change nothing and clips this much before the board with every loop out, dB. */
const EARLIER_DB = 3;

export function levelFindings(context: FindingContext, explained: Set<Reading>): Finding[] {
  return [...clicks(context, explained), ...clipping(context, explained)];
}

function clicks({ board, readings }: FindingContext, explained: Set<Reading>): Finding[] {
  const failed = readings.filter((r) => r.id === 'click.peak' && r.verdict === 'fail' && r.value !== null);
  if (failed.length === 0) return [];
  // The loudest of all loops is one of theirs, and said there.
  const told = failed.some((r) => r.loop !== null);
  explain(explained, readings, () => true, ['click.*']);
  const words = (list: readonly Reading[]): string => {
    const loudest = list.reduce((a, b) => (b.value! > a.value! ? b : a));
    const over = readingAt(readings, 'click.over-tone', { state: loudest.state, output: loudest.output });
    return `${inSentence(loudest.value!, 1)} ${loudest.unit} at its peak${loudest.loop === null && over ? `, ${shown(over.value)} dB ${over.value < 0 ? 'under' : 'over'} the tone of the take` : ''}`;
  };
  const common = { severity: 'fault' as const, certainty: 'likely' as const, basis: MEASURED };
  if (!told) {
    return [
      {
        ...common,
        id: 'click/board',
        where: NOWHERE,
        title: `A footswitch clicks: ${words(failed)}.`,
        evidence: failed.map(key),
        cause: 'A coupling capacitor that leaks, so that a contact switches a direct voltage; or no resistor to ground where a contact opens.',
        tryNext: 'Record the switch of one loop alone, one loop after the other: which loop it is cannot be told from this capture.',
        confirm: 'Capture the switching step of each loop by itself: its loudest click must be within its limit.',
      },
    ];
  }
  return board.loops.flatMap((loop): Finding[] => {
    const of = failed.filter((r) => r.loop === loop.id);
    if (of.length === 0) return [];
    return [
      {
        ...common,
        id: `click/${loop.id}`,
        where: { ...NOWHERE, loop: loop.id },
        title: `The footswitch of ${loopName(loop)} clicks: ${words(of)}.`,
        evidence: of.map(key),
        cause: 'A coupling capacitor of its device leaks, so that the contact switches a direct voltage; or there is no resistor to ground where the contact opens.',
        tryNext: `Patch send to return of ${loop.id} with one lead: if the click is gone, the device puts out direct voltage; if not, it is the switch.`,
        confirm: `Capture loop-${loop.id}.switching again: the loudest click must be within its limit.`,
      },
    ];
  });
}

function clipping({ board, readings }: FindingContext, explained: Set<Reading>): Finding[] {
  const headrooms = readings.flatMap((r) => (r.id === 'headroom' && r.value !== null && r.state !== 'bench' && r.state !== 'lead' ? [{ ...r, value: r.value }] : []));
  const failedAtRest = headrooms.filter((r) => r.state === 'rest' && r.verdict === 'fail');
  const shape = (r: Reading): string => {
    const side = readingAt(readings, 'headroom.even-odd', { state: r.state, output: r.output });
    return side === null ? '' : side.value > -10 ? ' One half of the wave clips before the other: an operating point is off its middle.' : ' Both halves of the wave clip alike: the supply is low, or the gain before it is high.';
  };
  const findings: Finding[] = [];
  if (failedAtRest.length > 0) {
    explain(explained, readings, (r) => failedAtRest.some((o) => o.output === r.output), ['headroom', 'headroom.*', 'dynamic-range']);
    const isOne = failedAtRest.length === 1 && board.outputs.length > 1;
    const worst = failedAtRest.reduce((a, b) => (b.value < a.value ? b : a));
    findings.push({
      id: `clipping/${isOne ? worst.output! : 'board'}`,
      severity: 'fault',
      where: { ...NOWHERE, output: isOne ? worst.output : null },
      title: `${isOne ? `Output ${worst.output!}` : 'The board'} clips early, from ${fixed(worst.value, 1)} ${worst.unit} on, with every loop out.`,
      evidence: failedAtRest.map(key),
      cause: `${isOne ? 'The stage of this output' : 'A stage before the outputs part'} runs out of room.${shape(worst)}`,
      certainty: 'likely',
      tryNext: isOne ? `Measure the supply of the stage of output ${worst.output!}, then its operating point.` : 'Measure the supply of the board’s own electronics; capture unbuffered.stairs if the buffer can be defeated: where it clips later then, it is the buffer.',
      confirm: 'Capture rest.stairs again: the headroom must be within its limit.',
      basis: MEASURED,
    });
  }
  for (const loop of board.loops) {
    // An effect may clip: that is what some are for.
    if (loop.expect !== 'unity') continue;
    const earlier = headrooms.flatMap((r) => {
      const rest = headrooms.find((o) => o.state === 'rest' && o.output === r.output);
      const slack = Math.hypot(r.uncertainty ?? 0, rest?.uncertainty ?? 0);
      return r.loop === loop.id && r.bound !== 'lower' && rest && rest.value - r.value - slack > EARLIER_DB ? [{ r, rest, byDb: rest.value - r.value }] : [];
    });
    if (earlier.length === 0) continue;
    explain(explained, readings, (r) => r.loop === loop.id, ['headroom', 'headroom.*', 'dynamic-range']);
    const worst = earlier.reduce((a, b) => (b.byDb > a.byDb ? b : a));
    findings.push({
      id: `clipping/${loop.id}`,
      severity: 'caution',
      where: { ...NOWHERE, loop: loop.id },
      title: `${capital(loopName(loop))} should change nothing, but clips ${worst.rest.bound === 'lower' ? 'at least ' : ''}${shown(worst.byDb)} dB before the board with it out.`,
      evidence: earlier.flatMap(({ r, rest }) => [key(r), key(rest)]),
      cause: `Its device runs out of room.${shape(worst.r)}`,
      certainty: 'likely',
      tryNext: `Measure the voltage at the supply plug of ${loop.id}${loop.supply ? ` (outlet ${loop.supply})` : ''} under load; feed it from a known good supply.`,
      confirm: `Capture loop-${loop.id}.stairs again: the headroom must be near that of rest.stairs.`,
      basis: `Measured; the cause is ${CUSTOM}.`,
    });
  }
  return findings;
}
